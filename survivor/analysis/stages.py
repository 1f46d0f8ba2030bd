"""Survival at every milestone of the study file, and that of infill on its own clock."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis.milestone import milestone_day, reached
from survivor.analysis.result import INFILL_COLUMNS, MILESTONE_COLUMNS
from survivor.analysis.tables import method_curves
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.intervals import entries, tally
from survivor.models.result import Fit
from survivor.settings import Milestone
from survivor.vocabulary import INFILL

COUNTED = "as counted; sites are not evened out"


def at_milestones(
    intervals: pd.DataFrame,
    milestones: tuple[Milestone, ...],
    head: Fit | None,
    people: pd.DataFrame | None,
    strata: str | None = None,
    visited: pd.Series[float] | None = None,
) -> pd.DataFrame:
    """Survival of each method at each milestone, in the order of their days.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    milestones
        Of the study file.
    head
        The headline model; methods that it does not hold are told as counted.
    people
        Plants of the whole planting, or None.
    strata
        Column within which plots are compared in what is counted.
    visited
        As for ``milestone_day``.

    Returns
    -------
    DataFrame
        See ``Analysis.milestones``; a milestone that is not reached has one row, without
        a method, whose note says why.
    """
    rows: list[dict[str, Any]] = []
    for milestone in sorted(milestones, key=lambda one: one.day):
        named = {"milestone": milestone.name, "day": float(milestone.day)}
        at, said = milestone_day(intervals, milestone, visited)
        if not reached(milestone, at):
            note = f"not reached: the last visit was on day {at:g}"
            rows.append({**named, "at_day": np.nan, "method": "", "note": note})
            continue
        # What the visits do not tell of the very day is said; a plain day is in its own column.
        drawn = said.partition("; ")[2]
        told = _modelled(head, at, people)
        left = [one for one in dict.fromkeys(intervals["method"].astype(str)) if one not in told]
        counted = _counted(intervals, left, at, float(milestone.window_days), strata) if left else {}
        for method, numbers in {**told, **counted}.items():
            note = "; ".join(text for text in (numbers.pop("note", ""), drawn) if text)
            rows.append({**named, "at_day": at, "method": method, **numbers, "note": note})
    return pd.DataFrame(rows, columns=list(MILESTONE_COLUMNS))


def _modelled(head: Fit | None, at: float, people: pd.DataFrame | None) -> dict[str, dict[str, Any]]:
    if head is None or "method" not in head.variables:
        return {}
    try:
        table = survival(head, "method", at, people).table
    except SurvivorError:
        return {}  # then it is told as counted
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
        See ``Analysis.infill``; empty where no infill is recorded.
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
