"""Rain kept as one total a month: a list of months, or a row a year with a column a month.

Unfolded into an amount read on the last day of each month for all its days, so that windows, dry spells and
soil water treat it as they treat every reading of several days.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import pandas as pd

from survivor.files import cells
from survivor.season.month_grid import month_of, years_told

_FEWEST: Final = 3  # months in a list, of different names or years
_GLANCE: Final = 5  # rows that tell a list of months from one of days
_FEWEST_ACROSS: Final = 6  # months in a header, with years below its first cell
_YEARS: Final = (1800, 2200)
HEADER_WITHIN: Final = 40  # rows; titles and notes may stand above a header

_Line = tuple[Any, str, int, Any]  # row, last day of the month, days of the month, amount


@dataclass(frozen=True)
class MonthTotals:
    """Totals of months as a list.

    Attributes
    ----------
    rows
        Column 0: the last day of the month as year-month-day, or what stands there where it is no month;
        column 1: the amount's cell; column 2: the days of the month. Rows bear the number that a
        spreadsheet shows.
    date_header, rain_header
        Headers of the months and of the amounts.
    dated
        Whether a year is told anywhere; without one the list has no rows.
    first, last
        How the first and last month are written.
    """

    rows: pd.DataFrame
    date_header: str
    rain_header: str
    dated: bool
    first: str
    last: str


def listed(rows: pd.DataFrame, head: int, places: Mapping[str, int], year: int | None) -> MonthTotals | None:
    """Read a list of months below a header; None where its rows are no months, each once.

    Parameters
    ----------
    rows
        The sheet as it stands.
    head
        Position of the header's row.
    places
        Our word -> column: ``rain_mm`` and ``date`` or ``month``, perhaps ``year``.
    year
        Of the first month, where none is told.
    """
    at = places.get("date", places.get("month"))
    if at is None or "rain_mm" not in places or "day" in places:
        return None
    below = rows.iloc[head + 1 :]
    written = cells.texts(below[rows.columns[at]])
    written = written[written != ""]
    if "year" in places:
        years = cells.texts(below[rows.columns[places["year"]]]).reindex(written.index).str.removesuffix(".0")
        years = years.where(years.str.fullmatch(r"\d{4}"), "")
        number = written.str.removesuffix(".0")
        by_number = years + "-" + number.str.zfill(2)  # 2024-05
        named = by_number.where(number.str.fullmatch(r"\d\d?"), written + " " + years)
    else:
        named = written
    order = cells.order_told([below[rows.columns[at]]])[0] or "day-first"
    if len(named) > _GLANCE and sum(_as_month(text, order) != "" for text in named.iloc[:_GLANCE]) < _FEWEST:
        return None  # a list of days, perhaps a long one
    named = cells.of_each(named, lambda text: _as_month(text, order))
    known = named[named != ""]
    if len(known) < _FEWEST or len(known) < len(written) - 2:  # a line of totals, a note
        return None
    months = years_told(known, year, rows.iloc[:head].apply(cells.texts))
    if months and len(set(months.values())) < len(months):
        return None  # several readings a month
    if not _told_as_months(written.loc[known.index], order, list(months.values())):
        return None
    headers = cells.texts(rows.iloc[head])
    rain = rows.columns[places["rain_mm"]]
    found: list[_Line] = [
        (row, *_whole(*months[row]), below.at[row, rain])
        if row in months
        else (row, written[row], 1, below.at[row, rain])
        for row in written.index
    ]
    return _totals(
        found if months else [],
        str(headers.iloc[at]),
        str(headers.iloc[places["rain_mm"]]),
        (written[known.index[0]], written[known.index[-1]]),
    )


def across(rows: pd.DataFrame) -> MonthTotals | None:
    """Read a row a year with a column a month; None where the sheet holds no such table."""
    texts = rows.iloc[:HEADER_WITHIN].apply(cells.texts)
    for place in range(len(texts)):
        header = texts.iloc[place]
        months: dict[Any, int] = {
            column: found[1] for column, text in header.items() if (found := month_of(str(text)))
        }
        if len(months) < _FEWEST_ACROSS or len(set(months.values())) < len(months):
            continue
        before = list(texts.columns).index(next(iter(months))) - 1
        if before < 0:
            continue
        years = cells.numbers(rows.iloc[place + 1 :, before])[0]
        years = years[years.between(*_YEARS) & (years % 1 == 0)]
        if years.empty or years.duplicated().any():
            continue
        found_rows: list[_Line] = [
            (row, *_whole(int(year), month), rows.at[row, column])
            for row, year in years.items()
            for column, month in months.items()
        ]
        written = [str(header[column]) for column in months]
        return _totals(
            found_rows,
            str(header.iloc[before]) or "year",
            f"{written[0]} to {written[-1]}",
            (written[0], written[-1]),
        )
    return None


def _as_month(text: str, order: cells.DateOrder) -> str:
    """Text that names a month; the first or last day of one as ``2024-06``; blank where it is neither."""
    if month_of(text) is not None:
        return text
    day = cells.one_date(text, order)
    if day is None:
        return ""
    date = dt.date.fromisoformat(day)
    return f"{date:%Y-%m}" if date.day == 1 or _is_last(date) else ""


def _is_last(day: dt.date) -> bool:
    return (day + dt.timedelta(days=1)).day == 1


def _told_as_months(
    written: pd.Series[Any], order: cells.DateOrder, months: Sequence[tuple[int, int]]
) -> bool:
    """Whether days stand for their months: all the first or all the last day of one, month after month.

    A list of the days on which it rained may hold a few such days by chance.
    """
    days = [dt.date.fromisoformat(day) for text in written if (day := cells.one_date(text, order))]
    if not days:
        return True
    count = [12 * year + month for year, month in months]
    runs_on = all(later - earlier == 1 for earlier, later in pairwise(count))
    return runs_on and (all(day.day == 1 for day in days) or all(map(_is_last, days)))


def _whole(year: int, month: int) -> tuple[str, int]:
    period = pd.Period(year=year, month=month, freq="M")
    return f"{year}-{month:02d}-{period.days_in_month}", int(period.days_in_month)


def _totals(found: list[_Line], date: str, rain: str, ends: tuple[str, str]) -> MonthTotals:
    table = pd.DataFrame(
        [(day, amount, days) for _, day, days, amount in found], dtype=object, columns=range(3)
    )
    table.index = pd.Index([int(row) for row, *_ in found], dtype=int)
    return MonthTotals(table, date, rain, bool(found), *ends)
