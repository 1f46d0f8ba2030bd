"""Kaplan-Meier on risk intervals, for tags and counts alike.

Convention: a seedling is at risk on (start, stop]. One found dead at ``stop`` died
then, as far as this curve is concerned; one tagged on day 20 is not at risk on day 20
but is on any later day up to its last. The number at risk may therefore rise.

Reference: Kaplan and Meier 1958 (Journal of the American Statistical Association 53,
457-481); delayed entry as in Klein and Moeschberger 2003, section 4.6.
"""

from __future__ import annotations

import numpy as np

from survivor.curves.samples import Codes, FloatArray, Sample, sums


def risk_sets(sample: Sample, days: FloatArray, unit: Codes, units: int) -> tuple[FloatArray, FloatArray]:
    """Seedlings at risk and found dead at each of ``days``, by unit.

    Parameters
    ----------
    sample
        Risk intervals of one group.
    days
        Ascending; hold every stop day of the sample for a product limit.
    unit, units
        Unit of each row (a plot, a stratum, or 0 for all), and how many there are.
        A unit of -1 leaves the row out.

    Returns
    -------
    at_risk, died
        Shape (units, days).
    """
    kept = unit >= 0
    wide = len(days) + 1
    at = unit[kept] * wide
    enters = np.searchsorted(days, sample.start[kept], side="right")
    leaves = np.searchsorted(days, sample.stop[kept], side="right")
    size = units * wide
    steps = sums(at + enters, sample.at_risk[kept], size) - sums(at + leaves, sample.at_risk[kept], size)
    at_risk = steps.reshape(units, wide).cumsum(axis=1)[:, :-1]
    found = np.searchsorted(days, sample.stop[kept], side="left")
    died = sums(at + found, sample.died[kept], size).reshape(units, wide)[:, :-1]
    return at_risk, died


def product_limit(at_risk: FloatArray, died: FloatArray) -> FloatArray:
    """Product over days of the share that lived through each; days run along the last axis.

    A day on which nobody was at risk leaves the curve as it was.
    """
    watched = at_risk > 1e-9
    share: FloatArray = np.ones_like(at_risk)
    np.divide(at_risk - died, at_risk, out=share, where=watched)
    share[share < 1e-12] = 0.0
    share[np.abs(share - 1) < 1e-12] = 1.0
    survival: FloatArray = np.cumprod(share, axis=-1, dtype=np.float64)
    return survival


def greenwood(at_risk: FloatArray, died: FloatArray) -> FloatArray:
    """Variance of log survival with seedlings independent: sum of d / (n (n - d)).

    Greenwood 1926. NaN from the day on which nobody is left.
    """
    alive = at_risk - died
    watched = at_risk > 1e-9
    left = watched & (alive > 1e-9)
    term = np.where(left, died / np.where(left, at_risk * alive, 1.0), np.where(watched, np.nan, 0.0))
    variance: FloatArray = np.cumsum(term)
    return variance
