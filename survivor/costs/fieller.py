"""Limits of a ratio of two estimates (Fieller 1954, Journal of the Royal Statistical Society B 16, 175-185).

The limits are the ratios r for which the difference of costs less r times the
difference of effects is not clear from nought. They close an interval only where the
effects themselves are clear from nought.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from survivor.vocabulary import CONFIDENCE


@dataclass(frozen=True)
class RatioLimits:
    """Limits of a ratio; NaN where they do not close an interval, and ``bounded`` is false."""

    lower: float
    upper: float
    bounded: bool


def fieller(
    above: float,
    below: float,
    variance_above: float,
    variance_below: float,
    covariance: float = 0.0,
    df: float = math.inf,
) -> RatioLimits:
    """95 % limits of ``above / below``.

    Parameters
    ----------
    above, below
        The two estimates.
    variance_above, variance_below, covariance
        Of these.
    df
        Degrees of freedom of the quantile; infinite: normal.

    Returns
    -------
    RatioLimits
        Not bounded where ``below`` is not clear from 0, or where its spread or ``df`` is not known.
    """
    none = RatioLimits(math.nan, math.nan, False)
    if not df > 0 or not all(map(math.isfinite, (above, below, variance_above, variance_below, covariance))):
        return none
    tail = 0.5 + CONFIDENCE / 2
    quantile = float(stats.norm.ppf(tail) if math.isinf(df) else stats.t.ppf(tail, df)) ** 2
    square = below**2 - quantile * variance_below
    middle = below * above - quantile * covariance
    rest = above**2 - quantile * variance_above
    inside = middle**2 - square * rest
    if square <= 0 or inside < 0:
        return none
    root = math.sqrt(inside)
    return RatioLimits((middle - root) / square, (middle + root) / square, True)
