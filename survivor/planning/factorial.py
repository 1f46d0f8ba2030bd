"""Power of a factorial season, whole or split-plot: each main effect and named pair, by formula and drawn.

Every plot has each work or has it not, so half of all plots stand on either side of every work: the
same plots answer several questions. A pair is told by a difference of differences, whose standard error
is twice that of a work. Where a work goes to whole plots, whole plots are what is counted for it
(Cochran and Cox 1957, Experimental Designs, ch. 7, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.planning.closed_form import ALPHA, Arms, power_of_proportions, power_of_shift, standard_error
from survivor.planning.layout import blocks_of
from survivor.planning.planfile import Factorial, Plan
from survivor.planning.simulated import Progress
from survivor.planning.variation import Spread, arms_of
from survivor.proportions import wilson
from survivor.records.work_names import column_of
from survivor.works.columns import NO, YES

POWER_COLUMNS: Final = (
    "what", "kind", "df", "alpha", "formula", "simulated", "lower", "upper", "studies", "one_at_a_time",
)  # fmt: skip
WORK, PAIR = "work", "pair"
_VISITS: Final = (0.1, 0.45, 0.8, 1.0)  # shares of the time to the milestone
_SHARE_BY: Final = (0.05, 0.25, 0.8, 1.0)  # of the hazard: most of it in the first dry season


@dataclass(frozen=True)
class _Effect:
    """One effect: its name, whether it goes by whole plots, its degrees of freedom and standard error."""

    what: str
    kind: str
    df: int
    error: float


def factorial_power(
    plan: Plan, spread: Spread, blocks: int, seedlings: int, studies: int, progress: Progress
) -> pd.DataFrame:
    """Tell what a factorial season shows of each work and pair.

    Parameters
    ----------
    plan, spread
        The plan, and how plots and sites differ. A plan without a factorial gives an empty table.
    blocks, seedlings
        Blocks in all, each with one plot of every combination; seedlings of each plot.
    studies
        Simulated seasons.
    progress
        Called with a short text, and how much of how much is done.

    Returns
    -------
    DataFrame
        `POWER_COLUMNS`: seasons of 100 that show an effect as large as the smallest difference that
        matters, at the first step of Holm's adjustment over the works and pairs (``alpha``): by
        ``formula``, ``simulated`` with 95 % CI, and by formula in a season of as many plots that tries
        ``one_at_a_time``; blank for pairs, which such a season cannot tell.
    """
    asked = plan.factorial
    if asked is None or blocks < 2:
        return pd.DataFrame(columns=list(POWER_COLUMNS))
    family = len(asked.works) + len(asked.pairs)
    arms = replace(arms_of(plan, spread), alpha=ALPHA / family)
    progress("Simulating the combinations", 0, 0)
    shown = _simulated(plan, spread, asked, (blocks, seedlings, studies), arms.alpha)
    plots = blocks * 2 ** len(asked.works)
    alone = replace(arms, alpha=ALPHA / len(asked.works))
    each = plots // (len(asked.works) + 1)
    rows = []
    for effect in effects_of(asked, arms, blocks, seedlings):
        power = power_of_shift((arms.other - arms.survival) / effect.error, effect.df, arms.alpha)
        share = shown[effect.what] / studies
        lower, upper = (float(end) for end in wilson(shown[effect.what], studies))
        one = power_of_proportions(alone, each, seedlings) if effect.kind == WORK else math.nan
        rows.append(
            (
                effect.what, effect.kind, effect.df, arms.alpha, 100 * power, 100 * share, 100 * lower,
                100 * upper, studies, 100 * one,
            )
        )  # fmt: skip
    return pd.DataFrame(rows, columns=list(POWER_COLUMNS))


def effects_of(asked: Factorial, arms: Arms, blocks: int, seedlings: int) -> list[_Effect]:
    """Degrees of freedom and standard error (of survival, 0 to 1) of each work and pair."""
    works, whole = len(asked.works), len(asked.whole_plots)
    plots = blocks * 2**works
    wholes = blocks * 2**whole if whole else blocks
    within = plots - wholes - (works - whole) - len(asked.pairs)
    between = wholes - blocks - whole
    plain = standard_error(arms, plots / 2, seedlings)
    # Of whole plots: the spread of their own on the scale of survival, S log(S) sd, in half of them a side.
    middle = (arms.survival + arms.other) / 2
    own = (middle * math.log(middle) * asked.whole_plot_sd) ** 2
    by_whole = math.sqrt(plain**2 + 4 * own / wholes) if whole else plain
    found = [
        _Effect(work, WORK, between if work in asked.whole_plots else within,
                by_whole if work in asked.whole_plots else plain)
        for work in asked.works
    ]  # fmt: skip
    for first, second in asked.pairs:
        both = {first, second} <= set(asked.whole_plots)
        error = 2 * (by_whole if both else plain)
        found.append(_Effect(f"{first} x {second}", PAIR, between - 1 if both else within, error))
    return found


def _simulated(
    plan: Plan, spread: Spread, asked: Factorial, size: tuple[int, int, int], alpha: float
) -> dict[str, int]:
    """Count the simulated seasons that show each work, and each pair that does more together."""
    blocks, seedlings, studies = size
    frame, sites, wholes = _season(plan, asked, blocks)
    rng = np.random.default_rng([plan.plan.seed, 16])
    columns = [column_of(work) for work in asked.works]
    pairs = [f"{column_of(first)}:{column_of(second)}" for first, second in asked.pairs]
    got = np.column_stack([frame.iloc[:: len(_VISITS)][column] == YES for column in columns]).astype(float)
    cluster = ["site", "block", "whole"] if asked.whole_plots else ["site", "block", "plot"]
    shown = dict.fromkeys([*asked.works, *(f"{a} x {b}" for a, b in asked.pairs)], 0)
    for _ in range(studies):
        own = rng.normal(0.0, spread.plot_sd, len(got))
        own += rng.normal(0.0, asked.whole_plot_sd, wholes.max() + 1)[wholes]
        own += rng.normal(0.0, spread.site_sd, sites.max() + 1)[sites]
        table = _p_values(frame, spread.cumulative * np.exp(own + spread.log_ratio * got.sum(axis=1)),
                          seedlings, columns, cluster, rng)  # fmt: skip
        for work, column in zip(asked.works, columns, strict=True):
            shown[work] += table.get(f"{column}[T.{YES}]", 1.0) < alpha
        for (first, second), term in zip(asked.pairs, pairs, strict=True):
            together = got[:, asked.works.index(first)] * got[:, asked.works.index(second)]
            log_hazard = own + spread.log_ratio * (got.sum(axis=1) + together)
            table = _p_values(
                frame, spread.cumulative * np.exp(log_hazard), seedlings, [*columns, term], cluster, rng
            )
            a, b = (f"{column_of(work)}[T.{YES}]" for work in (first, second))
            shown[f"{first} x {second}"] += table.get(f"{a}:{b}", 1.0) < alpha
    return shown


def _season(plan: Plan, asked: Factorial, blocks: int) -> tuple[pd.DataFrame, Any, Any]:
    """One row a plot and interval between visits, without counts; site and whole plot of each plot."""
    shares = blocks_of(plan, blocks) if plan.sites else [blocks]
    names = [site.name for site in plan.sites] or ["site"]
    rows, sites, wholes, whole = [], [], [], 0
    day = plan.question.day
    marks = [0.0, *(max(1.0, round(share * day)) for share in _VISITS)]
    for place, (name, count) in enumerate(zip(names, shares, strict=True)):
        for block in range(count):
            groups: dict[frozenset[str], int] = {}
            for plot, own in enumerate(asked.sets()):
                key = frozenset(own) & frozenset(asked.whole_plots)
                groups.setdefault(key, whole + len(groups))
                sites.append(place)
                wholes.append(groups[key])
                levels = [YES if work in own else NO for work in asked.works]
                for begins, ends in pairwise(marks):
                    rows.append((name, f"B{block}", f"W{groups[key]}", f"P{plot}", begins, ends, *levels))
            whole += len(groups)
    columns = [column_of(work) for work in asked.works]
    frame = pd.DataFrame(rows, columns=["site", "block", "whole", "plot", "start_day", "stop_day", *columns])
    for column in columns:
        frame[column] = pd.Categorical(frame[column], categories=[NO, YES])
    return frame, np.array(sites), np.array(wholes)


def _p_values(
    frame: pd.DataFrame, cumulative: Floats, seedlings: int, terms: list[str], cluster: list[str], rng: Any
) -> dict[str, float]:
    """Draw the counts of a season and fit the model of works; p of each term, none where it cannot be."""
    shares = np.diff([0.0, *_SHARE_BY])
    chance = 1 - np.exp(-cumulative[:, None] * shares)
    alive = np.full(len(chance), seedlings)
    at_risk, died = np.empty(chance.shape, dtype=int), np.empty(chance.shape, dtype=int)
    for visit in range(chance.shape[1]):
        at_risk[:, visit] = alive
        died[:, visit] = rng.binomial(alive, chance[:, visit])
        alive = alive - died[:, visit]
    rows = frame.assign(at_risk=at_risk.ravel(), died=died.ravel())
    rows = rows[rows["at_risk"] > 0]
    boundaries = sorted(rows["stop_day"].unique())[:-1]
    try:
        made = fit(rows, " + ".join(terms), strata=["site", "block"], cluster=cluster, pieces=boundaries)
    except SurvivorError:  # a season without an answer shows nothing: it counts against the power
        return {}
    return dict(zip(made.table["term"], made.table["p_value"].fillna(1.0), strict=True))
