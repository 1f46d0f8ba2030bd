"""Annex, survival over time: alive and at risk at each round of visits."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.analysis.clock import clock_of
from survivor.analysis.described import deaths_in_dry_season
from survivor.analysis.models import first_plants
from survivor.analysis.result import Analysis
from survivor.curves import Curves
from survivor.document.elements import Column, Paragraph, Section, Table, headed, missing
from survivor.evidence.finding import as_sentences
from survivor.report import english as en
from survivor.report.columns import days
from survivor.report.reasons import why
from survivor.sentences import Sentence, Value, say
from survivor.words import alive_limits, counted, listed, number, per_100, sentence

_PARTS = ("survival", "lower", "upper")

KEY = "curves"
HEADING = "Survival over time"


def survival_curves(analysis: Analysis) -> Section:
    """Return survival and numbers at risk at the same rounds of visits; the curves are in the report."""
    curves = analysis.survival.curves
    if curves is None or curves.table.empty:
        return missing(KEY, HEADING, why(analysis, "curves", "The curves could not be drawn"))
    intervals = first_plants(analysis.records.intervals)
    season, read = analysis.settings.dry_season, analysis.milestone_day
    clock = clock_of(intervals, curves, season, read, float(analysis.settings.headline_milestone.window_days))
    order = preparations_in_order(analysis)
    rounds = _few(clock.rounds, read)
    text = (
        say(en.CURVES),
        say(en.STEPS),
        *as_sentences(sentence(curves.limits)),
        *_in_dry_season(analysis, intervals),
        *_years_together(analysis),
    )
    tables = (
        _alive(analysis, curves, order, rounds, len(clock.rounds)),
        _at_risk(analysis, curves, order, rounds),
    )
    notes = tuple(Paragraph(sentence(note), kind="small") for note in curves.notes)
    return Section(KEY, HEADING, (Paragraph(text), *tables, *notes))


def _in_dry_season(analysis: Analysis, intervals: pd.DataFrame) -> tuple[Sentence, ...]:
    season = analysis.settings.dry_season
    died, dry = deaths_in_dry_season(intervals, season)
    if season is None or not died:
        return ()
    parts = {"deaths": Value(counted(died, "death"), died), "dry": Value(number(dry), dry)}
    return (say(en.IN_DRY_SEASON, **parts), say(en.ASSIGNED))


def preparations_in_order(analysis: Analysis) -> list[str]:
    """Order preparations by standardised survival; by the end of their curves those without one."""
    assert analysis.survival.curves is not None
    table = analysis.survival.curves.table
    table = table.assign(method=table[str(table.columns[0])].astype(str))
    ends = table.sort_values("day", kind="stable").groupby("method", sort=False)["survival"].last()
    by_end = sorted(ends.index, key=lambda name: -float(ends[name]))
    if analysis.survival.by_method is None:
        return by_end
    ranked = analysis.survival.by_method.table.sort_values("estimate", ascending=False, kind="stable")
    first = [name for name in ranked["method"].astype(str) if name in by_end]
    return [*first, *(name for name in by_end if name not in first)]


def _years_together(analysis: Analysis) -> tuple[Sentence, ...]:
    """Say that plants of several seasons are in one curve, each on its own clock; else nothing."""
    if analysis.planting_years.empty:
        return ()
    years = listed(dict.fromkeys(analysis.planting_years["planting_year"].astype(str)))
    return (say(en.YEARS_TOGETHER, years=years),)


def _few(rounds: pd.DataFrame, read: float, most: int = 7) -> pd.DataFrame:
    """Choose rounds for a table, the milestone's among them."""
    if len(rounds) <= most:
        return rounds
    keep = np.unique(np.linspace(0, len(rounds) - 1, most).round().astype(int))
    for place in np.flatnonzero(_holds(rounds, read)):
        keep[np.abs(keep - place).argmin()] = place
    return rounds.iloc[keep]


def _holds(rounds: pd.DataFrame, day: float) -> pd.Series[bool]:
    return (rounds["first_day"] <= day) & (rounds["last_day"] >= day)


def _other_falls(analysis: Analysis, last: float) -> list[str]:
    """Say what else than deaths makes fewer of those watched, from the kind of records and their ends.

    ``last``: the day on which the last round of the table begins.
    """
    said = [en.BY_TAGS] if analysis.settings.records.kind == "tagged" else []
    intervals = analysis.records.intervals
    ends = intervals.groupby("site", observed=True)["stop_day"].max()
    if bool((ends < last).any()):
        said.append(en.BY_SITES if analysis.planting_years.empty else en.BY_SITES_LATER)
    return said


def _columns(rounds: pd.DataFrame) -> tuple[Column, ...]:
    """One column a round of visits, the same in every table of this section."""
    spans = [f"Days {days(row['first_day'], row['last_day'])}" for row in rounds.to_dict("records")]
    return headed("Preparation", numeric=spans)


def _alive(
    analysis: Analysis, curves: Curves, order: list[str], rounds: pd.DataFrame, n_rounds: int
) -> Table:
    seen = {step.label: step.days[1] if len(step.days) > 1 else np.inf for step in curves.steps}
    cells: dict[str, list[str]] = {name: [] for name in order}
    for day in map(float, rounds["read_day"]):
        at = curves.read(day)
        for name, row in zip(
            at[curves.column].astype(str), at[list(_PARTS)].to_numpy(dtype=float), strict=True
        ):
            alive, low, high = (100 * float(part) for part in row)
            # Before its first visit all of a preparation count as alive, and limits would be of nothing seen.
            cells[name].append(alive_limits(alive, low, high) if day >= seen[name] else per_100(alive))
    rows = tuple((name, *cells[name]) for name in order)
    shown = Value(number(len(rounds)), len(rounds))
    note = (
        say(en.ROUNDS)
        if len(rounds) == n_rounds
        else say(en.ROUNDS_SOME, shown=shown, all=Value(number(n_rounds), n_rounds))
    )
    caption = f"Alive {analysis.per_100} (95 % CI) at the end of each round of visits"
    return Table("curves-table", caption, _columns(rounds), rows, note=note)


def _at_risk(analysis: Analysis, curves: Curves, order: list[str], rounds: pd.DataFrame) -> Table:
    begins = rounds["first_day"].where(~_holds(rounds, analysis.milestone_day), analysis.milestone_day)
    frame = curves.at_risk(sorted(set(map(float, begins))))
    counts = {
        (str(name), float(day)): float(count)
        for name, day, count in zip(frame[str(frame.columns[0])], frame["day"], frame["at_risk"], strict=True)
    }
    rows = tuple(
        (name, *(number(counts.get((name, float(day)), float("nan"))) for day in begins)) for name in order
    )
    others = _other_falls(analysis, float(rounds["first_day"].max()) if len(rounds) else 0.0)
    note = en.AT_RISK.format(why=listed([en.BY_DEATHS, *others]))
    return Table("at-risk", "Numbers at risk at each round of visits", _columns(rounds), rows, note=note)
