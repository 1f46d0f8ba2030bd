"""Mean days alive out of the first so many: the area under a Kaplan-Meier curve, exactly.

Reference: Klein and Moeschberger 2003, Survival Analysis, section 4.5.
"""

from __future__ import annotations

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


def restricted_mean(sample: Sample, until: float) -> tuple[float, float, float, float]:
    """Mean days alive from the start of the watch to day ``until``.

    Returns
    -------
    mean, std_error, lower, upper
        Days. By the jackknife over plots with t on plots less strata, or Greenwood's
        formula and the normal where seedlings are independent. Limits are cut at 0
        and the length of the watch.
    """
    first = float(sample.start.min())
    days = np.unique(sample.stop)
    at_risk, died = (x[0] for x in risk_sets(sample, days, np.zeros(len(sample.cluster), dtype=np.intp), 1))
    survival = product_limit(at_risk, died)
    mean = float(area(days, survival, first, until))
    if sample.clustered:
        if sample.df < 1:
            return mean, float("nan"), float("nan"), float("nan")
        variance = 0.0
        size = np.bincount(sample.stratum).astype(float)
        for curves, plots in replicates(sample, lambda s, u, n: risk_sets(s, days, u, n)):
            share = ((size - 1) / size)[sample.stratum[plots]]
            variance += float((share * (area(days, curves, first, until) - mean) ** 2).sum())
        half_widths = quantile(sample.df)
    else:
        ahead = mean - np.array([float(area(days, survival, first, min(day, until))) for day in days])
        alive = at_risk - died
        left = (alive > 1e-9) & (days <= until)
        variance = float((ahead[left] ** 2 * died[left] / (at_risk[left] * alive[left])).sum())
        half_widths = quantile(None)
    std_error = variance**0.5
    half = half_widths * std_error
    return mean, std_error, max(mean - half, 0.0), min(mean + half, until - first)
