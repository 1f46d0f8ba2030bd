"""Tables under other names: every text of theirs put through one rule."""

from __future__ import annotations

from collections.abc import Callable, Collection
from typing import Any

import numpy as np
import pandas as pd

Words = Callable[[str], str]  # gives two names that differ two names that differ


def in_words(frame: pd.DataFrame, words: Words, but: Collection[str] = ()) -> pd.DataFrame:
    """Put every text of a table through ``words``, columns ``but`` left as they are."""
    changed: dict[str, pd.Series] = {}
    for name in frame.columns:
        column = frame[name]
        if name in but:
            continue
        if isinstance(column.dtype, pd.CategoricalDtype):
            levels = [words(level) if isinstance(level, str) else level for level in column.cat.categories]
            changed[str(name)] = column.cat.rename_categories(levels)
        elif column.dtype == object or pd.api.types.is_string_dtype(column):
            new = {value: words(value) for value in column.unique() if isinstance(value, str)}
            if any(old != put for old, put in new.items()):
                # What is no text (a date, a number, a blank) is not in ``new`` and stays.
                changed[str(name)] = column.map(new).where(column.isin(list(new)), column)
    return frame.assign(**changed)


def ordered(frame: pd.DataFrame, keys: Collection[str]) -> pd.DataFrame:
    """Sort a table by those of the columns that it has."""
    known = [name for name in keys if name in frame.columns]
    plain = frame[known].assign(
        **{name: _ranks(frame[name]) for name in known if frame[name].dtype == "category"}
    )
    return frame.loc[plain.sort_values(known, kind="stable").index].reset_index(drop=True)


def _ranks(column: pd.Series[Any]) -> np.ndarray[Any, Any]:
    """Give each text of a category its place in their order; a blank is written, as texts are sorted."""
    texts = np.array([*map(str, column.cat.categories), str(np.nan)], dtype=object)
    return np.asarray(np.unique(texts, return_inverse=True)[1][column.cat.codes])  # a blank has the last
