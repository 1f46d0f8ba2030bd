"""Invented daily rain: a gauge read at 9 am, with the gaps that gauges have.

Invented daily temperature beside an invented gauge: cooler and more even on wet days, with gaps.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from dataclasses import dataclass

import numpy as np

from survivor.demo.files import csv_bytes

#: First and last day of the dry season of every invented study.
DRY_SEASON = ("12-01", "03-31")

HEADER = ("year", "month", "day", "rain (mm)", "days covered", "quality")

# Chance of a wet day and mean fall on a wet day (mm), January to December: a dry summer, a wet winter.
_WET_CHANCE = (0.13, 0.12, 0.16, 0.24, 0.33, 0.42, 0.46, 0.45, 0.37, 0.30, 0.23, 0.17)
_MEAN_FALL = (5.4, 5.6, 5.2, 5.0, 4.8, 4.6, 4.6, 4.7, 4.9, 5.2, 5.4, 5.6)
_WET_STAYS = 1.5  # a wet day is this much likelier after a wet day


@dataclass(frozen=True)
class GaugePlan:
    """How one gauge file is invented.

    Parameters
    ----------
    first, last
        First and last day of the file.
    wetness
        Factor on every fall.
    dry_spell, dry_factor
        Days between which the chance of rain is multiplied by the factor.
    not_read
        Spans of days (first, last) with no row at all.
    blank
        Spans of days with a row and no amount.
    accumulated
        Last days of readings that cover three days.
    sentinel
        Days whose amount is written -9999.
    provisional_from
        From this day on the quality is ``provisional``.
    """

    first: dt.date
    last: dt.date
    wetness: float
    dry_spell: tuple[dt.date, dt.date]
    dry_factor: float
    provisional_from: dt.date
    not_read: tuple[tuple[dt.date, dt.date], ...] = ()
    blank: tuple[tuple[dt.date, dt.date], ...] = ()
    accumulated: tuple[dt.date, ...] = ()
    sentinel: tuple[dt.date, ...] = ()


def gauge_file(plan: GaugePlan, rng: np.random.Generator) -> bytes:
    """Write one gauge as comma-separated text: a row a day, amounts in mm to 0.2."""
    rows = []
    wet, carried, covered = False, 0.0, 1
    waiting = {day - dt.timedelta(days=back) for day in plan.accumulated for back in (1, 2)}
    for number in range((plan.last - plan.first).days + 1):
        day = plan.first + dt.timedelta(days=number)
        chance, size, luck = rng.random(3)
        wet = chance < _wet_chance(plan, day, after_wet=wet)
        fall = _fall(plan, day, size, luck) if wet else 0.0
        if _within(day, plan.not_read):
            continue
        quality = "provisional" if day >= plan.provisional_from else "checked"
        amount: str = ""
        period: str = ""
        if day in plan.sentinel:
            amount, period = "-9999", "1"
        elif day in waiting:
            carried, covered = carried + fall, covered + 1
        elif not _within(day, plan.blank):
            amount, period = f"{carried + fall:.1f}", str(covered)
            carried, covered = 0.0, 1
        rows.append((day.year, day.month, day.day, amount, period, quality))
    return csv_bytes(HEADER, rows)


def _wet_chance(plan: GaugePlan, day: dt.date, *, after_wet: bool) -> float:
    chance = _WET_CHANCE[day.month - 1]
    if plan.dry_spell[0] <= day <= plan.dry_spell[1]:
        chance *= plan.dry_factor
    # Persistence that leaves the long-run share of wet days as it is.
    after_dry = chance * (1 - chance * _WET_STAYS) / (1 - chance)
    return chance * _WET_STAYS if after_wet else after_dry


def _fall(plan: GaugePlan, day: dt.date, size: float, luck: float) -> float:
    # A product of two uniform draws' logarithms: skewed like rain, and the same on every machine to 0.2 mm.
    scale = _MEAN_FALL[day.month - 1] * plan.wetness
    skewed = -np.log(1 - size) * (0.25 + 1.5 * luck)
    return max(0.2, round(scale * float(skewed) / 0.2) * 0.2)


def _within(day: dt.date, spans: tuple[tuple[dt.date, dt.date], ...]) -> bool:
    return any(first <= day <= last for first, last in spans)


TEMPERATURE_HEADER = ("date", "min temp (C)", "max temp (C)")

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
        if _within(day, plan.not_read):
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
    return csv_bytes(TEMPERATURE_HEADER, rows)


def _wet_days(rain: bytes) -> set[dt.date]:
    rows = csv.DictReader(io.StringIO(rain.decode("utf-8")))
    return {
        dt.date(int(row["year"]), int(row["month"]), int(row["day"]))
        for row in rows
        if row["rain (mm)"] and float(row["rain (mm)"]) > 1
    }
