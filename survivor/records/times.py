"""Records that stand for others like them: counts, shares and middles that take each so many times.

Of a register, one seedling stands for all of a plot that every sheet tells the same of
(`survivor.records.folding`). Its records carry how many they are; those of a small sheet do not, and each
of them counts once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

TIMES: Final = "times"  # column: how many seedlings a record is of
LIKE: Final = "like"  # column: the same number in all records of the seedlings that are told alike


def times_of(rows: pd.DataFrame) -> np.ndarray[Any, Any] | None:
    """Give how many seedlings each record is of; None where each is of one."""
    return rows[TIMES].to_numpy() if TIMES in rows.columns else None


def number(rows: pd.DataFrame, wrong: pd.Series[bool] | None = None) -> int:
    """Count records, or those of them that are at fault."""
    chosen = rows if wrong is None else rows[wrong]
    return int(chosen[TIMES].sum()) if TIMES in rows.columns else len(chosen)


def often(rows: pd.DataFrame, word: str) -> pd.Series[int]:
    """Count how often each value of a column stands there, the commonest first."""
    if TIMES not in rows.columns:
        return rows[word].value_counts()
    counts: pd.Series[int] = rows.groupby(word, sort=False)[TIMES].sum()
    return counts.sort_values(ascending=False, kind="stable")


def size_by(rows: pd.DataFrame, name: str) -> pd.Series[int]:
    """Count the rows of each value of a column, one a seedling."""
    if TIMES not in rows.columns:
        return rows.groupby(name).size()
    return rows.groupby(name)[TIMES].sum()


def share_by(
    told: pd.Series[float], key: pd.Series[Any], times: np.ndarray[Any, Any] | None
) -> pd.Series[float]:
    """Give every row the mean of its group, over the rows whose value is known."""
    if times is None:
        return told.groupby(key).transform("mean")
    known = told.notna()
    weight = pd.Series(times, index=told.index).where(known, 0)
    total = weight.groupby(key).transform("sum")
    return (told.astype(float).fillna(0.0) * weight).groupby(key).transform("sum") / total.where(total > 0)


def middle_by(
    rows: pd.DataFrame, keys: Sequence[str], word: str, times: np.ndarray[Any, Any] | None
) -> pd.Series[Any]:
    """Give the median of a column by the values of others, which index it."""
    if times is None:
        return rows.groupby(list(keys))[word].median()
    own = rows[[*keys, word]].assign(**{TIMES: times})
    alike = own.groupby([*keys, word], sort=False)[TIMES].sum().reset_index()
    alike = alike.sort_values([*keys, word], kind="stable", ignore_index=True)
    group = alike.groupby(list(keys), sort=False)[TIMES]
    upto, total = group.cumsum(), group.transform("sum")
    # The two in the middle, or the one twice: places (n - 1) // 2 and n // 2, counted from 0.
    before = upto - alike[TIMES]
    middle = [
        alike[(before <= place) & (place < upto)].set_index(list(keys))[word]
        for place in ((total - 1) // 2, total // 2)
    ]
    median: pd.Series[Any] = middle[0] + (middle[1] - middle[0]) / 2
    return median.sort_index()
