"""Plants of each preparation as observed at the milestone, beside what the model makes of them.

Every preparation of the records has its row, also one that cannot be compared: a reader can
count the same from the sheets.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from survivor.analysis.models import first_plants
from survivor.analysis.season import Season
from survivor.curves.rounds import at_milestone
from survivor.effects.standardise import Standardised
from survivor.entry import from_first_visit
from survivor.intervals import entries
from survivor.vocabulary import PLOT_KEY, Basis

OBSERVED_COLUMNS: Final = (
    "method",
    "planted",
    "watched",
    "alive",
    "dead",
    "missing",
    "unknown",
    "alive_per_100_planted",
    "alive_per_100_known",
    "estimate",
    "lower",
    "upper",
    "filled_in",
    "n_plots",
    "n_sites",
    "shared_sites",
)


def observed_by_method(season: Season) -> pd.DataFrame:
    """Count the plants of each preparation at the milestone, by each plot's visit nearest to it.

    Returns
    -------
    DataFrame
        ``method``; ``planted`` (blank where the sheets do not tell), ``watched``, ``alive``,
        ``dead``, ``missing`` (position found, no plant) and ``unknown`` (the rest of those planted,
        else of those watched) in plants; ``alive_per_100_planted`` (of those watched where the
        planted are not told) and ``alive_per_100_known`` (of those alive, dead or missing);
        ``estimate, lower, upper, filled_in``, blank here (see `beside_standardised`); ``n_plots,
        n_sites`` and ``shared_sites``: sites that hold the usual practice too.
    """
    intervals, day, window = season.intervals, season.milestone_day, season.window
    counts = counted_by_method(intervals, day, window).set_index("method")
    # A missing plant is dead under one rule and unknown under the other: the two tell how many there are.
    died = {
        rule: counted_by_method(_under(season, rule), day, window).set_index("method")["died"]
        for rule in ("dead", "unknown")
    }
    dead = died["unknown"].reindex(counts.index).fillna(0)
    missing = died["dead"].reindex(counts.index).fillna(0) - dead
    planted = planted_by(season.records.plots, "method") if season.basis is Basis.PLANTED else None
    told = pd.Series(np.nan, counts.index) if planted is None else planted.reindex(counts.index)
    of = told.fillna(counts["watched"])
    alive, known = counts["alive"], counts["alive"] + dead + missing
    where = intervals.assign(method=intervals["method"].astype(str))
    sites = where.groupby("method")["site"].agg(set)
    usual = sites.get(str(season.settings.design.usual_practice), set())
    table = pd.DataFrame(
        {
            "planted": told,
            "watched": counts["watched"],
            "alive": alive,
            "dead": dead.astype(int),
            "missing": missing.astype(int),
            "unknown": of - known,
            "alive_per_100_planted": 100 * alive / of,
            "alive_per_100_known": 100 * alive / known.where(known > 0),
            "n_plots": where.drop_duplicates([*PLOT_KEY, "method"]).groupby("method").size(),
            "n_sites": sites.map(len),
            "shared_sites": sites.map(lambda own: len(own & usual)),
        }
    )
    return table.loc[counts.index].rename_axis("method").reset_index().reindex(columns=list(OBSERVED_COLUMNS))


def _under(season: Season, missing: str) -> pd.DataFrame:
    """Risk intervals of the first plants under a rule for missing plants; counts know none."""
    rows = first_plants(season.records.under(missing="dead" if missing == "dead" else "unknown"))
    return from_first_visit(rows) if season.basis is Basis.FOUND else rows


def beside_standardised(observed: pd.DataFrame, standard: Standardised | None) -> pd.DataFrame:
    """Put standardised survival beside what was observed, and how much of it the model fills in.

    Parameters
    ----------
    observed
        As `observed_by_method` gives it.
    standard
        Survival by preparation, per 100, or None.

    Returns
    -------
    DataFrame
        ``estimate, lower, upper`` filled where the preparation is in the model, and ``filled_in``: of
        100 plants averaged over, those of places and species where it was never seen.
    """
    if standard is None:
        return observed
    table = standard.table.set_index(standard.table["method"].astype(str))
    unseen = standard.extrapolated
    filled = pd.Series(0.0, table.index)
    if len(unseen):
        filled = filled.add(unseen.groupby(unseen["method"].astype(str))["share_per_100"].sum(), fill_value=0)
    beside = table[["estimate", "lower", "upper"]].assign(filled_in=filled).reindex(observed["method"])
    return observed.assign(**{str(name): beside[name].to_numpy() for name in beside})


def counted_by_method(intervals: pd.DataFrame, at: float, window: float) -> pd.DataFrame:
    """Plants of each method as observed at a milestone.

    Returns
    -------
    DataFrame
        ``method, watched, alive, died``: seedlings; the others were alive when last seen, before
        the visits of the milestone, or were found dead at a later visit.
    """
    named = intervals.assign(method=intervals["method"].astype(str))
    return counted_by(named, at, window, ["method"])


def counted_by(intervals: pd.DataFrame, at: float, window: float, keys: list[str]) -> pd.DataFrame:
    """Plants as observed at a milestone, by any columns; as `counted_by_method`, in the order of the rows."""
    moved, _ = at_milestone(intervals.reset_index(drop=True), at, window)
    entered = moved.index.isin(entries(moved).index)
    counts = moved[keys].assign(
        watched=moved["at_risk"].where(entered, 0),
        alive=known_alive(moved, at),
        died=moved["died"].where(moved["stop_day"] <= at, 0),
    )
    summed = counts.groupby(keys, sort=False, observed=True, dropna=False)[["watched", "alive", "died"]].sum()
    return summed.astype(int).reset_index()


def known_alive(moved: pd.DataFrame, at: float) -> pd.Series[int]:
    """Plants of each row known to be alive on the day: seen so on it or later."""
    over = (moved["start_day"] < at) & (moved["stop_day"] >= at)
    alive: pd.Series[int] = (moved["at_risk"] - moved["died"]).where(over, 0)
    return alive


def planted_by(plots: pd.DataFrame, column: str) -> pd.Series[float] | None:
    """Seedlings planted by level of a column of the plots' sheet; None where some plot does not tell."""
    if column not in plots.columns or "planted" not in plots.columns or plots["planted"].isna().any():
        return None
    return plots.groupby(plots[column].astype(str))["planted"].sum().astype(float)
