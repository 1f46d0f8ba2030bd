"""Daily temperature, or evapotranspiration, as a station keeps it: a file, with gaps and slips.

A blank is a day not known. Lowest and highest temperature and evapotranspiration are told
by their headers; wind, humidity, radiation and sunshine only where the study file names
their columns, since files differ in the units of these.
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
from survivor.season.sheet import DATE_WORDS, Layout, Sheet, date_word, read_sheet
from survivor.settings import Weather
from survivor.vocabulary import PROBLEM_COLUMNS, Severity

# Our word -> lowest and highest value that is believed, and its unit.
LIMITS: Final[dict[str, tuple[float, float, str]]] = {
    "tmin_c": (-60.0, 60.0, "degrees Celsius"),
    "tmax_c": (-60.0, 60.0, "degrees Celsius"),
    "eto_mm": (0.0, 20.0, "mm a day"),
    "wind_m_s": (0.0, 75.0, "metres a second"),
    "radiation_mj": (0.0, 45.0, "MJ per square metre and day"),
    "sunshine_h": (0.0, 24.0, "hours"),
    "vapour_kpa": (0.0, 8.0, "kPa"),
    "rh_max": (0.0, 105.0, "per cent"),
    "rh_min": (0.0, 105.0, "per cent"),
    "rh_mean": (0.0, 105.0, "per cent"),
}


def _word(tokens: list[str]) -> str | None:
    """Tell a column by its header; a count of days or a word on quality is none of ours."""
    held = set(tokens)
    if word := date_word(tokens):
        return word
    if held & {"quality", "qual", "flag", "status", "days", "accumulation", "period", "time"}:
        return None
    if held & {"eto", "et0"} or {"reference", "evapotranspiration"} <= held:
        return "eto_mm"
    if held & {"rh", "humidity", "wind", "soil", "grass", "ground", "dew", "dewpoint"}:
        return None
    if "tmin" in held or (held & {"min", "minimum", "lowest"} and held & {"temp", "temperature", "t"}):
        return "tmin_c"
    if "tmax" in held or (held & {"max", "maximum", "highest"} and held & {"temp", "temperature", "t"}):
        return "tmax_c"
    return None


WEATHER: Final = Layout(
    kind="a weather file",
    words=(*DATE_WORDS, *LIMITS),
    word_of=_word,
    needed=(frozenset({"eto_mm"}), frozenset({"tmin_c", "tmax_c"})),
    needs="lowest and highest temperature, or reference evapotranspiration,",
    section="[weather.columns]",
    also={"tmin": "tmin_c", "tmax": "tmax_c", "eto": "eto_mm"},
)


@dataclass(frozen=True)
class WeatherRecord:
    """A station's readings.

    Attributes
    ----------
    gauge, file
        The rain gauge beside which it stands, and its file without folders.
    daily
        One row a day that the file has: ``date`` and those of :data:`LIMITS` that the
        file holds (NaN: not known), in order of date, no date twice.
    problems
        ``survivor.vocabulary.PROBLEM_COLUMNS``.
    """

    gauge: str
    file: str
    daily: pd.DataFrame
    problems: pd.DataFrame


def read_weather(path: str | Path, weather: Weather) -> WeatherRecord:
    """Read a weather file.

    Parameters
    ----------
    path
        The file, or the folder in which ``weather.file`` lies.
    weather
        As the study file names it.

    Raises
    ------
    SeasonError
        When the file is absent, empty, not text, or its columns cannot be told; what is
        wrong with single rows is listed in ``problems`` instead.
    """
    given = Path(path)
    file = given / weather.file if given.is_dir() else given
    sheet = read_sheet(file, weather.columns, WEATHER)
    reader = _Reader(sheet)
    reader.read()
    if not reader.kept:
        raise SeasonError(
            "no row of this file holds a day that can be read",
            where=sheet.file,
            mend="give a date column (2024-05-31 or 31/05/2024), or year, month and day",
        )
    problems = pd.DataFrame(reader.problems, columns=list(PROBLEM_COLUMNS))
    return WeatherRecord(weather.gauge, sheet.file, reader.daily(), problems)


class _Reader:
    """Goes through the rows once and keeps values and problems apart."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.dates = DateReader(sheet)
        self.words = [word for word in LIMITS if word in sheet.places]
        self.kept: dict[dt.date, tuple[int, dict[str, float]]] = {}
        self.problems: list[tuple[Any, ...]] = []
        self.sentinels: dict[tuple[str, str], list[tuple[int, dt.date]]] = {}

    def read(self) -> None:
        for row, cells in self.sheet.rows:
            date = self.dates.read(cells)
            if date is None:
                what, mend = "the date cannot be read; the row is set aside", "give the day as 2024-05-31"
                self._note("weather-date", Severity.CHECK, row, "date", self.dates.text(cells), what, mend)
                continue
            values = {word: self._value(row, date, word, self.sheet.cell(cells, word)) for word in self.words}
            self._crossed(row, values)
            self._keep(row, date, values)
        for (word, text), found in self.sentinels.items():
            which = some(day for _, day in found)
            carry = "carries" if len(found) == 1 else "carry"
            what = f"{many(len(found), 'day')} {carry} {text}, which stands for missing: {which}"
            mend = "nothing, if they were not read"
            self._note("weather-sentinel", Severity.NOTE, found[0][0], word, text, what, mend)
        if self.dates.assumed_day_first:
            what = "no date tells whether day or month comes first; the day is taken to"
            self._note(
                "weather-day-first", Severity.NOTE, None, "date", "", what, "write dates as 2024-05-31"
            )

    def daily(self) -> pd.DataFrame:
        days = sorted(self.kept)
        frame = pd.DataFrame({"date": pd.to_datetime(pd.Series(days, dtype="object"))})
        for word in self.words:
            frame[word] = np.array([self.kept[day][1][word] for day in days], dtype=float)
        return frame

    def _note(
        self, code: str, severity: Severity, row: int | None, word: str, value: str, what: str, mend: str
    ) -> None:
        header = self.sheet.header_of(word)
        self.problems.append((code, str(severity), self.sheet.file, "", row, header, value, what, mend))

    def _value(self, row: int, date: dt.date, word: str, text: str) -> float:
        plain = text.strip().casefold()
        if plain in BLANKS:
            return float("nan")
        number = number_in(plain)
        if number is None:
            what, mend = "this is no number; it counts as not known", "give a number, or leave it blank"
            self._note("weather-value", Severity.CHECK, row, word, text, what, mend)
            return float("nan")
        if number in SENTINELS:
            self.sentinels.setdefault((word, text.strip()), []).append((row, date))
            return float("nan")
        low, high, unit = LIMITS[word]
        if not low <= number <= high:
            what = f"this cannot be true in {unit}; it counts as not known"
            mend = f"check the unit and the decimal point; {low:g} to {high:g} is believed"
            self._note("weather-absurd", Severity.CHECK, row, word, text, what, mend)
            return float("nan")
        return number

    def _crossed(self, row: int, values: dict[str, float]) -> None:
        """Take neither of two readings of which the lowest is above the highest."""
        for low, high in (("tmin_c", "tmax_c"), ("rh_min", "rh_max")):
            if low in values and high in values and values[low] > values[high]:
                what = (
                    f"the lowest ({values[low]:g}) is above the highest ({values[high]:g}); neither is taken"
                )
                mend = "look both up; were they written in each other's column?"
                self._note("weather-crossed", Severity.CHECK, row, low, f"{values[low]:g}", what, mend)
                values[low] = values[high] = float("nan")

    def _keep(self, row: int, date: dt.date, values: dict[str, float]) -> None:
        before = self.kept.get(date)
        if before is None:
            self.kept[date] = (row, values)
            return
        same = all(
            a == b or (np.isnan(a) and np.isnan(b))
            for a, b in zip(before[1].values(), values.values(), strict=True)
        )
        stands = f"{date} stands twice"
        if same:
            what, mend = f"{stands}, alike (first in row {before[0]})", "delete one of the rows"
            self._note("weather-repeated", Severity.NOTE, row, "date", str(date), what, mend)
            return
        what = f"{stands} with different readings (first in row {before[0]}); it counts as not known"
        self._note(
            "weather-differs", Severity.CHECK, row, "date", str(date), what, "keep the row that is right"
        )
        self.kept[date] = (before[0], dict.fromkeys(values, float("nan")))
