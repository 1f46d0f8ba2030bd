"""Which day a milestone is answered for, and how it is named when the visits have not reached it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.analysis.ages import all_dead
from survivor.analysis.tables import ROUND_DAYS
from survivor.settings import Milestone

_CLOSE = 7.0  # days from a round of visits within which a day is taken as visited


def milestone_day(
    intervals: pd.DataFrame, milestone: Milestone, visited: pd.Series[float] | None = None
) -> tuple[float, str]:
    """Choose the day and say which.

    The nominal day where the visits reach it, though no visit fell on it: deaths of the
    weeks between it and the next visit are none of those that were promised against, and
    every plot is then answered for the same age. What the model fills in there is said
    (:func:`between_visits`), and an answer that turns on it is graded down
    (``survivor.analysis.swayed``). Else the last visit inside the milestone's window; else the
    last visit there is, and the text says that the milestone has not been reached.

    Parameters
    ----------
    intervals
        Risk intervals.
    milestone
        The day asked for and its window.
    visited
        Days after planting of all visits (``survivor.analysis.ages``). Where every seedling is known
        to be dead, later visits have no risk interval but tell as much: then they count too.

    Returns
    -------
    day, said
        Days since planting, and a sentence.
    """
    days = np.unique(intervals["stop_day"].to_numpy(dtype=float))
    if visited is not None and all_dead(intervals):
        days = np.union1d(days, visited.to_numpy(dtype=float))
    last, nominal, window = float(days[-1]), float(milestone.day), float(milestone.window_days)
    if last >= nominal:
        said = f"{milestone.name} is answered for day {nominal:g} after planting"
        if not (np.abs(days - nominal) <= window).any():
            # Planting is a day on which all were known to be alive.
            before, after = max(days[days < nominal], default=0.0), days[days > nominal].min()
            said += (
                f"; no visit lies within {window:g} days of it, so survival is drawn from the visits on days "
                f"{before:g} and {after:g} round it"
            )
        return nominal, said
    if last >= nominal - window:
        return last, (
            f"{milestone.name} (day {nominal:g}) is answered for day {last:g}, the last visit inside its "
            f"window of {milestone.window_days} days"
        )
    return last, (
        f"the visits have not reached {milestone.name} (day {nominal:g}); everything is said for day "
        f"{last:g}, the last visit so far"
    )


def between_visits(intervals: pd.DataFrame, day: float) -> str:
    """Say between which rounds of visits a day lies, to stand after "were alive".

    Empty within a week of a round: what dies in a week is next to nothing beside the limits.

    Parameters
    ----------
    intervals
        Risk intervals.
    day
        Days since planting.

    Examples
    --------
    >>> table = pd.DataFrame({"stop_day": [329.0, 333.0, 384.0, 388.0]})
    >>> between_visits(table, 365)
    'by the model, between the visits at days 329–333 and 384–388'
    """
    days = np.unique(intervals["stop_day"].to_numpy(dtype=float))
    rounds = rounds_of(days)
    if any(first - _CLOSE <= day <= last + _CLOSE for first, last in rounds):
        return ""
    before = [span for span in rounds if span[1] < day]
    after = [span for span in rounds if span[0] > day]
    if not after:
        return ""
    named = f"the visit{'s' * (after[0][0] < after[0][1])} at {_days(after[0])}"
    if not before:
        return f"by the model, before {named}"
    return f"by the model, between the visits at {_days(before[-1])} and {_days(after[0])[5:]}"


def rounds_of(days: NDArray[np.float64]) -> list[tuple[float, float]]:
    """First and last day of each round: visit days, in order, that follow one another closely."""
    opens = np.concatenate([[True], np.diff(days) > ROUND_DAYS])
    first, last = days[opens], days[np.concatenate([opens[1:], [True]])]
    return [(float(a), float(b)) for a, b in zip(first, last, strict=True)]


def _days(span: tuple[float, float]) -> str:
    first, last = span
    return f"days {first:g}" if first == last else f"days {first:g}–{last:g}"


def reached(milestone: Milestone, day: float) -> bool:
    """Whether the day that a milestone is answered for lies inside its window."""
    return day >= milestone.day - milestone.window_days


def milestone_words(milestone: Milestone, day: float) -> str:
    """Name what an answer is for, to stand after "at": the milestone, or the day where it is not reached.

    Parameters
    ----------
    milestone
        As the study file names it.
    day
        Days since planting that the answer is for.

    Examples
    --------
    >>> milestone_words(Milestone(name="24 months", day=730), 366)
    'day 366 (24 months not reached)'
    """
    return milestone.name if reached(milestone, day) else f"day {day:g} ({milestone.name} not reached)"
