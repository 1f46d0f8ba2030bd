"""Plain tables of the season: by species and site, causes of death, the three measures."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.curves import curve
from survivor.intervals import entries
from survivor.models.pieces import SeasonPieces
from survivor.settings import Settings
from survivor.vocabulary import PLOT_KEY, State

ROUND_DAYS = 15.0  # visits within so many days of each other are one round


def survival_by(intervals: pd.DataFrame, column: str, at: float) -> pd.DataFrame:
    """Survival of planted per 100 for each level of a column, as seen, with limits by plot.

    Visits of one round are taken at one day, so that plots visited a few days later
    have their deaths counted too.

    Returns
    -------
    DataFrame
        The column, ``planted, estimate, lower, upper, n_plots, at_day, note``; a level
        that was not watched to ``at`` has no estimate, and the note says why.
    """
    names = [column, "planted", "estimate", "lower", "upper", "n_plots", "at_day", "note"]
    if column not in intervals.columns or intervals[column].astype(str).nunique() < 2:
        return pd.DataFrame(columns=names)
    rows = intervals.assign(**{column: intervals[column].astype(str)})
    found = curve(rows, by=column, align=ROUND_DAYS).read(at).set_index(column)
    started = entries(rows)
    table = pd.DataFrame(
        {
            "planted": started.groupby(column)["at_risk"].sum(),
            "n_plots": rows.drop_duplicates([*PLOT_KEY, column]).groupby(column).size(),
        }
    )
    for name, source in (("estimate", "survival"), ("lower", "lower"), ("upper", "upper")):
        table[name] = 100 * found[source]
    table["at_day"], table["note"] = at, found["note"]
    return table.rename_axis(column).reset_index()[names]


def causes_of_death(visits: pd.DataFrame, intervals: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Deaths by method, period of the year and likely cause, unknowns kept.

    The period is the piece of the season that holds most of the stretch between the
    last visit alive and the visit found dead.

    Returns
    -------
    DataFrame
        ``method, period, cause, deaths``; empty where no cause was recorded.
    """
    columns = ["method", "period", "cause", "deaths"]
    deaths = intervals[(intervals["died"] > 0) & (intervals["tag"].astype(str) != "")]
    if "cause" not in visits.columns or deaths.empty or settings.dry_season is None:
        return pd.DataFrame(columns=columns)
    key = ["site", "block", "plot", "tag", "cohort"]
    said = visits[visits["cause"].notna() & (visits["cause"].astype(str) != "")]
    if said.empty:
        return pd.DataFrame(columns=columns)
    first = said.sort_values("date", kind="stable").drop_duplicates(key)[[*key, "cause"]]
    joined = deaths.merge(first, on=key, how="left")
    joined["cause"] = joined["cause"].fillna("not recorded")
    pieces = SeasonPieces(settings.dry_season.start, settings.dry_season.end, count=7)
    joined["period"] = _periods(joined, pieces)
    counted = joined.groupby(["method", "period", "cause"], observed=True, sort=False)["died"].sum()
    order = {name: place for place, name in enumerate(pieces.names)}
    table = counted.rename("deaths").reset_index()
    table = table.sort_values(
        ["method", "period", "cause"], key=lambda part: part.map(order) if part.name == "period" else part
    )
    return table.reset_index(drop=True)[columns]


def _periods(rows: pd.DataFrame, pieces: SeasonPieces) -> list[str]:
    edges = np.column_stack([np.zeros(len(rows)), pieces.boundaries(rows), np.full(len(rows), np.inf)])
    start, stop = rows["start_day"].to_numpy(float)[:, None], rows["stop_day"].to_numpy(float)[:, None]
    overlap = np.minimum(edges[:, 1:], stop) - np.maximum(edges[:, :-1], start)
    return [pieces.names[place] for place in overlap.argmax(axis=1)]


def three_measures(
    visits: pd.DataFrame, plots: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> pd.DataFrame:
    """Survival of planted, survival of found and what they leave out, as counted at the milestone.

    Planted is what the plots say was planted where every plot says it, else the plants
    that were seen.

    Returns
    -------
    DataFrame
        ``measure, alive, of, estimate`` (per 100), ``note``.
    """
    rows = []
    started = entries(intervals)
    told = plots["planted"] if "planted" in plots.columns else pd.Series(dtype=float)
    seen = started.loc[started["start_day"] == 0, "at_risk"]
    planted = int(told.sum() if len(told) and told.notna().all() else seen.sum())
    died = int(intervals.loc[intervals["stop_day"] <= at + window, "died"].sum())
    known = intervals[(intervals["start_day"] <= at + window) & (intervals["stop_day"] >= at - window)]
    last = (
        known.sort_values("stop_day")
        .groupby(["site", "block", "plot", "tag", "species"], observed=True)
        .tail(1)
    )
    alive = int((last["at_risk"] - last["died"].where(last["stop_day"] <= at + window, 0)).sum())
    if planted:
        rows.append(
            {
                "measure": "survival of planted",
                "alive": alive,
                "of": planted,
                "estimate": 100 * alive / planted,
                "note": f"{planted - alive - died} of them were neither seen alive nor known dead by then",
            }
        )
    if "state" in visits.columns:
        rows += _of_found(visits, intervals, at, window)
    return pd.DataFrame(rows, columns=["measure", "alive", "of", "estimate", "note"])


def _of_found(
    visits: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> list[dict[str, object]]:
    planted = intervals.drop_duplicates(list(PLOT_KEY))[[*PLOT_KEY, "planted_date"]]
    dated = visits.merge(planted, on=list(PLOT_KEY), how="inner")
    age = (dated["date"] - dated["planted_date"]).dt.days
    seen = dated[(age - at).abs() <= window]
    seen = seen.sort_values("date").drop_duplicates([*PLOT_KEY, "tag"], keep="last")
    alive, dead = int((seen["state"] == State.ALIVE).sum()), int((seen["state"] == State.DEAD).sum())
    if alive + dead == 0:
        return []
    return [
        {
            "measure": "survival of found",
            "alive": alive,
            "of": alive + dead,
            "estimate": 100 * alive / (alive + dead),
            "note": "alive of those seen alive or dead at that visit; too high, since dead plants disappear",
        }
    ]
