"""Cells to texts, numbers and days. What cannot be read is named, never guessed.

Each reader works on the distinct cells of a column, so that its cost grows with
what is different in the column and not with its length.
"""

from __future__ import annotations

import datetime as dt
import functools
import math
import re
from collections.abc import Callable, Iterable
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from survivor.arrays import factorized
from survivor.files.days import (
    AMBIGUOUS,
    MONTH_NAME,
    NOT_A_DATE,
    SERIAL,
    DateOrder,
    day_of,
    read_day,
    serial_day,
    tells_by_order,
    without_accents,
)
from survivor.files.sheets import as_text

__all__ = [
    "AMBIGUOUS",
    "MONTH_NAME",
    "NOT_A_DATE",
    "SERIAL",
    "DateOrder",
    "without_accents",
]

_ORDERS: Final[tuple[DateOrder, ...]] = ("day-first", "month-first")

# Faults; each is the code of a problem.
PERCENTAGE = "percentage"
NOT_A_NUMBER = "unreadable-number"

_NUMBER = re.compile(r"[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[-+]?\d+,\d{1,2}")
_LENGTH = r"^(\d+(?:[.,]\d+)?)\s*(cm|mm|m|metres?|meters?)\.?$"
_PERCENT = re.compile(r"[-+]?\d+([.,]\d+)?\s*(%|per ?cent|percent)")


def texts(cells: pd.Series[Any]) -> pd.Series[Any]:
    """Cells as text, trimmed; "" for a blank."""
    codes, distinct = _coded(cells, object)
    return pd.Series(_written(distinct)[codes], index=cells.index, dtype=object)


def _written(distinct: Any) -> np.ndarray[Any, Any]:
    """Write cells as text; texts that stand so already are told in one look, as a register has millions."""
    kinds = set(map(type, distinct))
    if kinds == {str}:
        whole = "".join(distinct)
        if whole.isascii() and whole.isprintable() and " " not in whole:
            return np.asarray(distinct, dtype=object)
    return np.array([as_text(cell) for cell in distinct], dtype=object)


def numbers(cells: pd.Series[Any]) -> tuple[pd.Series[float], pd.Series[Any]]:
    """Cells as numbers.

    Returns
    -------
    values, faults
        NaN for a blank and for what cannot be read; the fault is "" or a code.
    """
    values, faults = _each(cells, _number)
    return (
        pd.Series(values.astype(float), index=cells.index, dtype=float),
        pd.Series(faults, index=cells.index, dtype=object),
    )


def shares(values: pd.Series[float], faults: pd.Series[Any]) -> tuple[pd.Series[float], pd.Series[Any]]:
    """Take numbers as per cent, where all are between 0 and 1 as shares; a % sign is no fault.

    Parameters
    ----------
    values, faults
        As `numbers` gives them.
    """
    number = values[faults == ""].dropna()
    of_one = len(number) > 0 and number.between(0, 1).all() and (number % 1 != 0).any()
    # A share is kept to the hundredth of a per cent: 17 of 20 is 85, not 85.00000000000001.
    in_percent = (values * 100).round(2).where(faults == "", values) if of_one else values
    return in_percent, faults.where(faults != PERCENTAGE, "")


def lengths(cells: pd.Series[Any], unit: Literal["cm", "m"]) -> tuple[pd.Series[float], pd.Series[Any]]:
    """Lengths in a unit; a cell such as ``45 cm`` or ``0.45 m`` brings its own.

    Returns
    -------
    values, faults
        As `numbers`.
    """
    text = texts(cells).str.casefold()
    parted = text.str.extract(_LENGTH)
    own = parted[1].notna()
    if not own.any():
        return numbers(cells)
    values, faults = numbers(parted[0].where(own, cells.astype(object)))
    of_metre = parted[1].map({"cm": 0.01, "mm": 0.001}).fillna(1.0)
    scaled = (values * of_metre / (0.01 if unit == "cm" else 1.0)).round(6)
    return values.where(~own, scaled), faults


def dates(cells: pd.Series[Any], order: DateOrder = None) -> tuple[pd.Series[Any], pd.Series[Any]]:
    """Cells as days.

    Real dates, year-month-day text, named months and a spreadsheet's day numbers
    mean one day each. Of ``03/04/2022`` only the study file can tell (``order``);
    without it such a text is a fault unless it can be read in one way only.

    Returns
    -------
    values, faults
        datetime64, NaT for a blank and for what cannot be read; the fault is "" or
        a code. `SERIAL` is read all the same.
    """
    codes, distinct = _coded(cells, object)
    read = [_date(cell, order) for cell in distinct]
    days = np.array([day or "NaT" for day, _ in read], dtype="datetime64[D]").astype("datetime64[ns]")
    faults = np.array([fault for _, fault in read], dtype=object)
    return (
        pd.Series(days[codes], index=cells.index),
        pd.Series(faults[codes], index=cells.index, dtype=object),
    )


def hold_days(column: pd.Series[Any]) -> bool:
    """Tell whether every filled cell of a column is a day, and none a number that could be one."""
    left: tuple[DateOrder, ...] = _ORDERS  # in which all cells so far can be read
    looked_at: set[object] = set()  # most columns end with their first cell, and few cells differ
    for cell in column.to_numpy(dtype=object):
        if cell in looked_at or not as_text(cell):
            continue
        left = tuple(order for order in left if one_date(cell, order) is not None)
        if not left or not math.isnan(_number(cell)[0]):
            return False
        looked_at.add(cell)
    return bool(looked_at)


def is_text(column: pd.Series[Any]) -> bool:
    """Tell whether a column holds texts, however the frame stores them."""
    return pd.api.types.is_object_dtype(column) or pd.api.types.is_string_dtype(column)


def holds(column: pd.Series[Any], text: str) -> pd.Series[bool]:
    """Tell which cells are a text: compared as an array, where a frame looks at each for a blank first."""
    return pd.Series(column.to_numpy(dtype=object) == str(text), index=column.index)


def day_texts(days: pd.Series[Any]) -> pd.Series[Any]:
    """Days as year-month-day; "" where there is none."""
    codes, distinct = pd.factorize(days, use_na_sentinel=False)
    written = np.array(["" if pd.isna(day) else f"{day:%Y-%m-%d}" for day in distinct], dtype=object)
    return pd.Series(written[codes], index=days.index, dtype=object)


def number_texts(values: pd.Series[Any]) -> pd.Series[Any]:
    """Numbers as people write them; "" where there is none."""
    codes, distinct = pd.factorize(values, use_na_sentinel=False)
    written = np.array(["" if pd.isna(value) else f"{value:g}" for value in distinct], dtype=object)
    return pd.Series(written[codes], index=values.index, dtype=object)


def one_number(cell: object) -> float:
    """Read one cell as a number; NaN for a blank and for what cannot be read."""
    return _number(cell)[0]


def one_date(cell: object, order: DateOrder = None) -> str | None:
    """Day of one cell as year-month-day, or None."""
    return _date(cell, order)[0]


def order_told(columns: Iterable[pd.Series[Any]]) -> tuple[DateOrder, bool]:
    """Tell the order of day and month from the columns of dates as a whole.

    Returns
    -------
    order, two_way
        The order in which all of them can be read where the other leaves some unread,
        else None; and whether any is written so that only an order tells.
    """
    two_way = [
        cell for column in columns for cell in _coded(column, object)[1] if tells_by_order(as_text(cell))
    ]
    if not two_way:
        return None, False
    reads = [all(one_date(cell, order) is not None for cell in two_way) for order in _ORDERS]
    return (_ORDERS[reads.index(True)] if sum(reads) == 1 else None), True


@functools.lru_cache(maxsize=2**12)  # decades of days have some hundred amounts of rain between them
def measure(text: str) -> float | None:
    """Read a number whose one comma is decimal, as it never reaches a thousand; None where it is none."""
    number, fault = _number(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    return None if fault or math.isnan(number) else number


def is_two_way(cells: pd.Series[Any]) -> pd.Series[bool]:
    """Tell which cells are texts whose day and month only an order tells, such as 13/04/2022."""
    codes, distinct = _coded(cells, object)
    told = np.array([tells_by_order(as_text(cell)) for cell in distinct], dtype=bool)
    return pd.Series(told[codes], index=cells.index)


def of_each(column: pd.Series[Any], tell: Callable[[Any], Any]) -> pd.Series[Any]:
    """Ask one question of each distinct value of a column, and give every row its answer."""
    codes, distinct = _coded(column)
    return _given(column, codes, distinct, tell)


def of_each_text(column: pd.Series[Any], tell: Callable[[str], Any]) -> pd.Series[Any]:
    """As `of_each`, of the cells as text."""
    codes, distinct = _coded(column)
    return _given(column, codes, _written(distinct), tell)


def of_texts(column: pd.Series[Any], tell: Callable[[list[str]], Any]) -> pd.Series[Any]:
    """Ask one question of all distinct cells of a column together, as text, and give every row its answer."""
    codes, distinct = _coded(column)
    return pd.Series(np.asarray(tell(_written(distinct).tolist()))[codes], index=column.index)


def all_figures(texts: Iterable[str]) -> bool:
    """Tell whether texts are of figures only, as most tags are: in one look at all of them."""
    told = list(texts)
    return all(told) and "".join(told).isdigit()


def _given(column: pd.Series[Any], codes: Any, distinct: Any, tell: Callable[[Any], Any]) -> pd.Series[Any]:
    told = list(map(tell, distinct))
    # Rows that are alike share one text: an array of texts of one width would copy it into each.
    kind = object if not told or any(issubclass(kind, str) for kind in set(map(type, told))) else None
    return pd.Series(np.array(told, dtype=kind)[codes], index=column.index)


def _coded(column: pd.Series[Any], kind: type | None = None) -> tuple[np.ndarray[Any, Any], Any]:
    """Give the distinct cells of a column, as those of a kind, and the place of each cell among them."""
    if isinstance(column.dtype, pd.CategoricalDtype) and not column.hasnans:  # as those of a register are
        return column.cat.codes.to_numpy(), column.cat.categories.to_numpy(dtype=object)
    return factorized(column if kind is None else column.to_numpy(dtype=kind), use_na_sentinel=False)


def _each(
    cells: pd.Series[Any], read: Callable[[object], tuple[Any, str]]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    codes, distinct = _coded(cells, object)
    values = np.empty(len(distinct), dtype=object)
    faults = np.empty(len(distinct), dtype=object)
    for place, cell in enumerate(distinct):
        values[place], faults[place] = read(cell)
    return values[codes], faults[codes]


def _number(cell: object) -> tuple[float, str]:
    if isinstance(cell, bool):
        return math.nan, NOT_A_NUMBER
    if isinstance(cell, int | float):
        return (float(cell), "") if math.isfinite(cell) else (math.nan, NOT_A_NUMBER)
    text = as_text(cell).casefold()
    if not text:
        return math.nan, ""
    if _NUMBER.fullmatch(text):
        return (float(text), "") if math.isfinite(float(text)) else (math.nan, NOT_A_NUMBER)
    if _DECIMAL_COMMA.fullmatch(text):
        return float(text.replace(",", ".")), ""
    if _PERCENT.fullmatch(text):
        return float(re.split(r"[%p]", text)[0].strip().replace(",", ".")), PERCENTAGE
    return math.nan, NOT_A_NUMBER


def _date(cell: object, order: DateOrder) -> tuple[str | None, str]:
    if isinstance(cell, dt.date):  # of which a datetime is one
        return day_of(cell.year, cell.month, cell.day)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return serial_day(float(cell))
    return read_day(as_text(cell), order)
