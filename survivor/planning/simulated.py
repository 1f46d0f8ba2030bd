"""Power by simulation: seasons drawn with a known difference, analysed as the report would."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from survivor.effects.contrasts import contrasts
from survivor.models.grouped import fit_grouped
from survivor.planning.closed_form import ALPHA
from survivor.planning.planfile import Plan
from survivor.planning.quick import NO_ANSWER, NOTHING, Told, analysed_quickly
from survivor.planning.variation import Spread
from survivor.proportions import wilson
from survivor.settings import DrySeason
from survivor.simulate import Cohort, Watched, draw_intervals, draw_watched, hazard_knots, season_cuts

# Only the shape of a season: few deaths before the first dry season, most of them in it.
# From memory, no source; the level is set by the survival that the plan expects.
_SHAPE = (0.00045, 0.0025, 0.00025, 0.0006, 0.0002)
_PLANTED = dt.date(2022, 6, 15)
_DRY_SEASON = DrySeason(start="12-01", end="03-31")
_VISITS = (0.1, 0.45, 0.8)  # shares of the time to the milestone: four visits with the last

Advance = Callable[[int], None]


def _quiet(studies: int) -> None:
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
    """Parameters of a season with the smallest difference worth having, in blocks of two plots.

    Where plots do not share out evenly over the sites some blocks are too many;
    :func:`draw_season` leaves them out.
    """
    sites = min(plan.n_sites, plots)
    dry = plan.dry_season or _DRY_SEASON
    day = plan.question.day
    planted = tuple(dt.date.fromisoformat(site.planted) for site in plan.sites[:sites]) or (_PLANTED,)
    shape = [_at(day, each, dry) for each in planted]
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
    kept = drawn[~(last & drawn["site"].isin(fewer))].reset_index(drop=True)
    kept.attrs = drawn.attrs
    return kept


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
    advance: Advance = _quiet,
    alpha: float = ALPHA,
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
    alpha
        Two-sided level.
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
    shown = int((p_values < alpha).sum())
    lower, upper = wilson(shown, studies)
    told = differences[np.isfinite(differences)]
    return Simulated(
        plots=plots,
        seedlings=seedlings,
        studies=studies,
        shown=shown,
        unanswered=int(np.isnan(p_values).sum()),
        power=shown / studies,
        lower=float(lower),
        upper=float(upper),
        difference=float(told.mean()) if len(told) else math.nan,
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
