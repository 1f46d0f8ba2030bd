"""Several planting seasons beside each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from survivor.analysis.milestone import milestone_words
from survivor.analysis.years import EVERY
from survivor.figures.words import number, per_100, per_100_limits
from survivor.report.content.elements import Column, Paragraph, Section, Table
from survivor.report.content.wording import listed, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "planting-years"


def planting_years(analysis: Analysis) -> tuple[Section, ...]:
    """Return survival by planting season; nothing where all were planted in one."""
    table = analysis.years
    if table.empty:
        return ()
    years = list(dict.fromkeys(table["planting_year"].astype(str)))
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    text = (
        f"Plants of {listed(years)} met different seasons. The numbers stand beside each other, each year on "
        "its own clock from its own planting. A difference between years is one of weather, sites and "
        "preparations together: these records cannot take them apart."
    )
    columns = (
        Column("Preparation"),
        Column("Planted"),
        Column("Alive per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Watched", numeric=True),
        Column("Plots", numeric=True),
        Column("Sites", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["planting_year"]),
            per_100(float(row["estimate"])),
            per_100_limits(float(row["lower"]), float(row["upper"])),
            *(number(float(row[name])) for name in ("watched", "n_plots", "n_sites")),
            sentence(str(row["note"])),
        )
        for row in table.to_dict("records")
    )
    every = table[table["method"] == EVERY].to_dict("records")
    said = [
        f"{row['planting_year']} {per_100(float(row['estimate']))} "
        f"({per_100_limits(float(row['lower']), float(row['upper']))})"
        for row in every
    ]
    first = f"Alive per 100 planted at {when}, all preparations together, as counted: {listed(said)}."
    note = "As counted: sites are not evened out. Limits by plot; a single plot gives none."
    made = Table("years-table", f"Alive at {when} by planting year", columns, rows, 2, note)
    return (Section(KEY, "Planting years beside each other", (Paragraph(first), Paragraph(text), made)),)
