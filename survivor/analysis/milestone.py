"""Which day a milestone is answered for, and how it is named when the visits have not reached it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.settings import Milestone


def milestone_day(intervals: pd.DataFrame, milestone: Milestone) -> tuple[float, str]:
    """Choose the day and say which.

    The nominal day where the visits reach it; else the last visit inside the
    milestone's window; else the last visit there is, and the text says that the
    milestone has not been reached.

    Returns
    -------
    day, said
        Days since planting, and a sentence.
    """
    days = np.unique(intervals["stop_day"].to_numpy(dtype=float))
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
