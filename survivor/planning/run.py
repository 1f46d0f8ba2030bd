"""The front door to planning: ``survivor.plan``."""

from __future__ import annotations

from math import floor
from pathlib import Path
from typing import TYPE_CHECKING

from survivor.errors import PlanError
from survivor.files.writing import Place
from survivor.planning.calendar import timetable, visit_calendar, visits_until
from survivor.planning.closed_form import half_width
from survivor.planning.factorial import factorial_power
from survivor.planning.layout import compared, refuse_unanswerable
from survivor.planning.planfile import Plan, read_plan
from survivor.planning.season import PlannedSeason
from survivor.planning.simulated import Progress, power_curve, quiet
from survivor.planning.size import plots_by_seedlings, settled_size, shown_by_formula, usual_sizes
from survivor.planning.split import budget_needed, seen_difference, splits
from survivor.planning.variation import arms_of, spread_of
from survivor.planning.words import summary

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_KEPT = 0.9  # of the plots, where one of ten is lost


class SeasonPlan(PlannedSeason):
    """A planned season that shows and writes itself; its attributes are those of `PlannedSeason`."""

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw power by plots of each method.

        Raises
        ------
        PlanError
            When no size can be had for the money, so that there is none to draw.
        """
        from survivor.figures.planning import draw_power

        if self.table.empty:
            raise PlanError(
                f"there is no size to draw: {self.why_size}", where="costs.budget", mend="raise the budget"
            )
        return draw_power(self.table, ax, chosen=self.compared[1], wanted=self.plan.question.power_per_100)

    def write(self, out: str | Path | Place) -> tuple[Path, ...]:
        """Write ``plan.html``, ``power.csv``, ``plan.json`` and the other tables to a folder."""
        from survivor.planning.page import write_plan  # with its figure, which few callers want

        return write_plan(self, out if isinstance(out, Place) else Path(out))

    def __repr__(self) -> str:
        return "\n".join(summary(self))

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def plan(
    path: str | Path | Plan,
    studies: int | None = None,
    progress: Progress = quiet,
    folder: str | Path | None = None,
) -> SeasonPlan:
    """Plan a season: how many plots and seedlings, and what they can show.

    Parameters
    ----------
    path
        A plan file, or a plan that is read already.
    studies
        Simulated seasons at each size; None: as the plan says.
    progress
        Called with a short text, and how much of how much is done.
    folder
        What a past study is named relative to; None: the plan file's folder, or this one.

    Returns
    -------
    SeasonPlan

    Raises
    ------
    PlanError
        When the plan file cannot be read, the past study that it names does not tell, or no
        size answers the question: a site compares nothing, or no visit falls at the milestone.
    """
    asked = path if isinstance(path, Plan) else read_plan(path)
    home = Path(folder) if folder is not None else Path() if isinstance(path, Plan) else Path(path).parent
    number = asked.plan.studies if studies is None else studies
    refuse_unanswerable(asked)
    if asked.variation.from_study is not None:
        progress("Reading the past study", 0, 0)
    spread = spread_of(asked, home)
    visits = visits_until(asked, asked.question.day)
    table = splits(asked, spread, visits)
    plots, seedlings, why = settled_size(asked, spread, table)
    _, blocks = compared(asked, plots)
    return SeasonPlan(
        plan=asked,
        spread=spread,
        plots=plots,
        seedlings=seedlings,
        why_size=why,
        table=power_curve(asked, spread, blocks, seedlings, number, progress),
        needed=plots_by_seedlings(asked, spread, visits, seedlings),
        splits=table,
        seen=seen_difference(asked, spread, blocks, seedlings),
        half_width=100 * half_width(arms_of(asked, spread), blocks, seedlings),
        lost=shown_by_formula(asked, spread, floor(_KEPT * plots), seedlings),
        usual=usual_sizes(asked, spread, plots, seedlings),
        budget_needed=budget_needed(asked, spread, visits),
        calendar=visit_calendar(asked),
        timetable=timetable(asked),
        factorial=factorial_power(asked, spread, plots, seedlings, number, progress),
    )
