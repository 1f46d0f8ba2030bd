"""Survival by preparation: as the model standardises it, as observed, at every milestone; and infill."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.milestone import ROUND_DAYS, all_dead, milestone_day, reached, rounds_of, unvisited
from survivor.analysis.models import SeasonFits
from survivor.analysis.observed import OBSERVED_COLUMNS, beside_standardised, observed_by_method
from survivor.analysis.parts import Reason, Unmade, attempt, no_rows
from survivor.analysis.season import Season
from survivor.curves import Curves, curve
from survivor.curves.result import noting
from survivor.curves.rounds import at_milestone
from survivor.effects.counted import with_counted_survival
from survivor.effects.standardise import Standardised, survival
from survivor.errors import CurveError, SurvivorError
from survivor.intervals import entries, tally
from survivor.models.result import Fit
from survivor.settings import Milestone
from survivor.vocabulary import INFILL

MILESTONE_COLUMNS: Final = (
    "milestone",
    "day",
    "at_day",
    "method",
    "estimate",
    "lower",
    "upper",
    "n_seedlings",
    "n_plots",
    "n_sites",
    "note",
)
INFILL_COLUMNS: Final = ("plants", "at_day", "estimate", "lower", "upper", "n_plots", "note")
COUNTED: Final = "observed; not standardised for site"


@dataclass(frozen=True)
class Survival:
    """How many were alive under each preparation.

    Attributes
    ----------
    by_method
        From the ``grouped`` model, per 100, standardised over the study's sites and species; None
        where no model tells it.
    curves
        A curve a method, as observed.
    observed
        A row a preparation of the records, as observed at the milestone, beside what is standardised
        (:func:`survivor.analysis.observed.observed_by_method`).
    milestones
        Survival at every milestone of the study file: ``milestone, day`` (as asked), ``at_day``
        (as answered; blank where not reached), ``method, estimate, lower, upper`` (per 100),
        ``n_seedlings, n_plots, n_sites, note`` (how it was told, or why not).
    infill
        ``plants, at_day, estimate, lower, upper`` (per 100 infill plants), ``n_plots, note``; days
        since their own planting.
    """

    by_method: Standardised | None = None
    curves: Curves | None = None
    observed: pd.DataFrame = field(default_factory=no_rows(*OBSERVED_COLUMNS))
    milestones: pd.DataFrame = field(default_factory=no_rows(*MILESTONE_COLUMNS))
    infill: pd.DataFrame = field(default_factory=no_rows(*INFILL_COLUMNS))


def survival_of(season: Season, models: SeasonFits, unmade: Unmade) -> Survival:
    """Tell survival by preparation, as modelled and as observed."""
    intervals, day, window = season.intervals, season.milestone_day, season.window
    by_method = unmade.keep(survival_by_method(season, models))
    return Survival(
        curves=unmade.attempt("curves", lambda: method_curves(intervals, day, window, season.curve_strata)),
        observed=beside_standardised(observed_by_method(season), by_method),
        milestones=at_milestones(season, models.answer),
        infill=infill_survival(season.records.intervals, season.milestone),
        by_method=by_method,
    )


def survival_by_method(season: Season, models: SeasonFits) -> Standardised | Reason:
    """Survival of each preparation at the headline's day, standardised; by its counts where all or none live.

    The one preparation of a planting is the whole planting.
    """
    intervals, day, edges = season.intervals, season.milestone_day, models.edges

    def one_method() -> Standardised:
        assert models.whole is not None
        whole = survival(models.whole, None, day, season.population)
        table = whole.table.drop(columns="group")
        table.insert(0, "method", str(intervals["method"].iloc[0]))
        return replace(whole, by="method", table=table)

    def several() -> Standardised:
        within = models.within
        modelled = None if within is None else survival(within, "method", day, season.population)
        if modelled is not None and not edges:
            return modelled
        return with_counted_survival(modelled, intervals, day, season.window, edges)

    if models.within is not None or edges:
        return attempt("survival", several)
    if intervals["method"].nunique() == 1 and models.whole is not None:
        return attempt("survival", one_method)
    return Reason("survival", models.why_not_within(intervals))


def at_milestones(season: Season, head: Fit | None) -> pd.DataFrame:
    """Survival of each method at each milestone, in the order of their days.

    Parameters
    ----------
    season
        The first plants, and the milestones of the study file.
    head
        The headline model; methods that it does not hold are told as observed.

    Returns
    -------
    DataFrame
        See ``Survival.milestones``; a milestone that is not reached has one row, without
        a method, whose note says why.
    """
    intervals, visited = season.intervals, season.visited
    rows: list[dict[str, Any]] = []
    for milestone in sorted(season.settings.milestones, key=lambda one: one.day):
        named = {"milestone": milestone.name, "day": float(milestone.day)}
        at, _ = milestone_day(intervals, milestone, visited)
        if not reached(milestone, at):
            note = f"not reached: the last visit was on day {at:g}"
            rows.append({**named, "at_day": np.nan, "method": "", "note": note})
            continue
        unseen = unvisited(intervals, milestone, visited)
        modelled = _modelled(head, at, season.population)
        rest = [name for name in dict.fromkeys(intervals["method"].astype(str)) if name not in modelled]
        window = float(milestone.window_days)
        counted = _counted(intervals, rest, at, window, season.curve_strata) if rest else {}
        for method, numbers in {**modelled, **counted}.items():
            note = "; ".join(filter(None, (numbers.pop("note", ""), unseen)))
            rows.append({**named, "at_day": at, "method": method, **numbers, "note": note})
    return pd.DataFrame(rows, columns=list(MILESTONE_COLUMNS))


def _modelled(head: Fit | None, at: float, people: pd.DataFrame | None) -> dict[str, dict[str, Any]]:
    if head is None or "method" not in head.variables:
        return {}
    try:
        table = survival(head, "method", at, people).table
    except SurvivorError:
        return {}  # then it is told as observed
    kept = ["estimate", "lower", "upper", "n_seedlings", "n_plots", "n_sites"]
    return {str(row["method"]): {name: row[name] for name in kept} for row in _records(table)}


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]


def _counted(
    intervals: pd.DataFrame, methods: list[str], at: float, window: float, strata: str | None
) -> dict[str, dict[str, Any]]:
    try:
        read = method_curves(intervals, at, window, strata).read(at)
    except SurvivorError as fault:
        return {method: {"note": fault.what} for method in methods}
    group = str(read.columns[0])
    found: dict[str, dict[str, Any]] = {str(row[group]): row for row in _records(read)}
    rows = {}
    for method in methods:
        own = tally(intervals[intervals["method"].astype(str) == method])
        line = found[method]
        rows[method] = {
            "estimate": 100 * float(line["survival"]),
            "lower": 100 * float(line["lower"]),
            "upper": 100 * float(line["upper"]),
            "n_seedlings": own["seedlings"],
            "n_plots": own["plots"],
            "n_sites": own["sites"],
            "note": str(line["note"]) or COUNTED,
        }
    return rows


def infill_survival(intervals: pd.DataFrame, milestone: Milestone) -> pd.DataFrame:
    """Survival of infill plants, counted from the day on which each was put in.

    Parameters
    ----------
    intervals
        Risk intervals of the study, infill among them.
    milestone
        The day they are asked for, on their own clock.

    Returns
    -------
    DataFrame
        See ``Survival.infill``; empty where no infill is recorded.
    """
    if "cohort" not in intervals.columns or not (intervals["cohort"] == INFILL).any():
        return pd.DataFrame(columns=list(INFILL_COLUMNS))
    rows = intervals[intervals["cohort"] == INFILL].copy()
    at, _ = milestone_day(rows, milestone)
    counts = tally(rows)
    line: dict[str, Any] = {"plants": int(entries(rows)["at_risk"].sum()), "at_day": at}
    line["n_plots"] = counts["plots"]
    moved, _ = at_milestone(rows, at, float(milestone.window_days))
    try:
        read = curve(moved).read(at).iloc[0]
    except SurvivorError as fault:
        return pd.DataFrame([{**line, "note": fault.what}], columns=list(INFILL_COLUMNS))
    line |= {name: 100 * float(read[source]) for name, source in _SOURCES.items()}
    note = str(read["note"])
    if not reached(milestone, at):
        note = f"{milestone.name} after their own planting is not reached: the last visit was on day {at:g}"
    return pd.DataFrame([{**line, "note": note}], columns=list(INFILL_COLUMNS))


_SOURCES = {"estimate": "survival", "lower": "lower", "upper": "upper"}


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
    if span is not None:
        taken = rounds_of(
            np.unique(intervals["stop_day"][moved["stop_day"].to_numpy() == at].to_numpy(dtype=float))
        )
        said += _taken(taken, at)
    elif not all_dead(intervals):
        said.append(f"no visit lies within {window:g} days of day {at:g}: read there, all count as last seen")
    return noting(found, tuple(said))


def _taken(rounds: list[tuple[float, float]], at: float) -> list[str]:
    """Say which visits are taken as made on the day of the milestone."""
    if rounds == [(at, at)]:
        return []
    spans = [f"day {a:g}" if a == b else f"days {a:g} to {b:g}" for a, b in rounds]
    if len(spans) == 1:
        return [f"visits on {spans[0]} are taken as made on day {at:g}"]
    either = f"{', on '.join(spans[:-1])} or on {spans[-1]}"
    return [f"of each plot, the visit nearest to day {at:g} is taken as made on it: one on {either}"]


def same_fate(observed: pd.DataFrame, milestone: str) -> str:
    """Say so where all plants of every method died, or none did; empty where fates differ.

    A difference of zero is then no finding on the methods: the season told nothing of them.
    """
    alive, gone = observed["alive"].sum(), observed[["dead", "missing"]].to_numpy().sum()
    known = alive + gone
    if len(observed) < 2 or not known:
        return ""
    if alive == 0:
        return (
            f"Preparations cannot be compared by who was alive at {milestone}: all {known:,.0f} seedlings "
            "whose fate is known were dead, under every preparation. How long they had lived is under "
            "“Mean days alive”."
        )
    if gone == 0:
        return (
            f"Preparations cannot be compared by who was alive at {milestone}: all {known:,.0f} seedlings "
            "whose fate is known were alive, under every preparation. A later visit may tell them apart."
        )
    return ""
