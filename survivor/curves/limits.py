"""Limits of a survival curve that respect plots.

Seedlings of a plot share its ground, so the plot is left out whole: the jackknife
deletes one plot at a time and sees how far log(-log S) moves. Within a stratum of
n plots the others are weighted up by n / (n - 1) and the squares summed with
(n - 1) / n, so differences between strata (sites) stay out: the limits speak of
these sites. Degrees of freedom: plots less strata.

Few plots, or plots of a stratum that happen to be alike, can show far less spread than
chance alone makes. So limits are never narrower than those of independent seedlings:
the wider of the jackknife's, by t, and of the independent ones, by the normal. In 27
simulated settings (no to strong correlation within plots, few deaths, two to four plots
a stratum) limits so made held the truth 94 to 100 times in 100; the jackknife alone 93
to 100, but in single studies with limits far narrower than chance.

References: Tukey's jackknife in strata as in Rust and Rao 1996 (Statistical Methods in
Medical Research 5, 283-310); log(-log) limits in Kalbfleisch and Prentice 1980, section 1.3.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, stdtrit

from survivor.curves.kaplan_meier import product_limit
from survivor.curves.samples import Codes, FloatArray, Sample
from survivor.proportions import effective_number, wilson
from survivor.vocabulary import CONFIDENCE

Tabulate = Callable[[Sample, Codes, int], tuple[FloatArray, FloatArray]]
Scale = Literal["log-log", "log", "plain"]
Replicates = Iterator[tuple[FloatArray, Codes]]

_CELLS_AT_ONCE: Final = 4_000_000
_TAIL: Final = 0.5 + CONFIDENCE / 2


def quantile(df: float | None) -> float:
    """Two-sided 95 % quantile: normal without degrees of freedom, NaN where there are none left."""
    if df is None:
        return float(ndtri(_TAIL))
    return float(stdtrit(df, _TAIL)) if df > 0 else float("nan")


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


def loglog(survival: FloatArray) -> FloatArray:
    """log(-log S); NaN at 0 and 1."""
    inside = (survival > 0) & (survival < 1)
    out: FloatArray = np.where(inside, np.log(-np.log(np.where(inside, survival, 0.5))), np.nan)
    return out


def jackknife(survival: FloatArray, without: Replicates, sample: Sample) -> FloatArray:
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
    variance: FloatArray = np.where(np.isnan(curved), np.where(inside, delta, np.nan), curved)
    return variance


def on_scale(survival: FloatArray, log_variance: FloatArray, scale: Scale) -> tuple[FloatArray, FloatArray]:
    """Limits with seedlings independent, from the variance of log survival; NaN at 0 and 1.

    ``log-log`` stays within 0 and 1; ``log`` and ``plain`` are cut there.
    """
    inside = (survival > 0) & (survival < 1)
    s = np.where(inside, survival, 0.5)
    half = quantile(None) * np.sqrt(np.where(inside, log_variance, 0.0))
    if scale == "log-log":
        return _around(survival, half / np.abs(np.log(s)))
    around = s * np.exp(-half), s * np.exp(half)
    if scale == "plain":
        around = s - half * s, s + half * s
    lower, upper = (np.where(inside, np.clip(limit, 0, 1), np.nan) for limit in around)
    return lower, upper


def by_plots(
    survival: FloatArray, loglog_variance: FloatArray, df: float, independent: FloatArray | None = None
) -> tuple[FloatArray, FloatArray]:
    """Limits from the jackknife's variance of log(-log S), by t on ``df``; NaN at 0 and 1.

    ``independent``: variance of log S with seedlings independent, under whose limits (by
    the normal) these never go; None: no such floor.
    """
    half = quantile(df) * np.sqrt(loglog_variance)
    if independent is not None:
        inside = (survival > 0) & (survival < 1) & np.isfinite(independent)
        scale = np.abs(np.log(np.where(inside, survival, 0.5)))
        floor = quantile(None) * np.sqrt(np.where(inside, independent, 0.0)) / scale
        half = np.maximum(half, floor)
    return _around(survival, half)


def _around(survival: FloatArray, half: FloatArray) -> tuple[FloatArray, FloatArray]:
    """S to the power exp(+-half): log(-log S) falls as S rises."""
    inside = (survival > 0) & (survival < 1)
    s = np.where(inside, survival, 0.5)
    lower, upper = s ** np.exp(half), s ** np.exp(-half)
    return np.where(inside, lower, np.nan), np.where(inside, upper, np.nan)


def at_edges(
    survival: FloatArray, number: FloatArray, edge: NDArray[np.bool_], effect: float, df: float | None
) -> tuple[FloatArray, FloatArray]:
    """Wilson limits on the effective number at the days marked; NaN elsewhere.

    Parameters
    ----------
    survival
        Shape (days,).
    number
        Seedlings whose fate is known on each day, shape (days,).
    edge
        Days to give limits for: survival is 0 or 1, or no spread is seen.
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
