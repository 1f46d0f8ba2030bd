"""Mean days alive out of the first so many: the area under a Kaplan-Meier curve, exactly.

Reference: Klein and Moeschberger 2003, Survival Analysis, section 4.5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from survivor.curves.kaplan_meier import product_limit, risk_sets
from survivor.curves.limits import quantile, replicates
from survivor.curves.samples import FloatArray, Sample


def area(days: FloatArray, survival: FloatArray, first: float, until: float) -> FloatArray:
    """Area under steps from ``first`` to ``until``; days run along the last axis of ``survival``."""
    edges = np.clip(np.concatenate([[first], days, [max(until, days[-1])]]), first, until)
    ones = np.ones((*survival.shape[:-1], 1))
    heights = np.concatenate([ones, survival], axis=-1)
    total: FloatArray = heights @ np.diff(edges)
    return total


@dataclass(frozen=True)
class MeanDays:
    """A restricted mean and what its variance is made of.

    Attributes
    ----------
    mean, variance
        Days, and days squared.
    pulls
        How far the mean moves without each plot, times the root of what that counts:
        their squares sum to the variance; shape (plots,). Empty where seedlings are independent.
    df
        Degrees of freedom; None where seedlings are independent.
    independent
        Variance with seedlings independent (Greenwood).
    """

    mean: float
    variance: float
    pulls: FloatArray
    df: int | None
    independent: float


def mean_days(sample: Sample, until: float) -> MeanDays:
    """Mean days alive from the start of the watch to day ``until``.

    By the jackknife over plots with t on plots less strata (NaN where none is left), or
    Greenwood's formula and the normal where seedlings are independent.
    """
    first = float(sample.start.min())
    days = np.unique(sample.stop)
    at_risk, died = (x[0] for x in risk_sets(sample, days, np.zeros(len(sample.cluster), dtype=np.intp), 1))
    survival = product_limit(at_risk, died)
    mean = float(area(days, survival, first, until))
    ahead = mean - np.array([float(area(days, survival, first, min(day, until))) for day in days])
    alive = at_risk - died
    left = (alive > 1e-9) & (days <= until)
    plain = float((ahead[left] ** 2 * died[left] / (at_risk[left] * alive[left])).sum())
    if sample.clustered:
        pulls = np.full(sample.plots, np.nan)
        if sample.df >= 1:
            size = np.bincount(sample.stratum).astype(float)
            for curves, plots in replicates(sample, lambda s, u, n: risk_sets(s, days, u, n)):
                share = ((size - 1) / size)[sample.stratum[plots]]
                pulls[plots] = np.sqrt(share) * (area(days, curves, first, until) - mean)
        return MeanDays(mean, float(pulls @ pulls), pulls, sample.df, plain)
    return MeanDays(mean, plain, np.empty(0), None, plain)


def wider(variance: float, df: float | None, independent: float) -> tuple[float, float | None]:
    """Variance and its df, or those of independent seedlings (df None) where their limits are wider.

    Plots that happen to be alike show less spread than chance makes.
    """
    if df is None or not df > 0 or quantile(df) ** 2 * variance >= quantile(None) ** 2 * independent:
        return variance, df
    return independent, None


def restricted_mean(sample: Sample, until: float) -> tuple[float, float, float, float, float]:
    """Mean days alive from the start of the watch to day ``until``, with limits.

    Returns
    -------
    mean, std_error, df, lower, upper
        Days (df: infinite where limits are those of independent seedlings); see
        :func:`mean_days` and :func:`wider`. Limits are cut at 0 and the length of the watch.
    """
    found = mean_days(sample, until)
    if np.isnan(found.variance):
        return found.mean, float("nan"), float(sample.df), float("nan"), float("nan")
    variance, df = wider(found.variance, found.df, found.independent)
    half = quantile(df) * variance**0.5
    longest = until - float(sample.start.min())
    spread = (variance**0.5, np.inf if df is None else float(df))
    return found.mean, *spread, max(found.mean - half, 0.0), min(found.mean + half, longest)
