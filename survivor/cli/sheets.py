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
    """Write the field sheets that nobody has touched yet again, with each seedling's last known state."""
    from survivor.planning.next_sheets import renew_sheets
    from survivor.words import counted, typed

    renewed = renew_sheets(study)
    for path in renewed.kept:
        typer.echo(f"Left as it is, since somebody saved it after survivor wrote it: {path.name}")
    for path in renewed.written:
        typer.echo(f"Written again: {path.name}")
    if renewed.left_off:
        typer.echo(
            f"{counted(renewed.left_off, 'seedling')} left off: dead or missing at the last two visits"
        )
    if renewed.unread:
        typer.echo(
            f"The last known states are blank: {renewed.unread}. What is wrong with the records: "
            + typed("survivor", "check", study)
        )
    if not renewed.written:
        typer.echo("No sheet is left to fill.")
