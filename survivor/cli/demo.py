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
    programme: Annotated[
        int | None,
        typer.Option(metavar="N", min=1, help="Write instead N studies of several organisations and years."),
    ] = None,
) -> None:
    """Write invented cohorts to try everything on: `tagged`, `counts`, `works`, and `seasons`."""
    from survivor.demo import write_demo
    from survivor.words import typed

    if programme is not None:
        _programme(folder, programme, overwrite)
        return

    written = write_demo(folder, overwrite=overwrite)
    typer.echo(f"Wrote {len(written)} files. All records and place names in them are invented.")
    for cohort in ("tagged", "counts", "works"):
        typer.echo(f"  next: {typed('survivor', 'check', folder / cohort)}")
        typer.echo(f"        {typed('survivor', 'report', folder / cohort)}")
    years = [path for path in sorted((folder / "seasons").glob("season-*")) if path.is_dir()]
    typer.echo(f"        {typed('survivor', 'pool', *years)}")
    typer.echo(f"        {typed('survivor', 'guideline', folder / 'seasons' / 'guideline.toml')}")


def _programme(folder: Path, studies: int, overwrite: bool) -> None:
    """Write a programme, a study at a time."""
    from survivor.cli.progress import steps
    from survivor.demo.programme import write_programme
    from survivor.words import counted, typed

    with steps("Writing") as say:
        for done, _ in enumerate(write_programme(folder, studies, overwrite=overwrite), start=1):
            if done % 10 == 0 or done == studies:
                say(f"{done} of {studies} studies written")
    told = counted(studies, "study", "studies")
    typer.echo(f"Wrote {told}. All records and place names in them are invented; some cannot be used.")
    typer.echo(f"  next: {typed('survivor', 'programme', folder)}")
