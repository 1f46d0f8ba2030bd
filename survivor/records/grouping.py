"""Columns that no known word heads and that group the plots: one may tell the site, or the preparation."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from survivor.files import cells
from survivor.files.headers import BY_STUDY_FILE
from survivor.records.guess import Guess
from survivor.records.telling import REMARKS
from survivor.records.ticks import works_ticked
from survivor.records.words import is_total

_MOST_LABELS: Final = 12
_FEWEST_PLOTS: Final = 2  # of a label: one that each plot has alone groups nothing
_MOSTLY: Final = 0.9  # of the rows with a plot have a label


def with_groups_told(guess: Guess, told: Collection[str]) -> Guess:
    """Take a column for the site, or the preparation, where no other can be it; others are asked about.

    Parameters
    ----------
    guess
        A table of visits with a column of plots.
    told
        Which of site and method other sheets, or the names of sheets, tell.

    Returns
    -------
    Guess
        A site is taken from the first column only, a preparation where one column can be it.
        What was taken so is named in ``assumed``.
    """
    if not guess.holds_visits or not guess.matched.has("plot"):
        return guess
    unread = _unread(guess)
    free = _grouping(guess, unread)
    site = not guess.matched.has("site") and "site" not in told
    first = 0 in free or (0 in unread and _in_runs(guess, 0))
    if site and first and _words(guess, 0) and _crosses(guess, 0, "method"):
        guess = _taken(guess, "site", 0)
        free = [place for place in free if place]
    elif site:
        sites = tuple(place for place in free if _words(guess, place) and _crosses(guess, place, "method"))
        guess = replace(guess, may_be={**guess.may_be, **({"site": sites} if sites else {})})
    if not guess.matched.has("method") and "method" not in told:
        methods = [place for place in free if _crosses(guess, place, "site")]
        ticked = [place for place in methods if works_ticked([guess.grid.cells[place]], [""]) is not None]
        if len(methods) == 1 or (ticked and ticked == methods):
            return _taken(guess, "method", *methods)
        if methods:
            guess = replace(guess, may_be={**guess.may_be, "method": tuple(methods)})
    return guess


def _unread(guess: Guess) -> list[int]:
    """Places of columns without a meaning."""
    table = guess.matched.table
    of_visits = {place for visit in guess.visits for place in visit.places} | set(guess.alone)
    heads = list(guess.grid.header)
    return [
        place
        for place, (header, how) in enumerate(zip(heads, table["column"], strict=True))
        if header and not how and place not in of_visits and heads.count(header) == 1
        and not REMARKS.search(header)
    ]  # fmt: skip


def _grouping(guess: Guess, free: Sequence[int]) -> list[int]:
    """Places of those whose labels are the same in all rows of a plot."""
    plot = guess.texts_of("plot")
    for word in ("block", "site"):  # labels of plots may begin anew in each
        plot = plot.where(guess.texts_of(word) == "", guess.texts_of(word) + "|" + plot)
    return [place for place in free if _groups(guess, place, plot) or _parts(guess, place)]


def _in_runs(guess: Guess, place: int) -> bool:
    """Tell whether each label of a column stands in one run of rows: plots may begin anew in each."""
    label = cells.texts(guess.grid.cells[place])[guess.texts_of("plot") != ""]
    runs = int((label != label.shift()).sum())
    return 2 <= label.nunique() == runs <= _MOST_LABELS and bool((label != "").all())


def _parts(guess: Guess, place: int) -> bool:
    """Tell whether rows that stand twice, as labels of plots begin anew, are told apart by a column alone."""
    label = cells.texts(guess.grid.cells[place])
    words = ("block", "plot", "tag", "species", "date", "visit")
    keys = pd.DataFrame({word: guess.texts_of(word) for word in words if guess.matched.has(word)})
    keys = keys[(guess.texts_of("plot") != "") & (label != "")]
    few = 2 <= label[keys.index].nunique() <= _MOST_LABELS
    again = keys.duplicated()
    return bool(few and again.any() and not keys.assign(label=label).duplicated().any())


def _groups(guess: Guess, place: int, plot: pd.Series[Any]) -> bool:
    column = guess.grid.cells[place]
    if cells.hold_days(column):
        return False
    rows = (plot != "") & ~plot.map(is_total)
    labels = cells.texts(column)[rows]
    if not len(labels) or (labels != "").mean() < _MOSTLY:
        return False
    pairs = pd.DataFrame({"label": labels, "plot": plot[rows]}).query("label != ''").drop_duplicates()
    often = pairs["label"].value_counts()
    number = cells.numbers(column[rows])[0]
    whole = number.isna().all() or (number.dropna() % 1 == 0).all()
    one_a_plot = len(guess.grid.cells) > 0 and not pairs["plot"].duplicated().any()
    return bool(whole and one_a_plot and 2 <= len(often) <= _MOST_LABELS and often.min() >= _FEWEST_PLOTS)


def _words(guess: Guess, place: int) -> bool:
    return bool(cells.numbers(guess.grid.cells[place])[0].isna().all())


def _crosses(guess: Guess, place: int, word: str) -> bool:
    """Tell whether labels stand beside several sites, or preparations: else they only name these anew."""
    if not guess.matched.has(word):
        return True
    own = cells.texts(guess.grid.cells[place])
    pairs = pd.DataFrame({"label": own, "other": guess.texts_of(word)})
    pairs = pairs[(pairs != "").all(axis=1)].drop_duplicates()
    return bool((pairs["other"].value_counts() > 1).any() and (pairs["label"].value_counts() > 1).any())


def _taken(guess: Guess, word: str, *places: int) -> Guess:
    table = guess.matched.table.copy()
    table.loc[list(places), ["column", "how"]] = [word, BY_STUDY_FILE]
    matched = replace(guess.matched, positions={**guess.matched.positions, word: places}, table=table)
    every_row = {own: value for own, value in guess.every_row.items() if own != word}
    headers = ", ".join(repr(guess.grid.header[place]) for place in places)
    called = {"site": "the site", "method": "the preparation"}[word]
    said = f"{called} is taken from the column {headers}, as its labels group the plots"
    if len(places) > 1:
        said = f"{called} is taken from the columns {headers}, as their labels group the plots"
    return replace(guess, matched=matched, every_row=every_row, assumed=(*guess.assumed, said))
