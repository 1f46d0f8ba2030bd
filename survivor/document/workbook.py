"""A workbook being written: text stays text, numbers are not rounded, the same content gives one file."""

from __future__ import annotations

import datetime as dt
import io
import math
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from survivor.files.sheets import as_text

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

LONGEST_NAME: Final = 31  # of a sheet, as spreadsheets allow
LONGEST_TEXT: Final = 32_000  # of a cell, which holds 32,767
MOST_ROWS: Final = 1_000_000  # a sheet holds 1,048,576
WIDEST: Final = 60  # letters
SMALLEST_SHOWN: Final = 0.001  # with three places; a cell keeps all its digits
FIRST_YEAR: Final = 1900  # of dates in a spreadsheet; an earlier one is text
LOOKED_AT: Final = 500  # rows that set the width of a column
DAY_FORMAT: Final = {"num_format": "yyyy-mm-dd", "align": "left"}
NO_DAY: Final = dt.date(2000, 1, 1)


class Book:
    """A workbook, sheet by sheet.

    Parameters
    ----------
    title
        Its title.
    day
        The day that it bears as that of its making: one of its content, so that the same content
        gives the same bytes; a fixed one where there is none.
    """

    def __init__(self, title: str, day: dt.date | None = None) -> None:
        import xlsxwriter

        self._held = io.BytesIO()
        as_is = dict.fromkeys(("strings_to_formulas", "strings_to_urls", "strings_to_numbers"), False)
        self.workbook = xlsxwriter.Workbook(self._held, {"in_memory": True, **as_is})
        made = day or NO_DAY
        self.workbook.set_properties(
            {"title": title, "created": dt.datetime(made.year, made.month, made.day)}
        )
        self.heading: Format = self.workbook.add_format(
            {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}
        )
        self.date: Format = self.workbook.add_format(DAY_FORMAT)
        self.fraction: Format = self.workbook.add_format({"num_format": "0.0##"})

    def add(self, name: str) -> Worksheet:
        """Add an empty sheet; its name is cut to what spreadsheets allow."""
        return self.workbook.add_worksheet(name[:LONGEST_NAME])

    def add_table(self, name: str, table: pd.DataFrame) -> None:
        """Add a sheet that holds a table."""
        self.fill(self.add(name), table)

    def fill(self, sheet: Worksheet, table: pd.DataFrame) -> None:
        """Write a table: headings that stay in sight, a cell a value, columns as wide as their words."""
        for place, name in enumerate(table.columns):
            sheet.write_string(0, place, str(name), self.heading)
            values = table[name].head(MOST_ROWS).tolist()
            for row, value in enumerate(values, start=1):
                self.cell(sheet, (row, place), value)
            longest = max((_letters(value) for value in values[:LOOKED_AT]), default=0)
            sheet.set_column(place, place, min(max(longest, len(str(name))) + 2, WIDEST))
        finish(sheet, len(table), len(table.columns))

    def cell(
        self,
        sheet: Worksheet,
        place: tuple[int, int],
        value: Any,
        look: Format | None = None,
        date: Format | None = None,
    ) -> None:
        """Write one value as what it is at a row and column, counted from 0.

        ``date`` is the look of a date where not the usual one.
        """
        if value is None or value is pd.NaT or value is pd.NA or value == "" or _is_nan(value):
            if look is not None:
                sheet.write_blank(*place, None, look)
        elif isinstance(value, bool):
            sheet.write_boolean(*place, value, look)
        elif isinstance(value, dt.datetime | dt.date) and value.year >= FIRST_YEAR:
            sheet.write_datetime(*place, value, date or self.date)
        elif isinstance(value, int | float) and math.isfinite(value):
            shown = isinstance(value, float) and not value.is_integer() and abs(value) >= SMALLEST_SHOWN
            sheet.write_number(*place, value, look or (self.fraction if shown else None))
        else:
            text = "no limit" if isinstance(value, float) else as_text(value)
            sheet.write_string(*place, text[:LONGEST_TEXT], look)

    def close(self) -> bytes:
        """Return the workbook as the bytes of an XLSX file."""
        self.workbook.close()
        return self._held.getvalue()


def finish(sheet: Worksheet, rows: int, columns: int) -> None:
    """Keep the headings of a list in sight, and let its rows be chosen by them."""
    sheet.freeze_panes(1, 0)
    if rows and columns:
        sheet.autofilter(0, 0, min(rows, MOST_ROWS), columns - 1)


def _letters(value: Any) -> int:
    if value is pd.NaT or value is pd.NA or _is_nan(value):
        return 0
    return len(f"{value:.6g}" if isinstance(value, float) else as_text(value))


def _is_nan(value: Any) -> bool:
    return isinstance(value, float) and math.isnan(value)
