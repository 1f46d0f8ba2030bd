"""The variance between units: how far their true values lie apart, apart from sampling.

DerSimonian and Laird 1986 (Control. Clin. Trials 7, 177-188); Paule and Mandel 1982
(J. Res. Natl. Bur. Stand. 87, 377-385); restricted maximum likelihood as Viechtbauer
2005 (J. Educ. Behav. Stat. 30, 261-293). Limits by the Q profile (Viechtbauer 2007,
Stat. Med. 26, 37-52).

Weighted least squares of many small data sets at once.

Every function takes estimates of shape (..., units), so that one call serves one
answer or ten thousand simulated ones.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import stats

from survivor.arrays import Codes, Floats
from survivor.vocabulary import CONFIDENCE


@dataclass(frozen=True)
class Weighted:
    """Coefficients of weighted least squares.

    Attributes
    ----------
    coefficients
        Shape (..., columns).
    unscaled
        Inverse of X'WX, shape (..., columns, columns): their covariance where the
        weights are one over the true variances.
    residuals
        Shape (..., units).
    squares
        Weighted sum of squared residuals, shape (...,).
    """

    coefficients: Floats
    unscaled: Floats
    residuals: Floats
    squares: Floats


def weighted(estimates: Floats, weights: Floats, columns: Floats) -> Weighted:
    """Fit estimates on columns with weights.

    Parameters
    ----------
    estimates, weights
        Shape (..., units).
    columns
        Shape (units, columns), of full rank.
    """
    cross = np.einsum("up,...u,uq->...pq", columns, weights, columns)
    unscaled = np.linalg.inv(cross)
    right = np.einsum("up,...u->...p", columns, weights * estimates)
    coefficients = np.einsum("...pq,...q->...p", unscaled, right)
    residuals = estimates - coefficients @ columns.T
    squares = np.sum(weights * residuals**2, axis=-1)
    return Weighted(coefficients, unscaled, residuals, squares)


def projected_trace(weights: Floats, unscaled: Floats, columns: Floats) -> Floats:
    """Trace of W - WX(X'WX)^-1X'W, shape (...,)."""
    second = np.einsum("up,...u,uq->...pq", columns, weights**2, columns)
    taken = np.einsum("...pq,...qp->...", unscaled, second)
    return np.asarray(np.sum(weights, axis=-1) - taken)


Method = Literal["reml", "dl", "pm", "fixed"]
METHODS: Final[tuple[Method, ...]] = ("reml", "dl", "pm", "fixed")

_HALVINGS = 80  # of a bracket: beyond what a double can tell apart
_GRID = 48  # places at which the restricted likelihood is looked at before it is climbed
_AT_ONCE = 40_000  # estimates whose grids are held at once


def between_variance(estimates: Floats, variances: Floats, columns: Floats, method: Method) -> Floats:
    """Variance between units that the columns do not explain.

    Parameters
    ----------
    estimates, variances
        Shape (..., units); sampling variances.
    columns
        Shape (units, columns); a column of ones where nothing explains.
    method
        ``fixed`` gives zero.

    Returns
    -------
    ndarray
        Shape (...,), at least 0.
    """
    if method == "fixed":
        return np.zeros(estimates.shape[:-1])
    if method == "dl":
        return _by_moments(estimates, variances, columns)
    if method == "pm":
        expected = estimates.shape[-1] - columns.shape[1]
        return at_squares(estimates, variances, columns, float(expected))
    return _restricted(estimates, variances, columns)


def without_each(units: int) -> Codes:
    """Give the places of all units but one, a row for each left out; shape (units, units - 1)."""
    places = np.arange(units)
    return np.array([places[places != out] for out in places])


def squares_at(estimates: Floats, variances: Floats, columns: Floats, between: Floats) -> Floats:
    """Weighted squares of residuals were ``between`` the variance between units, shape (...,)."""
    return weighted(estimates, 1 / (variances + between[..., None]), columns).squares


def profile_limits(estimates: Floats, variances: Floats, columns: Floats) -> tuple[Floats, Floats]:
    """95 % CI of the variance between units by the Q profile, each of shape (...,)."""
    df = estimates.shape[-1] - columns.shape[1]
    tail = (1 - CONFIDENCE) / 2
    high, low = stats.chi2.ppf([1 - tail, tail], df)
    return (
        at_squares(estimates, variances, columns, float(high)),
        at_squares(estimates, variances, columns, float(low)),
    )


def at_squares(estimates: Floats, variances: Floats, columns: Floats, wanted: float | Floats) -> Floats:
    """Variance between units at which the weighted squares are ``wanted``; 0 where they never are.

    The squares fall as the variance grows, so halving a bracket finds it. ``wanted`` may be
    an array that goes with the leading axes.
    """
    low = np.zeros(np.broadcast_shapes(estimates.shape[:-1], np.shape(wanted)))
    # Residual squares about any centre are at most those about the mean, and a residual
    # weight is under one over the variance between units: at this the squares are under wanted.
    middle = estimates.mean(axis=-1, keepdims=True)
    high = np.sum((estimates - middle) ** 2, axis=-1) / wanted
    zero = squares_at(estimates, variances, columns, low) <= wanted
    for _ in range(_HALVINGS):
        half = (low + high) / 2
        over = squares_at(estimates, variances, columns, half) > wanted
        low, high = np.where(over, half, low), np.where(over, high, half)
    return np.where(zero, 0.0, (low + high) / 2)


def typical_variance(variances: Floats, columns: Floats) -> Floats:
    """Give the sampling variance of a typical unit (Higgins and Thompson 2002, Stat. Med. 21, 1539-1558)."""
    fitted = weighted(np.zeros_like(variances), 1 / variances, columns)
    df = variances.shape[-1] - columns.shape[1]
    return np.asarray(df / projected_trace(1 / variances, fitted.unscaled, columns))


def _by_moments(estimates: Floats, variances: Floats, columns: Floats) -> Floats:
    weights = 1 / variances
    fitted = weighted(estimates, weights, columns)
    df = estimates.shape[-1] - columns.shape[1]
    between = (fitted.squares - df) / projected_trace(weights, fitted.unscaled, columns)
    return np.asarray(np.maximum(between, 0.0))


def _restricted(estimates: Floats, variances: Floats, columns: Floats) -> Floats:
    """Highest restricted likelihood: the best place of a grid, then halving on the slope.

    A search from one start may stop on the wrong one of two tops.
    """
    shape = estimates.shape[:-1]
    flat = estimates.reshape(-1, estimates.shape[-1])
    spread = np.broadcast_to(variances, estimates.shape).reshape(flat.shape)
    sets = max(1, _AT_ONCE // estimates.shape[-1])
    parts = [
        _restricted_part(flat[start : start + sets], spread[start : start + sets], columns)
        for start in range(0, len(flat), sets)
    ]
    return np.concatenate(parts).reshape(shape)


def _restricted_part(estimates: Floats, variances: Floats, columns: Floats) -> Floats:
    top = 4 * np.ptp(estimates, axis=-1) ** 2 + variances.min(axis=-1)
    steps = np.concatenate([[0.0], np.geomspace(1e-7, 1.0, _GRID - 1)])
    grid = top[:, None] * steps
    heights = restricted_likelihood(estimates[:, None, :], variances[:, None, :], columns, grid)
    best = heights.argmax(axis=1)
    row = np.arange(len(estimates))
    low = grid[row, np.maximum(best - 1, 0)]
    high = grid[row, np.minimum(best + 1, _GRID - 1)]
    middle = grid[row, best]
    # Where zero is the best place and the likelihood falls from it, both ends are zero at once.
    for _ in range(_HALVINGS):
        rising = _slope(estimates, variances, columns, middle) > 0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
        middle = (low + high) / 2
    return np.asarray(middle)


def restricted_likelihood(estimates: Floats, variances: Floats, columns: Floats, between: Floats) -> Floats:
    """Restricted log-likelihood with all its constants, shape of ``between``."""
    total = variances + between[..., None]
    fitted = weighted(estimates, 1 / total, columns)
    df = estimates.shape[-1] - columns.shape[1]
    _, taken = np.linalg.slogdet(fitted.unscaled)
    _, given = np.linalg.slogdet(columns.T @ columns)
    return np.asarray(
        -0.5 * df * np.log(2 * np.pi)
        - 0.5 * np.sum(np.log(total), axis=-1)
        + 0.5 * taken
        + 0.5 * given
        - 0.5 * fitted.squares
    )


def _slope(estimates: Floats, variances: Floats, columns: Floats, between: Floats) -> Floats:
    weights = 1 / (variances + between[..., None])
    fitted = weighted(estimates, weights, columns)
    trace = projected_trace(weights, fitted.unscaled, columns)
    pull = np.sum((weights * fitted.residuals) ** 2, axis=-1)
    return np.asarray(0.5 * (pull - trace))
