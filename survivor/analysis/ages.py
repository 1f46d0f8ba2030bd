"""How far the visits reach, also those that found nothing but dead plants."""

from __future__ import annotations

import pandas as pd

from survivor.intervals import entries
from survivor.vocabulary import PLOT_KEY


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
