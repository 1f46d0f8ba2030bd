"""Survival at every milestone of the study file, and of infill on its own clock."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.words import NONE, number, per_100, per_100_limits
from survivor.report.content.elements import Block, Column, Paragraph, Section, Table, missing
from survivor.report.content.reasons import why
from survivor.report.content.wording import counted, listed, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "milestones"
HEADING = "At each milestone"


def stages(analysis: Analysis) -> Section:
    """Return survival at each milestone that the visits reach, which they do not reach, and infill."""
    if analysis.milestones.empty:
        said = why(analysis, "survival", otherwise="Survival could not be told at any milestone")
        return missing(KEY, HEADING, said)
    blocks: list[Block] = [
        Paragraph(
            "Survival of the seedlings first put in, from planting to each milestone. A milestone is "
            "answered by the visits within its window; one that they have not reached has no number."
        ),
    ]
    if (analysis.milestones["method"].astype(str) != "").any():
        blocks.append(_table(analysis))
    for row in analysis.milestones.to_dict("records"):
        if str(row["method"]) == "":
            blocks.append(
                Paragraph(sentence(f"{row['milestone']} (day {number(float(row['day']))}) is {row['note']}"))
            )
    blocks.append(infill(analysis))
    return Section(KEY, HEADING, tuple(blocks))


def _table(analysis: Analysis) -> Table:
    """One row a preparation, one column a milestone that is reached."""
    table = analysis.milestones
    told = table[table["method"].astype(str) != ""]
    days = {str(row["milestone"]): float(row["at_day"]) for row in told.to_dict("records")}
    cells: dict[tuple[str, str], str] = {}
    sizes: dict[str, tuple[str, str]] = {}
    for row in told.to_dict("records"):
        method = str(row["method"])
        limits = per_100_limits(float(row["lower"]), float(row["upper"]))
        cells[method, str(row["milestone"])] = f"{per_100(float(row['estimate']))} ({limits})"
        sizes[method] = (number(float(row["n_seedlings"])), number(float(row["n_plots"])))
    rows = tuple(
        (method, *(cells.get((method, name), NONE) for name in days), *size) for method, size in sizes.items()
    )
    columns = (
        Column("Preparation"),
        *(Column(f"{name} (day {number(day)})", numeric=True) for name, day in days.items()),
        Column("Seedlings", numeric=True),
        Column("Plots", numeric=True),
    )
    caption = "Alive per 100 planted (95 % limits) at each milestone"
    return Table("milestones-table", caption, columns, rows, note=" ".join(_notes(told)))


def _notes(told: pd.DataFrame) -> list[str]:
    """Say how each number was told, where it was told otherwise than the answer."""
    said = ["Averaged as the answer is. Seedlings and plots: watched from the start."]
    noted = told[told["note"].astype(str) != ""]
    for (milestone, note), rows in noted.groupby(["milestone", "note"], sort=False):
        said.append(sentence(f"{milestone}, {listed(rows['method'].astype(str))}: {note}"))
    return said


def infill(analysis: Analysis) -> Paragraph:
    """Say how many infill plants there were, and how many of them lived, on their own clock."""
    label = "Infill"
    if analysis.infill.empty:
        return Paragraph("No infill is recorded.", label=label, kind="small")
    row = analysis.infill.iloc[0]
    plants, day = float(row["plants"]), number(float(row["at_day"]))
    apart = f"{counted(plants, 'infill plant')} in {counted(float(row['n_plots']), 'plot')}, counted apart"
    note, estimate = str(row["note"] or ""), float(row["estimate"])
    if estimate != estimate:
        return Paragraph(f"{apart}. Their survival cannot be told: {sentence(note)}", label=label)
    limits = per_100_limits(float(row["lower"]), float(row["upper"]))
    text = (
        f"{apart}: {per_100(estimate)} per 100 were alive {day} days after they were put in (95 % limits "
        f"{limits}), as counted, all preparations together. They are in no other number of this report."
    )
    return Paragraph(f"{text} {sentence(note)}".strip(), label=label)
