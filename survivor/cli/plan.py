"""``survivor plan PLAN.toml``: how many plots and seedlings the coming season needs."""

from __future__ import annotations

import datetime as dt
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

    from survivor.files.writing import writing
    from survivor.planning.page import PLAN
    from survivor.planning.planfile import plan_folder, read_plan
    from survivor.planning.words import past_by_today
    from survivor.words import typed

    asked = read_plan(file)
    folder = out if out is not None else Path("reports") / plan_folder(file)
    console = Console(stderr=True)
    said: list[str] = []
    # Drawn at each update, not by a thread: work is not shared out beside threads (see parallel).
    shown = console.is_terminal
    with (
        writing(folder, PLAN, of=file) as place,
        Progress(console=console, transient=True, disable=not shown, auto_refresh=False) as bar,
    ):
        task = bar.add_task("Planning", total=None)

        def progress(step: str, done: int, of: int) -> None:
            bar.update(task, description=step, completed=done, total=of or None, refresh=shown)
            if not console.is_terminal and step not in said:
                console.print(step, highlight=False)
                said.append(step)

        from survivor.planning.run import plan as plan_season

        season = plan_season(asked, studies=studies, progress=progress, folder=file.parent)
        written = season.write(place)
    typer.echo(str(season))
    for line in past_by_today(asked, dt.date.today()):
        typer.echo(line)
    typer.echo(f"Plan: {written[0]}")
    typer.echo(f"Beside it: {', '.join(path.name for path in written[1:])}")
    if asked.sites and season.plots >= 2:
        typer.echo(f"Next: {typed('survivor', 'layout', file, '--out', 'DIR')}")
