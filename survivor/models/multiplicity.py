"""Adjusting p for the number of comparisons."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def holm(p_value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Holm's adjusted p over the comparisons that have one; blank elsewhere.

    Source: Holm (1979), Scandinavian Journal of Statistics 6, 65-70.
    """
    adjusted = np.full(len(p_value), np.nan)
    known = np.flatnonzero(~np.isnan(p_value))
    ordered = known[np.argsort(p_value[known], kind="stable")]
    steps = p_value[ordered] * np.arange(len(ordered), 0, -1)
    adjusted[ordered] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted
