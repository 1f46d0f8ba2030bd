"""``survivor sheets STUDY``: field sheets with the last known states."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def sheets(
    study: Annotated[Path, typer.Argument(metavar="STUDY", help="A study folder, or its study file.")],
) -> None:
    """Write field sheets with what is known of each seedling or plot last.

    Of a study that a layout made: those that nobody has touched yet, again. Of any other: the next visit.
    """
    from survivor.planning.next_sheets import is_laid_out

    if is_laid_out(study):
        _again(study)
    else:
        _next(study)


def _again(study: Path) -> None:
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


def _next(study: Path) -> None:
    from survivor.planning.next_visit import write_next_visit
    from survivor.words import counted, typed

    path, made = write_next_visit(study)
    rows = counted(made.rows, made.row)
    typer.echo(f"Written: {path} ({rows}, with what was seen of each last)")
    if made.left_off:
        typer.echo(f"{counted(made.left_off, 'seedling')} left off: dead or missing at the last two visits")
    if made.waiting:
        typer.echo(
            f"{counted(made.waiting, 'record')} wait to be corrected, and what they alone tell is not on it: "
            + typed("survivor", "check", study)
        )
    for name in made.unread:
        typer.echo(f"Not read yet, since the study file does not name it, and somebody filled it: {name}")
    if made.lines:
        typer.echo("When it is filled, add this to the study file:")
        typer.echo(made.lines)
