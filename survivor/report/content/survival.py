"""When they died: survival curves, the dry season, and numbers at risk."""

from __future__ import annotations

import re
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.tables import deaths_in_dry_season
from survivor.curves.rounds import at_milestone
from survivor.figures.curves import Backdrop, curves_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import number, per_100, per_100_limits
from survivor.report.content.dryness import (
    dry_spans,
    first_plants,
    settled,
    visit_rounds,
)
from survivor.report.content.elements import Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.reasons import usual_practice, why
from survivor.report.content.wording import counted, listed, month_day, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.curves import Curves
    from survivor.settings import DrySeason

_ROUND = re.compile(r"(?:the other )?visits on days (\S+) to (\S+) are taken as one round, on day \2")

KEY = "curves"
HEADING = "When they died"


def survival_curves(analysis: Analysis) -> Section:
    """Return a panel a preparation with the dry season shaded, and numbers at risk below."""
    curves = analysis.curves
    if curves is None or curves.table.empty:
        return missing(KEY, HEADING, why(analysis, "curve", otherwise="The curves could not be drawn"))
    table = curves.table.rename(columns={curves.table.columns[0]: "method"})
    table = table.assign(method=table["method"].astype(str))
    methods = list(dict.fromkeys(table["method"]))
    intervals = first_plants(analysis.records.intervals)
    last = float(table["day"].max())
    rounds = [(first, min(stop, last)) for first, stop in visit_rounds(intervals) if first <= last]
    season = analysis.settings.dry_season
    spans = dry_spans(intervals, season, last)
    read = analysis.milestone_day
    backdrop = Backdrop(spans, tuple(rounds), read, usual_practice(analysis))
    order = _order(analysis, table, methods)
    moved, _ = at_milestone(intervals, read, float(analysis.settings.headline_milestone.window_days))
    told = [(first, min(stop, last)) for first, stop in visit_rounds(moved) if first <= last]
    shown = _few(told, read)
    days = _with([0.0, *(settled(table, *ends) for ends in shown)], read)
    figure = Figure(
        key="curves",
        title="Alive after planting, by preparation",
        finding=_finding(analysis, curves, order),
        caption=_caption(analysis, spans, read),
        draw=partial(_draw, table, backdrop, tuple(order)),
        table=_values(table, order, days),
    )
    text = (
        "Deaths are found at visits, so a curve steps down on visit days; the plant died at some time since "
        f"the visit before.{_when(intervals, season)} {sentence(curves.limits)}{_years_together(analysis)}"
    )
    others = _other_falls(analysis, shown[-1][0] if shown else 0.0)
    risk = _at_risk(
        curves, order, _with([0.0, *(read if a <= read <= b else a for a, b in shown)], read), others
    )
    gathered = _gathered(_rounds_together(curves.notes), methods)
    notes = tuple(Paragraph(note, kind="small") for note in gathered)
    return Section(KEY, HEADING, (Paragraph(text), figure, risk, *notes))


def _years_together(analysis: Analysis) -> str:
    """Say that plants of several seasons are in one curve, each on its own clock; else nothing."""
    if analysis.years.empty:
        return ""
    years = listed(dict.fromkeys(analysis.years["planting_year"].astype(str)))
    return (
        f" Plants of {years} are together here, each counted from its own planting, so one day of a curve "
        "is not one season; by year they stand under “Planting years beside each other”."
    )


def _rounds_together(notes: tuple[str, ...]) -> tuple[str, ...]:
    """Say in one line which visits are taken as one round."""
    found = [_ROUND.fullmatch(note) for note in notes]
    spans = [f"{match[1]} to {match[2]}" for match in found if match is not None]
    if len(spans) < 2:
        return notes
    whose = "the other " if any(note.startswith("the other ") for note in notes) else ""
    said = f"{whose}visits on these days are taken as one round, on its last day: {listed(spans)}"
    others = [note for note, match in zip(notes, found, strict=True) if match is None]
    place = next(place for place, match in enumerate(found) if match is not None)
    return (*others[:place], said, *others[place:])


def _gathered(notes: tuple[str, ...], methods: list[str]) -> list[str]:
    """Say once what is said of several methods; leave out advice on how to call the program."""
    whom: dict[str, list[str]] = {}
    for note in notes:
        name = next((m for m in methods if note.startswith(f"{m}: ")), "")
        text = note.removeprefix(f"{name}: ").split("; use estimator=")[0]
        whom.setdefault(text, []).append(name)
    return [sentence(f"{listed(names)}: {text}" if any(names) else text) for text, names in whom.items()]


def _draw(table: pd.DataFrame, backdrop: Backdrop, order: tuple[str, ...], size: Size) -> Drawing:
    return curves_figure(table, backdrop, size=size, order=order)


def _order(analysis: Analysis, table: pd.DataFrame, methods: list[str]) -> list[str]:
    """Order as in the answer's table; by the end of their curves those that it does not hold."""
    ends = table.sort_values("day", kind="stable").groupby("method")["survival"].last()
    by_end = sorted(methods, key=lambda name: -float(ends[name]))
    if analysis.survival is None:
        return by_end
    answer = analysis.survival.table.sort_values("estimate", ascending=False, kind="stable")
    first = [name for name in answer["method"].astype(str) if name in by_end]
    return [*first, *(name for name in by_end if name not in first)]


def _few(rounds: list[tuple[float, float]], read: float, most: int = 7) -> list[tuple[float, float]]:
    """Choose rounds for a table, the milestone's among them."""
    if len(rounds) <= most:
        return rounds
    keep = np.unique(np.linspace(0, len(rounds) - 1, most).round().astype(int))
    asked = [place for place, (first, last) in enumerate(rounds) if first <= read <= last]
    for place in asked:
        keep[np.abs(keep - place).argmin()] = place
    return [rounds[i] for i in keep]


def _with(days: list[float], read: float) -> list[float]:
    """Days of a table, that of the milestone among them."""
    return sorted({*days, read})


def _at(curve: pd.DataFrame, day: float, column: str) -> float:
    """Return the value of a step curve on a day; NaN beyond its last."""
    ended = curve[curve["day"] == curve["day"].max()]["survival"].iloc[-1]
    if day > float(curve["day"].max()) and ended > 0:
        return float("nan")
    reached = curve[curve["day"] <= day]
    if reached.empty:
        return 1.0
    return float(reached[column].iloc[-1])


def _finding(analysis: Analysis, curves: Curves, order: list[str]) -> str:
    found = curves.read(analysis.milestone_day)
    alive = dict(zip(found[str(found.columns[0])].astype(str), found["survival"].astype(float), strict=True))
    known = [f"{name} {per_100(100 * alive[name])}" for name in order if alive[name] == alive[name]]
    without = [name for name in order if alive[name] != alive[name]]
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    said = f"Alive per 100 planted at {when}, as counted: {listed(known)}." if known else ""
    if without:
        said += f" Not watched to day {number(analysis.milestone_day)}: {listed(without)}."
    return said.strip()


def _when(intervals: pd.DataFrame, season: DrySeason | None) -> str:
    died, dry = deaths_in_dry_season(intervals, season)
    if season is None or not died:
        return ""
    return (
        f" Of {counted(died, 'death')}, {number(dry)} are put to a dry season: the period that holds most of "
        "the days between the visit alive and the visit found dead."
    )


def _caption(analysis: Analysis, spans: pd.DataFrame, read: float) -> str:
    usual = usual_practice(analysis)
    parts = [
        f"Line: alive per 100 planted, as counted at the plots.{_beside_answer(analysis)} Band: 95 % limits."
    ]
    if usual is not None:
        parts.append(f"Broken grey line in each panel: the usual practice, {usual}.")
    season = analysis.settings.dry_season
    if season is not None and not spans.empty:
        parts.append(
            f"Shaded: the dry season, {month_day(season.start)} to {month_day(season.end)}; paler where "
            f"only some "
            "plantings had reached it."
        )
    window = analysis.settings.headline_milestone.window_days
    parts.append(
        f"Blocks on the axis: visits. Broken upright line: day {number(read)}, where the numbers are read, "
        f"by the visit of each plot nearest to it within {counted(window, 'day')}."
    )
    return " ".join(parts)


def _beside_answer(analysis: Analysis) -> str:
    """Say how far the counts lie from the answer's averages, most of all for which, and why."""
    if analysis.survival is None or analysis.curves is None:
        return ""
    read = analysis.curves.read(analysis.milestone_day)
    counts = dict(zip(read[str(read.columns[0])].astype(str), 100 * read["survival"], strict=True))
    table = analysis.survival.table
    told = dict(zip(table["method"].astype(str), table["estimate"].astype(float), strict=True))
    shared = [name for name in told if counts.get(name, np.nan) == counts.get(name, np.nan)]
    if not shared:
        return ""
    most = max(shared, key=lambda name: abs(counts[name] - told[name]))
    said = (
        " The answer is by the model and averages over sites and species, so its "
        f"numbers are others: the largest difference is that of {most}, {per_100(counts[most])} here and "
        f"{per_100(told[most])} there."
    )
    if sorted(shared, key=lambda name: -counts[name]) != sorted(shared, key=lambda name: -told[name]):
        said += " The order of the preparations is not the same either."
    return said


def _values(table: pd.DataFrame, order: list[str], days: list[float]) -> Table:
    rows = []
    for name in order:
        curve = table[table["method"] == name].sort_values("day", kind="stable")
        cells = []
        for day in days:
            value = _at(curve, day, "survival")
            text = per_100(100 * value)
            # Before its first visit all of a preparation count as alive, and limits would be of nothing seen.
            if "lower" in curve and day >= curve["day"].iloc[1:].min() and value == value:
                text += f" ({per_100_limits(100 * _at(curve, day, 'lower'), 100 * _at(curve, day, 'upper'))})"
            cells.append(text)
        rows.append((name, *cells))
    columns = (Column("Preparation"), *(Column(f"Day {number(day)}", numeric=True) for day in days))
    return Table(
        "curves-table", "Alive per 100 planted (95 % limits) by day after planting", columns, tuple(rows)
    )


def _other_falls(analysis: Analysis, last: float) -> list[str]:
    """Say what else than deaths makes fewer of those watched, from the kind of records and their ends.

    ``last``: the day on which the last round of the table begins.
    """
    said = ["by tags no longer found"] if analysis.settings.records.kind == "tagged" else []
    intervals = analysis.records.intervals
    ends = intervals.groupby("site", observed=True)["stop_day"].max()
    if bool((ends < last).any()):
        later = "" if analysis.years.empty else " (as those of a later planting year may)"
        said.append(f"by sites whose records end sooner after planting than others{later}")
    return said


def _at_risk(curves: Curves, order: list[str], days: list[float], others: list[str]) -> Table:
    frame = curves.at_risk(days)
    group = str(frame.columns[0])
    counts = {
        (str(name), float(day)): float(count)
        for name, day, count in zip(frame[group], frame["day"], frame["at_risk"], strict=True)
    }
    rows = tuple(
        (name, *(number(counts.get((name, float(day)), float("nan"))) for day in days)) for name in order
    )
    columns = (Column("Preparation"), *(Column(f"Day {number(day)}", numeric=True) for day in days))
    note = (
        "Seedlings watched up to that day; on day 0, all that were watched from then. The count falls "
        f"{listed(['by deaths', *others])}."
    )
    return Table("at-risk", "Numbers at risk", columns, rows, note=note)
