"""Weighted least squares of many small data sets at once.

Every function takes estimates of shape (..., units), so that one call serves one
answer or ten thousand simulated ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


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
    trace: Floats = np.sum(weights, axis=-1) - taken
    return trace
