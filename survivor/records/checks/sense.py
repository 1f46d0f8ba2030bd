"""Checks of sense: values that can be, and that nothing else in the records bears out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import pandas as pd

from survivor.files.cells import is_text
from survivor.files.names import look_alike
from survivor.records.checks.plots import plot_name
from survivor.records.problems import find, gather, none_found
from survivor.words import counted

_TIMES: Final = 8.0  # the usual number planted; a digit too many is ten times
_MOST: Final = 100_000  # plants that one plot may hold
_FEWEST: Final = 4  # plots from which something usual can be told
_LOST, _USUAL_LOST = 0.8, 0.3  # shares of the planted that are gone at the first count
_FAR_DAYS: Final = 3 * 365  # between planting days of one study, and from planting to the first visit
_NEVER: Final = 1e9
_MOST_LEVELS: Final = 12  # of a trait that is a word from a list


def check_planted_column(rows: pd.DataFrame) -> pd.DataFrame:
    """Find numbers planted that are many times what is usual: a digit too many, or two numbers run together.

    Parameters
    ----------
    rows
        Records with planted, one row a plot or several of one number.
    """
    told = rows["planted"][rows["planted"] > 0]
    if not told.min() * _TIMES <= told.max() and not told.max() > _MOST:  # none is many times another
        return none_found()
    each = rows.assign(name=plot_name(rows)).drop_duplicates(["name", "species"])["planted"].dropna()
    usual = each[each > 0].median()
    many = (rows["planted"] >= _TIMES * usual) & (len(each) >= _FEWEST)
    return gather(
        find(rows, many, "planted-unusual", "planted", usual=usual, group=plot_name),
        find(
            rows,
            (rows["planted"] > _MOST) & ~many,
            "planted-unusual",
            "planted",
            message="planted-beyond",
            most=_MOST,
            group=plot_name,
        ),
    )


def check_first_count(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots that lost nearly all before their first count where the others lost few.

    Parameters
    ----------
    rows
        Counts in order of entry and day, with alive and number (planted; blank where not told).
    """
    first = ~rows["entry"].duplicated()
    lost = (1 - rows["alive"] / rows["number"].where(rows["number"] > 0)).where(first)
    if not (lost >= _LOST).any():
        return none_found()
    few = lost.dropna().median() <= _USUAL_LOST and lost.notna().sum() >= _FEWEST
    return find(
        rows,
        (lost >= _LOST) & bool(few),
        "planted-unusual",
        "alive",
        message="first-count-low",
        usual=100 * lost.dropna().median(),
    )


def check_years(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots planted years before the others or before their own first visit.

    Parameters
    ----------
    rows
        Records with site, block, plot, planted_date and date.
    """
    between = [(rows[word].max() - rows[word].min()).days for word in ("planted_date", "date")]
    if not np.nansum(between) > _FAR_DAYS:
        return none_found()
    name = plot_name(rows)
    planted = rows.groupby(name)["planted_date"].first().dropna().sort_values()
    if len(planted) < _FEWEST:
        return none_found()
    gaps = planted.diff().dt.days
    alone = (gaps.fillna(_NEVER) > _FAR_DAYS) & (gaps.shift(-1).fillna(_NEVER) > _FAR_DAYS)
    waited = (rows.groupby(name)["date"].min() - planted).dt.days
    late = waited - waited.dropna().median() > _FAR_DAYS
    far = alone | late.reindex(alone.index, fill_value=False)
    return find(rows, name.map(far).fillna(False).astype(bool), "planting-far", "planted_date", group=name)


def check_traits(plots: pd.DataFrame, traits: Sequence[str]) -> pd.DataFrame:
    """Find words of traits that may be another one, that one plot alone has, and blanks among filled cells.

    Parameters
    ----------
    plots
        One row a plot: record, source, row and the traits.
    traits
        Their columns.
    """
    found = []
    for trait in traits:
        if is_text(plots[trait]):
            found.append(_words(plots, trait))
        blank = plots[trait].isna() | (plots[trait].astype(object) == "")
        found.append(find(plots, blank & (blank.sum() * 10 <= len(plots)), "trait-blank", trait, group=trait))
    return gather(*found)


def _words(plots: pd.DataFrame, trait: str) -> pd.DataFrame:
    texts = plots[trait].fillna("").astype(str)
    number = texts[texts != ""].value_counts()
    if len(number) < 2 or len(number) > min(_MOST_LEVELS, len(plots) / 2):
        return gather()  # no word from a list
    likely: dict[str, str] = {}
    lone: list[str] = []
    for place, word in enumerate(number.index):
        like = next((other for other in number.index[:place] if look_alike(word, other)), None)
        if like is not None:
            likely[word] = like
        elif number[word] == 1 and number.iloc[: max(len(number) // 2, 1)].min() >= _FEWEST:
            lone.append(word)
    plots_of = {word: counted(int(plots), "plot") for word, plots in number.items()}
    return gather(
        find(
            plots,
            texts.isin(list(likely)),
            "trait-spelling",
            trait,
            like=texts.map(likely),
            number=texts.map(likely).map(plots_of),
            group=texts,
        ),
        find(plots, texts.isin(lone), "trait-spelling", trait, message="trait-alone", group=texts),
    )
