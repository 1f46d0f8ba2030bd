"""Stretches of the calendar over which rain is measured, from a planting date.

Planting seasons: plants that met their first dry season together, told apart from those that did not.

A gauge's readings laid on a calendar: what is known of each day, and what only of several together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Flags, Floats
from survivor.intervals import dry_seasons
from survivor.season.gauge import GaugeRecord, is_provisional
from survivor.settings import DrySeason
from survivor.words import date

_MONTHS_BEFORE: Final = 6


@dataclass(frozen=True)
class Window:
    """Days from start to end, both included; none where ``days`` is 0, and ``note`` says why.

    ``kind`` is ``before`` (six months before planting), ``early`` (planting to the dry
    season) or ``dry`` (the first dry season).
    """

    kind: str
    start: pd.Timestamp
    end: pd.Timestamp
    note: str = ""

    @property
    def days(self) -> int:
        """Number of days."""
        return max((self.end - self.start).days + 1, 0)


def windows(planted: pd.Timestamp, dry_season: DrySeason | None, until: pd.Timestamp | None) -> list[Window]:
    """Lay out the windows of one planting date, cut at ``until``."""
    day = pd.Timedelta(days=1)
    spans = [Window("before", planted - pd.DateOffset(months=_MONTHS_BEFORE), planted - day)]
    if dry_season is not None:
        start, end = first_dry_season(planted, dry_season)
        if start <= planted:
            inside = f"planted in the dry season, which began on {date(start)}"
            spans.append(Window("early", planted, planted - day, inside))
            spans.append(Window("dry", planted, end, f"{inside}; counted from planting"))
        else:
            spans.append(Window("early", planted, start - day))
            spans.append(Window("dry", start, end))
    return [_cut(window, until) for window in spans]


def _cut(window: Window, until: pd.Timestamp | None) -> Window:
    if until is None or window.end <= until or window.days == 0:
        return window
    if window.start > until:
        note = f"not begun by {date(until)}"
        return Window(window.kind, window.start, window.start - pd.Timedelta(days=1), note)
    cut = f"to {date(until)} only, of days to {date(window.end)}"
    return Window(window.kind, window.start, until, f"{window.note}; {cut}" if window.note else cut)


def first_dry_season(planted: pd.Timestamp, dry_season: DrySeason) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return first and last day of the first dry season that is not over at planting."""
    start, end = next(dry_seasons(planted.date(), dry_season.start, dry_season.end))
    return pd.Timestamp(start), pd.Timestamp(end)


def dry_season_met(
    dry_season: DrySeason | None, first: pd.Timestamp, last: pd.Timestamp
) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """Return first and last day of the first dry season that meets these dates; None where none does."""
    if dry_season is None:
        return None
    start, end = first_dry_season(first + pd.Timedelta(days=1), dry_season)
    return (start, end) if start < last else None


def dry_spans(planted: pd.Series[float], dry_season: DrySeason | None, last: float) -> pd.DataFrame:
    """Return stretches of days since planting in which plants were in the dry season.

    Parameters
    ----------
    planted
        Plants by planting date.
    dry_season
        Of the study file; None: there is none.
    last
        Last day wanted.

    Returns
    -------
    DataFrame
        ``start_day, stop_day`` (days since planting), ``share`` of the plants in it (0 to 1).
    """
    length = int(np.ceil(last))
    inside = np.zeros(max(length, 0))
    if dry_season is not None:
        for day, plants in planted.items():
            inside += float(plants) * _inside(pd.Timestamp(str(day)), dry_season, len(inside))
    # In quarters: a planting that took weeks would else give a stretch for each of its days.
    share = np.ceil(4 * inside / max(float(planted.sum()), 1.0) - 1e-9) / 4
    starts = np.flatnonzero(np.diff(share, prepend=np.nan) != 0)
    stops = np.append(starts[1:], len(share))
    spans = pd.DataFrame({"start_day": starts, "stop_day": stops, "share": share[starts]}).astype(float)
    return spans[spans["share"] > 0].reset_index(drop=True)


def _inside(first: pd.Timestamp, dry_season: DrySeason, length: int) -> Flags:
    """Say of each day from ``first`` on whether it is in the dry season."""
    dates = pd.date_range(first, periods=length, freq="D")
    today = dates.month.to_numpy() * 100 + dates.day.to_numpy()
    start, end = (int(edge.replace("-", "")) for edge in (dry_season.start, dry_season.end))
    return np.asarray(
        (today >= start) & (today <= end) if start <= end else (today >= start) | (today <= end)
    )


COLUMN: Final = "planting_year"

_APART = pd.Timedelta(days=150)  # without a dry season: so long a pause parts two planting seasons


def planting_years(planted: pd.Series[Any], dry_season: DrySeason | None) -> pd.Series[str]:
    """Name the planting season of each planting date.

    Two dates belong to one season where they have the first dry season after planting in
    common; without a dry season in the study file, where no pause of 150 days parts them.

    Parameters
    ----------
    planted
        Planting dates; blanks allowed.
    dry_season
        Of the study file, or None.

    Returns
    -------
    Series of str
        Such as ``2021``, or ``2021/2022`` where planting went over the turn of the year; "" for a blank.
    """
    dates = pd.to_datetime(planted)
    code, distinct = pd.factorize(dates)
    days = sorted(map(pd.Timestamp, distinct))
    groups: list[list[pd.Timestamp]] = []
    last: object = None
    for day in days:
        same = first_dry_season(day, dry_season)[0] if dry_season is not None else None
        if not groups or (same != last if dry_season is not None else day - groups[-1][-1] > _APART):
            groups.append([])
        groups[-1].append(day)
        last = same
    names = [_name(group) for group in groups]
    twice = {name for name in names if names.count(name) > 1}
    meaning = {
        day: f"{name} (from {date(group[0])})" if name in twice else name
        for name, group in zip(names, groups, strict=True)
        for day in group
    }
    told = np.array([*(meaning[pd.Timestamp(day)] for day in distinct), ""], dtype=object)
    return pd.Series(told[code], index=dates.index, name=dates.name)  # -1, of a blank, takes the last


def _name(days: list[pd.Timestamp]) -> str:
    first, last = days[0].year, days[-1].year
    return str(first) if first == last else f"{first}/{last}"


@dataclass(frozen=True)
class Calendar:
    """One entry a day from the first to the last day of the record.

    Attributes
    ----------
    first
        Day of the first entry.
    booked
        mm to add up: the amount on the day it was read (several days' worth where it
        covers several), 0 on the days before that it covers, NaN where nothing is known.
    single
        mm that fell in the one day; NaN where not read or read with other days.
    most
        mm that can have fallen on the day: the amount, or the whole of one that covers
        several days; NaN where nothing is known.
    provisional, assumed
        Days that the file calls provisional; days it leaves out and that count as dry.
    sums
        First and last entry covered by each amount of several days, and the amount.
    """

    first: pd.Timestamp
    booked: Floats
    single: Floats
    most: Floats
    provisional: Flags
    assumed: Flags
    sums: tuple[tuple[int, int, float], ...]

    @property
    def last(self) -> pd.Timestamp:
        """Day of the last entry."""
        return self.first + pd.Timedelta(days=len(self.booked) - 1)

    def place(self, day: pd.Timestamp) -> int:
        """Entry of a day; below 0 or beyond the end where the record does not reach."""
        return int((day - self.first).days)

    def slice(self, values: Floats, start: pd.Timestamp, end: pd.Timestamp) -> Floats:
        """Values from start to end, both included; NaN where the record does not reach."""
        low, high = self.place(start), self.place(end) + 1
        inside = values[max(low, 0) : max(min(high, len(values)), 0)]
        before = min(max(-low, 0), high - low)
        after = high - low - before - len(inside)
        return np.concatenate([np.full(before, np.nan), inside, np.full(after, np.nan)])


def on_calendar(record: GaugeRecord, until: pd.Timestamp | None = None) -> Calendar:
    """Lay a record on the calendar.

    Parameters
    ----------
    record
        A gauge's readings.
    until
        Where the record's missing days are dry, they are so up to this day too.
    """
    daily = record.daily
    first, last = daily["date"].iloc[0], daily["date"].iloc[-1]
    back = int(daily["days_covered"].iloc[0]) - 1
    first -= pd.Timedelta(days=back)
    dry = record.missing_days == "zero"
    if dry and until is not None:
        last = max(last, until)
    count = (last - first).days + 1
    booked, single, most = (np.full(count, np.nan) for _ in range(3))
    provisional, listed = np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    at = (daily["date"] - first).dt.days.to_numpy()
    amount = daily["rain_mm"].to_numpy(dtype=float)
    covers = daily["days_covered"].to_numpy()
    listed[at] = True
    provisional[at] = is_provisional(daily["quality"]).to_numpy()
    alone = covers == 1
    for values in (booked, single, most):
        values[at[alone]] = amount[alone]
    sums = []
    for place in np.flatnonzero(~alone & ~np.isnan(amount)):
        end, start = int(at[place]), max(int(at[place] - covers[place] + 1), 0)
        days = np.arange(start, end + 1)
        unread = days[np.isnan(most[days])]  # days with readings of their own keep them
        booked[unread], most[unread] = 0.0, amount[place]
        booked[end], most[end] = amount[place], amount[place]
        listed[days] = True
        provisional[days] |= provisional[end]
        sums.append((start, end, float(amount[place])))
    assumed = ~listed & dry
    for values in (booked, single, most):
        values[assumed] = 0.0
    return Calendar(first, booked, single, most, provisional, assumed, tuple(sums))


def runs(below: Flags) -> NDArray[np.int64]:
    """Length of the run of true values that ends at each entry."""
    count = np.cumsum(below)
    restart = np.maximum.accumulate(np.where(below, 0, count))
    return (count - restart).astype(np.int64)
