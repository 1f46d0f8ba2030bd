"""Checks of the names that plots go by: sites and methods that may be others, misspelt, or stand alone."""

from __future__ import annotations

import pandas as pd

from survivor.records.checks.plots import NOT_RECORDED
from survivor.records.plots import PlotTable
from survivor.records.problems import find, gather
from survivor.settings import Settings
from survivor.settings.nearest import look_alike


def check_levels(table: PlotTable | None, rows: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Find sites and methods that look like another, and those with a single plot.

    Parameters
    ----------
    table
        The plot table, where there is a plot sheet.
    rows
        Visit records that can be used.
    settings
        The study file; methods that it names are not misspelt.
    """
    used = set(rows["name"])
    found = []
    for word in ("method", "site"):
        told = table is not None and (table.plots[word] != "").any()
        where = table.plots.reset_index() if table is not None and told else rows
        where = where[where["name"].isin(used) & (where[word] != "") & (where[word] != NOT_RECORDED)]
        plots = where.drop_duplicates(["name", word])[word].value_counts()
        if not (word == "method" and settings.methods):
            found.append(_misspelt(where, word, plots))
        found.append(_alone(where, word, plots))
    return gather(found)


def _misspelt(where: pd.DataFrame, word: str, plots: pd.Series[int]) -> pd.DataFrame:
    """Find names with no more plots than another that they look like."""
    likely: dict[str, str] = {}
    names = [str(name) for name in plots.index]  # those with most plots first
    for place, name in enumerate(names):
        like = [other for other in names[:place] if look_alike(name, other)]
        if like:
            likely[name] = like[0]
    counted = {name: f"{number} plot{'s' if number != 1 else ''}" for name, number in plots.items()}
    what = {
        name: f"{name} ({counted[name]}) looks like {like} ({counted[like]}), and is taken as another {word}"
        for name, like in likely.items()
    }
    mend = {name: _mend(word, name, like) for name, like in likely.items()}
    return find(
        where,
        where[word].isin(list(likely)),
        f"{word}-spelling",
        word=word,
        what=where[word].map(what),
        mend=where[word].map(mend),
        group=where[word],
    )


def _mend(word: str, name: str, like: str) -> str:
    if word == "site":
        return f"if it is the same, write {like} in the sheet; else nothing"
    return (
        "if it is the same, mend the sheet; or give every preparation a table [[methods]] in the study file, "
        f'and under the one with name = "{like}" write: also = ["{name}"]'
    )


def _alone(where: pd.DataFrame, word: str, plots: pd.Series[int]) -> pd.DataFrame:
    """Find methods and sites with one plot only, where there is more than one of them."""
    alone = where[word].isin(plots.index[plots == 1]) & (len(plots) > 1)
    why = (
        "how much plots differ under it cannot be told"
        if word == "method"
        else "preparations cannot be compared within it"
    )
    what = where[word].map({name: f"{name} has one plot only, so {why}" for name in plots.index})
    mend = "nothing, if the name is right; else mend it in the sheet"
    return find(where, alone, f"one-plot-{word}", word=word, what=what, mend=mend, group=where[word])
