"""The command line: one verb a file. Heavy imports stay inside the verbs."""

from __future__ import annotations

import os
import sys

import typer

from survivor.cli.check import check
from survivor.cli.demo import demo
from survivor.cli.guideline import guideline
from survivor.cli.layout import layout
from survivor.cli.new import new
from survivor.cli.plan import plan
from survivor.cli.pool import pool
from survivor.cli.report import report
from survivor.cli.sheets import sheets
from survivor.errors import SurvivorError

app = typer.Typer(
    name="survivor",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Establishment survival analysis: which preparation paid off, here, last season, and by how much.",
    epilog="Start with: survivor demo DIR, then survivor report DIR/tagged",
)
app.command()(demo)
app.command()(check)
app.command()(report)
app.command()(new)
app.command()(plan)
app.command()(layout)
app.command()(sheets)
app.command()(pool)
app.command()(guideline)


def _say_version(asked: bool) -> None:
    if asked:
        from survivor import __version__

        typer.echo(f"survivor {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: bool = typer.Option(
        False, "--version", is_eager=True, callback=_say_version, help="Print the version and stop."
    ),
) -> None:
    """Hold the options that belong to no verb."""


def main() -> None:
    """Run the command line; a known fault ends in a plain message, never a traceback."""
    # Many small matrices: more threads of linear algebra cost more than they bring. Nothing has
    # loaded numpy yet, and whoever has set it keeps their number.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        app()
    except SurvivorError as fault:
        typer.echo(str(fault), err=True)
        sys.exit(fault.exit_status)
    except OSError as fault:
        # A name that no file can have, a disk that is full: wherever it shows, it is said plainly.
        place = f"{fault.filename}: " if fault.filename else ""
        typer.echo(f"{place}a file cannot be read or written: {fault.strerror or fault}", err=True)
        typer.echo("What to do: check the name, and that you may read and write there", err=True)
        sys.exit(2)
