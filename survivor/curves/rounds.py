"""Visits a few days apart taken as one round, so that plots share their visit days."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.errors import CurveError


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
    if not align > 0:
        raise CurveError(
            f"align = {align} days makes no round", mend="give a number of days above 0, or None"
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
