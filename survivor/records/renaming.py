"""Records under other names: every text of theirs put through one rule."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Final

import pandas as pd

from survivor.records.book import Records
from survivor.records.problems import none_found
from survivor.settings import Settings
from survivor.vocabulary import PLOT_KEY

_INTERVAL_ORDER: Final = (*PLOT_KEY, "tag", "species", "cohort", "planted_date", "start_day")
_VISIT_ORDER: Final = (*PLOT_KEY, "tag", "species", "cohort", "date", "row")
_JOINS: Final = ("name", "entry")  # by which tables of one study find each other; nobody reads them

Words = Callable[[str], str]


def renamed(records: Records, settings: Settings, words: Words) -> Records:
    """Return the records with every text put through ``words``, in the order of the new names.

    Parameters
    ----------
    records
        As read.
    settings
        The study file under the new names, as far as the records can follow it.
    words
        Gives two names that differ two names that differ.
    """
    past, nothing = records._past, records._nothing
    return replace(
        records,
        plots=_ordered(in_words(records.plots, words), (*PLOT_KEY, "species")),
        visits=_ordered(in_words(records.visits, words), _VISIT_ORDER),
        intervals=_ordered(in_words(records.intervals, words), _INTERVAL_ORDER),
        accounts=in_words(records.accounts, words),
        problems=in_words(records.problems, words),
        matches=in_words(records.matches, words),
        _settings=settings,
        _nothing=None if nothing is None else (words(nothing[0]), words(nothing[1]), words(nothing[2])),
        _found=none_found(),  # findings at single cells name what stands in the sheets
        _past=None if past is None else replace(past, entries=in_words(past.entries, words, _JOINS)),
    )


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
    out = frame.assign(**changed)
    out.attrs = dict(frame.attrs)
    return out


def _ordered(frame: pd.DataFrame, keys: Collection[str]) -> pd.DataFrame:
    known = [name for name in keys if name in frame.columns]
    plain = frame[known].astype({name: str for name in known if frame[name].dtype == "category"})
    out = frame.loc[plain.sort_values(known, kind="stable").index].reset_index(drop=True)
    out.attrs = dict(frame.attrs)
    return out
