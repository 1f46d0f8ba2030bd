"""Checks of records against those beside them: plots of one visit, visits that a plot lacks, odd heights."""

from __future__ import annotations

from typing import Final

import pandas as pd

from survivor.files.cells import number_texts
from survivor.records.problems import find, joined, none_found

_FEWEST: Final = 4  # plots from which something usual can be told
_USUAL_VISITS: Final = 3  # of the other plots; a plot of one visit then stands out
_MOST_OF_A_SITE: Final = 0.5  # of its plots have a visit that one lacks
_SPIKE: Final = 2.5  # times the heights on both sides
_NEAR: Final = 250  # days within which no plant grows as a digit more would have it
_END: Final = 8.0  # times the one height beside a first or last one: a digit too many or too few


def check_lone_plots(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots of one visit where the others have several: most are a label that was misspelt.

    Parameters
    ----------
    rows
        Records with name, date, and what `find` needs.
    """
    visits = rows.groupby("name")["date"].nunique()
    usual = visits.median() if len(visits) >= _FEWEST else 0
    if usual < _USUAL_VISITS:
        return none_found()
    return find(
        rows,
        rows["name"].map(visits == 1).astype(bool),
        "plot-of-one-visit",
        word="plot",
        what=f"this plot has records of one day only, where others have {usual:g}: is its label misspelt?",
        mend="if another plot is meant, correct the label; else nothing",
        group=rows["name"],
    )


def check_rounds(rows: pd.DataFrame, doubtful: frozenset[str]) -> pd.DataFrame:
    """Find counted plots without a row of a visit that most plots of their site have.

    Parameters
    ----------
    rows
        Records of counts with site, name, visit and date.
    doubtful
        Names of plots of which a record was set aside, and may be the one that lacks.
    """
    named = rows[(rows["visit"] != "") & rows["date"].notna()]
    if named.empty:
        return none_found()
    plots = named.groupby("site")["name"].nunique()
    seen = named.groupby(["site", "visit"]).agg(plots=("name", "nunique")).reset_index()
    usual = seen[(seen["plots"] >= 2) & (seen["plots"] >= _MOST_OF_A_SITE * seen["site"].map(plots))]
    own = named.groupby("name").agg(site=("site", "first"), first=("date", "min")).reset_index()
    due = own.merge(usual, on="site").set_index(["name", "visit"])
    lacks = due[~due.index.isin(pd.MultiIndex.from_frame(named[["name", "visit"]]))].reset_index()
    lacks = lacks[~lacks["name"].isin(doubtful)]
    if lacks.empty:
        return none_found()
    told = lacks.groupby("name")["visit"].agg(", ".join)
    last = ~rows["name"].duplicated(keep="last")
    return find(
        rows,
        last & rows["name"].isin(told.index),
        "visit-lacking",
        word="visit",
        value=rows["name"].map(told).fillna(""),
        what="the plot has no row of a visit that most plots of its site have: visit "
        + rows["name"].map(told).fillna(""),
        mend="nothing, if it was not visited then; else add it, or correct the label of its plot or visit",
        group=joined(rows["site"], rows["name"].map(told).fillna("")),
    )


def check_growth(rows: pd.DataFrame) -> pd.DataFrame:
    """Find heights that those of the same plant before and after do not bear out: a digit more or less.

    Parameters
    ----------
    rows
        Records with entry and date, and height_cm where heights were measured.
    """
    if "height_cm" not in rows:
        return none_found()
    measured = rows[rows["height_cm"] > 0].sort_values(["entry", "date"], kind="stable")
    spikes = _unlike(measured, _SPIKE, at_ends=False)
    ends = _unlike(measured[~spikes], _END, at_ends=True).reindex(measured.index, fill_value=False)
    beside = measured["height_cm"].mask(spikes).groupby(measured["entry"])
    near = beside.shift().fillna(beside.shift(-1))
    return find(
        measured,
        spikes | ends,
        "height-unlike",
        word="height_cm",
        what=number_texts(measured["height_cm"])
        + " cm, where the same plant was "
        + number_texts(near)
        + " cm at the visit beside it",
        mend="nothing, if it is right (browsed, regrown); else correct the height",
    )


def _unlike(measured: pd.DataFrame, times: float, *, at_ends: bool) -> pd.Series[bool]:
    """Which heights are so many times those beside them, or they so many times those."""
    beside = measured["height_cm"].groupby(measured["entry"])
    both = pd.concat([beside.shift(), beside.shift(-1)], axis=1)
    asked = both.notna().all(axis=1)
    if at_ends:
        days = measured["date"].groupby(measured["entry"]).diff().dt.days
        after = days.groupby(measured["entry"]).shift(-1)
        asked = (both.notna().sum(axis=1) == 1) & (days.fillna(after) <= _NEAR)
    height = measured["height_cm"]
    return asked & ((height >= times * both.max(axis=1)) | (height * times <= both.min(axis=1)))
