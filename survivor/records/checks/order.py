"""Checks of the order of day and month: dates that only the other order makes sense of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from survivor.files import cells as read
from survivor.records.problems import Source, Texts, find, gather, none_found

DATE_ORDER: Final = "date-order"
OTHER_DATE: Final = "date_other"  # column: the day of the visit under the other order
OTHER_PLANTED: Final = "planted_other"  # column: the planting day under the other order
PLANTED_SOURCE: Final = "planted_source"  # column: the source that tells the planting day, if another
_HALF, _FEW = 0.5, 0.1  # of the dates unread in the order told, and in the other
_MANY = 0.25  # of the dates that no season could have in the order told: then the order is wrong


def other_order(order: read.DateOrder) -> read.DateOrder:
    """Return the order that the study file does not say; None where it says none."""
    if order is None:
        return None
    return "month-first" if order == "day-first" else "day-first"


def order_that_fits(columns: Mapping[str, pd.Series[Any]], order: read.DateOrder) -> read.DateOrder:
    """Find that a sheet's dates were written in the other order than the study file says.

    Parameters
    ----------
    columns
        The sheet's columns of dates.
    order
        What the study file says; None: nothing, and each ambiguous date is asked for.

    Returns
    -------
    "day-first", "month-first" or None
        The other order, where at least half of the dates that need one cannot be read
        in the order given and nearly all can be read in the other.
    """
    other = other_order(order)
    if other is None or not columns:
        return None
    cells = pd.concat([column[read.is_two_way(column)] for column in columns.values()])
    if cells.empty:
        return None
    as_told, as_other = (read.dates(cells, each)[0].isna().mean() for each in (order, other))
    return other if as_told >= _HALF and as_other <= _FEW else None


def check_date_order(
    rows: pd.DataFrame, word: str, raw: Texts, wrong: pd.Series[bool], order: read.DateOrder
) -> pd.DataFrame:
    """Say once that the dates of a column fit the other order of day and month."""
    return find(
        rows,
        wrong,
        DATE_ORDER,
        word=word,
        value=raw,
        what="at least half of the dates cannot be read in the order that the study file gives, and the "
        "other order reads them; none of them is used until that is corrected",
        mend=f'write in the study file, in the table of this file: date_order = "{order}"',
        group=rows["source"].astype(str) + word,
    )


def in_other_order(column: pd.Series[Any], order: read.DateOrder) -> pd.Series[Any]:
    """Read a column in the other order: the day of each cell that means another day there, else NaT."""
    other = other_order(order)
    if other is None:
        return pd.Series(pd.NaT, index=column.index, dtype="datetime64[ns]")
    days = read.dates(column, other)[0]
    return days.where(read.is_two_way(column) & (days != read.dates(column, order)[0]))


def check_slips(rows: pd.DataFrame, closed: dt.date, sources: Sequence[Source]) -> pd.DataFrame:
    """Find visits that lie before planting or in the future, and would not in the other order.

    Where many dates of a sheet do, and none of those that mean another day in the other
    order would be impossible there, the order of the whole sheet is doubted and none of
    those dates is used; else the single dates are. Where the planting days are what the
    other order mends, they are named.

    Parameters
    ----------
    rows
        Records that say something, with date, planted_first, and both as the other order
        reads them (`OTHER_DATE`, `OTHER_PLANTED`; NaT where it reads the same); and
        `PLANTED_SOURCE` where the plot sheet tells the planting day.
    closed
        The day after which no record can be true.
    sources
        Where the records came from.
    """
    last = pd.Timestamp(closed)
    other, planted = rows[OTHER_DATE], rows["planted_first"]
    wrong = (rows["date"] < planted) | (rows["date"] > last)
    if not wrong.any():
        return none_found()
    mended = wrong & (other >= planted) & (other <= last)
    told = other.notna()
    impossible_there = told & ~((other >= planted) & (other <= last))
    share = mended.astype(float).where(told).groupby(rows["source"]).transform("mean").fillna(0.0)
    doubted = (share >= _MANY) & ~impossible_there.groupby(rows["source"]).transform("any")
    replanted = rows[OTHER_PLANTED]
    of_planting = wrong & ~mended & ~doubted & (rows["date"] >= replanted) & (replanted <= last)
    of_planting &= rows["date"] <= last
    others = {number: other_order(source.date_order) or "" for number, source in enumerate(sources)}
    of_visits = rows["source"].map(others)
    of_sheet = rows.get(PLANTED_SOURCE, rows["source"]).fillna(rows["source"]).map(others)
    return gather(
        [
            _slip(
                rows,
                doubted & told,
                "whole sheet",
                "many of these dates lie before planting or after the records were closed in the order of "
                "day and month that the study file gives, and none does in the other, "
                + of_visits
                + "; none of them is used",
                'change date_order in the study file, in the table of this file, to "' + of_visits + '"',
                "date",
            ),
            _slip(
                rows,
                mended & ~doubted,
                "single dates",
                "in the order of day and month that the study file gives this lies before planting or after "
                "the records were closed, and in the other (" + of_visits + ") it does not",
                "look it up; if day and month are exchanged, write the day as year-month-day",
                "date",
            ),
            _slip(
                rows,
                of_planting,
                "planting",
                "the visit lies before planting, unless day and month of the planting date are exchanged",
                'look up the planting date; if so, change date_order in the table of its file to "'
                + of_sheet
                + '", or write the planting date as year-month-day',
                "planted_date",
            ),
        ]
    )


def _slip(
    rows: pd.DataFrame, wrong: pd.Series[bool], kind: str, what: Texts | str, mend: Texts | str, word: str
) -> pd.DataFrame:
    group = rows["source"].astype(str) + word + kind
    value = "read as " + read.day_texts(rows[word])
    return find(rows, wrong, DATE_ORDER, word=word, value=value, what=what, mend=mend, group=group)
