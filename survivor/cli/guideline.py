"""``survivor guideline FILE``: the local preparation guideline."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from survivor.cli.progress import steps


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
    with steps("Reading") as say:
        from survivor.files.writing import writing
        from survivor.guideline import make_guideline, read_guideline, write_guideline
        from survivor.guideline.writing import GUIDELINE, NAMES

        read_guideline(file)  # before a folder is made for it
        folder = out if out is not None else Path("reports") / file.resolve().parent.name
        with writing(folder, GUIDELINE, of=file, names=NAMES) as place:
            made = make_guideline(file, say, draft=draft)
            say("Writing")
            written = write_guideline(made, place, issue=not draft)
    from survivor.guideline.content import lead
    from survivor.sentences import plain_text
    from survivor.words import typed

    newest = made.changes[0]
    for sentences in lead(made):
        typer.echo(plain_text(sentences))
    for line in (*newest.also, *newest.moved, *newest.stood):
        typer.echo(f"  {line}")
    typer.echo(f"Guideline, version {made.version.number}: {written[0]}")
    typer.echo(f"Beside it: {', '.join(path.name for path in written[1:])}")
    if (folder / "plan.toml").is_file():
        plan = folder / "plan.toml"
        typer.echo(f"Next: look through {plan}, then {typed('survivor', 'plan', plan)}")
