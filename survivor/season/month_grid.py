"""Rain as a month grid: a row a day of the month, a column a month, as most gauge books are kept.

Unfolded into a row a day, so that everything else reads one kind of file.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.files import cells
from survivor.files.sheets import as_text

_FEWEST_MONTHS: Final = 2
_FEWEST_DAYS: Final = 20  # rows of a month that stand below a header of months
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH: Final = re.compile(rf"({'|'.join(_MONTHS)})[a-z]*[ .,'/-]*((?:19|20)?\d\d)?", re.IGNORECASE)
_FIRST_OF_MONTH: Final = re.compile(r"(\d{4})-(\d\d)(?:-01)?")
_YEAR: Final = re.compile(r"(?<!\d)((?:19|20)\d\d)(?!\d)")


@dataclass(frozen=True)
class MonthGrid:
    """A month grid as a list.

    Attributes
    ----------
    days
        Column 0: the day as year-month-day; column 1: what stands in its cell. Rows bear
        the number that a spreadsheet shows, so a row of the grid stands there once a month.
    day_header, months
        Header of the days, and of the first and last month.
    dated
        Whether a year is told anywhere; without one the list has no rows.
    """

    days: pd.DataFrame
    day_header: str
    months: tuple[str, str]
    dated: bool


def month_grid(rows: pd.DataFrame, year: int | None = None) -> MonthGrid | None:
    """Find month grids in a sheet, one below the other, and unfold them.

    Parameters
    ----------
    rows
        The sheet as it stands (`survivor.files.sheets.read_rows`).
    year
        Of the first month of the first grid; None: from the headers of months, else from the
        last title above that holds one. A month that is earlier in the year than the one
        on its left is of the next year.
    """
    texts = rows.apply(cells.texts)
    named = texts.apply(lambda column: cells.of_each(column, lambda text: month_of(text) is not None))
    likely = (named.sum(axis=1) >= _FEWEST_MONTHS).to_numpy().nonzero()[0]
    heads = [int(place) for place in likely if _is_head(texts, int(place))]
    if not heads:
        return None
    found: list[tuple[int, str, Any]] = []
    for head, end in zip(heads, [*heads[1:], len(texts)], strict=True):
        of_column = years_told(texts.iloc[head], year if head == heads[0] else None, texts.iloc[:head])
        of_month = _days(texts.iloc[head + 1 : end, _day_column(texts, head)])
        for column, (of_year, month) in of_column.items():
            last = pd.Period(year=of_year, month=month, freq="M").days_in_month
            for row, day in of_month.items():
                cell = rows.at[row, column]
                if day <= last or as_text(cell):
                    found.append((int(row), f"{of_year}-{month:02d}-{day:02d}", cell))
    header = texts.iloc[heads[0]]
    months = [str(text) for text in header if month_of(str(text))]
    table = pd.DataFrame([(day, cell) for _, day, cell in found], dtype=object, columns=range(2))
    table.index = pd.Index(np.array([row for row, _, _ in found], dtype=int))
    day_header = str(header.iloc[_day_column(texts, heads[0])])
    return MonthGrid(table, day_header or "day", (months[0], months[-1]), bool(found))


def _is_head(texts: pd.DataFrame, place: int) -> bool:
    if month_of(texts.iloc[place].iloc[0]) is not None:
        return False
    return len(_days(texts.iloc[place + 1 :, _day_column(texts, place)])) >= _FEWEST_DAYS


def _day_column(texts: pd.DataFrame, place: int) -> int:
    """Column of the days of the month: the one before the first month."""
    return next(n for n, column in enumerate(texts.columns) if month_of(texts.iloc[place][column])) - 1


def _days(column: pd.Series[Any]) -> dict[Any, int]:
    """Day of the month of each row that has one."""
    numbers = cells.numbers(column)[0]
    whole = numbers[numbers.between(1, 31) & (numbers % 1 == 0)]
    return {row: int(day) for row, day in whole.items()}


def month_of(text: str) -> tuple[int | None, int] | None:
    """Year, where told, and month of a header such as Jul, June 2023 or Jun-23."""
    if (match := _FIRST_OF_MONTH.fullmatch(text)) is not None and 1 <= int(match[2]) <= len(_MONTHS):
        return int(match[1]), int(match[2])
    if (match := _MONTH.fullmatch(text.strip())) is None:
        return None
    year = None if match[2] is None else int(match[2]) + (2000 if len(match[2]) == 2 else 0)
    return year, _MONTHS.index(match[1].casefold()) + 1


def years_told(named: pd.Series[Any], year: int | None, above: pd.DataFrame) -> dict[Any, tuple[int, int]]:
    """Year and month of each label whose text names a month; none where no year is told.

    Parameters
    ----------
    named
        Texts in order of time. A month that is earlier in the year than the one before it is of the next.
    year
        Of the first month; None: from the texts, else from the last title above that holds one.
    above
        The texts that stand above.
    """
    told = {column: found for column, text in named.items() if (found := month_of(str(text))) is not None}
    written = map(_first_year, map(str, above.to_numpy().ravel()[::-1]))
    titles = [int(text) for text in written if text is not None]
    current = year or next((of_year for of_year, _ in told.values() if of_year), None)
    current = current or (titles[0] if titles else None)
    if current is None:
        return {}
    months: dict[Any, tuple[int, int]] = {}
    before = 0
    for column, (of_year, month) in told.items():
        current = of_year or current + (month < before)
        months[column] = (current, month)
        before = month
    return months


def _first_year(text: str) -> str | None:
    match = _YEAR.search(text)
    return None if match is None else match[1]
