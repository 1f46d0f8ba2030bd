"""Where the dry season and the visits lie on the clock of days since planting."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.analysis.milestone import rounds_of
from survivor.curves import Curves
from survivor.curves.rounds import at_milestone
from survivor.intervals import entries
from survivor.season.windows import dry_spans
from survivor.settings import DrySeason


@dataclass(frozen=True)
class Clock:
    """The days of some curves, in days since planting.

    Attributes
    ----------
    dry
        Stretches in which plants were in the dry season: ``start_day, stop_day``, and the ``share``
        of plants that were in it (0 to 1), since sites planted in different months meet it at
        different ages.
    visits
        First and last day of each round of visits.
    rounds
        ``first_day, last_day`` of each round, the visits of the milestone taken as made on its day;
        ``read_day`` the last of them on which every curve has limits, or the last.
    """

    dry: pd.DataFrame
    visits: tuple[tuple[float, float], ...]
    rounds: pd.DataFrame


def clock_of(
    intervals: pd.DataFrame, curves: Curves, season: DrySeason | None, day: float, window: float
) -> Clock:
    """Lay the dry season and the visits under some curves.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    curves
        Theirs.
    season
        Dry season of the study file; None: there is nothing to shade.
    day, window
        Day that the milestone is answered for, and how many days a visit may lie from it.
    """
    table = curves.table
    last = float(table["day"].max())
    moved, _ = at_milestone(intervals, day, window)
    rounds = _rounds(moved, last)
    rows = [(*ends, read_day(table, *ends)) for ends in rounds]
    return Clock(
        dry=dry_spans(_planted(intervals), season, last),
        visits=tuple(_rounds(intervals, last)),
        rounds=pd.DataFrame(rows, columns=["first_day", "last_day", "read_day"], dtype=float),
    )


def _rounds(intervals: pd.DataFrame, last: float) -> list[tuple[float, float]]:
    rounds = rounds_of(np.unique(intervals["stop_day"].to_numpy(dtype=float)))
    return [(begins, min(ends, last)) for begins, ends in rounds if begins <= last]


def _planted(intervals: pd.DataFrame) -> pd.Series[float]:
    """Return plants entering observation by planting date."""
    if "planted_date" not in intervals:
        return pd.Series(dtype=float)
    plants: pd.Series[float] = entries(intervals).groupby("planted_date")["at_risk"].sum().astype(float)
    return plants


def read_day(table: pd.DataFrame, first: float, last: float) -> float:
    """Return the last day of a round on which every curve has limits; the last day where none has."""
    inside = table[(table["day"] >= first) & (table["day"] <= last)]
    without = inside.groupby("day")["lower"].apply(lambda lower: lower.isna().any())
    ended = without[without].index.min() if without.any() else np.inf
    known = [float(day) for day in inside["day"].unique() if day < ended]
    return max(known, default=last)
