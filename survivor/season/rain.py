"""The season's rain against the gauge's own record.

Rain is context first: one season at sites near each other is one sample of rain. Each
measure is taken over the same days of every other year that the record holds well
enough, and this season is placed among them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from survivor.errors import SeasonError
from survivor.figures.words import many
from survivor.season.calendar import Calendar, on_calendar, runs
from survivor.season.gauge import GaugeRecord, read_gauge
from survivor.season.windows import Window, windows
from survivor.settings import DrySeason

__all__ = ["COLUMNS", "GaugeRecord", "measures", "read_gauge"]

COLUMNS: Final = (
    "gauge",
    "planted_date",
    "measure",
    "window_start",
    "window_end",
    "value",
    "unit",
    "days_with_data",
    "days_in_window",
    "median",
    "decile",
    "years_of_record",
    "note",
)
MISSING_SHARE: Final = 0.1
_YEARS_FOR_MEDIAN: Final = 5
_YEARS_FOR_DECILE: Final = 10
_YEARS_USUAL: Final = 30
_SOAKING: Final = 10.0  # mm

Compute = Callable[[Calendar, pd.Timestamp, pd.Timestamp], float]


@dataclass(frozen=True)
class _Measure:
    """What is measured over which window."""

    window: str
    name: str
    unit: str
    compute: Compute
    of_sums: str = ""  # what amounts of several days do to it
    of_sums_one: str = ""  # and what one does


def measures(
    record: GaugeRecord,
    planted: dt.date | Iterable[dt.date],
    dry_season: DrySeason | None,
    as_of: dt.date | None = None,
    *,
    missing_share: float = MISSING_SHARE,
) -> pd.DataFrame:
    """Measure the season's rain and place it in the record.

    Parameters
    ----------
    record
        A gauge's readings.
    planted
        Planting date(s) of the sites that the gauge stands for.
    dry_season
        Its first and last day (month and day); None leaves out what needs it.
    as_of
        Day after which no record is used; None: the gauge's last day.
    missing_share
        A window with a larger share of days not known gets no value; 0 to 1.

    Returns
    -------
    pandas.DataFrame
        A row per measure and window. ``value`` with ``unit`` (NaN where too little is
        known); ``days_with_data`` of ``days_in_window``; ``median`` of the same days in
        other years (from 5 years on); ``decile``, 1 the lowest tenth to 10 the highest
        (from 10 years on); ``years_of_record``, the other years compared with; ``note``,
        plain sentences. ``planted_date`` is the first of the planting dates that share
        the window.

    Raises
    ------
    SeasonError
        When no planting date is given, or ``missing_share`` is no share.

    Notes
    -----
    An amount read for several days counts whole on the day it was read. In a run of dry
    days all its days are dry only if the whole amount is below the limit; else it breaks
    the run, as a day not read does: a run is the longest that is *known* to be dry.
    """
    if not 0 <= missing_share < 1:
        raise SeasonError(
            f"missing_share = {missing_share} is no share", mend="give a number from 0 to below 1"
        )
    given = [planted] if isinstance(planted, dt.date) else planted
    dates = sorted({pd.Timestamp(day).normalize() for day in given if not pd.isna(day)})
    if not dates:
        raise SeasonError(
            "no plot with a planting date lies by this gauge",
            where=record.name,
            mend="name its sites in the study file as the records spell them, or give planting dates",
        )
    until = None if as_of is None else pd.Timestamp(as_of)
    calendar = on_calendar(record, until)
    rows: list[tuple[object, ...]] = []
    done: set[tuple[str, pd.Timestamp]] = set()
    for date in dates:
        for window in windows(date, dry_season, until):
            if (window.kind, window.start) in done:
                continue
            done.add((window.kind, window.start))
            rows += [
                (record.name, date, *_row(calendar, measure, window, missing_share))
                for measure in _MEASURES
                if measure.window == window.kind
            ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _row(calendar: Calendar, measure: _Measure, window: Window, missing_share: float) -> tuple[object, ...]:
    head = (measure.name, window.start, window.end)
    if window.days == 0:
        return (*head, np.nan, measure.unit, 0, 0, np.nan, np.nan, 0, window.note)
    known = _known(calendar, window)
    said = [window.note] if window.note else []
    value = np.nan
    if window.days - known > missing_share * window.days:
        share = f"{100 * missing_share:.0f} %"
        said.append(f"{window.days - known} of {window.days} days are not known, more than {share}: no value")
    else:
        value = measure.compute(calendar, window.start, window.end)
        said += _doubts(calendar, measure, window, known)
    others = _other_years(calendar, measure, window, missing_share)
    median = float(np.median(others)) if len(others) >= _YEARS_FOR_MEDIAN else np.nan
    decile = _decile(value, others) if len(others) >= _YEARS_FOR_DECILE else np.nan
    if known < window.days and window.end > calendar.last:
        said.append(f"the record ends on {calendar.last.date()}")
    if len(others) < _YEARS_USUAL:
        said.append(f"{many(len(others), 'other year')} of record; {_YEARS_USUAL} are usual")
    return (*head, value, measure.unit, known, window.days, median, decile, len(others), "; ".join(said))


def _known(calendar: Calendar, window: Window) -> int:
    return int((~np.isnan(calendar.slice(calendar.most, window.start, window.end))).sum())


def _doubts(calendar: Calendar, measure: _Measure, window: Window, known: int) -> list[str]:
    """Say what a reader should know of a value that is given."""
    said = []
    if known < window.days:
        word = "the total is at least this" if measure.unit == "mm" else "it may be more"
        unknown = window.days - known
        verb = "is" if unknown == 1 else "are"
        said.append(f"{unknown} of {many(window.days, 'day')} {verb} not known, so {word}")
    low, high = calendar.place(window.start), calendar.place(window.end)
    across = [amount for start, end, amount in calendar.sums if start <= high and end >= low]
    if across and measure.of_sums:
        alone = len(across) == 1
        breaks = measure.of_sums_one if alone else measure.of_sums
        said.append(f"{many(len(across), 'amount')} {'covers' if alone else 'cover'} several days; {breaks}")
    over = [(s, e, a) for s, e, a in calendar.sums if (s < low <= e) or (s <= high < e)]
    if over and measure.unit == "mm":
        said.append(f"{over[0][2]:g} mm were read for days on both sides of the window's edge")
    for mask, one, more in (
        (calendar.provisional, "is provisional", "are provisional"),
        (calendar.assumed, "is not in the file and counts as dry", "are not in the file and count as dry"),
    ):
        count = int(np.nansum(calendar.slice(mask.astype(float), window.start, window.end)))
        if count:
            said.append(f"{many(count, 'day')} {one if count == 1 else more}")
    return said


def _other_years(
    calendar: Calendar, measure: _Measure, window: Window, missing_share: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    found = []
    for year in range(calendar.first.year - 1, calendar.last.year + 2):
        shift = pd.DateOffset(years=year - window.start.year)
        start = window.start + shift
        end = start + pd.Timedelta(days=window.days - 1)
        if year == window.start.year or start < calendar.first or end > calendar.last:
            continue
        known = (~np.isnan(calendar.slice(calendar.most, start, end))).mean()
        if 1 - known <= missing_share:
            found.append(measure.compute(calendar, start, end))
    return np.array(found, dtype=float)


def _decile(value: float, others: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    """Tenth of all years, this one included, in which the value lies; ties share their middle place."""
    if np.isnan(value):
        return np.nan
    below = float((others < value - 1e-9).sum()) + 0.5 * float((np.abs(others - value) <= 1e-9).sum())
    return float(min(int(10 * (below + 0.5) / (len(others) + 1)) + 1, 10))


def _total(calendar: Calendar, start: pd.Timestamp, end: pd.Timestamp) -> float:
    return round(float(np.nansum(calendar.slice(calendar.booked, start, end))), 6)


def _longest_under(limit: float) -> Compute:
    def longest(calendar: Calendar, start: pd.Timestamp, end: pd.Timestamp) -> float:
        return float(runs(calendar.slice(calendar.most, start, end) < limit).max(initial=0))

    return longest


def _longest_wait(calendar: Calendar, start: pd.Timestamp, end: pd.Timestamp) -> float:
    """Longest time since a soaking fall at any day of the window; it may have begun before the window."""
    waiting = runs(calendar.most < _SOAKING).astype(float)
    return float(np.nanmax(calendar.slice(waiting, start, end), initial=0))


def _soaking_falls(calendar: Calendar, start: pd.Timestamp, end: pd.Timestamp) -> float:
    return float((calendar.slice(calendar.single, start, end) >= _SOAKING).sum())


_BREAKS: Final = (
    "they break a run unless the whole amount is below the limit",
    "it breaks a run unless the whole amount is below the limit",
)
_MEASURES: Final = (
    _Measure("before", "rain in the six months before planting", "mm", _total),
    _Measure("early", "rain from planting to the dry season", "mm", _total),
    _Measure("dry", "rain in the dry season", "mm", _total),
    _Measure(
        "dry", "longest run of days under 2 mm in the dry season", "days", _longest_under(2.0), *_BREAKS
    ),
    _Measure(
        "dry", "longest run of days under 5 mm in the dry season", "days", _longest_under(5.0), *_BREAKS
    ),
    _Measure("dry", "longest wait for a fall of 10 mm in the dry season", "days", _longest_wait, *_BREAKS),
    _Measure(
        "dry",
        "falls of 10 mm or more in the dry season",
        "falls",
        _soaking_falls,
        "they are not counted as falls",
        "it is not counted as a fall",
    ),
)
