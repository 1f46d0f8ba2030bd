"""Terms that have gone far: whether an estimate runs to infinity or is only steep.

On the way to infinity the information on a term dies away, so its standard error outgrows the
estimate itself; an estimate that is steep and finite has most of its information where it stands.
How far a term has gone is what it moves the log hazard (or odds) by over its range, so that the
unit of a column does not matter; the range is taken within strata, since levels take up what lies
between them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survivor.intervals import Codes

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# From here on a term is looked at. A factor without deaths at one level converges only beyond 40.
FAR = 30.0
_BEYOND = 500.0  # and from here on a ratio is beyond all that could be told from infinity


def range_within(columns: Floats, stratum: Codes) -> Floats:
    """Range of each column within the stratum in which it is largest, shape (q,).

    Parameters
    ----------
    columns
        Shape (n, q).
    stratum
        Codes from 0, shape (n,).
    """
    if not columns.size:
        return np.zeros(columns.shape[1])
    order = np.argsort(stratum, kind="stable")
    starts = np.flatnonzero(np.diff(stratum[order], prepend=-1))
    sorted_columns = columns[order]
    high, low = (each.reduceat(sorted_columns, starts, axis=0) for each in (np.maximum, np.minimum))
    found: Floats = (high - low).max(axis=0)
    return found


def errors_of(information: Floats) -> Floats:
    """Give standard errors by an information matrix, shape (q,); very large where it is not positive."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    values, vectors = np.linalg.eigh(information / np.outer(scale, scale))
    found: Floats = np.sqrt((vectors**2 / np.maximum(values, 1e-100)).sum(axis=1)) / scale
    return found


def errors_from(covariance: Floats) -> Floats:
    """Give standard errors by a covariance, shape (q,); infinite where it is none."""
    variance = np.diag(covariance)
    found: Floats = np.sqrt(np.where(variance > 0, variance, np.inf))
    return found


def runs_away(beta: Floats, spread: Floats, error: Floats) -> Flags:
    """Which terms have gone far with a standard error larger than the estimate, or farther than any can.

    Parameters
    ----------
    beta, spread, error
        Estimate, range of the column and standard error of each term, shape (q,).
    """
    size = np.abs(beta)
    reach = size * spread
    found: Flags = ((reach > FAR) & ~(error < size)) | (reach > _BEYOND)
    return found
