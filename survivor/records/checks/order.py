"""Checks of the order of day and month: dates that only the other order makes sense of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.files import cells as read
from survivor.records.problems import Source, Texts, find, gather, none_found
from survivor.records.times import share_by, times_of

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


def order_that_fits(
    columns: Mapping[str, pd.Series[Any]],
    order: read.DateOrder,
    times: np.ndarray[Any, Any] | None = None,
) -> read.DateOrder:
    """Find that a sheet's dates were written in the other order than the study file says.

    Parameters
    ----------
    columns
        The sheet's columns of dates.
    order
        What the study file says; None: nothing, and each ambiguous date is asked for.
    times
        How many records each row stands for; None: one.

    Returns
    -------
    "day-first", "month-first" or None
        The other order, where at least half of the dates that need one cannot be read
        in the order given and nearly all can be read in the other.
    """
    other = other_order(order)
    if other is None or not columns:
        return None
    asked = [read.is_two_way(column) for column in columns.values()]
    own_cells = [column[own].astype(object) for column, own in zip(columns.values(), asked, strict=True)]
    cells = pd.concat(own_cells)
    if cells.empty:
        return None
    weights = None if times is None else np.concatenate([times[own.to_numpy()] for own in asked])
    as_told, as_other = (
        float(np.average(read.dates(cells, each)[0].isna(), weights=weights)) for each in (order, other)
    )
    return other if as_told >= _HALF and as_other <= _FEW else None


def check_date_order(
    rows: pd.DataFrame, word: str, raw: Texts, wrong: pd.Series[bool], order: read.DateOrder
) -> pd.DataFrame:
    """Say once that the dates of a column fit the other order of day and month."""
    return find(
        rows, wrong, DATE_ORDER, word, value=raw, order=order, group=rows["source"].astype(str) + word
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
    exchanged, planted = rows[OTHER_DATE], rows["planted_first"]
    wrong = (rows["date"] < planted) | (rows["date"] > last)
    if not wrong.any():
        return none_found()
    mended = wrong & (exchanged >= planted) & (exchanged <= last)
    told = exchanged.notna()
    impossible_there = told & ~((exchanged >= planted) & (exchanged <= last))
    share = share_by(mended.astype(float).where(told), rows["source"], times_of(rows)).fillna(0.0)
    doubted = (share >= _MANY) & ~impossible_there.groupby(rows["source"]).transform("any")
    replanted = rows[OTHER_PLANTED]
    of_planting = wrong & ~mended & ~doubted & (rows["date"] >= replanted) & (replanted <= last)
    of_planting &= rows["date"] <= last
    others = {number: other_order(source.date_order) or "" for number, source in enumerate(sources)}
    of_visits = rows["source"].map(others)
    of_sheet = rows.get(PLANTED_SOURCE, rows["source"]).fillna(rows["source"]).map(others)
    return gather(
        *(
            find(
                rows,
                at_fault,
                DATE_ORDER,
                word,
                message=message,
                value="read as " + read.day_texts(rows[word]),
                other=other,
                group=rows["source"].astype(str) + word + message,
            )
            for message, at_fault, word, other in (
                ("order-of-sheet", doubted & told, "date", of_visits),
                ("order-of-dates", mended & ~doubted, "date", of_visits),
                ("order-of-planting", of_planting, "planted_date", of_sheet),
            )
        )
    )
