"""Stretches of the calendar over which rain is measured, from a planting date."""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from typing import Final

import pandas as pd

from survivor.settings import DrySeason

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
    found = [Window("before", planted - pd.DateOffset(months=_MONTHS_BEFORE), planted - day)]
    if dry_season is not None:
        start, end = first_dry_season(planted, dry_season)
        if start <= planted:
            inside = f"planted in the dry season, which began on {start.date()}"
            found.append(Window("early", planted, planted - day, inside))
            found.append(Window("dry", planted, end, f"{inside}; counted from planting"))
        else:
            found.append(Window("early", planted, start - day))
            found.append(Window("dry", start, end))
    return [_cut(window, until) for window in found]


def _cut(window: Window, until: pd.Timestamp | None) -> Window:
    if until is None or window.end <= until or window.days == 0:
        return window
    if window.start > until:
        note = f"not begun by {until.date()}"
        return Window(window.kind, window.start, window.start - pd.Timedelta(days=1), note)
    cut = f"to {until.date()} only, of days to {window.end.date()}"
    return Window(window.kind, window.start, until, f"{window.note}; {cut}" if window.note else cut)


def first_dry_season(planted: pd.Timestamp, dry_season: DrySeason) -> tuple[pd.Timestamp, pd.Timestamp]:
    """Return first and last day of the first dry season that is not over at planting."""
    for year in range(planted.year - 1, planted.year + 3):
        start = _on(year, dry_season.start)
        end = _on(year + (dry_season.end < dry_season.start), dry_season.end)
        if end >= planted:
            return start, end
    raise AssertionError("a dry season comes every year")  # pragma: no cover


def _on(year: int, month_day: str) -> pd.Timestamp:
    month, day = (int(part) for part in month_day.split("-"))
    return pd.Timestamp(year, month, min(day, calendar.monthrange(year, month)[1]))
