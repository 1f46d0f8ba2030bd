"""Limits of a pooled estimate, and of what a new unit may show.

For the mean the bias-reduced variance of each unit's own residual, with Satterthwaite degrees of
freedom (Bell and McCaffrey 2002, Surv. Methodol. 28, 169-181; for pooled units Tipton 2015,
Psychol. Methods 20, 375-393); Hartung and Knapp 2001 (Stat. Med. 20, 3875-3889); with traits
Knapp and Hartung 2003 (Stat. Med. 22, 2693-2710). For a new unit the usual t limits (Higgins, Thompson
and Spiegelhalter 2009, J. R. Stat. Soc. A 172, 137-159) hold too seldom where units are few;
see ``tests/calibration/pooled_limits.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import special, stats

from survivor.arrays import Floats
from survivor.pooling.spread import Method, Weighted, at_squares, weighted
from survivor.vocabulary import CONFIDENCE

Limits = Literal["cr2", "hartung-knapp", "normal"]
TrendLimits = Literal["hartung-knapp", "normal"]
Factor = Literal["as is", "at least 1"]
LIMITS: Final[tuple[Limits, ...]] = ("cr2", "hartung-knapp", "normal")
TREND_LIMITS: Final[tuple[TrendLimits, ...]] = ("hartung-knapp", "normal")
FACTORS: Final[tuple[Factor, ...]] = ("as is", "at least 1")


@dataclass(frozen=True)
class Pooling:
    """How estimates are pooled: ``method, limits, factor`` as for :func:`survivor.pool`."""

    method: Method = "reml"
    limits: Limits = "cr2"
    factor: Factor = "as is"


_QUANTILES = 400  # of chi-square, for the limits of a new unit
_HALVINGS = 60
_SMALLEST = 1e-12  # of one less a leverage: a unit that alone tells a coefficient has no residual
_FAR = 9.0  # standard deviations beyond which a normal has nothing that counts


@dataclass(frozen=True)
class Means:
    """Coefficients with their covariance.

    Attributes
    ----------
    coefficients
        Shape (..., columns).
    covariance
        Shape (..., columns, columns), with the factor in it where it was used.
    factor
        Hartung and Knapp's factor on variances as it was found, shape (...,): one where
        the units differ as much as their standard errors and their spread say.
    df
        Degrees of freedom of t, one for all or of shape (..., columns); infinite for normal limits.
    """

    coefficients: Floats
    covariance: Floats
    factor: Floats
    df: float | Floats

    @property
    def std_error(self) -> Floats:
        """Standard errors, shape (..., columns)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1))

    @property
    def half_width(self) -> Floats:
        """Half the width of the 95 % CI, shape (..., columns)."""
        return np.asarray(stats.t.ppf((1 + CONFIDENCE) / 2, self.df) * self.std_error)


def quantile(df: float) -> float:
    """Quantile of t (of the normal where ``df`` is infinite) of two-sided 95 % CI."""
    return float(stats.t.ppf((1 + CONFIDENCE) / 2, df))


def means(
    estimates: Floats, variances: Floats, columns: Floats, between: Floats, limits: Limits, factor: Factor
) -> Means:
    """Pool estimates given the variance between units.

    Parameters
    ----------
    estimates, variances
        Shape (..., units).
    columns
        Shape (units, columns).
    between
        Shape (...,).
    limits, factor
        ``as is`` takes Hartung and Knapp's factor as found; ``at least 1`` never lets it
        make limits narrower. Other limits have no factor.
    """
    fitted = weighted(estimates, 1 / (variances + between[..., None]), columns)
    df = estimates.shape[-1] - columns.shape[1]
    scale = fitted.squares / df
    if limits == "normal":
        return Means(fitted.coefficients, fitted.unscaled, scale, float("inf"))
    if limits == "cr2":
        covariance, own_df = _bias_reduced(fitted, variances + between[..., None], columns)
        return Means(fitted.coefficients, covariance, scale, own_df)
    used = np.maximum(scale, 1.0) if factor == "at least 1" else scale
    return Means(fitted.coefficients, fitted.unscaled * used[..., None, None], scale, float(df))


def _bias_reduced(fitted: Weighted, total: Floats, columns: Floats) -> tuple[Floats, Floats]:
    """Covariance by each unit's own residual, and the degrees of freedom of each coefficient.

    A residual squared falls short of its variance by one less the unit's leverage, and is divided
    by it: without bias where ``total`` holds. The degrees of freedom are those of the chi-square
    with the mean and variance that the estimated variance would then have. Units that weigh more
    than others leave fewer than units less columns.
    """
    pull = np.einsum("...pq,uq->...up", fitted.unscaled, columns) / total[..., None]
    leverage = np.einsum("up,...up->...u", columns, pull)
    sure = 1 / np.maximum(1 - leverage, _SMALLEST)
    covariance = np.einsum("...up,...uq,...u->...pq", pull, pull, sure * fitted.residuals**2)
    taken = np.einsum("up,...pq,vq->...uv", columns, fitted.unscaled, columns)
    own = np.eye(columns.shape[0]) * total[..., None] - taken  # covariance of the residuals
    weight = pull**2 * sure[..., None]
    mean = np.einsum("...up,...uu->...p", weight, own)
    square = np.einsum("...up,...uv,...vp->...p", weight, own**2, weight)
    return covariance, mean**2 / square


def new_unit(estimates: Floats, variances: Floats, columns: Floats) -> tuple[Floats, Floats]:
    """95 % CI of the true value of a new unit, each of shape (...,).

    The variance between units is not known, and with few units hardly so. Weighted squares
    at the true variance follow chi-square: each of its quantiles is one variance that the
    units may have, and given it a new unit is normal round the mean of that variance. The
    limits are quantiles of all these together, so nothing is allocated at random. With equal
    standard errors small beside the spread they are the usual t limits for one more value
    of a sample (see Nagashima, Noma and Furukawa 2019, Stat. Methods Med. Res. 28, 1689-1702).

    Parameters
    ----------
    estimates, variances
        Shape (..., units).
    columns
        A column of ones, shape (units, 1).
    """
    df = estimates.shape[-1] - 1
    wanted = stats.chi2.ppf((np.arange(_QUANTILES) + 0.5) / _QUANTILES, df)
    many, spread = estimates[..., None, :], variances[..., None, :]
    between = at_squares(many, spread, columns, wanted)
    fitted = weighted(many, 1 / (spread + between[..., None]), columns)
    middle = fitted.coefficients[..., 0]
    width = np.sqrt(between + fitted.unscaled[..., 0, 0])
    tail = (1 - CONFIDENCE) / 2
    return _of_mixture(middle, width, tail), _of_mixture(middle, width, 1 - tail)


def _of_mixture(middle: Floats, width: Floats, share: float) -> Floats:
    """Quantile of normals in equal shares along the last axis."""
    low, high = (middle - _FAR * width).min(axis=-1), (middle + _FAR * width).max(axis=-1)
    for _ in range(_HALVINGS):
        half = (low + high) / 2
        under = special.ndtr((half[..., None] - middle) / width).mean(axis=-1) < share
        low, high = np.where(under, half, low), np.where(under, high, half)
    return np.asarray((low + high) / 2)


def new_unit_by_t(pooled: Means, between: Floats, df: float) -> tuple[Floats, Floats]:
    """Give the same limits with the variance taken as known, but for t (Higgins et al. 2009)."""
    half = quantile(df) * np.sqrt(between + pooled.covariance[..., 0, 0])
    return pooled.coefficients[..., 0] - half, pooled.coefficients[..., 0] + half
