"""``survivor layout PLAN.toml --out DIR``: a study folder with the layout and its field sheets."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Annotated

import typer


def layout(
    file: Annotated[Path, typer.Argument(metavar="PLAN", help="A plan file (TOML) that names its sites.")],
    out: Annotated[Path, typer.Option(help="Folder for the new study; must not hold one.")],
    plots: Annotated[
        int | None, typer.Option(min=2, help="Plots of each method; default: as the plan says.")
    ] = None,
    seedlings: Annotated[
        int | None, typer.Option(min=1, help="Seedlings of each plot; default: as the plan says.")
    ] = None,
) -> None:
    """Allocate preparations at random within blocks; write tags, calendar, timetable and field sheets."""
    from survivor.errors import PlanError
    from survivor.planning.calendar import checks_of, timetable
    from survivor.planning.carried import carried_over
    from survivor.planning.folder import OWN_FILES, write_folder
    from survivor.planning.layout import compared, draw_layout, refuse_unanswerable
    from survivor.planning.planfile import read_plan
    from survivor.planning.size import size_of, smallest_cost
    from survivor.planning.words import asked_about, ground_first, late_works, past_by_today
    from survivor.words import counted, typed

    typer.echo("Reading the plan", err=True)
    asked = read_plan(file)
    why = ""
    if plots is None or seedlings is None:
        typer.echo("Working out the size", err=True)
        best_plots, best_seedlings, why = size_of(asked, file.parent)
        typer.echo(f"{best_plots} plots of each method, {best_seedlings} seedlings a plot: {why}")
        plots, seedlings = plots or best_plots, seedlings or best_seedlings
    refuse_unanswerable(asked)
    if plots < 2:
        if asked.costs is None:
            raise PlanError(
                f"there is nothing to lay out: {why}",
                where="question.smallest_difference",
                mend="ask for a larger difference, or say how many plots of each method there are to be: "
                "--plots",
            )
        least = smallest_cost(asked, file.parent)
        to = "" if least is None else f" (a season that could answer costs about {least})"
        raise PlanError(
            f"there is nothing to lay out: {why}",
            where="costs.budget",
            mend=f"raise the budget{to}, cut the cost of a plot, or name fewer sites or methods",
        )
    drawn = draw_layout(asked, plots, seedlings)
    typer.echo("Writing tags and field sheets", err=True)
    written = write_folder(asked, drawn, out, carried_over(asked, file.parent, OWN_FILES))
    typer.echo(repr(drawn))
    for remark in drawn.remarks:
        typer.echo(f"  {remark}")
    name, count = compared(asked, plots)
    if count < plots:
        typer.echo(
            f"  {name} stands beside the usual practice in {count} blocks, not {plots}: its comparison "
            "will be less sure than planned"
        )
    works = timetable(asked)
    past = past_by_today(asked, dt.date.today())
    for line in [*asked_about(asked), *ground_first(works, checks_of(asked)), *late_works(works), *past]:
        typer.echo(line)
    sheets = [path for path in written if path.name.startswith("visit-")]
    typer.echo(f"Study folder: {written[0].parent} ({counted(len(sheets), 'field sheet')})")
    first = sheets[0].name if sheets else "the sheets"
    typer.echo(f"Next: print or fill {first}, then {typed('survivor', 'check', out)}")
