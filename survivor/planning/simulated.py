"""Power by simulation: seasons drawn with a known difference, analysed as the report would.

Several sizes at once, side by side, make the curve of power by plots.
"""

from __future__ import annotations

import datetime as dt
import math
import multiprocessing
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from survivor.effects.contrasts import contrasts
from survivor.models.grouped import fit_grouped
from survivor.parallel import side_by_side
from survivor.planning.closed_form import power_of_events, power_of_proportions
from survivor.planning.planfile import Plan
from survivor.planning.quick import NO_ANSWER, NOTHING, Told, analysed_quickly
from survivor.planning.variation import Spread, arms_of
from survivor.proportions import wilson
from survivor.settings import DrySeason
from survivor.simulate.cohort import Cohort, hazard_knots, season_cuts
from survivor.simulate.drawing import Watched, draw_intervals, draw_watched
from survivor.words import listed

# Only the shape of a season: few deaths before the first dry season, most of them in it.
# From memory, no source; the level is set by the survival that the plan expects.
_SHAPE = (0.00045, 0.0025, 0.00025, 0.0006, 0.0002)
_PLANTED = dt.date(2022, 6, 15)
_DRY_SEASON = DrySeason(start="12-01", end="03-31")
_VISITS = (0.1, 0.45, 0.8)  # shares of the time to the milestone: four visits with the last

POWER_COLUMNS = (
    "plots", "seedlings", "two_proportions", "events", "simulated", "lower", "upper", "studies", "unanswered",
)  # fmt: skip
_SHARES = (0.4, 0.7, 1.0, 1.4, 2.0)  # of the settled number of plots: where the curve is simulated
_MOST_SEEDLINGS = 20_000  # in a simulated season; a curve needs no more to be seen

Advance = Callable[[int], None]
Progress = Callable[[str, int, int], None]


def quiet(*_: object) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class Simulated:
    """Share of simulated seasons in which the difference was shown.

    Attributes
    ----------
    plots, seedlings
        Plots of each method; seedlings of each plot.
    studies, shown
        Seasons drawn, and those with a p-value under the level.
    unanswered
        Seasons that no model could be fitted to; they count as not shown.
    power, lower, upper
        Share shown with 95 % (Wilson) limits of the simulation, 0 to 1.
    difference
        Mean of the estimated differences, per 100 planted.
    """

    plots: int
    seedlings: int
    studies: int
    shown: int
    unanswered: int
    power: float
    lower: float
    upper: float
    difference: float


def cohort_of(plan: Plan, found: Spread, plots: int, seedlings: int) -> Cohort:
    """Parameters of a season with the smallest difference that matters, in blocks of two plots.

    Where plots do not share out evenly over the sites some blocks are too many;
    :func:`draw_season` leaves them out.
    """
    sites = min(plan.n_sites, plots)
    dry = plan.dry_season or _DRY_SEASON
    day = plan.question.day
    planted = tuple(dt.date.fromisoformat(site.planted) for site in plan.sites[:sites]) or (_PLANTED,)
    shape = [_at(day, date, dry) for date in planted]
    level = found.cumulative / float(np.mean(shape))
    return Cohort(
        methods=(("usual practice", 0.0), ("alternative", found.log_ratio)),
        sites=sites,
        blocks=math.ceil(plots / sites),
        seedlings=seedlings,
        planted=planted,
        visit_days=(tuple(sorted({*(max(1, round(share * day)) for share in _VISITS), day})),),
        dry_season=(dry.start, dry.end),
        hazards=tuple(rate * level for rate in _SHAPE),
        plot_sd=found.plot_sd,
        site_sd=found.site_sd,
    )


def _at(day: int, planted: dt.date, dry: DrySeason) -> float:
    days, cumulative = hazard_knots(season_cuts(planted, (dry.start, dry.end), day + 800.0), _SHAPE)
    return float(np.interp(day, days, cumulative))


def draw_season(cohort: Cohort, plots: int, rng: np.random.Generator) -> pd.DataFrame:
    """Risk intervals of one season with just so many plots of each method."""
    drawn = draw_intervals(cohort, rng)
    too_many = cohort.sites * cohort.blocks - plots
    if too_many == 0:
        return drawn
    last = drawn["block"] == f"B{cohort.blocks}"
    fewer = sorted(drawn["site"].unique())[-too_many:]
    return drawn[~(last & drawn["site"].isin(fewer))].reset_index(drop=True)


def watch_season(cohort: Cohort, plots: int, rng: np.random.Generator) -> Watched:
    """Draw the same season as `draw_season`, as arrays."""
    drawn = draw_watched(cohort, rng)
    too_many = cohort.sites * cohort.blocks - plots
    # The last block of the last sites.
    left_out = (drawn.site >= cohort.sites - too_many) & (drawn.block == (drawn.site + 1) * cohort.blocks - 1)
    kept = ~left_out
    return replace(
        drawn,
        site=drawn.site[kept],
        block=np.unique(drawn.block[kept], return_inverse=True)[1].astype(np.intp),
        method=drawn.method[kept],
        at_risk=drawn.at_risk[kept],
        died=drawn.died[kept],
    )


def simulate_power(
    plan: Plan,
    found: Spread,
    plots: int,
    seedlings: int,
    studies: int,
    advance: Advance = quiet,
) -> Simulated:
    """Draw seasons and count those that show the difference.

    Each is analysed as the report does: grouped-time proportional hazards with a
    level for each block, the difference per 100 planted standardised over blocks, its
    p-value by CR2 with Satterthwaite degrees of freedom.

    Parameters
    ----------
    plan, found
        The plan, and how plots and sites differ.
    plots, seedlings
        Plots of each method; seedlings of each plot.
    studies
        Seasons to draw. The same plan, sizes and seed give the same seasons.
    advance
        Called with the number drawn since the last call.
    """
    cohort = cohort_of(plan, found, plots, seedlings)
    rng = np.random.default_rng([plan.plan.seed, plots, seedlings])
    p_values, differences = np.full(studies, np.nan), np.full(studies, np.nan)
    for study in range(studies):
        before = rng.bit_generator.state
        found_here = analysed_quickly(cohort, watch_season(cohort, plots, rng), plan.question.day)
        if found_here is None:
            rng.bit_generator.state = before
            found_here = analysed_whole(draw_season(cohort, plots, rng), plan.question.day)
        p_values[study], differences[study] = found_here.p_value, found_here.difference
        advance(1)
    shown = int((p_values < arms_of(plan, found).alpha).sum())
    lower, upper = wilson(shown, studies)
    estimates = differences[np.isfinite(differences)]
    return Simulated(
        plots=plots,
        seedlings=seedlings,
        studies=studies,
        shown=shown,
        unanswered=int(np.isnan(p_values).sum()),
        power=shown / studies,
        lower=float(lower),
        upper=float(upper),
        difference=float(estimates.mean()) if len(estimates) else math.nan,
    )


def analysed_whole(intervals: pd.DataFrame, day: int) -> Told:
    """Analyse a season of two methods as the report does.

    Parameters
    ----------
    intervals
        Risk intervals.
    day
        The milestone, in days since planting.
    """
    try:
        fit = fit_grouped(intervals, "method", cluster="plot", strata=["site", "block"], pieces=None)
        table = contrasts(fit, at=day, against="usual practice").table
    except NO_ANSWER:
        return NOTHING
    return Told(float(table["p_value"].iloc[0]), float(table["estimate"].iloc[0]))


def power_curve(
    asked: Plan, spread: Spread, plots: int, seedlings: int, studies: int, progress: Progress
) -> pd.DataFrame:
    """Power at some sizes round the settled one, by closed forms and by simulation.

    Parameters
    ----------
    asked, spread
        What is asked, and how plots and sites differ.
    plots, seedlings
        The settled size: plots of each method, seedlings of each plot.
    studies
        Simulated seasons at each size.
    progress
        Called with a short text, and how much of how much is done.

    Returns
    -------
    DataFrame
        ``plots, seedlings, two_proportions, events, simulated, lower, upper, studies, unanswered``,
        power per 100; empty where there are no two plots.
    """
    if plots < 2:
        return pd.DataFrame(columns=list(POWER_COLUMNS))
    arms = arms_of(asked, spread)
    middle = max(plots, 2)
    sizes = sorted({max(2, round(share * middle)) for share in _SHARES})
    # The largest sizes take longest and say least once power is near 100.
    sizes = [size for size in sizes if size <= middle or 2 * size * seedlings <= _MOST_SEEDLINGS]
    seasons = listed([str(size) for size in sizes])
    step = f"Simulating {studies} seasons at each size: {seasons} plots of each method"
    counter = _Counter(partial(progress, step), studies * len(sizes))

    def simulated(size: int) -> Simulated:
        return simulate_power(asked, spread, size, seedlings, studies, counter.advance)

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
