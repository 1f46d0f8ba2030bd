"""A daily file of a gauge or a weather station: which of its columns is which, and its days.

Read by the same reader as every other sheet: CSV, XLSX, ODS and XLS, within the same bounds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
import pandas as pd

from survivor.errors import RecordsError, SeasonError
from survivor.files import cells
from survivor.files.headers import plain
from survivor.files.sheets import must_be_there, read_rows, sheet_names
from survivor.season.month_grid import month_grid
from survivor.season.month_totals import HEADER_WITHIN, MonthTotals, across, listed
from survivor.vocabulary import PROBLEM_COLUMNS, Severity
from survivor.words import counted, first_few

DATE_WORDS: Final = ("date", "year", "month", "day")
SENTINELS: Final = frozenset({-9999.0, -999.0, -999.9, -99.9, -99.99, -99.0, 9999.0, 99999.0, 99999.9})
BLANKS: Final = frozenset({"", "-", "--", ".", "na", "n/a", "nan", "null", "none", "missing", "not read"})
_LONGEST_VALUE: Final = 120  # signs of a cell that a problem shows
_PARTS: Final = frozenset({"year", "month", "day"})
_FEW_DAYS: Final = 7  # a slip in a year moves a row or a few, not a season
_FEW_SHARE: Final = 10  # fewer than one row in so many: a slip, not a column
_MOST_BYTES: Final = 16 * 2**20  # four centuries of days, a hundred signs each


@dataclass(frozen=True)
class Layout:
    """What a kind of daily file may hold.

    Attributes
    ----------
    kind
        What it is of: ``a gauge``.
    code
        What the codes of its problems begin with.
    unread
        What a day without a value is called.
    words
        Our words for its columns; those of the date among them.
    word_of
        The words of a header, in small letters -> our word, or None; forgiving.
    needed
        One of these sets of words must be there, beside a date.
    needs
        The same for a reader: ``an amount``.
    section
        Where the study file names its columns.
    also
        Other words for a column that the study file may use -> ours.
    as_grid
        Our word for what the cells of a month grid hold; None: such a file has no grid.
    """

    kind: str
    code: str
    unread: str
    words: tuple[str, ...]
    word_of: Callable[[list[str]], str | None]
    needed: tuple[frozenset[str], ...]
    needs: str
    section: str
    also: Mapping[str, str]
    as_grid: str | None = None

    def enough(self, places: Mapping[str, int]) -> bool:
        """Whether these columns are all that is needed."""
        dated = "date" in places or set(places) >= _PARTS
        return dated and any(words <= set(places) for words in self.needed)


def date_word(tokens: list[str]) -> str | None:
    """Tell a column of dates, or of a part of one, by the words of its header."""
    if "date" in tokens:
        return "date"
    parts = {"year": ("year", "yr"), "month": ("month", "mth", "mon"), "day": ("day", "dy")}
    short = bool(tokens) and len(tokens) <= 3
    return next((word for word, spellings in parts.items() if short and tokens[0] in spellings), None)


class NoYearError(SeasonError):
    """Months that bear no year: somebody has to say of which the first one is."""


class SeveralColumnsError(SeasonError):
    """Columns of which each may be the one that is needed: ``rivals``, by their headers."""

    def __init__(self, word: str, rivals: Sequence[str], file: str, section: str) -> None:
        super().__init__(
            f"several columns may be {word}: {', '.join(rivals)}",
            where=file,
            mend=f'name one in the study file: {section} {word} = "{rivals[0]}"',
        )
        self.word, self.rivals = word, tuple(rivals)


class At(NamedTuple):
    """A cell of a daily file: its row, our word for its column, and what stands in it."""

    row: int | None
    word: str
    value: str = ""


class DailyFile:
    """Rows under a header that is understood, read once; what is wrong with them is listed.

    Parameters
    ----------
    file
        Any sheet: its first one in which the columns are understood is read.
    named
        Our word -> header, from the study file; what is not named is matched forgivingly.
    layout
        The kind of file.
    sheet
        Of a workbook; None: the first one that is understood.
    year
        Of the first month of a month grid that tells none.

    Attributes
    ----------
    name, sheet
        Of the file without folders, and of its sheet.
    words
        Our words of the columns it has.
    problems
        ``PROBLEM_COLUMNS``, one tuple a problem.

    Raises
    ------
    SeasonError
        When the file is absent, empty or damaged, or a needed column is not found.
    """

    def __init__(
        self,
        file: Path,
        named: Mapping[str, str],
        layout: Layout,
        sheet: str | None = None,
        year: int | None = None,
    ) -> None:
        self.name, self.layout = file.name, layout
        self.problems: list[tuple[Any, ...]] = []
        self._sentinels: dict[tuple[str, str], list[tuple[int, dt.date]]] = {}
        wanted = _named(named, file.name, layout)
        self.sheet, table, headers, places = _understood(file, wanted, layout, sheet, year)
        self._headers = {word: headers[place] for word, place in places.items()}
        self._unread = {place: header for place, header in enumerate(headers) if place not in places.values()}
        self.words = tuple(places)
        self._texts = {
            word: cells.texts(table[place]).to_numpy(dtype=object) for word, place in places.items()
        }
        self._rows = table.index.to_numpy()
        self._read_dates(table, places)
        self._cells_beyond(table)

    def _read_dates(self, table: pd.DataFrame, places: Mapping[str, int]) -> None:
        """Read the day of each row; day or month first is decided once for the whole file."""
        if self._texts.keys() >= _PARTS:
            written = zip(*(self._texts[word] for word in ("day", "month", "year")), strict=True)
            days = ["-".join(part.removesuffix(".0") for part in parts) for parts in written]
            column = pd.Series(days, index=table.index, dtype=object)
            order, self._assumed = None, False
        else:
            column = table[places["date"]]
            order, two_way = cells.order_told([column])
            self._assumed = order is None and two_way
        self._days, faults = cells.dates(column, order or "day-first")
        self._written = cells.texts(column)
        serial = faults == cells.SERIAL
        if serial.any():
            at = int(serial.to_numpy().argmax())
            row, value = int(self._rows[at]), str(self._written.iloc[at])
            what = (
                f"{counted(int(serial.sum()), 'date')} written as a day number of a spreadsheet, read as days"
            )
            self.note(
                "serial-date", Severity.NOTE, At(row, "date", value), what, "nothing, if they are right"
            )

    def _cells_beyond(self, table: pd.DataFrame) -> None:
        """List rows with cells that stand under no header: a comma too many moves all that follow it."""
        bare = [place for place, header in self._unread.items() if not header]
        texts = pd.DataFrame({place: cells.texts(table[place]) for place in bare}, index=table.index)
        filled = texts[(texts != "").any(axis=1)]
        if 0 < len(filled) < len(table) / _FEW_SHARE:
            row = int(filled.index[0])
            value = next(text for text in filled.iloc[0] if text)
            several = "row has" if len(filled) == 1 else "rows have"
            what = (
                f"{len(filled):,} {several} a cell under no header, which is not read: "
                f"row {first_few(filled.index, 5)}"
            )
            mend = "look for a comma too many, as in 12,5 for 12.5; or give the column a header"
            self.note("beyond", Severity.CHECK, At(row, "", value), what, mend)
        elif len(filled):
            self._unread |= {place: "(no header)" for place in bare if (texts[place] != "").any()}

    def dated(self) -> Iterator[tuple[int, dt.date, dict[str, str]]]:
        """Give row number, day and texts by our words of each row; a row without a day is a problem."""
        columns = [self._texts[word] for word in self.words]
        apart = _standing_apart(self._days)
        for row, day, written, *texts in zip(self._rows, self._days, self._written, *columns, strict=True):
            if pd.isna(day):
                what = "the date cannot be read; the row is excluded"
                self.note(
                    "date", Severity.CHECK, At(row, "date", written), what, "give the day as 2024-05-31"
                )
                continue
            if day in apart:
                what = "this day is more than a year from all others of the file; the row is excluded"
                mend = "correct the year, or take the row out"
                self.note("far", Severity.CHECK, At(row, "date", written), what, mend)
                continue
            yield int(row), day.date(), dict(zip(self.words, texts, strict=True))

    def note(self, code: str, severity: Severity, at: At, what: str, mend: str) -> None:
        """List a problem; ``code`` follows that of the layout."""
        header, short = self._headers.get(at.word, at.word), at.value[:_LONGEST_VALUE]
        place = (self.name, self.sheet, at.row, header, short)
        self.problems.append((f"{self.layout.code}-{code}", str(severity), *place, what, mend))

    def number(self, row: int, day: dt.date, word: str, text: str) -> float | None:
        """Return the number of a cell, NaN for a blank or what stands for missing; None for no number."""
        if text.casefold() in BLANKS:
            return float("nan")
        number = cells.measure(text)
        if number in SENTINELS:
            self._sentinels.setdefault((word, text), []).append((row, day))
            return float("nan")
        return number

    def stands_twice(self, row: int, day: dt.date, first: int, *, alike: bool) -> None:
        """List a day that an earlier row has too."""
        twice = f"{day} stands twice"
        if alike:
            what, mend = f"{twice}, alike (first in row {first}); it counts once", "delete one of the rows"
            self.note("repeated", Severity.NOTE, At(row, "date", str(day)), what, mend)
        else:
            what = (
                f"{twice} with different readings (first in row {first}); it counts as {self.layout.unread}"
            )
            self.note(
                "differs", Severity.CHECK, At(row, "date", str(day)), what, "keep the row that is right"
            )

    def summaries(self) -> None:
        """List once what stands for missing, an order of day and month that nothing tells, unread columns."""
        for (word, text), at in self._sentinels.items():
            carry = "carries" if len(at) == 1 else "carry"
            missing = some(day for _, day in at)
            what = f"{counted(len(at), 'day')} {carry} {text}, which stands for missing: {missing}"
            mend = "nothing, if they were not read"
            self.note("sentinel", Severity.NOTE, At(at[0][0], word, text), what, mend)
        if self._assumed:
            what = "no date tells whether day or month comes first; the day is taken to"
            self.note("day-first", Severity.NOTE, At(None, "date"), what, "write dates as 2024-05-31")
        if unread := [header for header in self._unread.values() if header]:
            several = "column is" if len(unread) == 1 else "columns are"
            what = f"{len(unread):,} {several} not read: {first_few(unread, 5)}"
            mend = f"nothing, if none is needed; else name it under {self.layout.section} in the study file"
            self.note("unread", Severity.NOTE, At(None, unread[0]), what, mend)

    def problem_table(self) -> pd.DataFrame:
        """Make a table of what was listed."""
        return pd.DataFrame(self.problems, columns=list(PROBLEM_COLUMNS))

    def no_day(self) -> SeasonError:
        """Refuse a file of which no row has a day."""
        return SeasonError(
            "no row of this file holds a day that can be read",
            where=self.name,
            mend="give a date column (2024-05-31 or 31/05/2024), or year, month and day",
        )


def _standing_apart(days: pd.Series[Any]) -> set[pd.Timestamp]:
    """Find the few days that stand more than a year from all others: no record begins or ends with them."""
    known = days.dropna().drop_duplicates().sort_values()
    run = (known.diff() > pd.Timedelta(days=366)).cumsum()
    size = run.map(run.value_counts())
    return set(known[(size <= _FEW_DAYS) & (size < len(known) / 10)])


def some(days: Iterable[dt.date]) -> str:
    """List the first five days and say how many more there are."""
    return first_few(days, 5)


def stretches(days: Sequence[dt.date]) -> str:
    """Write days in order as stretches, such as 2024-01-08 to 2024-01-19; the first five of them."""
    runs: list[list[dt.date]] = []
    for day in days:
        if runs and (day - runs[-1][-1]).days == 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    return first_few([f"{run[0]} to {run[-1]}" if len(run) > 1 else run[0] for run in runs], 5)


def daily_frame(days: Iterable[dt.date], columns: Mapping[str, Iterable[Any]]) -> pd.DataFrame:
    """Lay readings out by day, ``date`` first."""
    dates = pd.to_datetime(pd.Series(list(days), dtype="object"))
    return pd.DataFrame({"date": dates, **{word: np.array(list(held)) for word, held in columns.items()}})


def _named(named: Mapping[str, str], file: str, layout: Layout) -> dict[str, str]:
    wanted = {layout.also.get(word, word): header for word, header in named.items()}
    if unknown := [word for word in wanted if word not in layout.words]:
        raise SeasonError(
            f"{unknown[0]!r} is no column of {layout.kind}",
            where=f"{layout.section} for {file}",
            mend=f"use: {', '.join(layout.words)}",
        )
    return wanted


def _understood(
    file: Path, wanted: Mapping[str, str], layout: Layout, only: str | None, year: int | None
) -> tuple[str, pd.DataFrame, list[str], dict[str, int]]:
    """Sheet, rows below its header, headers, our word -> place: of the first that has them."""
    first: list[str] = []
    try:
        must_be_there(file, file.name)
        if (size := file.stat().st_size) > _MOST_BYTES:
            what = f"this is {size / 1e6:,.0f} MB, more than any daily record holds; it was not read"
            raise RecordsError(what, mend="keep the days of one gauge or station in a file of their own")
        for sheet in [only] if only is not None else sheet_names(file):
            rows = read_rows(file, sheet=sheet or None)
            for place in range(min(HEADER_WITHIN, len(rows))):
                headers = list(cells.texts(rows.iloc[place]))
                first = first or [header for header in headers if header]
                places = _match(headers, wanted, layout)
                if layout.as_grid is not None and (months := listed(rows, place, places, year)) is not None:
                    return sheet, *_of_months(months, file.name)
                if layout.enough(places):
                    _one_column_a_word(headers, wanted, file.name, layout)
                    body = rows.iloc[place + 1 :]
                    filled = np.any([(cells.texts(body[c]) != "").to_numpy() for c in body.columns], axis=0)
                    return sheet, body[filled], headers, places
            if layout.as_grid is not None and (grid := month_grid(rows, year)) is not None:
                if grid.dated:
                    headers = [grid.day_header, " to ".join(grid.months)]
                    return sheet, grid.days, headers, {"date": 0, layout.as_grid: 1}
                raise _no_year("this grid", grid.months, file.name)
            if layout.as_grid is not None and not wanted and (months := across(rows)) is not None:
                return sheet, *_of_months(months, file.name)
    except RecordsError as fault:
        raise SeasonError(fault.what, where=file.name, mend=fault.mend) from fault
    headers = [plain(header) for header in first]
    absent = [header for header in wanted.values() if plain(header) not in headers]
    raise SeasonError(
        f"no header {', '.join(map(repr, absent))}"
        if absent
        else "the columns of this file are not understood",
        where=file.name,
        mend=f"it needs {layout.needs} and a date (or year, month, day): name them under {layout.section} in "
        f"the study file; the first row reads {', '.join(first)!r}",
    )


def _of_months(months: MonthTotals, file: str) -> tuple[pd.DataFrame, list[str], dict[str, int]]:
    """Rows, headers and our word -> place of totals of months."""
    if not months.dated:
        raise _no_year("this list", (months.first, months.last), file)
    headers = [months.date_header, months.rain_header, months.date_header]
    return months.rows, headers, {"date": 0, "rain_mm": 1, "days_covered": 2}


def _no_year(what: str, months: tuple[str, str], file: str) -> NoYearError:
    return NoYearError(
        f"the months of {what}, {' to '.join(months)}, bear no year",
        where=file,
        mend="say in the study file in which year its first month is, such as year = 2024",
    )


def _match(headers: list[str], wanted: Mapping[str, str], layout: Layout) -> dict[str, int]:
    known = [plain(header) for header in headers]
    places = {word: known.index(plain(header)) for word, header in wanted.items() if plain(header) in known}
    for place, header in enumerate(known):
        word = layout.word_of(header.split())
        if word is not None and word not in wanted and word not in places and place not in places.values():
            places[word] = place
    return places if set(wanted) <= set(places) else {}


def _one_column_a_word(headers: list[str], wanted: Mapping[str, str], file: str, layout: Layout) -> None:
    taken = [plain(header) for header in wanted.values()]
    free = [header for header in headers if plain(header) not in taken]
    for word in ("date", *sorted(frozenset().union(*layout.needed))):
        alike = [header for header in free if layout.word_of(plain(header).split()) == word]
        if word not in wanted and len(alike) > 1:
            raise SeveralColumnsError(word, alike, file, layout.section)
