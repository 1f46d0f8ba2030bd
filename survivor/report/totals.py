"""Plants alive in the whole planting, stems per hectare, every milestone, and infill."""

from __future__ import annotations

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.result import Analysis
from survivor.analysis.totals import PLANTS
from survivor.document.elements import (
    Block,
    Paragraph,
    Section,
    Table,
    headed,
    missing,
    numbers,
    words,
    written,
)
from survivor.evidence.finding import as_sentences
from survivor.report import english as en
from survivor.report.columns import LIMITS, NOTE, heading
from survivor.report.reasons import why
from survivor.sentences import Value, cell, say
from survivor.vocabulary import Basis
from survivor.words import (
    NONE,
    alive_limits,
    counted,
    estimated_beside,
    listed,
    number,
    per_100,
    per_100_limits,
    sentence,
)

KEY = "in-all"
HEADING = "Estimated number alive in the whole planting"


def alive_in_all(analysis: Analysis) -> Section:
    """Return plants alive in the whole planting and stems on a hectare, or what they would need."""
    table = analysis.totals.scaled
    if table.empty:
        return missing(KEY, HEADING, _why_not(analysis))
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    stocking = analysis.settings.stocking
    wanted = None if stocking is None else float(stocking.target_per_hectare)
    fields = (
        words("Measure", "measure", heading),
        numbers(f"At {when}", *_NUMBERS, write=lambda *row: _written(wanted, *row)[0]),
        numbers(LIMITS, *_NUMBERS, write=lambda *row: " to ".join(_written(wanted, *row)[1:])),
        words("Unit", "unit"),
        numbers("Planted", "put_in"),
        NOTE,
    )
    rests = next((f for f in analysis.findings if f.key in ("total", "stocking")), None)
    note = en.IN_ALL_NOTE
    if rests is not None:
        seedlings = counted(float(rests.n_seedlings), "seedling")
        plots, sites = counted(float(rests.n_plots), "plot"), counted(float(rests.n_sites), "site")
        note = f"From {seedlings} in {plots} at {sites}. {note}"
    lacking = [] if (table["unit"] != PLANTS).any() else [Paragraph(en.NO_STOCKING, kind="small")]
    made = written("in-all-table", "Plants alive in all, and stocking", table, fields, note=note)
    return Section(KEY, HEADING, (Paragraph(en.IN_ALL), made, *lacking))


_NUMBERS = ("estimate", "lower", "upper", "unit")


def _written(wanted: float | None, estimate: float, lower: float, upper: float, unit: str) -> list[str]:
    """Write an estimated number and its limits, rounded as on the first page; stems beside those wanted."""
    return estimated_beside((estimate, lower, upper), wanted if unit != PLANTS else None)


def _why_not(analysis: Analysis) -> str:
    if analysis.basis is Basis.FOUND:
        return en.NOT_OF_FOUND
    if analysis.settings.planted or analysis.settings.spacing is not None:
        return why(analysis, "totals", en.NO_WHOLE)
    return en.NOT_IN_STUDY


STAGES_KEY = "milestones"
STAGES_HEADING = "At each milestone"


def stages(analysis: Analysis) -> Section:
    """Return survival at each milestone that the visits reach, which they do not reach, and infill."""
    if analysis.survival.milestones.empty:
        said = why(analysis, "season", en.STAGES_NONE)
        return missing(STAGES_KEY, STAGES_HEADING, said)
    blocks: list[Block] = [Paragraph(en.STAGES)]
    if (analysis.survival.milestones["method"].astype(str) != "").any():
        blocks.append(_table(analysis))
    for row in analysis.survival.milestones.to_dict("records"):
        if str(row["method"]) == "":
            day = number(float(row["day"]))
            blocks.append(Paragraph(sentence(f"{row['milestone']} (day {day}) is {row['note']}")))
    blocks.append(infill(analysis))
    return Section(STAGES_KEY, STAGES_HEADING, tuple(blocks))


def _table(analysis: Analysis) -> Table:
    """One row a preparation, one column a milestone that is reached."""
    table = analysis.survival.milestones
    told = table[table["method"].astype(str) != ""]
    days = {str(row["milestone"]): float(row["at_day"]) for row in told.to_dict("records")}
    cells: dict[tuple[str, str], str] = {}
    sizes: dict[str, tuple[str, str]] = {}
    for row in told.to_dict("records"):
        method = str(row["method"])
        cells[method, str(row["milestone"])] = alive_limits(row["estimate"], row["lower"], row["upper"])
        sizes[method] = (number(float(row["n_seedlings"])), number(float(row["n_plots"])))
    rows = tuple(
        (method, *(cells.get((method, name), NONE) for name in days), *size) for method, size in sizes.items()
    )
    named = [f"{name} (day {number(day)})" for name, day in days.items()]
    columns = headed("Preparation", numeric=(*named, "Seedlings", "Plots"))
    caption = f"Alive {analysis.per_100} (95 % CI) at each milestone"
    return Table("milestones-table", caption, columns, rows, note=" ".join(_notes(told)))


def _notes(told: pd.DataFrame) -> list[str]:
    """Say how each number was told, where it was told otherwise than the answer."""
    said = [en.STAGES_NOTE]
    noted = told[told["note"].astype(str) != ""]
    for (milestone, note), rows in noted.groupby(["milestone", "note"], sort=False):
        said.append(sentence(f"{milestone}, {listed(rows['method'].astype(str))}: {note}"))
    return said


def infill(analysis: Analysis) -> Paragraph:
    """Say how many infill plants there were, and how many of them lived, on their own clock."""
    label = "Infill"
    if analysis.survival.infill.empty:
        return Paragraph(en.NO_INFILL, label=label, kind="small")
    row = analysis.survival.infill.iloc[0]
    plants, day = float(row["plants"]), number(float(row["at_day"]))
    apart = say(
        en.INFILL,
        plants=Value(counted(plants, "infill plant"), plants),
        plots=counted(float(row["n_plots"]), "plot"),
    )
    note, estimate = str(row["note"] or ""), float(row["estimate"])
    if estimate != estimate:
        return Paragraph((apart, say(en.INFILL_UNKNOWN, reason=note.rstrip("."))), label=label)
    lower, upper = float(row["lower"]), float(row["upper"])
    lived = say(
        en.INFILL_LIVED,
        estimate=Value(per_100(estimate), estimate, cell("infill", "estimate")),
        day=day,
        span=Value(per_100_limits(lower, upper), lower, cell("infill", "lower")),
    )
    return Paragraph((apart, lived, say(en.INFILL_APART), *as_sentences(sentence(note))), label=label)
