"""Visits a few days apart taken as one: in a round, or as the visit of a milestone."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.arguments import is_number
from survivor.arrays import Floats
from survivor.errors import CurveError
from survivor.intervals import ENTRY_GROUP, group_codes


def in_rounds(frame: pd.DataFrame, align: float) -> tuple[pd.DataFrame, list[tuple[float, float]]]:
    """Move each visit to the last day of its round.

    Parameters
    ----------
    frame
        A risk-interval table.
    align
        Visits that follow one another by this many days or fewer are one round.

    Returns
    -------
    frame, rounds
        A copy with days moved, and first and last day of every round that spans some.
        A death found in a round had happened by its last day; one seen alive in it is
        taken to have lived to that day.

    Raises
    ------
    CurveError
        When a plot was visited twice in what would be one round.
    """
    if not is_number(align) or not align > 0:
        raise CurveError(
            f"align = {align!r} days makes no round", mend="give a number of days above 0, or None"
        )
    stops = np.unique(frame["stop_day"].to_numpy(dtype=float))
    opens = np.concatenate([[True], np.diff(stops) > align])
    closes = np.concatenate([opens[1:], [True]])
    first, last = stops[opens], stops[closes]

    def moved(days: np.ndarray) -> np.ndarray:
        place = np.maximum(np.searchsorted(first, days, side="right") - 1, 0)
        return np.where((days >= first[place]) & (days <= last[place]), last[place], days)

    start, stop = (moved(frame[name].to_numpy(dtype=float)) for name in ("start_day", "stop_day"))
    twice = np.flatnonzero(start >= stop)
    if len(twice):
        row = frame.iloc[twice[0]]
        raise CurveError(
            f"with visits up to {align:g} days apart as one round, days {row['start_day']:g} and "
            f"{row['stop_day']:g} of one plot fall in the same round",
            where=f"row {frame.index[twice[0]]}",
            mend='give a smaller align, or use estimator="turnbull", which needs no rounds',
        )
    spans = [(float(a), float(b)) for a, b in zip(first, last, strict=True) if b > a]
    return frame.assign(start_day=start, stop_day=stop), spans


def at_milestone(
    frame: pd.DataFrame, day: float | Floats, window: float
) -> tuple[pd.DataFrame, tuple[float, float] | None]:
    """Take the visit nearest to a milestone as made on its very day.

    A plot visited on day 368 tells of day 365 too, though its deaths were found three
    days later. Of two visits as near, the later is taken.

    Parameters
    ----------
    frame
        A risk-interval table.
    day
        The milestone, in days since planting; or one a row, the same for all rows of a plot.
    window
        How many days a visit may lie from it.

    Returns
    -------
    frame, span
        A copy in which each group of seedlings has its nearest visit within the window
        on ``day``, and the first and last day on which those visits were; None where
        there was no visit in the window.
    """
    start, stop = (frame[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    inside = np.abs(stop - day) <= window
    if not inside.any():
        return frame.copy(), None
    keys = [name for name in ENTRY_GROUP if name in frame.columns]
    code = group_codes(frame, keys)[0] if keys else np.zeros(len(frame), dtype=np.intp)
    # A little more for an earlier visit settles ties.
    far = np.where(inside, np.abs(stop - day) + np.where(stop < day, 0.25, 0.0), np.inf)
    nearest = np.full(int(code.max()) + 1, np.inf)
    np.minimum.at(nearest, code, far)
    chosen = inside & (far == nearest[code])
    visit = np.full(len(nearest), np.nan)
    visit[code[chosen]] = stop[chosen]
    moved = frame.assign(
        start_day=np.where(start == visit[code], day, start),
        stop_day=np.where(stop == visit[code], day, stop),
    )
    return moved, (float(stop[chosen].min()), float(stop[chosen].max()))
