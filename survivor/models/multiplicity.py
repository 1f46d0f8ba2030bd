"""Adjusting p for the number of comparisons."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def holm(p_value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Holm's (1979) adjusted p over the comparisons that have one; blank elsewhere."""
    from statsmodels.stats.multitest import multipletests

    adjusted = np.full(len(p_value), np.nan)
    known = ~np.isnan(p_value)
    if known.any():
        adjusted[known] = multipletests(p_value[known], method="holm")[1]
    return adjusted
