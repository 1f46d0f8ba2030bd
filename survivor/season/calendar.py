"""A gauge's readings laid on a calendar: what is known of each day, and what only of several together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.season.gauge import GaugeRecord, is_provisional

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


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
    booked: FloatArray
    single: FloatArray
    most: FloatArray
    provisional: BoolArray
    assumed: BoolArray
    sums: tuple[tuple[int, int, float], ...]

    @property
    def last(self) -> pd.Timestamp:
        """Day of the last entry."""
        return self.first + pd.Timedelta(days=len(self.booked) - 1)

    def place(self, day: pd.Timestamp) -> int:
        """Entry of a day; below 0 or beyond the end where the record does not reach."""
        return int((day - self.first).days)

    def slice(self, values: FloatArray, start: pd.Timestamp, end: pd.Timestamp) -> FloatArray:
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


def runs(below: BoolArray) -> NDArray[np.int64]:
    """Length of the run of true values that ends at each entry."""
    count = np.cumsum(below)
    restart = np.maximum.accumulate(np.where(below, 0, count))
    return (count - restart).astype(np.int64)
