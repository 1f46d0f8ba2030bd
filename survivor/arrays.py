"""Types of the arrays that models and curves pass on; distinct values of an array, and extremes of groups."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
Days = NDArray[np.datetime64]

_MANY: Final = 5_000  # values from which looking at where they lie first pays


def factorized(
    column: pd.Series[Any] | NDArray[Any], *, sort: bool = False, use_na_sentinel: bool = True
) -> tuple[Codes, Any]:
    """Give each value the place of its like among the distinct ones, as `pandas.factorize` does.

    Parameters
    ----------
    column
        Values of one kind, or objects. Rows that share one object, as texts read from a table do, are
        known by where it lies, and each object is looked at once: several times as quick.
    sort, use_na_sentinel
        As of `pandas.factorize`.

    Returns
    -------
    codes, values
        Shape (n,); and the distinct values.
    """
    if column.dtype != object or len(column) < _MANY:
        codes, values = pd.factorize(column, sort=sort, use_na_sentinel=use_na_sentinel)
        return np.asarray(codes, dtype=np.intp), values
    objects = np.ascontiguousarray(column)
    place, _ = pd.factorize(np.frombuffer(objects, dtype=np.intp))
    # Places come in the order of their first rows: each of those is the highest so far.
    highest = np.maximum.accumulate(place)
    first = np.flatnonzero(np.concatenate([[True], highest[1:] > highest[:-1]]))
    codes, values = pd.factorize(objects[first], sort=sort, use_na_sentinel=use_na_sentinel)
    return np.asarray(codes, dtype=np.intp)[place], values


def furthest(how: np.ufunc, values: NDArray[Any], codes: Codes, first: Codes) -> NDArray[Any]:
    """Give the least or the greatest value of each group.

    Parameters
    ----------
    how
        ``np.minimum`` or ``np.maximum``; ``np.fmin`` or ``np.fmax`` to pass over blanks.
    values
        Shape (n,).
    codes, first
        The group of each value, and the place of the first of each (`survivor.intervals.row_codes`).
    """
    told = values[first]
    how.at(told, codes, values)
    return told
