"""Dates of a gauge's file: ISO, day first or month first, decided once for the whole file."""

from __future__ import annotations

import datetime as dt
import re
from typing import Final

from survivor.season.sheet import Sheet

_ISO: Final = re.compile(r"^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?$")
_COMPACT: Final = re.compile(r"^(\d{4})(\d{2})(\d{2})$")
_SLASHED: Final = re.compile(r"^(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4})(?:[T ].*)?$")
_WORDED: Final = re.compile(r"^(\d{1,2})[-/. ]([a-z]{3})[a-z]*[-/., ]+(\d{4})$")
_MONTHS: Final = {
    name: number
    for number, name in enumerate(
        ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"), start=1
    )
}


class DateReader:
    """Reads the date of a row; knows from all rows whether day or month comes first.

    Parameters
    ----------
    sheet
        The file.
    """

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._parts = {"year", "month", "day"} <= set(sheet.places)
        pairs = (
            []
            if self._parts
            else [m.groups() for _, cells in sheet.rows if (m := _SLASHED.match(self.text(cells)))]
        )
        day_first = any(int(first) > 12 for first, *_ in pairs)
        month_first = any(int(second) > 12 for _, second, _ in pairs)
        self._month_first = month_first and not day_first
        #: Dates could be read either way; the day was taken to come first.
        self.assumed_day_first = bool(pairs) and not day_first and not month_first

    def text(self, cells: list[str]) -> str:
        """Return the date as written."""
        if self._parts:
            year, month, day = (
                self._sheet.cell(cells, word).strip().casefold().removesuffix(".0")
                for word in ("year", "month", "day")
            )
            return f"{year}-{_MONTHS.get(month[:3], month)}-{day}"
        return self._sheet.cell(cells, "date").strip().casefold()

    def read(self, cells: list[str]) -> dt.date | None:
        """Return the day of a row; None where it cannot be read."""
        text = self.text(cells)
        if found := _ISO.match(text) or _COMPACT.match(text):
            return _day(*found.groups())
        if found := _SLASHED.match(text):
            first, second, year = found.groups()
            return _day(year, first, second) if self._month_first else _day(year, second, first)
        if (found := _WORDED.match(text)) and found[2] in _MONTHS:
            return _day(found[3], str(_MONTHS[found[2]]), found[1])
        return None


def _day(year: str, month: str, day: str) -> dt.date | None:
    try:
        return dt.date(int(year), int(month), int(day))
    except ValueError:
        return None
