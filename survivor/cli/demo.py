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
    """Write invented cohorts to try everything on: `tagged`, `counts`, and `seasons` with its guideline."""
    from survivor.demo import write_demo
    from survivor.errors import DemoError

    try:
        written = write_demo(folder, overwrite=overwrite)
    except OSError as fault:
        raise DemoError(
            f"the demo cohorts cannot be written here: {fault.strerror}",
            where=str(folder),
            mend="name a folder that you may write to",
        ) from fault
    typer.echo(f"Wrote {len(written)} files. All records and place names in them are invented.")
    for cohort in ("tagged", "counts"):
        typer.echo(f"  next: survivor check {folder / cohort}")
        typer.echo(f"        survivor report {folder / cohort}")
    years = " ".join(str(path) for path in sorted((folder / "seasons").glob("season-*")) if path.is_dir())
    typer.echo(f"        survivor pool {years}")
    typer.echo(f"        survivor guideline {folder / 'seasons' / 'guideline.toml'}")
