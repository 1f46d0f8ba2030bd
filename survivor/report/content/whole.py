"""How many are alive in all: the whole planting in plants, and the stocking, each with limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

from survivor.analysis.milestone import milestone_words
from survivor.analysis.whole import PLANTS
from survivor.figures.words import limits, number
from survivor.report.content.elements import Column, Paragraph, Section, Table, missing
from survivor.report.content.reasons import why
from survivor.report.content.wording import counted, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "in-all"
HEADING = "How many are alive in all"


def alive_in_all(analysis: Analysis) -> Section:
    """Return plants alive in the whole planting and stems on a hectare, or what they would need."""
    table = analysis.in_all
    if table.empty:
        return missing(KEY, HEADING, _why_not(analysis))
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    text = (
        "Plots are a sample: the number alive in the whole planting is survival of planted, averaged over "
        "sites and species by the plants put in, times those plants. It takes it that the preparations were "
        "used over the whole planting in the shares that they have in the plots of each site."
    )
    columns = (
        Column("Measure"),
        Column(f"At {when}", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Unit"),
        Column("Put in", numeric=True),
        Column("Note"),
    )
    rows = tuple(
        (
            sentence(str(row["measure"])).rstrip("."),
            number(float(row["estimate"])),
            limits(float(row["lower"]), float(row["upper"])),
            str(row["unit"]),
            number(float(row["put_in"])),
            sentence(str(row["note"])),
        )
        for row in table.to_dict("records")
    )
    rests = next((f for f in analysis.findings if f.key in ("total", "stocking")), None)
    note = "Survival of planted, survival of found and stocking are three measures; none stands for another."
    if rests is not None:
        seedlings = counted(float(rests.n_seedlings), "seedling")
        plots, sites = counted(float(rests.n_plots), "plot"), counted(float(rests.n_sites), "site")
        note = f"From {seedlings} in {plots} at {sites}. {note}"
    lacking = [] if (table["unit"] != PLANTS).any() else [Paragraph(_NO_STOCKING, kind="small")]
    made = Table("in-all-table", "Plants alive in all, and stocking", columns, rows, note=note)
    return Section(KEY, HEADING, (Paragraph(text), made, *lacking))


_NO_STOCKING = (
    "Stocking, living stems on a hectare, is not told: the study file gives neither the spacing ([spacing]) "
    "nor the hectares planted at each site ([[planted]])."
)


def _why_not(analysis: Analysis) -> str:
    if analysis.found_first:
        return (
            "Neither can be told: these records begin at the first visit, and those that died before it are "
            "in no number, so plants put in times survival would come out too high."
        )
    if analysis.settings.planted or analysis.settings.spacing is not None:
        return why(analysis, "survival", otherwise="Survival of the whole planting could not be told")
    return (
        "The study file does not tell the plants put in over the whole planting ([[planted]]), nor the "
        "spacing ([spacing]), so the number alive beyond the plots, and the stocking, cannot be told."
    )
