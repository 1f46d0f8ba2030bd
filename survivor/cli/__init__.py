"""The command line: one verb a file. Heavy imports stay inside the verbs."""

from __future__ import annotations

import atexit
import contextlib
import gc
import io
import logging
import os
import signal
import sys
import traceback
from pathlib import Path
from typing import Any, Final

import typer

from survivor._version import __version__
from survivor.cli.check import check
from survivor.cli.demo import demo
from survivor.cli.desk import desk
from survivor.cli.guideline import guideline
from survivor.cli.layout import layout
from survivor.cli.new import new
from survivor.cli.plan import plan
from survivor.cli.pool import pool
from survivor.cli.programme import programme
from survivor.cli.report import report
from survivor.cli.sheets import sheets
from survivor.errors import SurvivorError

_OBJECTS: Final = 50_000  # made before those that are done with are looked for
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
app.command()(programme)
app.command()(desk)


def _say_version(asked: bool) -> None:
    if asked:
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
    """Run the command line; every fault ends in a plain message, never a traceback.

    Exit status: 0 done; 1 the records have to be mended; 2 wrong use, or a place that cannot be read or
    written; 3 a fault of survivor itself; 130 and 143 stopped.
    """
    # Many small matrices: more threads of linear algebra cost more than they bring. Nothing has
    # loaded numpy yet, and whoever has set it keeps their number.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # A report is made of many small objects that live to its end: looking through them all again and again
    # for those that are done with takes a twentieth of its time.
    gc.set_threshold(_OBJECTS, *gc.get_threshold()[1:])
    # At its end they go with the program; looking through them once more would take most of a second.
    atexit.register(gc.freeze)
    logging.getLogger("matplotlib").setLevel(
        logging.ERROR
    )  # where it keeps its list of fonts is its own affair
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a pipe or file may know few letters
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, _stop)
    try:
        app()
    except SurvivorError as fault:
        _end(str(fault), fault.exit_status)
    except OSError as fault:
        # A name that no file can have, a disk that is full: wherever it shows, it is said plainly.
        place = f"{fault.filename}: " if fault.filename else ""
        said = f"{place}a file cannot be read or written: {fault.strerror or fault}"
        _end(f"{said}\nWhat to do: check the name, and that you may read and write there", 2)
    except MemoryError:
        _end(
            "there is not enough memory for this\nWhat to do: close other programs, or use another machine", 2
        )
    except _Stopped as stopped:
        _end("Stopped. Every file is whole: as it was before, or as it was to be", stopped.code)
    except SystemExit:
        raise
    except BaseException as fault:  # readers of workbooks have faults that are no Exception
        if os.environ.get(_TRACE):
            traceback.print_exc()
        at = traceback.extract_tb(fault.__traceback__)[-1]
        what = " ".join(f"{type(fault).__name__}: {fault}".split())[:300]
        _end(
            f"this is a fault of survivor {__version__}, not of your records: {what} "
            f"({Path(at.filename).name}, line {at.lineno})\nWhat to do: run it again with {_TRACE}=1 set, "
            "and send what it says to whoever gave you survivor, with the study file",
            3,
        )


_TRACE: Final = "SURVIVOR_TRACE"


class _Stopped(SystemExit):
    """Somebody, or the machine, has asked the run to stop."""


def _stop(number: int, _: object) -> None:
    raise _Stopped(128 + number)


def _end(said: str, status: Any) -> None:
    with contextlib.suppress(OSError):  # where that cannot be written either, the status says it
        typer.echo(said, err=True)
    sys.exit(status)
