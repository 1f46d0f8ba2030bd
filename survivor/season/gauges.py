"""All gauges of a study, and the weather beside them: readings, problems, an account of each file."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from survivor.errors import SeasonError
from survivor.season.gauge import GaugeRecord, read_gauge
from survivor.season.weather import WeatherRecord, read_weather
from survivor.settings import Gauge, Weather
from survivor.vocabulary import ACCOUNT_COLUMNS, PROBLEM_COLUMNS, Severity

_UNREADABLE = "gauge-unreadable"
_WEATHER_UNREADABLE = "weather-unreadable"


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
            accounts.append((gauge.file, "", "", "rain gauge", "set aside", fault.what, _UNREADABLE))
            continue
        found[gauge.name] = record
        problems.append(record.problems)
        days = record.daily["rain_mm"].notna()
        said = f"{int(days.sum())} days of rain known, {int((~days).sum())} in the file and not known"
        accounts.append((record.file, "", "", "rain gauge", "used", said, ""))
    for station in weather:
        try:
            read = read_weather(folder / station.file, station)
        except SeasonError as fault:
            problems.append(_unreadable(_WEATHER_UNREADABLE, station.file, station.gauge, fault))
            accounts.append((station.file, "", "", "weather", "set aside", fault.what, _WEATHER_UNREADABLE))
            continue
        beside[station.gauge] = read
        problems.append(read.problems)
        whole = read.daily.notna().all(axis=1)
        said = f"{int(whole.sum())} days of weather known, {int((~whole).sum())} in the file and not whole"
        accounts.append((read.file, "", "", "weather", "used", said, ""))
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
