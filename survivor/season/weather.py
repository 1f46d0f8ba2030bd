"""Daily temperature, or evapotranspiration, as a station keeps it: a file, with gaps and slips.

A blank is a day not known. Lowest and highest temperature and evapotranspiration are told
by their headers; wind, humidity, radiation and sunshine only where the study file names
their columns, since files differ in the units of these.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from survivor.season.daily import DATE_WORDS, At, DailyFile, Layout, daily_frame, date_word
from survivor.settings import Weather
from survivor.vocabulary import Severity

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
    code="weather",
    unread="not known",
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
        When the file is absent, empty, not text, or its columns cannot be determined; what is
        wrong with single rows is listed in ``problems`` instead.
    """
    given = Path(path)
    source = DailyFile(given / weather.file if given.is_dir() else given, weather.columns, WEATHER)
    reader = _Reader(source)
    if not reader.kept:
        raise source.no_day()
    days = sorted(reader.kept)
    daily = daily_frame(days, {word: [reader.kept[day][1][word] for day in days] for word in reader.words})
    return WeatherRecord(weather.gauge, source.name, daily, source.problem_table())


class _Reader:
    """Goes through the rows once: day -> row and values of each reading."""

    def __init__(self, source: DailyFile) -> None:
        self._source = source
        self.words = [word for word in LIMITS if word in source.words]
        self.kept: dict[dt.date, tuple[int, dict[str, float]]] = {}
        for row, day, texts in source.dated():
            values = {word: self._value(row, day, word, texts[word]) for word in self.words}
            self._crossed(row, values)
            self._keep(row, day, values)
        source.summaries()

    def _value(self, row: int, day: dt.date, word: str, text: str) -> float:
        number = self._source.number(row, day, word, text)
        low, high, unit = LIMITS[word]
        if number is None:
            code, mend = "value", "give a number, or leave it blank"
            what = "this is no number; it counts as not known"
        elif number < low or number > high:
            code, what = "absurd", f"this cannot be true in {unit}; it counts as not known"
            mend = f"check the unit and the decimal point; {low:g} to {high:g} is believed"
        else:
            return number
        self._source.note(code, Severity.CHECK, At(row, word, text), what, mend)
        return float("nan")

    def _crossed(self, row: int, values: dict[str, float]) -> None:
        """Take neither of two readings of which the lowest is above the highest."""
        for low, high in (("tmin_c", "tmax_c"), ("rh_min", "rh_max")):
            if low in values and high in values and values[low] > values[high]:
                what = f"the lowest, {values[low]:g}, is above the highest, {values[high]:g}; neither is used"
                mend = "look both up; were they written in each other's column?"
                self._source.note("crossed", Severity.CHECK, At(row, low, f"{values[low]:g}"), what, mend)
                values[low] = values[high] = float("nan")

    def _keep(self, row: int, day: dt.date, values: dict[str, float]) -> None:
        if day not in self.kept:
            self.kept[day] = (row, values)
            return
        first, before = self.kept[day]
        alike = all(
            a == b or (np.isnan(a) and np.isnan(b))
            for a, b in zip(before.values(), values.values(), strict=True)
        )
        self._source.stands_twice(row, day, first, alike=alike)
        if not alike:
            self.kept[day] = (first, dict.fromkeys(values, float("nan")))
