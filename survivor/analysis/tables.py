"""Plain counts of the season: curves, species and sites, causes of death, the three measures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.analysis.ages import all_dead
from survivor.curves import Curves, curve
from survivor.curves.rounds import at_milestone
from survivor.errors import CurveError
from survivor.intervals import entries
from survivor.models.pieces import SeasonPieces
from survivor.settings import DrySeason, Settings
from survivor.vocabulary import DAYS_PER_YEAR, PLOT_KEY

ROUND_DAYS = 15.0  # visits within so many days of each other are one round
_MOST_PERIODS = 21  # as many have a name
_FEW_UNSEEN = 0.05  # share of plants not visited near the day, above which it is said


def method_curves(intervals: pd.DataFrame, at: float, window: float, strata: str | None) -> Curves:
    """Draw a curve a method, read at a milestone by the visits in its window.

    Visits of one round are taken as one; where a plot was visited twice within what would
    be one round, days stand as they are.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    at, window
        Day that the milestone is answered for, and how many days a visit may lie from it.
    strata
        Column within which plots are compared, or None.
    """
    moved, span = at_milestone(intervals, at, window)
    try:
        found = curve(moved, by="method", align=ROUND_DAYS, strata=strata)
    except CurveError:
        found = curve(moved, by="method", strata=strata)
    said = []
    notes = found.notes
    if span is not None:
        taken = _rounds(intervals["stop_day"][moved["stop_day"].to_numpy() == at].to_numpy(dtype=float))
        said += _taken(taken, at)
        for first, last in taken:
            # Some plots' visits of that round are taken as the milestone's, those of others are not.
            whole = f"visits on days {first:g} to {last:g} are taken as one round"
            notes = tuple(note.replace(whole, f"the other {whole}") for note in notes)
    elif not all_dead(intervals):
        said.append(f"no visit lies within {window:g} days of day {at:g}: read there, all count as last seen")
    return replace(found, notes=(*said, *notes))


def _rounds(days: NDArray[np.float64]) -> list[tuple[float, float]]:
    """First and last day of each round among days of visits, in any order."""
    days = np.unique(days)
    opens = np.concatenate([[True], np.diff(days) > ROUND_DAYS])
    first, last = days[opens], days[np.concatenate([opens[1:], [True]])]
    return [(float(a), float(b)) for a, b in zip(first, last, strict=True)]


def _taken(rounds: list[tuple[float, float]], at: float) -> list[str]:
    """Say which visits are taken as made on the day of the milestone."""
    if rounds == [(at, at)]:
        return []
    spans = [f"day {a:g}" if a == b else f"days {a:g} to {b:g}" for a, b in rounds]
    if len(spans) == 1:
        return [f"visits on {spans[0]} are taken as made on day {at:g}"]
    either = f"{', on '.join(spans[:-1])} or on {spans[-1]}"
    return [f"of each plot, the visit nearest to day {at:g} is taken as made on it: one on {either}"]


def survival_by(
    intervals: pd.DataFrame,
    column: str,
    at: float,
    window: float = 0.0,
    planted: pd.Series[float] | None = None,
) -> pd.DataFrame:
    """Survival of planted per 100 for each level of a column, as counted, with limits by plot.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    column
        Whose levels are told apart.
    at, window
        Day that the milestone is answered for, and how many days a visit may lie from it.
    planted
        Seedlings planted by level where the plots' sheet tells; None: not told.

    Returns
    -------
    DataFrame
        The column, ``planted`` (blank where not told), ``watched`` (seedlings that the
        estimate rests on), ``estimate, lower, upper, n_plots, at_day, note``; a level that
        was not visited near ``at`` has no estimate, and the note says why.
    """
    names = [column, "planted", "watched", "estimate", "lower", "upper", "n_plots", "at_day", "note"]
    if column not in intervals.columns or intervals[column].astype(str).nunique() < 2:
        return pd.DataFrame(columns=names)
    rows = intervals.assign(**{column: intervals[column].astype(str)})
    moved, _ = at_milestone(rows, at, window)
    found = curve(moved, by=column).read(at).set_index(column)
    unseen = _unseen(moved, column, at)
    table = pd.DataFrame(
        {
            "watched": entries(rows).groupby(column)["at_risk"].sum(),
            "n_plots": rows.drop_duplicates([*PLOT_KEY, column]).groupby(column).size(),
        }
    )
    table["planted"] = planted.reindex(table.index) if planted is not None else np.nan
    for name, source in (("estimate", "survival"), ("lower", "lower"), ("upper", "upper")):
        table[name] = (100 * found[source]).where(unseen.reindex(table.index).fillna(0.0) < 1)
    begun = rows.groupby(column)["start_day"].min()
    table["at_day"] = at
    table["note"] = [
        _note(
            str(found["note"].get(level, "")),
            float(unseen.get(level, 0.0)),
            float(begun.get(level, 0.0)),
            at,
            window,
        )
        for level in table.index
    ]
    return table.rename_axis(column).reset_index()[names]


def _unseen(moved: pd.DataFrame, column: str, at: float) -> pd.Series[float]:
    """Share of the plants watched over the day that no visit near it saw, by level."""
    over = moved[(moved["start_day"] < at) & (moved["stop_day"] >= at)]
    watched = over.groupby(column)["at_risk"].sum()
    later = over[over["stop_day"] > at].groupby(column)["at_risk"].sum()
    return (later.reindex(watched.index).fillna(0) / watched).astype(float)


def _note(refused: str, unseen: float, begun: float, at: float, window: float) -> str:
    if refused or unseen >= 1:
        return refused or f"no visit lies within {window:g} days of day {at:g}"
    said = [f"followed from day {begun:g} on: survival of those alive then"] if begun > 0 else []
    if unseen > _FEW_UNSEEN:
        said.append(
            f"{100 * unseen:.0f} of 100 plants were not visited within {window:g} days of day {at:g} and "
            "count as last seen"
        )
    return "; ".join(said)


def planted_by(plots: pd.DataFrame, column: str) -> pd.Series[float] | None:
    """Seedlings planted by level of a column of the plots' sheet; None where some plot does not tell."""
    if column not in plots.columns or "planted" not in plots.columns or plots["planted"].isna().any():
        return None
    return plots.groupby(plots[column].astype(str))["planted"].sum().astype(float)


def counted_by_method(intervals: pd.DataFrame, at: float, window: float) -> pd.DataFrame:
    """Plants of each method as counted at a milestone.

    Returns
    -------
    DataFrame
        ``method, watched, alive, died, unknown``: seedlings; unknown were alive when last
        seen, before the visits of the milestone, or found dead at a later visit.
    """
    moved, _ = at_milestone(intervals, at, window)
    method = moved["method"].astype(str)
    watched = entries(moved).groupby(method)["at_risk"].sum()
    alive, died = known_alive(moved, at), moved["died"].where(moved["stop_day"] <= at, 0)
    table = pd.DataFrame(
        {
            "watched": watched,
            "alive": alive.groupby(method).sum().reindex(watched.index),
            "died": died.groupby(method).sum().reindex(watched.index),
        }
    ).astype(int)
    table["unknown"] = table["watched"] - table["alive"] - table["died"]
    order = list(dict.fromkeys(method))
    return table.loc[order].rename_axis("method").reset_index()


def same_fate(counted: pd.DataFrame, milestone: str) -> str:
    """Say so where all plants of every method died, or none did; empty where fates differ.

    A difference of nought is then no finding on the methods: the season told nothing of them.
    """
    known = counted["alive"].sum() + counted["died"].sum()
    if len(counted) < 2 or not known:
        return ""
    if counted["alive"].sum() == 0:
        return (
            f"Preparations cannot be compared by who was alive at {milestone}: all {known:,.0f} seedlings "
            "whose fate is known were dead, under every preparation. How long they had lived is under "
            "“Mean days alive”."
        )
    if counted["died"].sum() == 0:
        return (
            f"Preparations cannot be compared by who was alive at {milestone}: all {known:,.0f} seedlings "
            "whose fate is known were alive, under every preparation. A later visit may tell them apart."
        )
    return ""


def known_alive(moved: pd.DataFrame, at: float) -> pd.Series[int]:
    """Plants of each row known to be alive on the day: seen so on it or later."""
    over = (moved["start_day"] < at) & (moved["stop_day"] >= at)
    alive: pd.Series[int] = (moved["at_risk"] - moved["died"]).where(over, 0)
    return alive


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
    pieces = season_pieces(settings.dry_season, float(joined["stop_day"].max()))
    joined["period"] = death_periods(joined, pieces)
    counted = joined.groupby(["method", "period", "cause"], observed=True, sort=False)["died"].sum()
    order = {name: place for place, name in enumerate(pieces.names)}
    table = counted.rename("deaths").reset_index()
    table = table.sort_values(
        ["method", "period", "cause"], key=lambda part: part.map(order) if part.name == "period" else part
    )
    return table.reset_index(drop=True)[columns]


def death_periods(rows: pd.DataFrame, pieces: SeasonPieces) -> list[str]:
    """Name the period of each row: that of most days between the visit alive and the visit found dead.

    Parameters
    ----------
    rows
        Risk intervals with ``planted_date``.
    pieces
        The seasons of the study.
    """
    if rows.empty:
        return []
    edges = np.column_stack([np.zeros(len(rows)), pieces.boundaries(rows), np.full(len(rows), np.inf)])
    start, stop = rows["start_day"].to_numpy(float)[:, None], rows["stop_day"].to_numpy(float)[:, None]
    overlap = np.minimum(edges[:, 1:], stop) - np.maximum(edges[:, :-1], start)
    return [pieces.names[place] for place in overlap.argmax(axis=1)]


def deaths_in_dry_season(intervals: pd.DataFrame, season: DrySeason | None) -> tuple[float, float]:
    """Return the deaths with a period, and those whose period is a dry season.

    By the rule of ``death_periods``, so that every count of a report agrees.
    """
    if season is None or "planted_date" not in intervals.columns:
        return 0.0, 0.0
    deaths = intervals[(intervals["died"] > 0) & intervals["planted_date"].notna()]
    if deaths.empty:
        return 0.0, 0.0
    pieces = season_pieces(season, float(deaths["stop_day"].max()))
    dry = pd.Series(death_periods(deaths, pieces), index=deaths.index).isin(pieces.names[1::2])
    return float(deaths["died"].sum()), float(deaths.loc[dry, "died"].sum())


def season_pieces(season: DrySeason, last: float) -> SeasonPieces:
    """Periods by the dry season, enough for plants watched to day ``last``."""
    years = int(last // DAYS_PER_YEAR)
    return SeasonPieces(season.start, season.end, count=min(2 * years + 5, _MOST_PERIODS))
