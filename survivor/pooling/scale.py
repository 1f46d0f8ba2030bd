"""Limits that a difference per 100 planted can have: no more than all of 100, or none, can differ."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.vocabulary import PER_100

EDGE: Final = 100.0
TELLS_NOTHING: Final = "wider than the whole scale: tells nothing"
_PAIRS: Final = (("lower", "upper", "limits"), ("new_lower", "new_upper", "limits of a new unit"))


def within_scale(table: pd.DataFrame, scale: str) -> pd.DataFrame:
    """Cut limits per 100 planted at -100 and 100, and say so in a column ``cut``.

    Parameters
    ----------
    table
        With some of ``lower, upper`` and ``new_lower, new_upper``.
    scale
        Name of the column that tells what scale a row is on, or that scale itself where the
        table has no such column.

    Returns
    -------
    DataFrame
        ``cut`` is empty where nothing was cut.
    """
    found = table.copy()
    per_100 = found[scale] == PER_100 if scale in found else pd.Series(scale == PER_100, index=found.index)
    said = pd.Series("", index=found.index, dtype=object)
    for lower, upper, name in _PAIRS:
        if lower not in found or upper not in found:
            continue
        low, high = found[lower].astype(float), found[upper].astype(float)
        under, over = per_100 & (low < -EDGE), per_100 & (high > EDGE)
        found[lower], found[upper] = low.mask(under, -EDGE), high.mask(over, EDGE)
        words = np.select(
            [under & over, under, over],
            [f"{name} {TELLS_NOTHING}", f"{name} cut at −100", f"{name} cut at +100"],
            "",
        )
        said = pd.Series(
            ["; ".join(filter(None, pair)) for pair in zip(said, words, strict=True)], index=found.index
        )
    return found.assign(cut=said)


def tells_nothing(row: dict[Any, Any], lower: str, upper: str) -> bool:
    """Tell whether limits per 100 planted, cut or not, span the whole scale."""
    return float(row[lower]) <= -EDGE and float(row[upper]) >= EDGE
