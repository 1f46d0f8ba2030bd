"""Checks of a visit: its day, its order, and whether it was recorded twice.

Visits taken twice by two observers: the first is used, the second listed, and the two compared.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

import numpy as np
import pandas as pd

from survivor.arrays import furthest
from survivor.files.cells import day_texts, number_texts
from survivor.intervals import row_codes
from survivor.proportions import wilson
from survivor.records.problems import Texts, find, gather, joined, none_found, say
from survivor.records.times import middle_by, share_by, times_of

SAME_VISIT_DAYS = 3  # records without a visit's name this close in a plot are one visit
SPREAD_DAYS = 60
MOST_OF_A_ROUND = 0.5  # of its records at fault: then the round is, and not each plot


def check_days(rows: pd.DataFrame, closed: dt.date) -> pd.DataFrame:
    """Find visits before planting and after the records were closed.

    Parameters
    ----------
    rows
        Records that say something, with name, visit, date and planted_first.
    closed
        The day after which no record can be true.
    """
    early = rows["date"] < rows["planted_first"]
    late = rows["date"] > pd.Timestamp(closed)
    if not (early | late).any():
        return none_found()
    own = joined(rows["name"], rows["visit"], day_texts(rows["date"]))
    usual = _planted_beside(rows, early)
    odd = usual.notna()
    return gather(
        find(rows, odd, "planting-odd", "date", value=rows["planted_first"], usual=usual, group=rows["name"]),
        find(rows, early & ~odd, "before-planting", "date", group=by_round(rows, early, own)),
        find(rows, late, "in-the-future", "date", closed=closed, group=by_round(rows, late, own)),
    )


def _planted_beside(rows: pd.DataFrame, early: pd.Series[bool]) -> pd.Series[pd.Timestamp]:
    """Planting day of the other plots, where it explains every visit of a plot and its own does not.

    A day that most of the other plots of the site share, two at least, and that no visit of
    the plot comes before. NaT for every other row.
    """
    nothing = pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]")
    plots = rows.groupby("name").agg(
        site=("site", "first"), planted=("planted_first", "first"), seen=("date", "min")
    )
    usual: dict[str, pd.Timestamp] = {}
    for name in rows.loc[early, "name"].unique():
        own = plots.loc[name]
        beside = plots[(plots["site"] == own["site"]) & (plots.index != name)]["planted"].dropna()
        counts = beside.value_counts()
        if counts.empty or counts.iloc[0] < 2 or 2 * counts.iloc[0] <= len(beside):
            continue
        if counts.index[0] <= own["seen"]:
            usual[name] = counts.index[0]
    return rows["name"].map(usual).astype("datetime64[ns]") if usual else nothing


def by_round(rows: pd.DataFrame, wrong: pd.Series[bool], otherwise: Texts) -> Texts:
    """Group what is wrong by the round of visits, where a round as a whole is wrong.

    Parameters
    ----------
    rows
        Records with source and visit.
    wrong
        Which of them are at fault.
    otherwise
        The group of a record whose round is mostly right.
    """
    place = joined(rows["source"], rows["visit"])
    whole = share_by(wrong.astype(float), place, times_of(rows)) >= MOST_OF_A_ROUND
    return otherwise.where(~whole | (rows["visit"] == ""), "round|" + place)


def name_visits(rows: pd.DataFrame) -> tuple[Texts, pd.DataFrame]:
    """Tell the visits of each plot apart.

    Records of one name are one visit, unless more than two months lie between
    them. Without names, records at most three days apart in a plot are one visit.

    Parameters
    ----------
    rows
        Records with name (of the plot), visit, date; dates all known.

    Returns
    -------
    label, found
        One text a visit within its plot; visits that spread over two months.
    """
    own, first = row_codes([rows["name"], rows["visit"], rows["date"]])  # in the order of the days of a visit
    name, visit = (rows[word].to_numpy(dtype=object)[first] for word in ("name", "visit"))
    day = rows["date"].to_numpy(dtype="datetime64[D]")[first]
    begins = np.append(True, (name[1:] != name[:-1]) | (visit[1:] != visit[:-1]))[: len(first)]
    allowed = np.where(visit == "", SAME_VISIT_DAYS, SPREAD_DAYS).astype("timedelta64[D]")
    so_far = np.cumsum(np.append(False, day[1:] - day[:-1] > allowed[1:])[: len(first)] & ~begins)
    run = so_far - so_far[np.flatnonzero(begins)][np.cumsum(begins) - 1]
    labels = np.array([f"{text}~{n}" for text, n in zip(visit, run, strict=True)], dtype=object)
    spread = pd.Series(((visit != "") & (run > 0))[own], index=rows.index)
    found = find(rows, spread, "visit-spread", "date", group=lambda wrong: wrong["name"] + wrong["visit"])
    return pd.Series(labels[own], index=rows.index), found


def check_order(rows: pd.DataFrame, order: Sequence[str]) -> pd.DataFrame:
    """Find visits dated before one that should have come earlier.

    The order of the visits is that of the study file for a wide sheet, else that of
    the numbers in their names, else that of their middle dates over all plots. Of
    two visits in the wrong order the one further from its usual date is excluded.

    Parameters
    ----------
    rows
        Records with name, visit and date.
    order
        Names of the visits in order; empty where the study file names none.
    """
    named = rows[rows["visit"] != ""]
    if named["visit"].nunique() < 2:
        return none_found()
    usual = middle_by(named, ["visit"], "date", times_of(named))
    rank = _ranks(usual, order)
    own, begins = row_codes([named["name"], named["visit"]])
    earliest = furthest(np.fmin, named["date"].to_numpy(), own, begins)
    days = named[["name", "visit"]].iloc[begins].assign(min=earliest)
    days["rank"] = days["visit"].map(rank)
    days = days.sort_values(["name", "rank"], ignore_index=True)
    plot, day = days["name"].to_numpy(), days["min"].to_numpy()
    falls = (plot[1:] == plot[:-1]) & (day[1:] < day[:-1])
    if not falls.any():
        return none_found()
    days["away"] = (days["min"] - days["visit"].map(usual)).abs()
    disordered = days[days["name"].isin(plot[1:][falls])]
    wrong = {f"{name}|{visit}" for name, plot in disordered.groupby("name") for visit in _misplaced(plot)}
    if not wrong:
        return none_found()
    group = joined(rows["name"], rows["visit"])
    at_fault = group.isin(wrong)
    return find(rows, at_fault, "out-of-order", "date", group=by_round(rows, at_fault, group))


def _misplaced(plot: pd.DataFrame) -> list[str]:
    """Visits of one plot, in their order, that are dated before an earlier one."""
    wrong = []
    kept: list[tuple[pd.Timestamp, pd.Timedelta, str]] = []
    for date, away, visit in zip(plot["min"], plot["away"], plot["visit"], strict=True):
        while kept and kept[-1][0] > date and kept[-1][1] > away:
            wrong.append(kept.pop()[2])
        if kept and kept[-1][0] > date:
            wrong.append(visit)
        else:
            kept.append((date, away, visit))
    return wrong


def _ranks(usual: pd.Series[pd.Timestamp], order: Sequence[str]) -> dict[str, int]:
    names = [str(name) for name in usual.index]
    if order and set(names) <= set(order):
        return {name: order.index(name) for name in names}
    numbers = [re.findall(r"\d+", name) for name in names]
    if all(len(found) == 1 and len(found[0]) <= 2 for found in numbers):
        figures = [int(found[0]) for found in numbers]
        if len(set(figures)) == len(figures):
            return dict(zip(names, figures, strict=True))
    return {str(name): place for place, name in enumerate(usual.sort_values(kind="stable").index)}


def check_twice(rows: pd.DataFrame, keys: Sequence[str], value: str, noun: str) -> pd.DataFrame:
    """Find two records of one thing at one visit.

    Equal ones are one record written twice; unequal ones contradict each other, and
    which is right cannot be determined, so none is used.

    Parameters
    ----------
    rows
        Records that say something.
    keys
        Columns that name the thing and the visit.
    value
        Column with what is said.
    noun
        What the thing is called, such as ``tag``.
    """
    if len(row_codes([rows[key] for key in keys], in_order=False)[1]) == len(rows):
        return none_found()
    grouped = rows.groupby(list(keys), sort=False, dropna=False)[value]
    many, differing = grouped.transform("size") > 1, grouped.transform("nunique") > 1
    again = rows.duplicated(list(keys)) & many & ~differing
    group = pd.Series(grouped.ngroup(), index=rows.index).astype(str)
    return gather(
        find(rows, many & differing, "duplicate-record", noun, first=rows[value], group=group),
        find(rows, again, "repeated-record", noun),
    )


def check_observers(rows: pd.DataFrame, keys: Sequence[str], value: str, noun: str) -> pd.DataFrame:
    """Find records of one thing at one visit by a second observer, and say how well the two agree.

    Parameters
    ----------
    rows
        Records that say something, in the order of the sheets, with observer where told.
    keys
        Columns that name the thing and the visit.
    value
        Column with what is said: a state, or a count.
    noun
        What the thing is called, such as ``tag``.

    Returns
    -------
    DataFrame
        Findings: each second record is listed; one sentence a sheet compares.
    """
    if "observer" not in rows.columns or not rows.duplicated(list(keys)).any():
        return none_found()
    rows = rows.sort_values("record", kind="stable")
    key = pd.Series(rows.groupby(list(keys), sort=False, dropna=False).ngroup(), index=rows.index)
    told = rows["observer"].astype(str).str.casefold()
    first = told.groupby(key).transform("first")
    own = joined(key, told)
    # A second record by the same hand, or by nobody named, is a slip and not a second look.
    second = key.duplicated() & (told != "") & (first != "") & (told != first) & ~own.duplicated()
    if not second.any():
        return none_found()
    earlier = rows[value].groupby(key).transform("first")
    by = rows["observer"].groupby(key).transform("first")
    found = find(
        rows,
        second,
        "second-observer",
        noun,
        wrote=_words(rows[value]),
        first=by,
        first_wrote=_words(earlier),
    )
    pairs = pd.DataFrame({"first": earlier[second], "second": rows.loc[second, value]})
    compared = [
        say("observers-compared", noun, source=int(source), agreement=_agreement(part, noun))
        for source, part in pairs.groupby(rows.loc[second, "source"])
    ]
    return gather(found, *compared)


def _words(values: pd.Series[float]) -> pd.Series[str]:
    if pd.api.types.is_float_dtype(values):
        return number_texts(values)
    return values.astype(str).where(values.astype(str) != "", "nothing")


def _agreement(pairs: pd.DataFrame, noun: str) -> str:
    same, number = int((pairs["first"] == pairs["second"]).sum()), len(pairs)
    low, high = (float(limit) for limit in wilson(same, number))
    visits = f"{noun} visits were" if number != 1 else f"{noun} visit was"
    what = (
        f"{number:,} {visits} taken by two observers; they wrote the same in {same:,} "
        f"({100 * same / number:.0f} %; 95 % CI {100 * low:.0f} to {100 * high:.0f} %, as if each erred "
        "by itself)"
    )
    if not pd.api.types.is_float_dtype(pairs["first"]) or same == number:
        return what
    apart = pairs["second"] - pairs["first"]
    return (
        f"{what}; the second count differed from the first by {apart.mean():+.1f} plants on average and by "
        f"{apart.abs().max():g} at most"
    )
