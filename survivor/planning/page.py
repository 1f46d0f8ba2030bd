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
    table_of,
)
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
UNDATED: Final = "What is late is told where the plan file says the day, as_of under [plan]."

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
        Paragraph(words.verdict(season), kind="lead"),
        Paragraph(words.question(season)),
        *([Paragraph(words.size(season))] if season.plots else []),
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


def _figure(season: PlannedSeason) -> Figure:
    wanted = season.plan.question.power_per_100
    rows = tuple(
        (
            number(row["plots"]),
            number(row["two_proportions"]),
            number(row["events"]),
            f"{number(row['simulated'])} ({limits(row['lower'], row['upper'])})",
            number(row["unanswered"]),
        )
        for row in season.table.to_dict("records")
    )
    table = Table(
        "power-table",
        f"Seasons of 100 that show the difference, {counted(season.seedlings, 'seedling')} a plot",
        (
            Column("Plots of each method", numeric=True),
            Column("By two proportions", numeric=True),
            Column("By events", numeric=True),
            Column("Simulated (95 % CI)", numeric=True),
            Column("Seasons without any answer", numeric=True),
        ),
        rows,
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


def _sizes(season: PlannedSeason) -> Section:
    wanted = plain(season.plan.question.power_per_100)
    wide = season.needed["wider_plots"].notna().any()
    headings = ["Seedlings a plot", "By two proportions", "By events"]
    columns = ["seedlings", "two_proportions", "events"]
    if wide:
        headings.append("If plots differ as much as the past study's upper limit")
        columns.append("wider_plots")
    if season.plan.costs is not None:
        headings.append(f"Cost ({season.plan.costs.currency})")
        columns.append("cost")
    rows = tuple(
        tuple(NONE if pd.isna(value) else number(float(value)) for value in row)
        for row in season.needed[columns].itertuples(index=False, name=None)
    )
    table = Table(
        "needed-table",
        f"Plots of each method needed for {wanted} of 100 seasons to show the difference",
        tuple(Column(heading, numeric=True) for heading in headings),
        rows,
        note="Twice the seedlings in a plot are not worth twice the plots: those of a plot share its ground.",
    )
    return Section("sizes", "How many plots, how many seedlings", (table,))


def _factorial(season: PlannedSeason) -> Section:
    rows = tuple(
        (
            str(row["what"]),
            number(row["df"]),
            number(row["formula"]),
            f"{number(row['simulated'])} ({limits(row['lower'], row['upper'])})",
            NONE if pd.isna(row["one_at_a_time"]) else number(row["one_at_a_time"]),
        )
        for row in season.factorial.to_dict("records")
    )
    table = Table(
        "factorial-table",
        "Seasons of 100 that show each work and pair",
        (
            Column("Work or pair"),
            Column("Degrees of freedom", numeric=True),
            Column("By formula", numeric=True),
            Column("Simulated, 95 % CI", numeric=True),
            Column("One work at a time, same plots", numeric=True),
        ),
        rows,
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
    rows = tuple(
        (
            f"{number(row['seedlings'])}" + (" (best)" if row["seedlings"] == season.seedlings else ""),
            number(row["plots"]),
            number(row["cost"]),
            number(row["power"]),
            f"± {number(row['half_width'], 1)}",
        )
        for row in shown.to_dict("records")
    )
    table = Table(
        "split-table",
        f"Ways to spend {number(costs.budget)} {costs.currency}",
        (
            Column("Seedlings a plot", numeric=True),
            Column("Plots of each method", numeric=True),
            Column(f"Cost ({costs.currency})", numeric=True),
            Column("Seasons of 100 that show it, by formula", numeric=True),
            Column("Limits, per 100", numeric=True),
        ),
        rows,
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


def _visits_in_rows(season: PlannedSeason) -> Table:
    calendar = season.calendar.copy()
    for name in ("date", "earliest", "latest"):
        calendar[name] = [date(value) if value else "" for value in calendar[name]]
    headings = ("Site", "Visit", "Days after planting", "Day", "Not before", "Not after", "Note")
    return table_of("calendar-table", "Visits", headings, calendar)


def _works_in_rows(season: PlannedSeason) -> Table:
    works = season.timetable.copy()
    for name in ("earliest", "latest"):
        works[name] = [date(value) if value else "" for value in works[name]]
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
