"""The front door to planning: ``survivor.plan``."""

from __future__ import annotations

import math
import multiprocessing
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.abreast import side_by_side
from survivor.errors import PlanError
from survivor.planning.calendar import visit_calendar, visits_until
from survivor.planning.closed_form import (
    half_width,
    plots_needed,
    power_of_events,
    power_of_proportions,
)
from survivor.planning.compared import compared, fewest_plots, plots_by_blocks, refuse_unanswerable
from survivor.planning.layout import blocks_of
from survivor.planning.planfile import Plan
from survivor.planning.reading import read_plan
from survivor.planning.simulated import Simulated, simulate_power
from survivor.planning.split import best_split, budget_needed, cost_of_plot, seen_difference, splits
from survivor.planning.timetable import timetable
from survivor.planning.variation import Spread, arms_of, spread_of, wider
from survivor.report.content.wording import listed

if TYPE_CHECKING:
    from matplotlib.axes import Axes

POWER_COLUMNS = (
    "plots", "seedlings", "two_proportions", "events", "simulated", "lower", "upper", "studies", "unanswered",
)  # fmt: skip
NEEDED_COLUMNS = ("seedlings", "two_proportions", "events", "wider_plots", "cost")

NO_NUMBER_ENOUGH = "no number of plots within reach is enough by formula"
_USUAL_SEEDLINGS = 20
_ENOUGH_STUDIES = 200  # limits (Wilson) at 80 of 100 are then 6 either side; with fewer, wider
_SEEDLINGS_SHOWN = (10, 15, 20, 30, 40)
_SHARES = (0.4, 0.7, 1.0, 1.4, 2.0)  # of the settled number of plots: where the curve is simulated
_MOST_SEEDLINGS = 20_000  # in a simulated season; a curve needs no more to be seen

Progress = Callable[[str, int, int], None]


def _quiet(step: str, done: int, of: int) -> None:
    """Say nothing."""


@dataclass(frozen=True, repr=False)
class SeasonPlan:
    """A season planned: how large it must be, what it can show, and when things are done.

    Attributes
    ----------
    plan
        The plan file.
    spread
        How plots and sites differ.
    plots, seedlings
        The size that the answer is for: plots of each method, seedlings of each plot;
        ``why_size`` says where it comes from. ``plots`` is 0 where the budget buys no
        two plots of each method. Where sites cannot take every method, power and limits are
        those of the comparison with the fewest blocks, ``compared``.
    table
        Power per 100 by plots of each method: ``plots, seedlings``, ``two_proportions``
        and ``events`` (closed forms), ``simulated, lower, upper`` (share of simulated
        seasons with 95 % limits), ``studies, unanswered``.
    needed
        Plots of each method for the power asked for, by seedlings a plot: by both closed
        forms, by the first with plots as different as the upper limit of a past study,
        and the cost of it.
    splits
        Every split of the budget; empty without costs.
    seen
        Smallest improvement (per 100) that the size shows with the power asked for; None:
        not even the survival of all.
    half_width
        Half the width of the 95 % limits to expect, per 100.
    budget_needed
        Least budget with the power asked for; None without costs, or where none is enough.
    calendar, timetable
        Visits and works of every named site.
    """

    plan: Plan
    spread: Spread
    plots: int
    seedlings: int
    why_size: str
    table: pd.DataFrame
    needed: pd.DataFrame
    splits: pd.DataFrame
    seen: float | None
    half_width: float
    budget_needed: float | None
    calendar: pd.DataFrame = field(repr=False)
    timetable: pd.DataFrame = field(repr=False)

    @property
    def power(self) -> pd.Series[float] | None:
        """Row of ``table`` for the size that the answer is for; None where there is none."""
        rows = self.table[self.table["plots"] == self.compared[1]]
        if rows.empty:
            return None
        row: pd.Series[float] = rows.iloc[0]
        return row

    @property
    def compared(self) -> tuple[str, int]:
        """Method with the fewest blocks beside the usual practice, and how many."""
        return compared(self.plan, self.plots)

    @property
    def answers(self) -> bool:
        """Whether as many seasons as asked for show the difference: simulated ones, or by formula if few."""
        row = self.power
        return row is not None and self.shown >= self.plan.question.power_per_100

    @property
    def by_formula(self) -> bool:
        """Whether simulated seasons are too few to go by, so that the formula decides."""
        row = self.power
        return row is not None and float(row["studies"]) < _ENOUGH_STUDIES

    @property
    def shown(self) -> float:
        """Seasons of 100 that show the difference, which the answer goes by; 0 where there is no size."""
        row = self.power
        if row is None:
            return 0.0
        return float(row["two_proportions" if self.by_formula else "simulated"])

    @property
    def on_the_edge(self) -> bool:
        """Whether the simulation decides and its limits hold the power asked for."""
        row = self.power
        return (
            row is not None
            and not self.by_formula
            and float(row["lower"]) <= self.plan.question.power_per_100 <= float(row["upper"])
        )

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw power by plots of each method."""
        from survivor.figures.planning import draw_power

        if self.table.empty:
            raise PlanError(
                f"there is no size to draw: {self.why_size}", where="costs.budget", mend="raise the budget"
            )
        return draw_power(self.table, ax, chosen=self.compared[1], wanted=self.plan.question.power_per_100)

    def write(self, out: str | Path) -> tuple[Path, ...]:
        """Write ``plan.html``, ``power.csv``, ``plan.json`` and the other tables to a folder."""
        from survivor.planning.page import write_plan

        return write_plan(self, Path(out))

    def __repr__(self) -> str:
        from survivor.planning.words import summary

        return "\n".join(summary(self))

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def plan(
    path: str | Path | Plan,
    studies: int | None = None,
    progress: Progress = _quiet,
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
    found = spread_of(asked, home)
    visits = visits_until(asked, asked.question.day)
    table = splits(asked, found, visits)
    plots, seedlings, why = _size(asked, found, table)
    needed = _needed(asked, found, visits, seedlings)
    _, blocks = compared(asked, plots)
    return SeasonPlan(
        plan=asked,
        spread=found,
        plots=plots,
        seedlings=seedlings,
        why_size=why,
        table=_curve(asked, found, blocks, seedlings, number, progress),
        needed=needed,
        splits=table,
        seen=seen_difference(asked, found, blocks, seedlings),
        half_width=100 * half_width(arms_of(asked, found), blocks, seedlings),
        budget_needed=budget_needed(asked, found, visits),
        calendar=visit_calendar(asked),
        timetable=timetable(asked),
    )


def size_of(asked: Plan, folder: Path) -> tuple[int, int, str]:
    """Return plots of each method and seedlings of each plot, and why these; nothing is simulated.

    Parameters
    ----------
    asked
        A plan.
    folder
        What a past study is named relative to.
    """
    refuse_unanswerable(asked)
    found = spread_of(asked, folder)
    return _size(asked, found, splits(asked, found, visits_until(asked, asked.question.day)))


def smallest_cost(asked: Plan, folder: Path) -> str | None:
    """Return what the smallest season with the power asked for costs, in words; None where none is enough."""
    from survivor.figures.words import number

    least = budget_needed(asked, spread_of(asked, folder), visits_until(asked, asked.question.day))
    return None if least is None or asked.costs is None else f"{number(least)} {asked.costs.currency}"


def _size(asked: Plan, found: Spread, table: pd.DataFrame) -> tuple[int, int, str]:
    """Return the size that the answer is for, and why it is that."""
    settled = asked.sizes
    if settled.plots_per_method is not None:
        if asked.sites:
            blocks_of(asked, settled.plots_per_method)
        return (
            settled.plots_per_method,
            settled.seedlings_per_plot or _USUAL_SEEDLINGS,
            "the plan file gives it",
        )
    if asked.costs is not None:
        best = best_split(table)
        if best is None:
            few = settled.seedlings_per_plot or settled.fewest_seedlings
            fewest = fewest_plots(asked)
            needed_there = "two plots" if fewest == 2 else f"{fewest} plots (the blocks of every site)"
            return 0, few, f"the budget does not buy {needed_there} of each method"
        return int(best["plots"]), int(best["seedlings"]), "the best split of the budget"
    seedlings = settled.seedlings_per_plot or _USUAL_SEEDLINGS
    by_blocks = plots_by_blocks(asked)
    if by_blocks is not None:
        return by_blocks, seedlings, "the sites say their blocks"
    needed = _plots(asked, found, seedlings)
    if needed is not None and needed < fewest_plots(asked):
        return fewest_plots(asked), seedlings, "a block at every site, more than the power asks for"
    if needed is None:
        return 0, seedlings, NO_NUMBER_ENOUGH
    return needed, seedlings, "the fewest plots that are enough by formula"


def _plots(asked: Plan, found: Spread, seedlings: int, events: bool = False) -> int | None:
    form = power_of_events if events else power_of_proportions
    arms = arms_of(asked, found)
    fixed = plots_by_blocks(asked) is not None

    def compared_open(plots: int) -> int:
        return plots if fixed else compared(asked, plots)[1]

    return plots_needed(
        lambda plots: form(arms, compared_open(plots), seedlings), asked.question.power_per_100 / 100
    )


def _needed(asked: Plan, found: Spread, visits: int, seedlings_chosen: int) -> pd.DataFrame:
    """Return the plots needed, by seedlings a plot."""
    wide = wider(asked, found)
    rows = []
    for seedlings in sorted({*_SEEDLINGS_SHOWN, seedlings_chosen}):
        plots = _plots(asked, found, seedlings)
        cost = math.nan
        if asked.costs is not None and plots is not None:
            cost = len(asked.methods) * plots * cost_of_plot(asked.costs, seedlings, visits)
        rows.append(
            (
                seedlings,
                plots,
                _plots(asked, found, seedlings, events=True),
                None if wide is None else _plots(asked, wide, seedlings),
                cost,
            )
        )
    table = pd.DataFrame(rows, columns=list(NEEDED_COLUMNS))
    counts = ["two_proportions", "events", "wider_plots"]
    table[counts] = table[counts].astype("Int64")
    return table


def _curve(
    asked: Plan, found: Spread, plots: int, seedlings: int, studies: int, progress: Progress
) -> pd.DataFrame:
    """Power at some sizes round the settled one, by closed forms and by simulation."""
    if plots < 2:
        return pd.DataFrame(columns=list(POWER_COLUMNS))
    arms = arms_of(asked, found)
    middle = max(plots, 2)
    sizes = sorted({max(2, round(share * middle)) for share in _SHARES})
    # The largest sizes take longest and say least once power is near 100.
    sizes = [size for size in sizes if size <= middle or 2 * size * seedlings <= _MOST_SEEDLINGS]
    seasons = listed([str(size) for size in sizes])
    step = f"Simulating {studies} seasons at each size: {seasons} plots of each method"
    counter = _Counter(partial(progress, step), studies * len(sizes))

    def simulated(size: int) -> Simulated:
        return simulate_power(asked, found, size, seedlings, studies, counter.advance, alpha=arms.alpha)

    # Every size has random numbers of its own, so the answer is the same in whatever order.
    largest_first = sizes[::-1]
    drawn = dict(zip(largest_first, side_by_side(simulated, largest_first), strict=True))
    counter.tell()
    rows = [
        (
            size,
            seedlings,
            100 * power_of_proportions(arms, size, seedlings),
            100 * power_of_events(arms, size, seedlings),
            100 * drawn[size].power,
            100 * drawn[size].lower,
            100 * drawn[size].upper,
            studies,
            drawn[size].unanswered,
        )
        for size in sizes
    ]
    return pd.DataFrame(rows, columns=list(POWER_COLUMNS))


class _Counter:
    """Adds up what this program and its copy have done; only the program itself tells it."""

    def __init__(self, tell: Callable[[int, int], None], of: int) -> None:
        self._tell, self._of = tell, of
        self._done: Any = multiprocessing.Value("i", 0)
        self._own = os.getpid()
        self.tell()

    def advance(self, more: int) -> None:
        with self._done.get_lock():
            self._done.value += more
        if os.getpid() == self._own:
            self.tell()

    def tell(self) -> None:
        # What a copy does not bring back is done again.
        self._tell(min(self._done.value, self._of), self._of)
