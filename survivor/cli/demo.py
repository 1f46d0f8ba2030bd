"""``survivor demo DIR``: write the demo cohorts."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def demo(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder to write the demo cohorts to.")],
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace files there that were changed since.")
    ] = False,
) -> None:
    """Write invented cohorts to try everything on: `tagged`, `counts`, `works`, and `seasons`."""
    from survivor.demo import write_demo
    from survivor.words import typed

    written = write_demo(folder, overwrite=overwrite)
    typer.echo(f"Wrote {len(written)} files. All records and place names in them are invented.")
    for cohort in ("tagged", "counts", "works"):
        typer.echo(f"  next: {typed('survivor', 'check', folder / cohort)}")
        typer.echo(f"        {typed('survivor', 'report', folder / cohort)}")
    years = [path for path in sorted((folder / "seasons").glob("season-*")) if path.is_dir()]
    typer.echo(f"        {typed('survivor', 'pool', *years)}")
    typer.echo(f"        {typed('survivor', 'guideline', folder / 'seasons' / 'guideline.toml')}")
