"""Which day a milestone is answered for, how far the visits reach, and how a day between them is named."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.intervals import entries
from survivor.settings import Milestone
from survivor.vocabulary import PLOT_KEY

ROUND_DAYS = 15.0  # visits within so many days of each other are one round

_CLOSE = 7.0  # days from a round of visits within which a day is taken as visited


def milestone_day(
    intervals: pd.DataFrame, milestone: Milestone, visited: pd.Series[float] | None = None
) -> tuple[float, str]:
    """Choose the day and say which.

    The nominal day where the visits reach it, though no visit fell on it: deaths of the
    weeks between it and the next visit are none of those that were promised against, and
    every plot is then answered for the same age. What the model fills in there is said
    (:func:`between_visits`), and an answer that turns on it is graded down
    (``survivor.analysis.robustness``). Else the last visit inside the milestone's window; else the
    last visit there is, and the text says that the milestone has not been reached.

    Parameters
    ----------
    intervals
        Risk intervals.
    milestone
        The day asked for and its window.
    visited
        Days after planting of all visits (:func:`visit_ages`). Where every seedling is known
        to be dead, later visits have no risk interval but tell as much: then they count too.

    Returns
    -------
    day, note
        Days since planting, and a sentence.
    """
    days = _visit_days(intervals, visited)
    last, nominal, window = float(days[-1]), float(milestone.day), float(milestone.window_days)
    if last >= nominal:
        unseen = unvisited(intervals, milestone, visited)
        named = f"{milestone.name} is answered for day {nominal:g} after planting"
        return nominal, f"{named}; {unseen}" if unseen else named
    if last >= nominal - window:
        return last, (
            f"{milestone.name} (day {nominal:g}) is answered for day {last:g}, the last visit inside its "
            f"window of {milestone.window_days} days"
        )
    return last, (
        f"the visits have not reached {milestone.name} (day {nominal:g}); everything is said for day "
        f"{last:g}, the last visit so far"
    )


def unvisited(intervals: pd.DataFrame, milestone: Milestone, visited: pd.Series[float] | None = None) -> str:
    """Say from which visits survival at a milestone is drawn where none lies in its window; else empty.

    Parameters as for :func:`milestone_day`, of a milestone that the visits have reached.
    """
    days = _visit_days(intervals, visited)
    nominal, window = float(milestone.day), float(milestone.window_days)
    if not days[-1] >= nominal or (np.abs(days - nominal) <= window).any():
        return ""
    # Planting is a day on which all were known to be alive.
    before, after = max(days[days < nominal], default=0.0), days[days > nominal].min()
    return (
        f"no visit lies within {window:g} days of it, so survival is drawn from the visits on days "
        f"{before:g} and {after:g} round it"
    )


def _visit_days(intervals: pd.DataFrame, visited: pd.Series[float] | None) -> Floats:
    """Days of the visits, in order; also of those after all had died."""
    days = np.unique(intervals["stop_day"].to_numpy(dtype=float))
    if visited is None or not all_dead(intervals):
        return days
    return np.union1d(days, visited.to_numpy(dtype=float))


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
    first, last = after[0]
    if not before:
        return f"by the model, before the visit{'s' * (first < last)} at days {_span(after[0])}"
    return f"by the model, between the visits at days {_span(before[-1])} and {_span(after[0])}"


def rounds_of(days: Floats) -> list[tuple[float, float]]:
    """First and last day of each round: visit days, in order, that follow one another closely."""
    opens = np.concatenate([[True], np.diff(days) > ROUND_DAYS])
    first, last = days[opens], days[np.concatenate([opens[1:], [True]])]
    return [(float(a), float(b)) for a, b in zip(first, last, strict=True)]


def _span(span: tuple[float, float]) -> str:
    first, last = span
    return f"{first:g}" if first == last else f"{first:g}–{last:g}"


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


def visit_ages(visits: pd.DataFrame, intervals: pd.DataFrame) -> pd.Series[float]:
    """Days after planting of the visits to the plots of these intervals, also of plots where all had died.

    Parameters
    ----------
    visits
        ``site, block, plot, date`` of each sighting.
    intervals
        Risk intervals with ``planted_date``.

    Returns
    -------
    Series
        One entry per plot and date, above 0; of a plot planted twice, since the later planting.
    """
    if "planted_date" not in intervals.columns or "date" not in visits.columns:
        return pd.Series(dtype=float)
    key = list(PLOT_KEY)
    planted = intervals[[*key, "planted_date"]].sort_values("planted_date", kind="stable")
    planted = planted.drop_duplicates(key, keep="last")
    dated = visits[[*key, "date"]].drop_duplicates().merge(planted, on=key, how="inner")
    ages: pd.Series[float] = (dated["date"] - dated["planted_date"]).dt.days.astype(float)
    return ages[ages > 0]


def all_dead(intervals: pd.DataFrame) -> bool:
    """Whether every seedling ever watched is known to be dead."""
    return bool(entries(intervals)["at_risk"].sum() == intervals["died"].sum())
