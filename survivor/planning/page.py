"""The plan as one HTML page, with its tables beside it."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Final

import pandas as pd

from survivor._version import __version__
from survivor.document.elements import (
    Block,
    Column,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
    numbers,
    table_of,
    written,
)
from survivor.document.elements import words as named
from survivor.document.page import page_of
from survivor.figures.planning import power_figure
from survivor.files.writing import Place, csv_text, writing
from survivor.planning import words
from survivor.planning.calendar import checks_of
from survivor.planning.season import PlannedSeason
from survivor.report.cautions import CAUTIONS, touched
from survivor.words import NONE, counted, date, dates, limits, listed, number, plain

PAGE: Final = "plan.html"
PLAN: Final = "the plan"
_MOST_SITES: Final = 4  # beside each other in a table
UNDATED: Final = "What is late is shown once the plan file says the day: as_of under [plan]."
_PAST: Final = "Some of these days may be past already: the plan file does not say what day it is."

_CONDITIONS: Final = (
    "Plots are of one size, one of each method in every block, the methods allocated at random. Every "
    "seedling is followed to the milestone, and none is lost. Hazards are in proportion: the better method "
    "lowers the hazard alike all season. Plots and sites differ by normal effects on the log hazard.",
    "The formulas are Schoenfeld's for events, and that of two proportions. Both multiply by the design "
    "effect 1 + (m − 1) × correlation for m seedlings a plot, after Donner and Klar 2000. They use t on "
    "blocks less one, since plots are few. They are near the simulation where plots are equal and the "
    "correlation is under about 0.3. Hazards must be no more than two to three times apart too. Where they "
    "part, trust the simulation.",
    "Methods are compared within a site, so in the formula of two proportions a seedling counts by its "
    "variance about its site's own mean. That is p (1 − p) less the variance between sites. The more of the "
    "whole spread lies between sites, the less is left within them. With the same survival over all sites, "
    "more spread of sites needs fewer plots.",
    "Each simulated season is drawn with the wanted difference and analysed as the report would analyse it. "
    "The model is interval-censored, with a level for each block; the difference is per 100 planted, with "
    "CR2 limits and Satterthwaite degrees of freedom.",
    "Plots missed, tags lost and plots given up cost power. Only the figure for one plot of ten lost allows "
    "for that: plan some more.",
)


def write_plan(season: PlannedSeason, folder: Path | Place) -> tuple[Path, ...]:
    """Write the page, ``power.csv``, ``plan.json`` and the tables that are not empty.

    Raises
    ------
    WritingError
        When the folder cannot be written to, or holds what survivor did not write under one of these names.
    """
    forms: dict[str, str] = {
        PAGE: page_of(report_of_plan(season)),
        "power.csv": _csv(season.table),
        "plan.json": plan_json(season),
        "needed.csv": _csv(season.needed),
    }
    for name, table in (
        ("split", season.splits),
        ("factorial", season.factorial),
        ("calendar", season.calendar),
        ("timetable", season.timetable),
    ):
        if not table.empty:
            forms[f"{name}.csv"] = _csv(table)
    with writing(folder, PLAN) as place:
        return place.write(forms)


def plan_json(season: PlannedSeason) -> str:
    """Return the plan's numbers as JSON; what is not known is null."""
    spread = season.spread
    content = {
        "survivor": __version__,
        "question": season.plan.question.model_dump(),
        "seed": season.plan.plan.seed,
        "size": {
            "plots_per_method": season.plots,
            "seedlings_per_plot": season.seedlings,
            "methods": len(season.plan.methods),
            "why": season.why_size,
        },
        "spread": {
            "plot_sd": _rounded(spread.plot_sd),
            "site_sd": _rounded(spread.site_sd),
            "correlation": _rounded(spread.correlation),
            "source": spread.source,
        },
        "answers": season.answers,
        "power": [
            {name: _rounded(value) for name, value in row.items()} for row in season.table.to_dict("records")
        ],
        "difference_shown_per_100": _rounded(season.seen),
        "half_width_per_100": _rounded(season.half_width),
        "budget_needed": _rounded(season.budget_needed),
        "said": words.summary(season),
    }
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def _rounded(value: Any) -> float | int | None:
    if value is None or not math.isfinite(value):
        return None
    return int(value) if float(value).is_integer() else round(float(value), 4)


def _csv(table: pd.DataFrame) -> str:
    return csv_text(table.round(4))


def report_of_plan(season: PlannedSeason) -> Report:
    """Return the plan as headings, sentences, tables and a figure, the answer first."""
    asked = season.plan
    about = [
        f"{counted(len(asked.methods), 'method')}, {counted(asked.n_sites, 'site')}",
        *([f"as of {date(asked.plan.as_of)}"] if asked.plan.as_of else []),
    ]
    sections = [
        _sizes(season),
        *([_factorial(season)] if not season.factorial.empty else []),
        *([_split(season)] if not season.splits.empty else []),
        *([_when(season)] if asked.sites else []),
        _cautions(season),
        Section("workings", "Methods", tuple(Paragraph(text) for text in _CONDITIONS)),
        _provenance(season),
    ]
    return Report(
        title=asked.plan.name,
        about=tuple(about),
        answer=_answer(season),
        sections=tuple(sections),
        subject="establishment survival",
        called="plan",
        made_from="the plan",
    )


def _answer(season: PlannedSeason) -> Section:
    blocks: list[Block] = [
        # What to plant first, and then what it can show; where nothing is bought the verdict says why.
        *([Paragraph(words.size(season), kind="lead")] if season.plots else []),
        Paragraph(words.verdict(season), kind="plain" if season.plots else "lead"),
        Paragraph(words.question(season)),
    ]
    instead = words.instead(season)
    if instead:
        blocks.append(Paragraph(" ".join(instead), kind="note", label="Too small"))
    blocks += [
        Paragraph(text)
        for text in (
            words.usual_sizes(season),
            words.cost(season),
            words.precision(season),
            words.comparisons(season),
        )
        if text
    ]
    blocks += [Paragraph(text) for text in words.constrained(season)]
    blocks += [
        Paragraph(text, kind="note", label="Before ground is broken")
        for text in words.ground_first(season.timetable, checks_of(season.plan))
    ]
    if _warned_undated(season):
        blocks.append(Paragraph(_PAST))
    blocks += [Paragraph(text) for text in words.asked_about(season.plan)]
    late = words.late_works(season.timetable)
    if late:
        blocks.append(Listing(tuple(late[:8]), label="Not to be put off"))
    for text in (words.worked_out(season), words.spread_words(season)):
        if text:
            blocks.append(Paragraph(text, kind="small"))
    if not season.table.empty:
        blocks.append(_figure(season))
    return Section("answer", "Can the coming season answer the question?", tuple(blocks))


def _warned_undated(season: PlannedSeason) -> bool:
    """Whether days of works stand in the answer, and nothing tells which of them are past."""
    first = words.ground_first(season.timetable, checks_of(season.plan))
    return season.plan.today is None and bool(first)


def _figure(season: PlannedSeason) -> Figure:
    wanted = season.plan.question.power_per_100
    table = written(
        "power-table",
        f"Seasons of 100 that show the difference, {counted(season.seedlings, 'seedling')} a plot",
        season.table,
        [
            numbers("Plots of each method", "plots"),
            numbers("By two proportions", "two_proportions"),
            numbers("By events", "events"),
            numbers("Simulated (95 % CI)", "simulated", "lower", "upper", write=_with_limits),
            numbers("Seasons without any answer", "unanswered"),
        ],
    )
    return Figure(
        key="power",
        title="How often a season of this size shows the difference.",
        finding=words.reached(season),
        caption=(
            "Dots: share of simulated seasons that show it; the bars are the 95 % CI of the simulation "
            f"({number(float(season.table['studies'].iloc[0]))} seasons a dot). Lines: by two formulas, "
            "named under Methods. Level line: the share wanted."
        ),
        draw=partial(power_figure, season.table, chosen=season.compared[1], wanted=wanted),
        table=table,
    )


def _with_limits(value: float, lower: float, upper: float) -> str:
    return f"{number(value)} ({limits(lower, upper)})"


def _or_none(value: float) -> str:
    return NONE if pd.isna(value) else number(float(value))


def _sizes(season: PlannedSeason) -> Section:
    wanted = plain(season.plan.question.power_per_100)
    wide = season.needed["wider_plots"].notna().any()
    columns = {
        "seedlings": "Seedlings a plot",
        "two_proportions": "By two proportions",
        "events": "By events",
    }
    if wide:
        columns["wider_plots"] = "If plots differ as much as the past study's upper limit"
    if season.plan.costs is not None:
        columns["cost"] = f"Cost ({season.plan.costs.currency})"
    table = written(
        "needed-table",
        f"Plots of each method needed for {wanted} of 100 seasons to show the difference",
        season.needed,
        [numbers(heading, name, write=_or_none) for name, heading in columns.items()],
        note="Twice the seedlings in a plot are not worth twice the plots: those of a plot share its ground.",
    )
    return Section("sizes", "How many plots, how many seedlings", (table,))


def _factorial(season: PlannedSeason) -> Section:
    table = written(
        "factorial-table",
        "Seasons of 100 that show each work and pair",
        season.factorial,
        [
            named("Work or pair", "what"),
            numbers("Degrees of freedom", "df"),
            numbers("By formula", "formula"),
            numbers("Simulated, 95 % CI", "simulated", "lower", "upper", write=_with_limits),
            numbers("One work at a time, same plots", "one_at_a_time", write=_or_none),
        ],
        note="One work at a time: the same number of plots shared out over the base and each work alone. "
        "Such a season tells nothing of pairs.",
    )
    return Section(
        "factorial", "What the combinations show", (*map(Paragraph, words.factorial_words(season)), table)
    )


def _split(season: PlannedSeason) -> Section:
    costs = season.plan.costs
    assert costs is not None, "there is no split without costs"
    shown = season.splits[
        (season.splits["seedlings"] % 5 == 0) | (season.splits["seedlings"] == season.seedlings)
    ]
    table = written(
        "split-table",
        f"Ways to spend {number(costs.budget)} {costs.currency}",
        shown,
        [
            numbers(
                "Seedlings a plot",
                "seedlings",
                write=lambda value: number(value) + (" (best)" if value == season.seedlings else ""),
            ),
            numbers("Plots of each method", "plots"),
            numbers(f"Cost ({costs.currency})", "cost"),
            numbers("Seasons of 100 that show it, by formula", "power"),
            numbers("Limits, per 100", "half_width", write=lambda value: f"± {number(value, 1)}"),
        ],
        note="Visits to the milestone are in the cost.",
    )
    sentence = (
        f"Costs are inputs, as the plan file gives them. Source: “{costs.source}”."
        if costs.source
        else ("Costs are inputs, as the plan file gives them; it names no source.")
    )
    return Section("split", "Plots or seedlings: the best split of the budget", (Paragraph(sentence), table))


def _when(season: PlannedSeason) -> Section:
    dated = season.plan.today is not None
    note = "Lead times without a source are a start for the local timetable; write yours in the plan file."
    title = "Works before and after planting"
    beside = len(season.plan.sites) <= _MOST_SITES
    tables = (
        # Where each work stands on a day is told site by site.
        (_works_by_site(season) if beside and not dated else _works_in_rows(season)),
        (_visits_by_site(season) if beside else _visits_in_rows(season)),
    )
    works = replace(tables[0], caption=title, note=note if dated else f"{note} {UNDATED}")
    return Section("when", "When", (works, tables[1]))


def _works_by_site(season: PlannedSeason) -> Table:
    """Return a row a work and a column a site: its first and last day there."""
    told = season.timetable.assign(
        cell=list(map(_days, season.timetable["earliest"], season.timetable["latest"]))
    )
    return _by_site("timetable-table", told, ("work", "condition", "source"), ("Work", "When", "Source"))


def _visits_by_site(season: PlannedSeason) -> Table:
    """Return a row a visit and a column a site: its day there, and its first and last."""
    told = season.calendar.assign(
        cell=[
            f"day {row['day']}: {date(row['date'])} ({_days(row['earliest'], row['latest'])})"
            if row["date"]
            else NONE
            for row in season.calendar.to_dict("records")
        ]
    )
    return _by_site("calendar-table", told, ("visit", "note"), ("Visit", "Note"), "Visits")


def _by_site(
    key: str, told: pd.DataFrame, by: tuple[str, ...], headings: tuple[str, ...], caption: str = ""
) -> Table:
    """Return what stands in ``cell`` with sites beside each other, in the order of the first of them."""
    sites = list(dict.fromkeys(told["site"]))
    rows: dict[tuple[str, ...], dict[str, str]] = {}
    for row in told.to_dict("records"):
        rows.setdefault(tuple(str(row[name]) for name in by), {})[row["site"]] = row["cell"]
    body = tuple(
        (name, *(cells.get(site, NONE) for site in sites), *rest) for (name, *rest), cells in rows.items()
    )
    columns = tuple(Column(heading) for heading in (headings[0], *sites, *headings[1:]))
    return Table(key, caption, columns, body)


def _days(first: str, last: str) -> str:
    return dates(pd.Series([first, last])) if first and last else NONE


def _written_days(table: pd.DataFrame, *names: str) -> pd.DataFrame:
    return table.assign(**{name: [date(day) if day else "" for day in table[name]] for name in names})


def _visits_in_rows(season: PlannedSeason) -> Table:
    calendar = _written_days(season.calendar, "date", "earliest", "latest")
    headings = ("Site", "Visit", "Days after planting", "Day", "Not before", "Not after", "Note")
    return table_of("calendar-table", "Visits", headings, calendar)


def _works_in_rows(season: PlannedSeason) -> Table:
    works = _written_days(season.timetable, "earliest", "latest")
    stands = ("Where it stands",) if season.plan.today is not None else ()
    if not stands:
        works = works.drop(columns="status")
    headings = ("Site", "Work", "Not before", "Not after", *stands, "When", "Source")
    return table_of("timetable-table", "", headings, works)


def _cautions(season: PlannedSeason) -> Section:
    names = [name for method in season.plan.methods for name in (method.name, *method.works)]
    cautions = touched(tuple(names))
    text = (
        "This plan is no instruction for field work. Labels, permits, local codes and licensed practice come "
        "first; it prints no product and no rate."
    )
    if cautions:
        text += f" The preparations planned touch: {listed(c.subject.lower() for c in cautions)}."
    pairs = tuple((caution.subject, caution.said_in("plan")) for caution in CAUTIONS)
    return Section("cautions", "Cautions", (Paragraph(text), Terms(pairs)))


def _provenance(season: PlannedSeason) -> Section:
    pairs = (
        ("survivor", __version__),
        ("seed", str(season.plan.plan.seed)),
        (
            "simulated seasons at each size",
            NONE if season.table.empty else number(float(season.table["studies"].iloc[0])),
        ),
        ("spread of plots and sites", season.spread.source),
    )
    return Section("provenance", "Data and provenance", (Terms(pairs),))
