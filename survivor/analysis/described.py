"""The season described, nothing adjusted: species and sites, causes of death, the three measures."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from survivor.analysis.observed import known_alive, planted_by
from survivor.analysis.parts import no_rows
from survivor.analysis.season import Season
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.intervals import ENTRY_GROUP, entries, group_codes, new_runs, row_codes
from survivor.models.pieces import SeasonPieces
from survivor.records import Records
from survivor.settings import DrySeason, Settings
from survivor.vocabulary import DAYS_PER_YEAR, FIRST_PLANTING, PLANTS, PLOT_KEY, State
from survivor.words import counted, first_few

CAUSE_COLUMNS = ("method", "period", "cause", "deaths")
MEASURE_COLUMNS = ("measure", "alive", "of", "estimate", "note")
_GROUP_COLUMNS = ("planted", "watched", "estimate", "lower", "upper", "n_plots", "at_day", "note")
_MOST_PERIODS = 21  # as many have a name
_FEW_UNSEEN = 0.05  # share of plants not visited near the day, above which it is said
_MOST_NAMED = 5


@dataclass(frozen=True)
class Described:
    """What became of the plants, plainly counted.

    Attributes
    ----------
    species, sites
        ``species`` or ``site``, ``planted`` (blank where not told), ``watched`` (what the
        estimate rests on), ``estimate, lower, upper`` (per 100), ``n_plots, at_day, note``.
    causes
        ``method, period, cause, deaths``.
    measures
        ``measure, alive, of, estimate`` (per 100), ``note``: the three measures that
        never share a name.
    """

    species: pd.DataFrame = field(default_factory=no_rows("species", *_GROUP_COLUMNS))
    sites: pd.DataFrame = field(default_factory=no_rows("site", *_GROUP_COLUMNS))
    causes: pd.DataFrame = field(default_factory=no_rows(*CAUSE_COLUMNS))
    measures: pd.DataFrame = field(default_factory=no_rows(*MEASURE_COLUMNS))


def described_of(season: Season) -> Described:
    """Count what became of the plants at the headline's milestone."""
    records, intervals = season.records, season.intervals
    day, window = season.milestone_day, season.window
    return Described(
        survival_by(intervals, "species", day, window, planted_by(records.plots, "species")),
        survival_by(intervals, "site", day, window, planted_by(records.plots, "site")),
        causes_of_death(records, intervals, season.settings),
        three_measures(records.visits, records.plots, intervals, day, window),
    )


def survival_by(
    intervals: pd.DataFrame,
    column: str,
    at: float,
    window: float = 0.0,
    planted: pd.Series[float] | None = None,
) -> pd.DataFrame:
    """Survival of planted per 100 for each level of a column, as observed, with limits by plot.

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
    names = [column, *_GROUP_COLUMNS]
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


def causes_of_death(records: Records, intervals: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Deaths by method, period of the year and likely cause, unknowns kept.

    The period is the piece of the season that holds most of the stretch between the
    last visit alive and the visit found dead.

    Returns
    -------
    DataFrame
        ``method, period, cause, deaths``; empty where no cause was recorded.
    """
    columns, season = list(CAUSE_COLUMNS), settings.dry_season
    joined = records.deaths(intervals)
    if joined.empty or season is None:
        return pd.DataFrame(columns=columns)
    pieces = season_pieces(season, float(joined["stop_day"].max()))
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


def three_measures(
    visits: pd.DataFrame, plots: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> pd.DataFrame:
    """Survival of planted, survival of found and what they leave out, as observed at the milestone.

    Planted is what the plots say was planted; plots that do not say it are named and left
    out. Where no plot says it, the plants watched from planting on stand for them. The visit of
    a plant nearest to the day, within the window, tells.

    Returns
    -------
    DataFrame
        ``measure, alive, of, estimate`` (per 100), ``note``.
    """
    rows = []
    moved, _ = at_milestone(intervals, at, window)
    planted, counted, left = _of_planted(plots, moved)
    died = int(counted.loc[counted["stop_day"] <= at, "died"].sum())
    alive = int(known_alive(counted, at).sum())
    if planted:
        rows.append(
            {
                "measure": "survival of planted",
                "alive": alive,
                "of": planted,
                "estimate": 100 * alive / planted,
                "note": "; ".join(filter(None, [_neither(planted - alive - died), left])),
            }
        )
    if "state" in visits.columns:
        rows += _found_at_first_visit(visits, intervals, at, window)
    return pd.DataFrame(rows, columns=list(MEASURE_COLUMNS))


def _of_planted(plots: pd.DataFrame, moved: pd.DataFrame) -> tuple[int, pd.DataFrame, str]:
    """Plants put in, the rows of those plants, and which plots are left out."""
    told = plots[plots["planted"].notna()] if "planted" in plots.columns else plots[:0]
    if told.empty:
        if moved.empty:
            return 0, moved, ""
        code = group_codes(moved, [name for name in ENTRY_GROUP if name in moved.columns])[0]
        first = np.full(int(code.max()) + 1, np.inf)
        np.minimum.at(first, code, moved["start_day"].to_numpy(dtype=float))
        kept = moved[first[code] == 0]
        return int(entries(kept)["at_risk"].sum()), kept, ""
    key = list(PLOT_KEY)
    silent = plots[plots["planted"].isna()][key].drop_duplicates()
    names = [f"{row['plot']} at {row['site']}" for row in silent.to_dict("records")]
    apart = pd.MultiIndex.from_frame(moved[key]).isin(pd.MultiIndex.from_frame(silent))
    planted = told[~pd.MultiIndex.from_frame(told[key]).isin(pd.MultiIndex.from_frame(silent))]
    return int(planted["planted"].sum()), moved[~apart], _left_out(names)


def _left_out(names: list[str]) -> str:
    if not names:
        return ""
    which = "plot has" if len(names) == 1 else "plots have"
    are = "is" if len(names) == 1 else "are"
    return f"{len(names):,} {which} no number planted and {are} not in it: {first_few(names, _MOST_NAMED)}"


def _neither(count: int) -> str:
    """Say how many of the planted have no known fate; where more were seen than planted, that."""
    if count < 0:
        return f"{counted(-count, 'plant')} more were seen than the plots say were planted"
    if count == 0:
        return "of each it is known whether it was alive or dead by then"
    were, counts = ("was", "counts") if count == 1 else ("were", "count")
    return (
        f"{count:,} of them {were} neither seen alive nor known dead by then, and {counts} as not alive here"
    )


def _found_at_first_visit(
    visits: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float
) -> list[dict[str, object]]:
    read = [name for name in (*PLOT_KEY, "tag", "date", "state", PLANTS) if name in visits.columns]
    # Visits of a plot stand together: its names are read once a run.
    runs = np.flatnonzero(new_runs([visits[name] for name in PLOT_KEY]))
    plots = pd.concat([intervals[list(PLOT_KEY)], visits[list(PLOT_KEY)].iloc[runs]], ignore_index=True)
    code, opening = row_codes([plots[name] for name in PLOT_KEY], in_order=False)
    known = opening < len(intervals)  # plots that the intervals hold, by their first row
    planted = intervals["planted_date"].iloc[np.where(known, opening, 0)].where(known)
    of_run = planted.to_numpy()[code[len(intervals) :]]
    age = (visits["date"] - np.repeat(of_run, np.diff(runs, append=len(visits)))).dt.days
    around = ((age - at).abs() <= window).to_numpy()
    near, age = visits[around], age[around]
    # Of two visits as near to the day, the later tells.
    near = near[read].assign(off=(age - at).abs() + 0.25 * (age < at))
    if "cohort" in visits.columns:
        near = near[visits["cohort"].to_numpy()[around] == FIRST_PLANTING]
    near = near.sort_values("off", kind="stable")
    each = row_codes([near[name] for name in (*PLOT_KEY, "tag")], in_order=False)[1]
    if PLANTS in near.columns:  # rows that are summed over plants are of one visit
        each = np.union1d(each, np.flatnonzero(near["tag"] == ""))
    seen = near.iloc[each]
    number = seen[PLANTS] if PLANTS in seen.columns else pd.Series(1, index=seen.index)
    alive = int(number[seen["state"] == State.ALIVE].sum())
    dead = int(number[seen["state"].isin([str(State.DEAD), str(State.REPLANTED)])].sum())
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
