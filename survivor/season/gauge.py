"""Daily rain as gauges are kept: a file of readings, with the gaps and sums that real ones have.

A blank is a day not read, never a dry one. An amount read after several days stays one
amount over several days: nobody knows on which of them it fell. What can't be true is
excluded and listed, with its row.

All gauges of a study, and the weather beside them: readings, problems, an account of each file.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from survivor.errors import SeasonError
from survivor.files import cells
from survivor.season.daily import (
    BLANKS,
    DATE_WORDS,
    At,
    DailyFile,
    Layout,
    daily_frame,
    date_word,
    some,
    stretches,
)
from survivor.season.weather import WeatherRecord, read_weather
from survivor.settings import Gauge, Weather
from survivor.vocabulary import ACCOUNT_COLUMNS, PROBLEM_COLUMNS, Severity
from survivor.words import counted, first_few

MOST_A_DAY: Final = 500.0  # mm; a daily fall above it is looked at before it is believed
_TRACE: Final = frozenset({"t", "tr", "trace"})
IN_MONDAY: Final = "in Monday's reading"
_FEWEST_WEEKENDS: Final = 4  # blank ones that are a habit
_PROVISIONAL: Final = frozenset(
    {"n", "p", "prov", "provisional", "preliminary", "unchecked", "not checked", "unverified"}
)
_FINAL: Final = BLANKS | {
    "c", "checked", "f", "final", "good", "ok", "q", "v", "validated", "verified", "y", "yes",
}  # fmt: skip
# A fall that no other comes near is often a slip of the decimal point; common practice, no source.
_MANY_DAYS, _MANY_FALLS, _TIMES_THE_NEXT = 365, 20, 2.0
_MANY_ALIKE: Final = 60  # days of one amount that are no dry spell of a short file


def _word(tokens: list[str]) -> str | None:
    """Tell a column by its header; the longer descriptions are looked at first."""
    if any(token.startswith("qual") or token in ("flag", "status") for token in tokens):
        return "quality"
    if any(token in ("period", "days", "accumulated", "accumulation") for token in tokens):
        return "days_covered"
    if word := date_word(tokens):
        return word
    if any(token.startswith(("rain", "precip")) or token in ("amount", "mm", "fall") for token in tokens):
        return "rain_mm"
    return None


RAIN: Final = Layout(
    kind="a gauge",
    code="rain",
    unread="not read",
    words=(*DATE_WORDS, "rain_mm", "days_covered", "quality"),
    word_of=_word,
    needed=(frozenset({"rain_mm"}),),
    needs="an amount",
    section="[gauges.columns]",
    also={"amount": "rain_mm", "rain": "rain_mm", "rainfall": "rain_mm", "period": "days_covered"},
    as_grid="rain_mm",
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
        When the file is absent, empty, not text, or its columns cannot be determined; what is
        wrong with single rows is listed in ``problems`` instead.
    """
    given = Path(path)
    file = given / gauge.file if given.is_dir() else given
    source = DailyFile(file, gauge.columns, RAIN, gauge.sheet, gauge.year)
    reader = _Reader(source, gauge.weekends, gauge.missing_days)
    if not reader.kept:
        raise source.no_day()
    days = sorted(reader.kept)
    amounts, covered, quality = zip(*(reader.kept[day][1:] for day in days), strict=True)
    daily = daily_frame(days, {"rain_mm": amounts, "days_covered": covered, "quality": quality})
    daily["quality"] = daily["quality"].astype("str")
    return GaugeRecord(gauge.name, source.name, daily, source.problem_table(), gauge.missing_days)


def is_provisional(quality: pd.Series[str]) -> pd.Series[bool]:
    """Whether the file calls a reading provisional."""
    return quality.str.strip().str.casefold().isin(_PROVISIONAL)


class _Reader:
    """Goes through the rows once: day -> row, amount, days covered and quality of each reading."""

    def __init__(self, source: DailyFile, weekends: str, missing_days: str) -> None:
        self._source = source
        self._traces: list[tuple[int, dt.date]] = []
        self.kept: dict[dt.date, tuple[int, float, int, str]] = {}
        for row, day, texts in source.dated():
            days = self._days(row, texts.get("days_covered", ""))
            amount = self._amount(row, day, texts["rain_mm"], days)
            self._keep(row, day, amount, days, texts.get("quality", ""))
        blank = _blank_weekends(self.kept, without_row=weekends == IN_MONDAY or missing_days != "zero")
        if weekends == IN_MONDAY:
            for monday, days in blank.items():
                row, amount, _, quality = self.kept[monday]
                self.kept[monday] = (row, amount, days, quality)
        elif len(blank) >= _FEWEST_WEEKENDS:
            first = min(blank)
            what = (
                f"{counted(len(blank), 'weekend')} are blank before a Monday that was read, so these days "
                "count as not read"
            )
            mend = f'if Monday is read for the weekend, write in the study file: weekends = "{IN_MONDAY}"'
            row = self.kept[first][0]
            self._source.note("weekends", Severity.CHECK, At(row, "rain_mm", str(first)), what, mend)
        if missing_days == "zero":
            self._left_out()
        self._all_alike()
        self._largest()
        self._summaries()

    def _amount(self, row: int, day: dt.date, text: str, days: int) -> float:
        plain = text.casefold().removesuffix("mm").strip()
        if plain in _TRACE:
            self._traces.append((row, day))
            return 0.0
        amount = self._source.number(row, day, "rain_mm", plain)
        if amount is None:
            code, value, mend = "amount", text, "give mm as a number, or leave it blank"
            what = "the amount cannot be read; the day counts as not read"
        elif amount < 0:
            code, value, mend = "negative", f"{amount:g}", "look it up in the gauge book"
            what = "a negative amount; the day counts as not read"
        elif amount > MOST_A_DAY * days:
            code, value, what = (
                "absurd",
                f"{amount:g}",
                f"more than {MOST_A_DAY:g} mm a day; it counts as not read",
            )
            mend = "check the unit and the decimal point; leave the cell blank if it is not known"
        else:
            return amount
        self._source.note(code, Severity.CHECK, At(row, "rain_mm", value), what, mend)
        return float("nan")

    def _days(self, row: int, text: str) -> int:
        if text.casefold() in BLANKS:
            return 1
        number = cells.measure(text)
        if number is None or number < 0 or number != int(number) or number > 366:
            what = "the number of days an amount covers cannot be read; it is taken as 1"
            mend = "give a whole number of days"
            self._source.note("days", Severity.CHECK, At(row, "days_covered", text), what, mend)
            return 1
        return max(int(number), 1)

    def _keep(self, row: int, day: dt.date, amount: float, days: int, quality: str) -> None:
        if day not in self.kept:
            self.kept[day] = (row, amount, days, quality)
            return
        first, before, covered, said = self.kept[day]
        alike = days == covered and (amount == before or (np.isnan(amount) and np.isnan(before)))
        self._source.stands_twice(row, day, first, alike=alike)
        if not alike:
            self.kept[day] = (first, float("nan"), 1, said)

    def _left_out(self) -> None:
        """List days without a row that count as dry, in a file that writes most dry days as 0."""
        days = sorted(self.kept)
        held = {day - dt.timedelta(days=back) for day in days for back in range(self.kept[day][2])}
        span = (days[-1] - days[0]).days if days else 0
        absent = [day for day in (days[0] + dt.timedelta(days=n) for n in range(span)) if day not in held]
        dry = sum(amount == 0 for _, amount, _, _ in self.kept.values())
        if absent and dry > len(absent):
            several = "has no row and counts" if len(absent) == 1 else "have no row and count"
            what = (
                f"{counted(len(absent), 'day')} {several} as dry, where this file writes dry days as 0: "
                f"{stretches(absent)}"
            )
            mend = 'give each of them a row, or write in the study file: missing_days = "not read"'
            row = self.kept[next(day for day in days if day > absent[0])][0]
            self._source.note("left-out", Severity.CHECK, At(row, "date", str(absent[0])), what, mend)

    def _all_alike(self) -> None:
        """Ask about a file without one amount, or whose every day has the same."""
        amounts = {amount for _, amount, _, _ in self.kept.values() if not np.isnan(amount)}
        if self.kept and not amounts:
            what, value = "no day of this file has an amount, so no day of rain is known", ""
        elif len(amounts) == 1 and len(self.kept) >= _MANY_ALIKE:
            value = f"{min(amounts):g}"
            what = f"every day of this file that has an amount has the same, {value} mm"
        else:
            return
        row = min(row for row, *_ in self.kept.values())
        self._source.note(
            "alike", Severity.CHECK, At(row, "rain_mm", value), what, "look at the file's column of rain"
        )

    def _largest(self) -> None:
        """Ask about a day's amount that is far above every other, in a record long enough to tell."""
        known = [
            (amount, day) for day, (_, amount, days, _) in self.kept.items() if days == 1 and amount >= 0
        ]
        falls = sorted(fall for fall in known if fall[0] > 0)
        if len(known) < _MANY_DAYS or len(falls) < _MANY_FALLS:
            return
        (second, _), (largest, day) = falls[-2:]
        if largest > _TIMES_THE_NEXT * second:
            what = (
                f"{largest:g} mm on {day} is more than twice every other day's amount ({second:g} mm at most)"
            )
            mend = "check the decimal point, and whether it is of several days; nothing, if it is right"
            row = self.kept[day][0]
            self._source.note("largest", Severity.CHECK, At(row, "rain_mm", f"{largest:g}"), what, mend)

    def _unknown_quality(self) -> None:
        words: dict[str, list[int]] = {}
        for row, _, _, word in self.kept.values():
            if word.casefold() not in _PROVISIONAL | _FINAL:
                words.setdefault(word, []).append(row)
        if words:
            told = first_few(
                [f"{word[:40]} ({counted(len(rows), 'day')})" for word, rows in words.items()], 5
            )
            word = next(iter(words))
            what = f"words of quality that are not known count as final: {told}"
            mend = "write provisional or final instead, if a day is not final"
            self._source.note("quality", Severity.NOTE, At(words[word][0], "quality", word), what, mend)

    def _summaries(self) -> None:
        note, kept = self._source.note, self.kept
        several = sorted((day, v) for day, v in kept.items() if v[2] > 1 and not np.isnan(v[1]))
        if several:
            what = (
                f"{counted(len(several), 'amount')} {'covers' if len(several) == 1 else 'cover'} several "
                f"days, each kept whole: {some(day for day, _ in several)}"
            )
            mend = "nothing; they count in totals and break runs of dry days"
            note("several-days", Severity.NOTE, At(several[0][1][0], "days_covered"), what, mend)
        for day, (row, amount, days, _) in several:
            inside = (day - dt.timedelta(days=back) for back in range(1, days))
            twice = [d for d in inside if d in kept and not np.isnan(kept[d][1])]
            if twice:
                what = (
                    f"{amount:g} mm for {days} days to {day}; some of them have readings too: {some(twice)}"
                )
                mend = "check the number of days; both are counted as they stand"
                note("counted-twice", Severity.CHECK, At(row, "days_covered", str(days)), what, mend)
        if self._traces:
            days_read = "day was" if len(self._traces) == 1 else "days were"
            what = f"{len(self._traces):,} {days_read} read as a trace and count as 0 mm: "
            what += some(day for _, day in self._traces)
            note("trace", Severity.NOTE, At(self._traces[0][0], "rain_mm", "tr"), what, "nothing")
        if loose := sorted(day for day, v in kept.items() if v[3].casefold() in _PROVISIONAL):
            what = (
                f"{counted(len(loose), 'day')} {'is' if len(loose) == 1 else 'are'} provisional, from "
                f"{loose[0]} to {loose[-1]}"
            )
            mend = "read the file again when it is final"
            note("provisional", Severity.NOTE, At(kept[loose[0]][0], "quality"), what, mend)
        self._unknown_quality()
        self._source.summaries()


def _blank_weekends(
    kept: Mapping[dt.date, tuple[int, float, int, str]], *, without_row: bool
) -> dict[dt.date, int]:
    """Mondays that were read after a blank Sunday (and Saturday): the days that such a reading may be of.

    ``without_row``: a day that has no row is blank too.
    """
    blanks = {}
    for day, (_, amount, days, _) in kept.items():
        if day.weekday() or days > 1 or np.isnan(amount):
            continue
        sunday, saturday = (day - dt.timedelta(days=back) for back in (1, 2))
        blank = [np.isnan(kept[back][1]) if back in kept else without_row for back in (sunday, saturday)]
        if blank[0] and day > min(kept):
            blanks[day] = 3 if blank[1] and saturday >= min(kept) else 2
    return blanks


_UNREADABLE = "gauge-unreadable"
_WEATHER_UNREADABLE = "weather-unreadable"
UNREADABLE_FILES: Final = frozenset({_UNREADABLE, _WEATHER_UNREADABLE})


@dataclass(frozen=True)
class Gauges:
    """Gauges read.

    Attributes
    ----------
    records
        Readings by the name of the gauge, in the order of the study file; a gauge
        whose file cannot be read is absent and has a problem.
    problems, accounts
        ``survivor.vocabulary.PROBLEM_COLUMNS`` and ``ACCOUNT_COLUMNS``; one account a file.
    weather
        Temperature or evapotranspiration by the name of the gauge it stands beside.
    """

    records: dict[str, GaugeRecord]
    problems: pd.DataFrame
    accounts: pd.DataFrame
    weather: dict[str, WeatherRecord] = field(default_factory=dict)

    def with_problems(self, rows: Sequence[tuple[object, ...]]) -> Gauges:
        """Add problems: one row each, of the values of ``PROBLEM_COLUMNS``."""
        if not rows:
            return self
        more = pd.DataFrame(rows, columns=list(PROBLEM_COLUMNS))
        both = pd.concat([self.problems, more], ignore_index=True) if len(self.problems) else more
        return replace(self, problems=both)


def read_gauges(folder: Path, gauges: tuple[Gauge, ...], weather: tuple[Weather, ...] = ()) -> Gauges:
    """Read every gauge of a study; a file that cannot be read is a problem, not an end.

    Parameters
    ----------
    folder
        Where the files are.
    gauges, weather
        As the study file names them.
    """
    found: dict[str, GaugeRecord] = {}
    beside: dict[str, WeatherRecord] = {}
    problems: list[pd.DataFrame] = []
    accounts: list[tuple[object, ...]] = []
    for gauge in gauges:
        try:
            record = read_gauge(folder / gauge.file, gauge)
        except SeasonError as fault:
            problems.append(_unreadable(_UNREADABLE, gauge.file, gauge.name, fault))
            accounts.append((gauge.file, "", "", "rain gauge", "excluded", fault.what, _UNREADABLE))
            continue
        found[gauge.name] = record
        problems.append(record.problems)
        days = record.daily["rain_mm"].notna()
        counts = f"{int(days.sum())} days of rain known, {int((~days).sum())} in the file and not known"
        accounts.append((record.file, "", "", "rain gauge", "used", counts, ""))
    for station in weather:
        try:
            read = read_weather(folder / station.file, station)
        except SeasonError as fault:
            problems.append(_unreadable(_WEATHER_UNREADABLE, station.file, station.gauge, fault))
            accounts.append((station.file, "", "", "weather", "excluded", fault.what, _WEATHER_UNREADABLE))
            continue
        beside[station.gauge] = read
        problems.append(read.problems)
        whole = read.daily.notna().all(axis=1)
        counts = f"{int(whole.sum())} days of weather known, {int((~whole).sum())} in the file and not whole"
        accounts.append((read.file, "", "", "weather", "used", counts, ""))
    filled = [table for table in problems if not table.empty]
    return Gauges(
        found,
        pd.concat(filled, ignore_index=True) if filled else pd.DataFrame(columns=list(PROBLEM_COLUMNS)),
        pd.DataFrame(accounts, columns=list(ACCOUNT_COLUMNS)),
        beside,
    )


def _unreadable(code: str, file: str, name: str, fault: SeasonError) -> pd.DataFrame:
    row = (code, Severity.STOP, file, "", "", "", name, fault.what, fault.mend)
    return pd.DataFrame([row], columns=list(PROBLEM_COLUMNS))
