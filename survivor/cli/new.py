"""``survivor new DIR``: a blank study folder, or a study file for the sheets that are there."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write the study to.")],
    from_sheets: Annotated[
        bool, typer.Option("--from-sheets", help="Propose a study file for the sheets that are in DIR.")
    ] = False,
) -> None:
    """Write a blank study folder, all explained; or propose a study file for the sheets in a folder."""
    if from_sheets:
        _propose(folder)
        return
    from survivor.planning.blank import write_blank

    written = write_blank(folder)
    typer.echo(
        f"Wrote {', '.join(path.name for path in written)} to {folder}. There are no records in it yet."
    )
    typer.echo(f"  before planting: change plan.toml, then survivor plan {folder / 'plan.toml'}")
    typer.echo(f"  with records:    fill plots.csv and visits.csv, then survivor check {folder}")


def _propose(folder: Path) -> None:
    from survivor.errors import StudyFileError
    from survivor.records.proposal import propose_study
    from survivor.settings import STUDY_FILE

    text = propose_study(folder)
    try:
        (folder / STUDY_FILE).write_text(text, encoding="utf-8", newline="\n")
    except OSError as fault:
        raise StudyFileError(
            f"the study file could not be written: {fault.strerror or fault}",
            where=str(folder),
            mend="name a folder that you may write to",
        ) from fault
    typer.echo(text)
    typer.echo(f"Wrote this to {folder / STUDY_FILE}. Next: look it through, then survivor check {folder}")
