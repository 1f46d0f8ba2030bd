"""Which plots lie on which kind of ground, by the words of the plot sheets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import GuidelineError
from survivor.guideline.file import Ground


def kinds_of(intervals: pd.DataFrame, grounds: Sequence[Ground]) -> pd.Series[str]:
    """Name the kind of ground of each row; empty where it lies on none.

    Parameters
    ----------
    intervals
        Risk intervals of all seasons.
    grounds
        The kinds, each with its columns and words; letter case does not matter.

    Raises
    ------
    GuidelineError
        When a column is not recorded, a word is on no plot, or a plot lies on two kinds.
    """
    kinds = np.full(len(intervals), "", dtype=object)
    for ground in grounds:
        lies = np.ones(len(intervals), dtype=bool)
        for column, words in ground.where.items():
            lies &= _has(intervals, ground, column, words)
        two = lies & (kinds != "")
        if two.any():
            place = int(np.flatnonzero(two)[0])
            site = intervals["site"].iloc[place]
            raise GuidelineError(
                f"plots at {site} lie on two kinds of ground: {kinds[place]} and {ground.name}",
                where="[[ground]]",
                mend="give each kind words that no other has",
            )
        kinds[lies] = ground.name
    return pd.Series(kinds, index=intervals.index, dtype=str, name="ground")


def _has(intervals: pd.DataFrame, ground: Ground, column: str, words: Sequence[str]) -> NDArray[np.bool_]:
    if column not in intervals.columns:
        known = [name for name in intervals.columns if intervals[name].dtype == object or name == "site"]
        raise GuidelineError(
            f"no plot sheet has a column {column!r}",
            where=f"[[ground]] {ground.name}",
            mend=f"use a column that the study files carry: {', '.join(map(str, known))}",
        )
    plain = intervals[column].astype(str).str.casefold()
    wanted = [word.casefold() for word in words]
    absent = [word for word, small in zip(words, wanted, strict=True) if not (plain == small).any()]
    if absent:
        seen = sorted(word for word in intervals[column].astype(str).unique() if word)
        raise GuidelineError(
            f"no plot has {column} {absent[0]!r}",
            where=f"[[ground]] {ground.name}",
            mend=f"words in the plot sheets: {', '.join(seen[:12])}",
        )
    found: NDArray[np.bool_] = plain.isin(wanted).to_numpy(dtype=bool)
    return found
