"""``survivor plan PLAN.toml``: how many plots and seedlings the coming season needs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def plan(
    file: Annotated[Path, typer.Argument(metavar="PLAN", help="A plan file (TOML).")],
    out: Annotated[
        Path | None, typer.Option(help="Folder for the plan; default: reports/ and the plan file's name.")
    ] = None,
    studies: Annotated[
        int | None, typer.Option(min=20, help="Simulated seasons at each size; default: as the plan says.")
    ] = None,
) -> None:
    """Say how large the coming season must be to answer its question, and when things are due."""
    from rich.console import Console
    from rich.progress import Progress

    from survivor.planning.reading import read_plan

    asked = read_plan(file)
    console = Console(stderr=True)
    said: list[str] = []
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("Planning", total=None)

        def progress(step: str, done: int, of: int) -> None:
            bar.update(task, description=step, completed=done, total=of or None)
            if not console.is_terminal and step not in said:
                console.print(step, highlight=False)
                said.append(step)

        from survivor.planning.run import plan as plan_season

        season = plan_season(asked, studies=studies, progress=progress, folder=file.parent)
    named = file.resolve()
    own = f"{named.parent.name}-plan" if named.stem == "plan" else named.stem
    folder = out if out is not None else Path("reports") / own
    written = season.write(folder)
    typer.echo(str(season))
    typer.echo(f"Plan: {written[0]}")
    typer.echo(f"Beside it: {', '.join(path.name for path in written[1:])}")
    if asked.sites and season.plots >= 2:
        typer.echo(f"Next: survivor layout {file} --out DIR")
