"""Limits of a survival curve that respect plots.

Seedlings of a plot share its ground, so the plot is left out whole: the jackknife
deletes one plot at a time and sees how far log(-log S) moves. Within a stratum of
n plots the others are weighted up by n / (n - 1) and the squares summed with
(n - 1) / n, so differences between strata (sites) stay out: the limits speak of
these sites. Degrees of freedom: plots less strata.

Few plots, or plots of a stratum that happen to be alike, can show far less spread than
chance alone makes. So limits are never narrower than those of independent seedlings
(``survivor.limits``): the wider of the jackknife's, by t, and of the independent ones, by
the normal. In 27
simulated settings (no to strong correlation within plots, few deaths, two to four plots
a stratum) limits so made held the truth 94 to 100 times in 100; the jackknife alone 93
to 100, but in single studies with limits far narrower than chance.

References: Tukey's jackknife in strata as in Rust and Rao 1996 (Statistical Methods in
Medical Research 5, 283-310); log(-log) limits in Kalbfleisch and Prentice 1980, section 1.3.

How many independent seedlings stand behind a survival of 0 or 100 %, where spread can't be seen.

One rule for curves and for averaged survival: the seedlings whose fate is known, over the
design effect of their plots by the correlation within plots of the whole table, cut for the
few plots that it rests on (``survivor.proportions.effective_number``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Codes, Floats
from survivor.curves.product_limit import product_limit
from survivor.curves.samples import Sample, collect
from survivor.limits import around, half_width, no_less_than_independent
from survivor.proportions import (
    ASSUMED_ICC,
    design_effect_from_icc,
    effective_number,
    plot_correlation,
    wilson,
)
from survivor.vocabulary import CONFIDENCE

Tabulate = Callable[[Sample, Codes, int], tuple[Floats, Floats]]
Scale = Literal["log-log", "log", "plain"]
Replicates = Iterator[tuple[Floats, Codes]]

_CELLS_AT_ONCE: Final = 4_000_000


def replicates(sample: Sample, tabulate: Tabulate) -> Replicates:
    """Curves with one plot left out at a time, some plots at once.

    Parameters
    ----------
    sample
        Risk intervals of one group.
    tabulate
        Gives at risk and died, shape (units, days), for units of rows.

    Yields
    ------
    survival, plots
        Shape (some plots, days), and which plots were left out.
    """
    strata = int(sample.stratum.max()) + 1
    risk_of, died_of = tabulate(sample, sample.stratum[sample.cluster], strata)
    risk, died = risk_of.sum(axis=0), died_of.sum(axis=0)
    size = np.bincount(sample.stratum)
    at_once = max(1, _CELLS_AT_ONCE // max(len(risk), 1))
    for low in range(0, sample.plots, at_once):
        plots = np.arange(low, min(low + at_once, sample.plots))
        edge = np.searchsorted(sample.cluster, [plots[0], plots[-1] + 1])
        unit = np.full(len(sample.cluster), -1, dtype=np.intp)
        unit[edge[0] : edge[1]] = sample.cluster[edge[0] : edge[1]] - low
        risk_plot, died_plot = tabulate(sample, unit, len(plots))
        home = sample.stratum[plots]
        n = size[home][:, None].astype(float)
        # Without the plot, and the rest of its stratum weighted up in its stead.
        risk_left = risk + (risk_of[home] - n * risk_plot) / (n - 1)
        died_left = died + (died_of[home] - n * died_plot) / (n - 1)
        yield product_limit(np.maximum(risk_left, 0.0), np.maximum(died_left, 0.0)), plots


def loglog(survival: Floats) -> Floats:
    """log(-log S); NaN at 0 and 1."""
    inside = (survival > 0) & (survival < 1)
    return np.where(inside, np.log(-np.log(np.where(inside, survival, 0.5))), np.nan)


def jackknife(survival: Floats, without: Replicates, sample: Sample) -> Floats:
    """Variance of log(-log S) from replicates of the curve; NaN at 0 and 1.

    By the delta method on days where a curve without some plot is at 0 or 1, since that
    one has no log(-log).

    Parameters
    ----------
    survival
        Of all plots, shape (days,).
    without
        Pairs of curves without one plot, shape (some, days), and the plots left out.
    sample
        Tells the stratum of each plot.
    """
    size = np.bincount(sample.stratum).astype(float)
    theta = loglog(survival)
    plain, curved = np.zeros_like(survival), np.zeros_like(survival)
    for curves, plots in without:
        share = ((size - 1) / size)[sample.stratum[plots]][:, None]
        plain += (share * (curves - survival) ** 2).sum(axis=0)
        curved += (share * (loglog(curves) - theta) ** 2).sum(axis=0)
    inside = (survival > 0) & (survival < 1)
    safe = np.where(inside, survival, 0.5)
    delta = plain / (safe * np.log(safe)) ** 2
    return np.where(np.isnan(curved), np.where(inside, delta, np.nan), curved)


def on_scale(survival: Floats, log_variance: Floats, scale: Scale) -> tuple[Floats, Floats]:
    """Limits with seedlings independent, from the variance of log survival; NaN at 0 and 1.

    ``log-log`` stays within 0 and 1; ``log`` and ``plain`` are cut there.
    """
    inside = (survival > 0) & (survival < 1)
    s = np.where(inside, survival, 0.5)
    half = half_width(np.sqrt(np.where(inside, log_variance, 0.0)), np.inf)
    if scale == "log-log":
        return around(survival, half / np.abs(np.log(s)))
    ends = s * np.exp(-half), s * np.exp(half)
    if scale == "plain":
        ends = s - half * s, s + half * s
    lower, upper = (np.where(inside, np.clip(limit, 0, 1), np.nan) for limit in ends)
    return lower, upper


def by_plots(
    survival: Floats, loglog_variance: Floats, df: float, independent: Floats
) -> tuple[Floats, Floats, Floats]:
    """Make standard error and limits from the jackknife's variance of log(-log S), by t; NaN at 0 and 1.

    ``independent``: variance of log S with seedlings independent, for the rule of
    ``survivor.limits``. The standard error is of survival, the one that the limits rest on.
    """
    inside = (survival > 0) & (survival < 1) & np.isfinite(independent)
    scale = np.abs(np.log(np.where(inside, survival, 0.5)))
    floor = np.sqrt(np.where(inside, independent, 0.0)) / scale
    error = no_less_than_independent(np.sqrt(loglog_variance), df, floor)
    return (np.where(inside, error * survival * scale, np.nan), *around(survival, half_width(error, df)))


def never_rising(lower: Floats, upper: Floats) -> tuple[Floats, Floats]:
    """Limits of a curve, widened until neither rises with time; days run along the axis, NaN stay.

    Turnbull's limits are made day by day and may rise where the curve falls; the widest before (lower)
    or after (upper) then stands, so that no day claims more than it did.
    """
    low = np.fmin.accumulate(lower)
    high = np.fmax.accumulate(upper[::-1])[::-1]
    return np.where(np.isnan(lower), np.nan, low), np.where(np.isnan(upper), np.nan, high)


def at_edges(
    survival: Floats, number: Floats, edge: NDArray[np.bool_], effect: float, df: float | None
) -> tuple[Floats, Floats]:
    """Wilson limits on the effective number at the days marked; NaN elsewhere.

    Parameters
    ----------
    survival
        Shape (days,).
    number
        Seedlings whose fate is known on each day, shape (days,).
    edge
        Days to give limits for: those on which survival is 0 or 1.
    effect
        Design effect of the plots.
    df
        Plots less strata; None where seedlings are independent.
    """
    lower, upper = np.full_like(survival, np.nan), np.full_like(survival, np.nan)
    if edge.any():
        worth = effective_number(number[edge], effect, df)
        lower[edge], upper[edge] = wilson(survival[edge] * worth, worth)
    return lower, upper


def correlation(samples: Sequence[Sample]) -> float:
    """Correlation of seedlings within plots over the whole watch, within groups and strata, 0 or more."""
    entered = [sample.entered() for sample in samples]
    died = [np.bincount(s.cluster, weights=s.died, minlength=s.plots) for s in samples]
    number, dead = np.concatenate(entered), np.concatenate(died)
    # Differences between strata are in no limits of a group, so they are no likeness of plots either.
    before = np.cumsum([0, *(int(s.stratum.max()) + 1 for s in samples)])
    group = np.concatenate([s.stratum + first for s, first in zip(samples, before, strict=False)])
    if len(number) <= len(np.unique(group)) or not np.any(number > 1) or not 0 < dead.sum() < number.sum():
        return ASSUMED_ICC
    icc = plot_correlation(number - dead, number, group).icc
    return max(icc, 0.0) if np.isfinite(icc) else ASSUMED_ICC


def effect_of_plots(sample: Sample, icc: float) -> float:
    """Design effect of the plots of a group, from their sizes and the correlation within them."""
    entered = sample.entered()
    return design_effect_from_icc(float((entered**2).sum() / entered.sum()), icc)


def edge_numbers(
    frame: pd.DataFrame,
    by: str | None,
    day: float,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    level: float = CONFIDENCE,
) -> dict[str, float]:
    """Effective number of seedlings of each group at a day, as its curve takes it at 0 and 100 %.

    Parameters
    ----------
    frame
        Risk intervals.
    by
        Column of groups; None: one, called ``all``.
    day
        Days since planting.
    cluster, strata
        As for ``survivor.curve``.
    level
        Confidence level of the limits.

    Returns
    -------
    dict
        By the name of the group; NaN where one plot only tells.
    """
    labels, samples = collect(frame, by, cluster, strata)
    icc = correlation(samples) if cluster is not None else 0.0
    numbers = {}
    for label, sample in zip(labels, samples, strict=True):
        watched = float(sample.at_risk[(sample.start < day) & (day <= sample.stop)].sum())
        dead = float(sample.died[sample.stop <= day].sum())
        alone = not sample.clustered
        effect, df = (1.0, None) if alone else (effect_of_plots(sample, icc), float(sample.df))
        numbers[str(label)] = float(effective_number(watched or dead, effect, df, level))
    return numbers
