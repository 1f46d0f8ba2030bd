"""Checks of sense: values that can be, and that nothing else in the records bears out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from survivor.files.cells import is_text, number_texts
from survivor.files.names import look_alike
from survivor.records.checks.plots import plot_name
from survivor.records.problems import find, gather
from survivor.words import counted

_TIMES: Final = 8.0  # the usual number planted; a digit too many is ten times
_MOST: Final = 100_000  # plants that one plot may hold
_MORE: Final = f"this is more than a plot holds ({_MOST:,})"
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
    each = rows.assign(name=plot_name(rows)).drop_duplicates(["name", "species"])["planted"].dropna()
    usual = each[each > 0].median()
    many = (rows["planted"] >= _TIMES * usual) & (len(each) >= _FEWEST)
    return find(
        rows,
        many | (rows["planted"] > _MOST),
        "planted-unusual",
        word="planted",
        what=many.map({True: f"this is many times the usual number planted, {usual:g}", False: _MORE}),
        mend="nothing, if it is right; else correct it: survival is counted of it",
        group=plot_name,
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
    few = lost.dropna().median() <= _USUAL_LOST and lost.notna().sum() >= _FEWEST
    return find(
        rows,
        (lost >= _LOST) & bool(few),
        "planted-unusual",
        word="alive",
        what=number_texts(rows["alive"])
        + " of "
        + number_texts(rows["number"])
        + " planted are alive at the first "
        f"count, where the others had lost {100 * lost.dropna().median():.0f} of 100",
        mend="nothing, if it is right; else correct the number planted, or the count",
    )


def check_years(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots planted years before the others or before their own first visit.

    Parameters
    ----------
    rows
        Records with site, block, plot, planted_date and date.
    """
    name = plot_name(rows)
    planted = rows.groupby(name)["planted_date"].first().dropna().sort_values()
    gaps = planted.diff().dt.days
    alone = (gaps.fillna(_NEVER) > _FAR_DAYS) & (gaps.shift(-1).fillna(_NEVER) > _FAR_DAYS)
    waited = (rows.groupby(name)["date"].min() - planted).dt.days
    late = waited - waited.dropna().median() > _FAR_DAYS
    far = (alone | late.reindex(alone.index, fill_value=False)) & (len(planted) >= _FEWEST)
    return find(
        rows,
        name.map(far).fillna(False).astype(bool),
        "planting-far",
        word="planted_date",
        what="this is years from the planting days of the other plots, or from the first visit",
        mend="nothing, if it is right; else correct the year",
        group=name,
    )


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
        found.append(
            find(
                plots,
                blank & (blank.sum() * 10 <= len(plots)),
                "trait-blank",
                word=trait,
                what="blank, where nearly all other plots have a value",
                mend="fill it in, or leave it blank if nobody knows",
                group=pd.Series(trait, index=plots.index),
            )
        )
    return gather(found)


def _words(plots: pd.DataFrame, trait: str) -> pd.DataFrame:
    texts = plots[trait].fillna("").astype(str)
    number = texts[texts != ""].value_counts()
    if len(number) < 2 or len(number) > min(_MOST_LEVELS, len(plots) / 2):
        return gather([])  # no word from a list
    why: dict[str, str] = {}
    for place, word in enumerate(number.index):
        like = next((other for other in number.index[:place] if look_alike(word, other)), None)
        if like is not None:
            why[word] = (
                f"this looks like {like} ({counted(int(number[like]), 'plot')}), and is taken as another"
            )
        elif number[word] == 1 and number.iloc[: max(len(number) // 2, 1)].min() >= _FEWEST:
            why[word] = "no other plot has this word, and the others share theirs"
    return find(
        plots,
        texts.isin(list(why)),
        "trait-spelling",
        word=trait,
        what=texts.map(why),
        mend="if another is meant, write that in the sheet; else nothing",
        group=texts,
    )
