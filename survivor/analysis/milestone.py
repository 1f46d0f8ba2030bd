"""Which day a milestone is answered for."""

from __future__ import annotations

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
    last = float(intervals["stop_day"].max())
    nominal = float(milestone.day)
    if last >= nominal:
        return nominal, f"{milestone.name} is answered for day {nominal:g} after planting"
    if last >= nominal - milestone.window_days:
        return last, (
            f"{milestone.name} (day {nominal:g}) is answered for day {last:g}, the last visit inside its "
            f"window of {milestone.window_days} days"
        )
    return last, (
        f"the visits have not reached {milestone.name} (day {nominal:g}); everything is said for day "
        f"{last:g}, the last visit so far"
    )
