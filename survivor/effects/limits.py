"""Limits of survival and of differences, and what is said at 0 and 100 %.

Survival is given limits on the log(-log) scale (Kalbfleisch and Prentice 1980,
section 1.3), so that they stay between 0 and 100. There a survival of exactly
0 or 1 has no limits; the score limits of Wilson (1927, Journal of the American
Statistical Association 22, 209-212) on the effective number of seedlings take their
place, by the same rule as in the curves (``survivor.curves.edges``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from survivor import proportions
from survivor.models.result import Estimates
from survivor.vocabulary import CONFIDENCE

Floats = NDArray[np.float64]

_EDGE = 1e-9  # survival closer than this to 0 or 1 is at the edge


@dataclass(frozen=True)
class Limits:
    """Limits of each estimate, shape (m,), and which of them stand at 0 or 100 %."""

    lower: Floats
    upper: Floats
    edge: NDArray[np.bool_]


def half_width(std_error: Floats, df: Floats) -> Floats:
    """Half the width of 95 % limits by t; infinite ``df`` gives the normal quantile.

    Blank degrees of freedom give blank limits: there is no honest width.
    """
    usable = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    quantile = stats.t.ppf(0.5 + CONFIDENCE / 2, usable)
    quantile = np.where(np.isposinf(df), stats.norm.ppf(0.5 + CONFIDENCE / 2), quantile)
    width: Floats = np.where(np.isnan(df) | (df <= 0), np.nan, quantile) * std_error
    return width


def at_edge(survival: Floats) -> NDArray[np.bool_]:
    """Whether each survival (0 to 1) is 0 or 1 to within rounding."""
    edge: NDArray[np.bool_] = (survival <= _EDGE) | (survival >= 1 - _EDGE)
    return edge


def loglog_slope(survival: Floats) -> Floats:
    """Return the derivative of log(-log S) in S; 0 at the edges, where there is none."""
    inside = ~at_edge(survival)
    safe = np.where(inside, survival, 0.5)
    slope: Floats = np.where(inside, 1 / (safe * np.log(safe)), 0.0)
    return slope


def survival_limits(survival: Floats, std_error: Floats, df: Floats, effective: Floats) -> Limits:
    """95 % limits of survival.

    Parameters
    ----------
    survival, std_error
        Between 0 and 1, shape (m,).
    df
        Degrees of freedom of each.
    effective
        Effective number of seedlings for Wilson limits at 0 or 100 %.

    Returns
    -------
    Limits
        ``edge`` is true where Wilson's limits were used.
    """
    edge = at_edge(survival) | ~(std_error > 0)
    safe = np.where(edge, 0.5, survival)
    centre = np.log(-np.log(safe))
    width = half_width(std_error * np.abs(loglog_slope(safe)), df)
    # log(-log S) falls as S rises: adding the width gives the lower limit.
    lower = np.exp(-np.exp(centre + width))
    upper = np.exp(-np.exp(centre - width))
    wilson_lower, wilson_upper = wilson(survival, effective)
    return Limits(np.where(edge, wilson_lower, lower), np.where(edge, wilson_upper, upper), edge)


def limits_of_survival(found: Estimates, effective: Floats) -> Limits:
    """95 % limits of averages of survival: the model's own where it has some, else ``survival_limits``."""
    usual = survival_limits(
        np.asarray(found.estimate, dtype=float),
        found.std_error,
        np.asarray(found.df, dtype=float),
        effective,
    )
    if found.lower is None or found.upper is None:
        return usual
    own = np.isfinite(found.lower) & np.isfinite(found.upper)
    return Limits(
        np.where(own, found.lower, usual.lower), np.where(own, found.upper, usual.upper), usual.edge & ~own
    )


def limits_of_differences(found: Estimates) -> tuple[Floats, Floats, Floats]:
    """95 % limits and p-value of each difference: the model's own where it has some, else by t."""
    estimate, df = np.asarray(found.estimate, dtype=float), np.asarray(found.df, dtype=float)
    width = half_width(found.std_error, df)
    lower, upper, p_value = estimate - width, estimate + width, t_test(estimate, found.std_error, df)
    if found.lower is None or found.upper is None or found.p_value is None:
        return lower, upper, p_value
    own = np.isfinite(found.lower) & np.isfinite(found.upper) & np.isfinite(found.p_value)
    return (
        np.where(own, found.lower, lower),
        np.where(own, found.upper, upper),
        np.where(own, found.p_value, p_value),
    )


def wilson(share: Floats, number: Floats) -> tuple[Floats, Floats]:
    """Score limits of a share (0 to 1) of ``number``; blank where the number is not positive."""
    known = np.where(number > 0, number, 0.0)
    return proportions.wilson(np.clip(share, 0.0, 1.0) * known, known)


def t_test(estimate: Floats, std_error: Floats, df: Floats) -> Floats:
    """Two-sided p of each estimate against 0, on the scale of the estimate."""
    known = (std_error > 0) & ~np.isnan(df) & (df > 0)
    size = np.abs(estimate) / np.where(known, std_error, 1.0)
    finite = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    p_value = np.where(np.isposinf(df), 2 * stats.norm.sf(size), 2 * stats.t.sf(size, finite))
    result: Floats = np.where(known, p_value, np.nan)
    return result
