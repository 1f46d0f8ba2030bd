"""Where the dry season and the visits lie on the clock of days since planting."""

from __future__ import annotations

import calendar
import datetime as dt

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.settings import DrySeason
from survivor.vocabulary import FIRST_PLANTING, INTERVAL_KEYS

FORTNIGHT = 14

_COLUMNS = ["start_day", "stop_day", "share"]


def dry_spans(intervals: pd.DataFrame, season: DrySeason | None, last: float) -> pd.DataFrame:
    """Return stretches of days since planting in which plants were in the dry season.

    Sites planted in different months meet the dry season at different ages, so each
    stretch has the share of plants that were in it.

    Parameters
    ----------
    intervals
        Risk intervals with ``planted_date``.
    season
        None: there is nothing to shade.
    last
        Last day wanted.

    Returns
    -------
    DataFrame
        ``start_day, stop_day`` (days since planting), ``share`` (0..1).
    """
    if season is None or "planted_date" not in intervals or last <= 0:
        return pd.DataFrame(columns=_COLUMNS)
    plants = _plants(intervals)
    length = int(np.ceil(last))
    inside = np.zeros(length)
    for planted, count in plants.items():
        inside += float(count) * _in_season(pd.Timestamp(str(planted)).date(), season, length)
    # In quarters: a planting that took weeks would else give a stretch for each of its days.
    share = np.ceil(4 * inside / max(float(plants.sum()), 1.0) - 1e-9) / 4
    edges = np.flatnonzero(np.diff(share)) + 1
    starts = np.concatenate([[0], edges])
    stops = np.concatenate([edges, [length]])
    spans = pd.DataFrame({"start_day": starts, "stop_day": stops, "share": share[starts]}).astype(float)
    return spans[spans["share"] > 0].reset_index(drop=True)


def _plants(intervals: pd.DataFrame) -> pd.Series[float]:
    """Return plants entering observation by planting date."""
    keys = [name for name in (*INTERVAL_KEYS, "species", "planted_date") if name in intervals]
    first = intervals.sort_values("start_day", kind="stable").drop_duplicates(keys)
    known = first[first["planted_date"].notna()]
    return known.groupby("planted_date")["at_risk"].sum().astype(float)


def _in_season(planted: dt.date, season: DrySeason, length: int) -> NDArray[np.float64]:
    dates = pd.date_range(planted, periods=length, freq="D")
    today = dates.month.to_numpy() * 100 + dates.day.to_numpy()
    start, end = (int(edge.replace("-", "")) for edge in (season.start, season.end))
    inside = (today >= start) & (today <= end) if start <= end else (today >= start) | (today <= end)
    found: NDArray[np.float64] = inside.astype(float)
    return found


def first_plants(intervals: pd.DataFrame) -> pd.DataFrame:
    """Return the intervals of the first planting: infill runs on a clock of its own."""
    if "cohort" not in intervals:
        return intervals
    return intervals[intervals["cohort"].astype(str).isin([FIRST_PLANTING, ""])]


def visit_rounds(intervals: pd.DataFrame) -> list[tuple[float, float]]:
    """Return the first and last day since planting of each round of visits, in order.

    Days nearer than a fortnight to the one before belong to one round.
    """
    rounds: list[tuple[float, float]] = []
    for day in sorted({float(day) for day in intervals["stop_day"]}):
        if rounds and day - rounds[-1][1] <= FORTNIGHT:
            rounds[-1] = (rounds[-1][0], day)
        else:
            rounds.append((day, day))
    return rounds


def settled(table: pd.DataFrame, first: float, last: float) -> float:
    """Return the last day of a round on which every curve has limits; the last day where none has."""
    inside = table[(table["day"] >= first) & (table["day"] <= last)]
    without = inside.groupby("day")["lower"].apply(lambda lower: lower.isna().any())
    ended = without[without].index.min() if without.any() else np.inf
    known = [float(day) for day in inside["day"].unique() if day < ended]
    return max(known, default=last)


def first_dry_season(
    season: DrySeason | None, first: pd.Timestamp, last: pd.Timestamp
) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """Return first and last day of the first dry season that meets these dates; None where none does."""
    if season is None:
        return None
    for year in range(first.year - 1, last.year + 1):
        start = _on(year, season.start)
        over = season.end < season.start
        end = _on(year + 1 if over else year, season.end)
        if start < last and end > first:
            return start, end
    return None


def _on(year: int, month_day: str) -> pd.Timestamp:
    """Day of a year; 29 February is the 28th where there is none."""
    month, day = (int(part) for part in month_day.split("-"))
    return pd.Timestamp(year, month, min(day, calendar.monthrange(year, month)[1]))
