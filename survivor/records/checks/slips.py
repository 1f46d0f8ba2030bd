"""Preparations that the rows of one plot tell in several ways: a slip of the pen, or two plots in one."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

import pandas as pd

from survivor.records.problems import Source, Texts, find, none_found
from survivor.settings.nearest import look_alike

_MOST_NAMED = 6  # rows of one preparation that are named one by one
_MOST_ODD = 0.1  # share of the rows, or plants, of a plot that may tell another preparation by a slip


def odd_preparations(rows: pd.DataFrame, method: Texts, whose: Texts, of: str) -> tuple[Texts, pd.DataFrame]:
    """Take the preparation of all but a few rows of a plot for these few, and name each of them.

    A slip of the pen is in a row or two; two plots under one label, or a plot in two parts,
    are in many. At most one in ten, of the rows of the sheet or of the plants, and the rest all
    alike: a state that cannot be read takes a record away, and changes neither of the two.
    """
    told = method.where(method != "")
    most = told.groupby(whose).transform(lambda part: part.mode().iloc[0] if part.notna().any() else None)
    main = told == most
    apart = told.notna() & ~main
    few = _few(apart, told, whose, rows["line"]) | _few(apart, told, whose, rows["entry"])
    odd = apart & few
    if not odd.any():
        return method, none_found()
    others = [str(name) for name in told[~odd].dropna().unique()]
    asked, mends = {}, {}
    for word, usual in pd.DataFrame({"told": told, "most": most})[odd].drop_duplicates().to_numpy():
        near = difflib.get_close_matches(str(word), [name for name in others if name != word], n=1)
        if near:
            asked[word, usual] = "" if near[0] == usual else f"; did you mean {near[0]}?"
            mends[word, usual] = "; or " + as_other_spelling(str(word), near[0])
    pairs = pd.Series(list(zip(told, most, strict=True)), index=rows.index)
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
        + pairs.map(asked).fillna(""),
        mend=f"write the preparation of the {of} here too, or the right {of} label"
        + pairs.map(mends).fillna(""),
        group=rows["line"],
    )
    return method.where(~odd, most), found


def _few(apart: pd.Series[bool], told: Texts, whose: Texts, unit: Texts) -> pd.Series[bool]:
    """Tell the plots of which few units (rows of the sheet, or plants) tell another preparation."""
    all_units = unit.where(told.notna()).groupby(whose).transform("nunique")
    odd_units = unit.where(apart).groupby(whose).transform("nunique")
    return odd_units <= _MOST_ODD * all_units


def as_other_spelling(word: str, usual: str) -> str:
    """Say how the study file takes a word for another spelling of a preparation."""
    return (
        f"if {word} is another spelling of {usual}, give every preparation a table [[methods]] in the study "
        f'file, and under the one with name = "{usual}" write: also = ["{word}"]'
    )


def spellings_told(names: Sequence[str], often: Mapping[str, int]) -> str:
    """Say how the study file joins two preparations of a plot that look like one, or nothing."""
    ranked = sorted(names, key=lambda name: (-often.get(name, 0), name))
    for place, name in enumerate(ranked):
        for usual in ranked[:place]:
            if look_alike(name, usual):
                return "; " + as_other_spelling(name, usual)
    return ""


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
