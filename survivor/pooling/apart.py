"""Units that stand apart from the others by more than chance, and more than units differ.

Each is held against the mean of the others: the externally standardised residual (Viechtbauer and Cheung
2010, Research Synthesis Methods 1, 112-125), with the variance between units estimated without it.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from survivor.pooling.result import Pooled
from survivor.pooling.spread import Method, between_variance

LEAST: Final = 4  # units under which the others are too few to say what one should be like
COLUMNS: Final = ("unit", "estimate", "expected", "residual", "p_value")


def standing_apart(pooled: Pooled, method: Method = "reml") -> pd.DataFrame:
    """Hold every unit against the mean of the others.

    Parameters
    ----------
    pooled
        Units pooled.
    method
        How the variance between units is estimated.

    Returns
    -------
    DataFrame
        ``unit, estimate, expected`` (mean of the others), ``residual`` (standardised, about normal where
        units are many) and ``p_value``, of the normal and not adjusted for the number of units. No
        rows under four units.
    """
    effect = pooled.units["estimate"].to_numpy(dtype=float)
    variance = pooled.units["std_error"].to_numpy(dtype=float) ** 2
    if len(effect) < LEAST:
        return pd.DataFrame(columns=list(COLUMNS))
    expected, error = np.empty_like(effect), np.empty_like(effect)
    ones = np.ones((len(effect) - 1, 1))
    for place in range(len(effect)):
        others = np.arange(len(effect)) != place
        between = float(between_variance(effect[others], variance[others], ones, method))
        weight = 1 / (variance[others] + between)
        expected[place] = (weight * effect[others]).sum() / weight.sum()
        error[place] = np.sqrt(variance[place] + between + 1 / weight.sum())
    residual = (effect - expected) / error
    return pd.DataFrame(
        {
            "unit": pooled.units["unit"],
            "estimate": effect,
            "expected": expected,
            "residual": residual,
            "p_value": 2 * stats.norm.sf(np.abs(residual)),
        }
    )
