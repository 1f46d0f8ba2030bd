"""Invented daily temperature beside an invented gauge: cooler and more even on wet days, with gaps."""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from dataclasses import dataclass

import numpy as np

from survivor.demo.files import csv_bytes

HEADER = ("date", "min temp (C)", "max temp (C)")

_HOTTEST_DAY = 24  # of the year: late January, south of the equator
_HIGH_MEAN, _HIGH_SWING = 20.5, 7.5  # degrees Celsius, over the year
_RANGE_MEAN, _RANGE_SWING = 11.0, 3.5  # between the day's lowest and highest
_WARM_STAYS = 0.6  # share of a day's departure that the next day keeps


@dataclass(frozen=True)
class StationPlan:
    """How one temperature file is invented.

    Parameters
    ----------
    first, last
        First and last day of the file.
    not_read
        Spans of days (first, last) with no row at all.
    blank
        Days with a row and no highest temperature.
    swapped
        Days on which the two temperatures stand in each other's column.
    """

    first: dt.date
    last: dt.date
    not_read: tuple[tuple[dt.date, dt.date], ...]
    blank: tuple[dt.date, ...]
    swapped: tuple[dt.date, ...]


def temperature_file(plan: StationPlan, rain: bytes, rng: np.random.Generator) -> bytes:
    """Write one station as comma-separated text: a row a day, degrees Celsius to 0.1.

    Parameters
    ----------
    plan
        Days, and what is untidy about them.
    rain
        The gauge's file beside which the station stands, for its wet days.
    rng
        Source of the departures from the mean year.
    """
    wet = _wet_days(rain)
    rows = []
    departure = 0.0
    for number in range((plan.last - plan.first).days + 1):
        day = plan.first + dt.timedelta(days=number)
        departure = _WARM_STAYS * departure + float(rng.normal(0.0, 2.4))
        spread = float(rng.normal(0.0, 1.5))
        if any(first <= day <= last for first, last in plan.not_read):
            continue
        season = math.cos(2 * math.pi * (day.timetuple().tm_yday - _HOTTEST_DAY) / 365.25)
        high = _HIGH_MEAN + _HIGH_SWING * season + departure - (3.0 if day in wet else 0.0)
        apart = max(_RANGE_MEAN + _RANGE_SWING * season + spread - (3.0 if day in wet else 0.0), 2.0)
        highest, lowest = f"{high:.1f}", f"{high - apart:.1f}"
        if day in plan.blank:
            highest = ""
        if day in plan.swapped:
            lowest, highest = highest, lowest
        rows.append((day.isoformat(), lowest, highest))
    return csv_bytes(HEADER, rows)


def _wet_days(rain: bytes) -> set[dt.date]:
    rows = csv.DictReader(io.StringIO(rain.decode("utf-8")))
    return {
        dt.date(int(row["year"]), int(row["month"]), int(row["day"]))
        for row in rows
        if row["rain (mm)"] and float(row["rain (mm)"]) > 1
    }
