"""``survivor sheets STUDY``: field sheets with the last known states."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def sheets(
    study: Annotated[
        Path, typer.Argument(metavar="STUDY", help="A study folder that a layout was written to.")
    ],
) -> None:
    """Write the field sheets that nobody has filled yet again, with each seedling's last known state."""
    from survivor.planning.next_sheets import renew_sheets

    found = renew_sheets(study)
    for path in found.kept:
        typer.echo(f"Left as it is, since something is filled in: {path.name}")
    for path in found.written:
        typer.echo(f"Written again: {path.name}")
    if found.left_off:
        noun = "seedling" if found.left_off == 1 else "seedlings"
        typer.echo(f"{found.left_off} {noun} left off: dead or missing at the last two visits")
    if found.unread:
        typer.echo(
            f"The last known states are blank: {found.unread}. What is wrong with the records: "
            f"survivor check {study}"
        )
    if not found.written:
        typer.echo("No sheet is left to fill.")
