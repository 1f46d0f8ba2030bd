"""``survivor new DIR``: a blank study folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def new(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write the blank study to.")],
) -> None:
    """Write a blank study folder: study file, headers, data dictionary and a plan file, all explained."""
    from survivor.planning.blank import write_blank

    written = write_blank(folder)
    typer.echo(
        f"Wrote {', '.join(path.name for path in written)} to {folder}. There are no records in it yet."
    )
    typer.echo(f"  before planting: change plan.toml, then survivor plan {folder / 'plan.toml'}")
    typer.echo(f"  with records:    fill plots.csv and visits.csv, then survivor check {folder}")
