"""Where the watch of the seedlings begins: at planting, or only at the first visit.

Tags put on after planting tell nothing of those that had died before. Where most
seedlings enter so, survival from planting cannot be told without supposing how many
had died unseen; what is told is survival of those found alive at the first visit.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.intervals import ENTRY_GROUP, cluster_columns, entries, group_codes
from survivor.records.tagged import AT_PLANTING_DAYS
from survivor.vocabulary import PER_100

PER_100_FOUND = "per 100 found at the first visit"
_MEASURE = ": the measure of this report unless it says otherwise"


def watched_late(intervals: pd.DataFrame) -> bool:
    """Whether most seedlings are followed from a day after planting only."""
    entered = entries(intervals)
    late = entered.loc[entered["start_day"] > 0, "at_risk"].sum()
    return bool(2 * late > entered["at_risk"].sum())


def from_first_visit(intervals: pd.DataFrame) -> pd.DataFrame:
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
    """
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
    moved.attrs = dict(intervals.attrs)
    ordered: pd.DataFrame = moved.sort_index()
    return ordered


def entry_note(intervals: pd.DataFrame) -> str:
    """Say how many seedlings are followed from a later day on; empty where none is."""
    entered = entries(intervals)
    late = int(entered.loc[entered["start_day"] > 0, "at_risk"].sum())
    if late == 0:
        return ""
    who = "1 seedling is" if late == 1 else f"{late:,} seedlings are"
    of = f"Of {int(entered['at_risk'].sum()):,} seedlings, {who} not known to have been tagged at planting"
    if watched_late(intervals):
        return (
            f"{of}: survival from planting cannot be told. Numbers are of seedlings found alive at the first "
            "visit of their plot, and leave out those that had died before it, so they are higher than "
            "survival of planted. If tags went in with the plants, say so in the study file ([rules] tagged)."
        )
    return f"{of} and are followed from the first sighting on; what came before rests on the others."


def of_found(text: str) -> str:
    """Put into the words of seedlings found at the first visit what was written of planted ones."""
    found = text.replace(PER_100, PER_100_FOUND).replace("of 100 planted", "of 100 found at the first visit")
    return found.replace(_MEASURE, ": not the measure of this report, which is of those found then")
