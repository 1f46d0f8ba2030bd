"""``survivor guideline FILE``: the local preparation guideline."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def guideline(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A guideline file (TOML).")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the guideline; default: reports/ and the file's folder.")
    ] = None,
    draft: Annotated[
        bool, typer.Option("--draft", help="Make the page without issuing this version: no record is kept.")
    ] = False,
) -> None:
    """Make the guideline from the seasons it names: page, two-page PDF, what changed, what to try next."""
    from rich.console import Console

    console = Console(stderr=True)
    with console.status("Reading") as status:

        def say(step: str) -> None:
            status.update(step)
            if not console.is_terminal:
                console.print(step, highlight=False)

        from survivor.guideline import make_guideline, write_guideline

        made = make_guideline(file, say, draft=draft)
        say("Writing")
        folder = out if out is not None else Path("reports") / file.resolve().parent.name
        written = write_guideline(made, folder, issue=not draft)
    from survivor.guideline.content import lead

    newest = made.changes[0]
    typer.echo(lead(made))
    for line in (*newest.also, *newest.moved, *newest.stood):
        typer.echo(f"  {line}")
    typer.echo(f"Guideline, version {made.version.number}: {written[0]}")
    typer.echo(f"Beside it: {', '.join(path.name for path in written[1:])}")
    if (folder / "plan.toml").is_file():
        typer.echo(f"Next: look through {folder / 'plan.toml'}, then survivor plan {folder / 'plan.toml'}")
