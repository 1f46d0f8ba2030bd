"""Daily rain as gauges are kept: a file of readings, with the gaps and sums that real ones have.

A blank is a day not read, never a dry one. An amount read after several days stays one
amount over several days: nobody knows on which of them it fell. What can't be true is
set aside and listed, with its row.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.errors import SeasonError
from survivor.figures.words import many
from survivor.season.cells import BLANKS, SENTINELS, number_in, some
from survivor.season.dates import DateReader
from survivor.season.sheet import Sheet, read_sheet
from survivor.settings import Gauge
from survivor.vocabulary import PROBLEM_COLUMNS, Severity

MOST_A_DAY: Final = 500.0  # mm; a daily fall above it is looked at before it is believed
_TRACE: Final = frozenset({"t", "tr", "trace"})
_PROVISIONAL: Final = frozenset(
    {"n", "p", "prov", "provisional", "preliminary", "unchecked", "not checked", "unverified"}
)


@dataclass(frozen=True)
class GaugeRecord:
    """A gauge's readings.

    Attributes
    ----------
    name, file
        The gauge, and its file without folders.
    daily
        One row a day that the file has: ``date, rain_mm`` (NaN: not known),
        ``days_covered`` (1, or the days up to ``date`` that the amount was read for) and
        ``quality`` (the file's word). In order of date, no date twice.
    problems
        ``code, severity, file, sheet, row, column, value, what, mend``, one row each.
    missing_days
        ``not read``: a date the file leaves out is not known; ``zero``: it was dry.
    """

    name: str
    file: str
    daily: pd.DataFrame
    problems: pd.DataFrame
    missing_days: str = "not read"


def read_gauge(path: str | Path, gauge: Gauge) -> GaugeRecord:
    """Read a gauge's file.

    Parameters
    ----------
    path
        The file, or the folder in which ``gauge.file`` lies.
    gauge
        Its name and, where headers differ from the usual words, its ``columns``:
        ``date`` or ``year, month, day``; ``rain_mm``; ``days_covered``; ``quality``.

    Returns
    -------
    GaugeRecord

    Raises
    ------
    SeasonError
        When the file is absent, empty, not text, or its columns cannot be told; what is
        wrong with single rows is listed in ``problems`` instead.
    """
    given = Path(path)
    file = given / gauge.file if given.is_dir() else given
    sheet = read_sheet(file, gauge.columns)
    reader = _Reader(sheet)
    reader.read()
    daily = reader.daily()
    if daily.empty:
        raise SeasonError(
            "no row of this file holds a day that can be read",
            where=sheet.file,
            mend="give a date column (2024-05-31 or 31/05/2024), or year, month and day",
        )
    problems = pd.DataFrame(reader.problems, columns=list(PROBLEM_COLUMNS))
    return GaugeRecord(gauge.name, sheet.file, daily, problems, gauge.missing_days)


def is_provisional(quality: pd.Series[str]) -> pd.Series[bool]:
    """Whether the file calls a reading provisional."""
    return quality.str.strip().str.casefold().isin(_PROVISIONAL)


class _Reader:
    """Goes through the rows once and keeps readings and problems apart."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.dates = DateReader(sheet)
        self.kept: dict[dt.date, tuple[int, float, int, str]] = {}
        self.problems: list[tuple[Any, ...]] = []
        self.sentinels: dict[str, list[tuple[int, dt.date]]] = {}

    def read(self) -> None:
        for row, cells in self.sheet.rows:
            date = self.dates.read(cells)
            if date is None:
                what = "the date cannot be read; the row is set aside"
                self._note(
                    "rain-date",
                    Severity.CHECK,
                    row,
                    "date",
                    self.dates.text(cells),
                    what,
                    "give the day as 2024-05-31",
                )
                continue
            amount = self._amount(row, date, self.sheet.cell(cells, "rain_mm"))
            days = self._days(row, self.sheet.cell(cells, "days_covered"))
            amount = self._believable(row, amount, days)
            self._keep(row, date, amount, days, self.sheet.cell(cells, "quality"))
        self._summaries()

    def daily(self) -> pd.DataFrame:
        days = sorted(self.kept)
        values = [self.kept[day] for day in days]
        return pd.DataFrame(
            {
                "date": pd.to_datetime(pd.Series(days, dtype="object")),
                "rain_mm": np.array([value[1] for value in values], dtype=float),
                "days_covered": np.array([value[2] for value in values], dtype=np.int64),
                "quality": pd.Series([value[3] for value in values], dtype="str"),
            }
        )

    def _note(
        self, code: str, severity: Severity, row: int | None, word: str, value: str, what: str, mend: str
    ) -> None:
        header = self.sheet.header_of(word)
        self.problems.append((code, str(severity), self.sheet.file, "", row, header, value, what, mend))

    def _amount(self, row: int, date: dt.date, text: str) -> float:
        plain = text.strip().casefold().removesuffix("mm").strip()
        if plain in BLANKS:
            return float("nan")
        if plain in _TRACE:
            return 0.0
        number = number_in(plain)
        if number is None:
            what = "the amount cannot be read; the day counts as not read"
            self._note(
                "rain-amount",
                Severity.CHECK,
                row,
                "rain_mm",
                text,
                what,
                "give mm as a number, or leave it blank",
            )
            return float("nan")
        if number in SENTINELS:
            self.sentinels.setdefault(text.strip(), []).append((row, date))
            return float("nan")
        return number

    def _days(self, row: int, text: str) -> int:
        number = number_in(text.strip())
        if number is None and text.strip().casefold() in BLANKS:
            return 1
        if number is None or number < 0 or number != int(number) or number > 366:
            what = "the number of days an amount covers cannot be read; it is taken as 1"
            self._note(
                "rain-days", Severity.CHECK, row, "days_covered", text, what, "give a whole number of days"
            )
            return 1
        return max(int(number), 1)

    def _believable(self, row: int, amount: float, days: int) -> float:
        if amount < 0:
            what = "a negative amount; the day counts as not read"
            self._note(
                "rain-negative",
                Severity.CHECK,
                row,
                "rain_mm",
                f"{amount:g}",
                what,
                "look it up in the gauge book",
            )
            return float("nan")
        if amount > MOST_A_DAY * days:
            what = f"more than {MOST_A_DAY:g} mm a day; it counts as not read"
            mend = "check the unit and the decimal point; leave the cell blank if it is not known"
            self._note("rain-absurd", Severity.CHECK, row, "rain_mm", f"{amount:g}", what, mend)
            return float("nan")
        return amount

    def _keep(self, row: int, date: dt.date, amount: float, days: int, quality: str) -> None:
        before = self.kept.get(date)
        if before is None:
            self.kept[date] = (row, amount, days, quality.strip())
            return
        same = days == before[2] and (amount == before[1] or (np.isnan(amount) and np.isnan(before[1])))
        if same:
            what = f"{date} stands twice, alike (first in row {before[0]}); it counts once"
            self._note("rain-repeated", Severity.NOTE, row, "date", str(date), what, "delete one of the rows")
            return
        what = (
            f"{date} stands twice with different readings (first in row {before[0]}); it counts as not read"
        )
        self._note("rain-differs", Severity.CHECK, row, "date", str(date), what, "keep the row that is right")
        self.kept[date] = (before[0], float("nan"), 1, before[3])

    def _summaries(self) -> None:
        for text, found in self.sentinels.items():
            which = some(day for _, day in found)
            carry = "carries" if len(found) == 1 else "carry"
            what = f"{many(len(found), 'day')} {carry} {text}, which stands for missing: {which}"
            self._note(
                "rain-sentinel",
                Severity.NOTE,
                found[0][0],
                "rain_mm",
                text,
                what,
                "nothing, if they were not read",
            )
        several = sorted((day, v) for day, v in self.kept.items() if v[2] > 1 and not np.isnan(v[1]))
        if several:
            listed = some(day for day, _ in several)
            what = (
                f"{many(len(several), 'amount')} {'covers' if len(several) == 1 else 'cover'} several days, "
                f"each kept whole: {listed}"
            )
            mend = "nothing; they count in totals and break runs of dry days"
            self._note("rain-several-days", Severity.NOTE, several[0][1][0], "days_covered", "", what, mend)
        for day, (row, amount, days, _) in several:
            inside = (day - dt.timedelta(days=back) for back in range(1, days))
            twice = [d for d in inside if d in self.kept and not np.isnan(self.kept[d][1])]
            if twice:
                what = (
                    f"{amount:g} mm for {days} days to {day}; some of them have readings too: {some(twice)}"
                )
                mend = "check the number of days; both are counted as they stand"
                self._note("rain-counted-twice", Severity.CHECK, row, "days_covered", str(days), what, mend)
        loose = sorted(day for day, v in self.kept.items() if v[3].casefold() in _PROVISIONAL)
        if loose:
            what = (
                f"{many(len(loose), 'day')} {'is' if len(loose) == 1 else 'are'} provisional, from "
                f"{loose[0]} to {loose[-1]}"
            )
            row = self.kept[loose[0]][0]
            self._note(
                "rain-provisional",
                Severity.NOTE,
                row,
                "quality",
                "",
                what,
                "read the file again when it is final",
            )
        if self.dates.assumed_day_first:
            what = "no date tells whether day or month comes first; the day is taken to"
            self._note("rain-day-first", Severity.NOTE, None, "date", "", what, "write dates as 2024-05-31")
