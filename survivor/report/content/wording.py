"""How numbers, days, counts and lists are put into words."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from survivor.figures.words import NONE, number
from survivor.report.content.elements import Column, Table

MOST_ROWS = 60  # a longer table is no longer read on a page

_ISO_DATE = re.compile(r"(?<![\w./-])\d{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])(?![\w/-]|\.\w)")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def plain(value: float) -> str:
    """Write a setting as it was given: 5, 2.5."""
    return number(value, 0 if float(value).is_integer() else 1)


def chance(p_value: float) -> str:
    """Write a p value to two places, three below 0.1; never as nought."""
    if not math.isfinite(p_value):
        return NONE
    if p_value < 0.001:
        return "under 0.001"
    return number(p_value, 3 if p_value < 0.0995 else 2)


def date(value: Any) -> str:
    """Write a date as day, month, year; a dash where there is none."""
    when = pd.Timestamp(value)
    if pd.isna(when):
        return NONE
    return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"


def dates(values: pd.Series[Any]) -> str:
    """Write the first and the last of some dates."""
    known = pd.to_datetime(values).dropna()
    if known.empty:
        return NONE
    first, last = known.min(), known.max()
    if first == last:
        return date(first)
    if first.year == last.year:
        return f"{first.day} {_MONTHS[first.month - 1]} to {date(last)}"
    return f"{date(first)} to {date(last)}"


def dates_in_words(text: str) -> str:
    """Write each date of a text, 2022-06-30, as day, month, year; names of files keep theirs.

    Examples
    --------
    >>> dates_in_words("from 2022-06-30 on; see rain-2022-06-30.csv")
    'from 30 June 2022 on; see rain-2022-06-30.csv'
    """
    return _ISO_DATE.sub(lambda found: date(found.group()), text)


def month_day(value: str) -> str:
    """Write ``12-01`` as 1 December."""
    month, day = value.split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]}"


def counted(count: float, one: str, many: str = "") -> str:
    """Write a count with its noun: 1 plot, 24 plots."""
    return f"{number(count)} {one if count == 1 else many or one + 's'}"


def model_words(name: str) -> str:
    """Return a model's name as the report prints it."""
    words = {
        "grouped": "between visits (the answer)",
        "cox": "Cox",
        "logistic": "at the milestone",
        "mixed": "plots drawn from a normal",
    }
    return words.get(name, name)


def listed(names: Iterable[str]) -> str:
    """Join names with commas and ``and``; with semicolons where a name has a comma of its own."""
    known = list(names)
    if any("," in name for name in known):
        return "; ".join(known)
    if len(known) <= 1:
        return "".join(known)
    return f"{', '.join(known[:-1])} and {known[-1]}"


def sentence(text: str) -> str:
    """Begin with a capital letter and end with a full stop."""
    stripped = text.strip()
    if not stripped:
        return ""
    capital = stripped[0].upper() + stripped[1:]
    return capital if capital[-1] in ".?!" else capital + "."


def any_text(value: Any) -> str:
    """Write whatever a cell of the records holds."""
    if value is None or (not isinstance(value, str | Sequence) and pd.isna(value)):
        return ""
    if isinstance(value, pd.Timestamp):
        return date(value)
    if isinstance(value, int | np.integer) and not isinstance(value, bool):
        return number(float(value))
    if isinstance(value, float):
        return number(value, 0 if value.is_integer() else 2)
    return str(value)


def shortened(table: Table, file: str, most: int = MOST_ROWS) -> Table:
    """Return the table with its first rows only where it is long, and say where the others are.

    Parameters
    ----------
    table
        Any table.
    file
        Name of the CSV file that has every row.
    most
        Rows kept.
    """
    if len(table.rows) <= most:
        return table
    said = f"The first {most} of {number(len(table.rows))} rows; {file} has them all."
    return replace(table, rows=table.rows[:most], note=f"{said} {table.note}".strip())


def table_of(key: str, caption: str, headings: Sequence[str], frame: pd.DataFrame, note: str = "") -> Table:
    """Return a plain table of a frame, column by column; numbers to the right."""
    columns = tuple(
        Column(heading, pd.api.types.is_numeric_dtype(frame[name]))
        for heading, name in zip(headings, frame.columns, strict=True)
    )
    rows = tuple(tuple(any_text(value) for value in row) for row in frame.itertuples(index=False, name=None))
    return Table(key, caption, columns, rows, note=note)
