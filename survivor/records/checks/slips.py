"""Preparations that the rows of one plot tell in several ways: a slip of the pen, or two plots in one."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import pandas as pd

from survivor.records.problems import Source, Texts, find, none_found

_MOST_NAMED = 6  # rows of one preparation that are named one by one
_MOST_ODD = 0.1  # share of the rows of a plot that may tell another preparation by a slip


def odd_preparations(rows: pd.DataFrame, method: Texts, whose: Texts, of: str) -> tuple[Texts, pd.DataFrame]:
    """Take the preparation of all but a few rows of a plot for these few, and name each of them.

    A slip of the pen is in a row or two; two plots under one label, or a plot in two parts,
    are in many. At most one row in ten, and the rest all alike.
    """
    told = method.where(method != "")
    count = told.groupby([whose, told]).transform("size")
    total = told.groupby(whose).transform("count")
    most = told.groupby(whose).transform(lambda part: part.mode().iloc[0] if part.notna().any() else None)
    main = told == most
    share = main.groupby(whose).transform("sum") / total
    odd = told.notna() & ~main & (share >= 1 - _MOST_ODD) & (count <= _MOST_ODD * total)
    if not odd.any():
        return method, none_found()
    others = [str(name) for name in told[~odd].dropna().unique()]
    meant = {word: difflib.get_close_matches(str(word), others, n=1) for word in told[odd].unique()}
    asked = told.map({word: f"; did you mean {near[0]}?" for word, near in meant.items() if near})
    found = find(
        rows,
        odd,
        "odd-preparation",
        word="method",
        value=told.fillna(""),
        what="this row tells "
        + told.fillna("")
        + f", the other rows of the {of} "
        + most.astype(object).fillna("")
        + ", which is used"
        + asked.fillna(""),
        mend=f"write the preparation of the {of} here too, or the right {of} label",
    )
    return method.where(~odd, most), found


def preparations_told(rows: pd.DataFrame, told: Texts, sources: Sequence[Source]) -> str:
    """Name the preparations of a plot, each with its rows where they are few, else how many."""
    files = rows["source"].map(lambda source: sources[source].file)
    apart = files.nunique() > 1
    said = []
    for name in sorted(told.dropna().unique()):
        mine = told == name
        places = list(dict.fromkeys(zip(files[mine], rows.loc[mine, "row"], strict=True)))
        if len(places) > _MOST_NAMED:
            said.append(f"{name} ({len(places):,} rows)")
        else:
            word = "" if apart else "row " if len(places) == 1 else "rows "
            named = [f"{file} row {row}" if apart else str(row) for file, row in places]
            said.append(f"{name} ({word}{', '.join(named)})")
    return " and ".join(said)
