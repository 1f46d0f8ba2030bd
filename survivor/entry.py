"""Seedlings whose watch begins after planting: one rule of what is told of them, and in whose name.

Tags put on after planting tell nothing of those that had died before. Where most
seedlings enter so, survival from planting cannot be determined without supposing how many had
died unseen; what can be told is survival of those found alive at the first visit.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.frames import Table, own_frame
from survivor.intervals import ENTRY_GROUP, check_intervals, cluster_columns, entries, group_codes
from survivor.vocabulary import AT_PLANTING_DAYS, PER_100
from survivor.words import counted


def watch_begins(intervals: pd.DataFrame) -> float:
    """First day on which any seedling is watched; 0 where some are from planting."""
    return float(intervals["start_day"].min()) if "start_day" in intervals.columns else 0.0


def per_100_of(intervals: pd.DataFrame) -> str:
    """Name the unit of survival: of those planted, or of those alive as the watch begins."""
    begins = watch_begins(intervals)
    return PER_100 if begins == 0 else f"per 100 alive on day {begins:g}"


def said_of_entry(intervals: pd.DataFrame, seedlings: int) -> list[str]:
    """Say whose survival a model of these rows tells, where most of its ``seedlings`` enter late."""
    if "start_day" not in intervals.columns:
        return []
    # Every row from planting is one at which seedlings entered.
    early = float(intervals["at_risk"].to_numpy(float)[intervals["start_day"].to_numpy(float) == 0].sum())
    if 2 * early >= seedlings:
        return []
    begins = watch_begins(intervals)
    if begins > 0:
        return [f"The watch begins on day {begins:g}: survival is of those alive then, not of those planted."]
    return [
        "Most seedlings are watched from a later day on: what came before rests on "
        f"{counted(early, 'seedling')} watched from planting. survivor.from_first_visit(intervals) counts "
        "from the first visit of each plot."
    ]


def watched_late(intervals: pd.DataFrame) -> bool:
    """Whether most seedlings are followed from a day after planting only."""
    entered = entries(intervals)
    late = entered.loc[entered["start_day"] > 0, "at_risk"].sum()
    return bool(2 * late > entered["at_risk"].sum())


def from_first_visit(intervals: Table) -> pd.DataFrame:
    """Count the watch of each plot from its first visit: of those found alive there.

    Every seedling alive at the first visit of its plot had lived from planting to then, so its
    first stretch runs from day 0 to its second visit. A seedling found dead at the first
    visit is not among those found alive, and leaves. One first seen later enters then.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants, with late entry.

    Returns
    -------
    DataFrame
        Risk intervals whose survival from day 0 is that of seedlings found alive at the
        first visit of their plot.

    Raises
    ------
    IntervalsError
        When the table is not one of risk intervals.

    Examples
    --------
    >>> late = intervals.assign(start_day=intervals["start_day"].replace(0, 60))
    >>> survivor.from_first_visit(late)[["start_day", "stop_day"]].head(2)
       start_day  stop_day
    0        0.0       180
    1      180.0       365
    """
    intervals = own_frame(intervals)
    check_intervals(intervals)
    keys = [name for name in ENTRY_GROUP if name in intervals.columns]
    rows = intervals.sort_values("start_day", kind="stable")
    seedling = group_codes(rows, keys)[0]
    plot = group_codes(rows, cluster_columns(rows, "plot"))[0]
    start, stop = (rows[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    seen = np.where(start > 0, start, stop)
    first = np.full(int(plot.max()) + 1, np.inf)
    np.minimum.at(first, plot, seen)
    # A visit of a plot may take some days.
    visited = first[plot] + AT_PLANTING_DAYS
    before = (start == 0) & (stop <= visited)
    gone = np.zeros(int(seedling.max()) + 1, dtype=bool)
    gone[seedling[before & (rows["died"].to_numpy() >= rows["at_risk"].to_numpy())]] = True
    kept = ~before & ~gone[seedling]
    # What was not seen at the first visit enters when it is first seen.
    unseen = (start == 0) & (stop > visited)
    found = kept & ~unseen
    opening = ~pd.Series(seedling[found]).duplicated().to_numpy()
    begun = np.zeros(len(rows), dtype=bool)
    begun[np.flatnonzero(found)[opening]] = True
    moved = rows.assign(start_day=np.where(begun & (start <= visited), 0.0, start))[found]
    ordered: pd.DataFrame = moved.sort_index()
    return ordered
