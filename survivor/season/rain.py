"""The season's rain against the gauge's own record.

Rain is context first: one season at sites near each other is one sample of rain. Each
measure is taken over the same days of every other year that the record holds well
enough, and this season is placed among them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.errors import SeasonError
from survivor.season.daily import stretches
from survivor.season.gauge import IN_MONDAY, GaugeRecord, Gauges, read_gauge
from survivor.season.windows import Calendar, Window, on_calendar, runs, windows
from survivor.settings import DrySeason, Gauge
from survivor.vocabulary import Severity
from survivor.words import counted, date, dates, first_few

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
    An amount read for several days counts whole on the day it was read. Where no day of a
    window was read by itself, as where a gauge is kept by months, runs of dry days and falls
    have no value. In a run of dry
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
    for planted in dates:
        for window in windows(planted, dry_season, until):
            if (window.kind, window.start) in done:
                continue
            done.add((window.kind, window.start))
            rows += [
                (record.name, planted, *_row(calendar, measure, window, missing_share))
                for measure in _MEASURES
                if measure.window == window.kind
            ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


@dataclass(frozen=True)
class Gap:
    """A dry season of which too little is known for a total.

    Attributes
    ----------
    gauge, file
        Whose readings are absent, and where they would stand.
    window
        The dry season.
    days
        Those without a reading.
    """

    gauge: str
    file: str
    window: Window
    days: tuple[dt.date, ...]

    @property
    def when(self) -> str:
        """The days without a reading; the first five stretches of them."""
        runs = pd.Series(pd.to_datetime(list(self.days)))
        apart = runs.diff().dt.days.ne(1).cumsum()
        return first_few([dates(run) for _, run in runs.groupby(apart)], 5)

    @property
    def mend(self) -> str:
        """What would give a total."""
        return (
            f"readings of {self.when} at {self.gauge}, from its book or the nearest station, "
            f"written into {self.file}"
        )

    @property
    def what(self) -> str:
        """How many days of which dry season are not known."""
        return (
            f"at {self.gauge} {len(self.days)} of {counted(self.window.days, 'day')} from "
            f"{date(self.window.start)} to {date(self.window.end)} are not known"
        )


def dry_season_gaps(
    gauges: Gauges,
    named: Iterable[Gauge],
    plots: pd.DataFrame,
    dry_season: DrySeason | None,
    as_of: dt.date | None = None,
) -> tuple[Gap, ...]:
    """Find dry seasons of which too little is known for a total, and the days that are not known.

    Parameters
    ----------
    gauges
        As read.
    named
        The gauges of the study file.
    plots
        ``site, planted_date``: they tell which dry seasons are asked for.
    dry_season
        Of the study file; None: none is asked for.
    as_of
        Day after which no record is used.
    """
    until = None if as_of is None else pd.Timestamp(as_of)
    gaps = []
    for gauge in named:
        record = gauges.records.get(gauge.name)
        of_gauge = plots["site"].isin(gauge.sites) if gauge.sites else plots["site"].notna()
        planted = {
            pd.Timestamp(day).normalize() for day in plots.loc[of_gauge, "planted_date"].dropna().unique()
        }
        if record is None or dry_season is None or not planted:
            continue
        calendar = on_calendar(record, until)
        dry = {w.start: w for day in planted for w in windows(day, dry_season, until)
               if w.kind == "dry" and w.days}  # fmt: skip
        for window in dry.values():
            unknown = np.isnan(calendar.slice(calendar.most, window.start, window.end))
            if unknown.sum() > MISSING_SHARE * window.days:
                absent = tuple(day.date() for day in pd.date_range(window.start, window.end)[unknown])
                gaps.append(Gap(gauge.name, record.file, window, absent))
    return tuple(gaps)


def check_dry_seasons(gauges: Gauges, gaps: Iterable[Gap]) -> Gauges:
    """Add to the problems of gauges which dry seasons have no total, and why.

    Parameters
    ----------
    gauges
        As read.
    gaps
        As `dry_season_gaps`.
    """
    rows = []
    for gap in gaps:
        what = (
            f"{len(gap.days)} of {gap.window.days} days of the dry season from {date(gap.window.start)} to "
            f"{date(gap.window.end)} are not known, more than {100 * MISSING_SHARE:.0f} of 100, so it has "
            f"no total and how rain went with survival cannot be determined: {stretches(gap.days)}"
        )
        mend = (
            "write these days into the gauge's file, or those of the nearest station; if Monday's "
            f'reading is of the whole weekend, write in the study file: weekends = "{IN_MONDAY}"; '
            'if a day without a row was dry: missing_days = "zero"'
        )
        rows.append(("rain-gaps", Severity.CHECK, gap.file, "", pd.NA, "", gap.gauge, what, mend))
    return gauges.with_problems(rows)


def _row(calendar: Calendar, measure: _Measure, window: Window, missing_share: float) -> tuple[object, ...]:
    head = (measure.name, window.start, window.end)
    if window.days == 0:
        return (*head, np.nan, measure.unit, 0, 0, np.nan, np.nan, 0, window.note)
    known = _known(calendar, window)
    note = [window.note] if window.note else []
    value = np.nan
    if window.days - known > missing_share * window.days:
        share = f"{100 * missing_share:.0f} %"
        note.append(f"{window.days - known} of {window.days} days are not known, more than {share}: no value")
    elif measure.of_sums and np.isnan(calendar.slice(calendar.single, window.start, window.end)).all():
        note.append("no day was read by itself, only several together: no value")
    else:
        value = measure.compute(calendar, window.start, window.end)
        note += _doubts(calendar, measure, window, known)
    others = _other_years(calendar, measure, window, missing_share)
    median = float(np.median(others)) if len(others) >= _YEARS_FOR_MEDIAN else np.nan
    decile = _decile(value, others) if len(others) >= _YEARS_FOR_DECILE else np.nan
    if known < window.days and window.end > calendar.last:
        note.append(f"the record ends on {date(calendar.last)}")
    if len(others) < _YEARS_USUAL:
        note.append(f"{counted(len(others), 'other year')} of record, where {_YEARS_USUAL} are usual")
    return (*head, value, measure.unit, known, window.days, median, decile, len(others), "; ".join(note))


def _known(calendar: Calendar, window: Window) -> int:
    return int((~np.isnan(calendar.slice(calendar.most, window.start, window.end))).sum())


def _doubts(calendar: Calendar, measure: _Measure, window: Window, known: int) -> list[str]:
    """Say what a reader should know of a value that is given."""
    notes = []
    if known < window.days:
        word = "the total is at least this" if measure.unit == "mm" else "it may be more"
        unknown = window.days - known
        verb = "is" if unknown == 1 else "are"
        notes.append(f"{unknown} of {counted(window.days, 'day')} {verb} not known, so {word}")
    low, high = calendar.place(window.start), calendar.place(window.end)
    across = [amount for start, end, amount in calendar.sums if start <= high and end >= low]
    if across and measure.of_sums:
        alone = len(across) == 1
        breaks = measure.of_sums_one if alone else measure.of_sums
        notes.append(
            f"{counted(len(across), 'amount')} {'covers' if alone else 'cover'} several days, {breaks}"
        )
    over = [(s, e, a) for s, e, a in calendar.sums if (s < low <= e) or (s <= high < e)]
    if over and measure.unit == "mm":
        notes.append(f"{over[0][2]:g} mm were read for days on both sides of the window's edge")
    for mask, one, more in (
        (calendar.provisional, "is provisional", "are provisional"),
        (calendar.assumed, "is not in the file and counts as dry", "are not in the file and count as dry"),
    ):
        count = int(np.nansum(calendar.slice(mask.astype(float), window.start, window.end)))
        if count:
            notes.append(f"{counted(count, 'day')} {one if count == 1 else more}")
    return notes


def _other_years(
    calendar: Calendar, measure: _Measure, window: Window, missing_share: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    sums = []
    for year in range(calendar.first.year - 1, calendar.last.year + 2):
        shift = pd.DateOffset(years=year - window.start.year)
        start = window.start + shift
        end = start + pd.Timedelta(days=window.days - 1)
        if year == window.start.year or start < calendar.first or end > calendar.last:
            continue
        known = (~np.isnan(calendar.slice(calendar.most, start, end))).mean()
        if 1 - known <= missing_share:
            sums.append(measure.compute(calendar, start, end))
    return np.array(sums, dtype=float)


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
    "which break a run unless the whole amount is below the limit",
    "which breaks a run unless the whole amount is below the limit",
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
        "which are not counted as falls",
        "which is not counted as a fall",
    ),
)


_MOST_UNKNOWN: Final = 0.05  # share of days not read, above which a sum says too little
_FEW_DAYS: Final = 3  # as many may be unknown however short the sum


@dataclass(frozen=True)
class RainSoFar:
    """Rain added up from the first planting on, this season and in the years of the record.

    Attributes
    ----------
    name
        The gauge, and the planting season where there are several.
    table
        ``date, rain_mm`` (since the first planting), ``low, median, high`` (mm: the record's tenth,
        fiftieth and ninetieth percentile) and ``not_read``, the days so far whose fall is not known.
        Those add nothing, so the true sum can only be higher; once they are more than one in twenty
        the sum is no longer given.
    years
        Years compared.
    """

    name: str
    table: pd.DataFrame
    years: int


def rain_so_far(
    name: str, daily: pd.DataFrame, planted: pd.Series[Any], until: pd.Timestamp
) -> RainSoFar | None:
    """Add up the rain of a season against its record; None where too little is known.

    Parameters
    ----------
    name
        What to call it.
    daily
        ``date, rain_mm`` of one gauge.
    planted
        Planting dates of the season.
    until
        Last day wanted; a year is the most.
    """
    if planted.empty or pd.isna(until) or until <= planted.min():
        return None
    start = pd.Timestamp(planted.min())
    days = min((until - start).days + 1, 366)
    by_day = daily.assign(date=pd.to_datetime(daily["date"])).groupby("date")["rain_mm"].sum(min_count=1)
    series = by_day.asfreq("D")
    this, unknown = _added(series, start, days)
    others = []
    for year in range(series.index[0].year, start.year):
        begin = _same_day(start, year)
        added, _ = _added(series, begin, days)
        if not np.isnan(added).any():
            others.append(added)
    if len(others) < _YEARS_FOR_DECILE or np.isnan(this).all():
        return None
    low, median, high = np.quantile(np.array(others), (0.1, 0.5, 0.9), axis=0)
    dates = pd.date_range(start, periods=days, freq="D")
    table = pd.DataFrame({"date": dates, "rain_mm": this, "low": low, "median": median, "high": high})
    table["not_read"] = unknown
    return RainSoFar(name, table, len(others))


def _added(series: pd.Series[float], start: pd.Timestamp, days: int) -> tuple[Floats, Floats]:
    """Return rain added up, NaN once too many days are not known, and the days not known so far."""
    window = series.reindex(pd.date_range(start, periods=days, freq="D")).to_numpy(dtype=float)
    unknown = np.cumsum(np.isnan(window)).astype(float)
    added = np.cumsum(np.nan_to_num(window, nan=0.0))
    allowed = np.maximum(_MOST_UNKNOWN * np.arange(1, days + 1), _FEW_DAYS)
    # From the first day with too many on: a later reading does not make up for them.
    return np.where(np.maximum.accumulate(unknown > allowed), np.nan, added), unknown


def _same_day(day: pd.Timestamp, year: int) -> pd.Timestamp:
    last = 28 if day.month == 2 else day.day
    return pd.Timestamp(year=year, month=day.month, day=min(day.day, last))
