"""What was planted, where, when and how it was prepared."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.words import number
from survivor.report.content.elements import Block, Column, Paragraph, Section, Table
from survivor.report.content.reasons import allocation, is_random
from survivor.report.content.wording import counted, dates, listed, sentence, shortened
from survivor.vocabulary import PLOT_KEY, State

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "planting"


def planting(analysis: Analysis) -> Section:
    """Return what was planted and prepared, and when it was visited."""
    plots = analysis.records.plots
    blocks: list[Block] = []
    when = dates(plots["planted_date"]) if "planted_date" in plots else "–"
    species = _species(analysis)
    first = f"Planted {when}" if when != "–" else "The planting date is not recorded"
    kinds = f"; {counted(len(species), 'species', 'species')}: {listed(species)}" if species else ""
    blocks.append(Paragraph(sentence(first + kinds)))
    if is_random(analysis):
        blocks.append(allocation(analysis))
    placed = {
        "random": "Plots were placed at random.",
        "by choice": "Plots were placed by choice, so they may not stand for the ground between them.",
        "not recorded": "The study file does not say how plots were placed.",
    }[analysis.settings.design.plots_placed]
    blocks.append(Paragraph(placed))
    blocks.append(_methods(analysis))
    blocks.append(_layout(analysis))
    visits = visits_table(analysis)
    if visits is not None:
        blocks.append(visits)
    return Section(KEY, "What was planted, and how it was prepared", tuple(blocks))


def _species(analysis: Analysis) -> list[str]:
    for frame in (analysis.records.intervals, analysis.records.plots):
        if "species" in frame:
            return sorted({str(name) for name in frame["species"].dropna() if str(name)})
    return []


def _methods(analysis: Analysis) -> Table:
    plots = analysis.records.plots
    named = {method.name: method for method in analysis.settings.methods}
    had = set(plots["method"].astype(str))
    absent = [name for name in named if name not in had]
    order = [name for name in dict.fromkeys([*named, *plots["method"].astype(str)]) if name not in absent]
    rows = []
    for name in order:
        own = plots[plots["method"].astype(str) == name]
        works = listed(named[name].works) if name in named and named[name].works else "not described"
        rows.append(
            (
                name,
                works,
                *_radii(own),
                number(len(own[list(PLOT_KEY)].drop_duplicates())),
                number(float(own["planted"].sum(skipna=True))) if "planted" in own else "–",
                dates(own["planted_date"]) if "planted_date" in own else "–",
            )
        )
    columns = (
        Column("Preparation"),
        Column("Works"),
        Column("Weed-free radius, m", numeric=True),
        Column("Area, m²", numeric=True),
        Column("Plots", numeric=True),
        Column("Seedlings planted", numeric=True),
        Column("Planted"),
    )
    note = (
        "A preparation is a bundle of works: no part of it can be credited alone unless the design "
        "crossed the "
        "parts. The radius is half the diameter of the weed-free patch round a seedling; the area is of "
        "that circle."
    )
    if absent:
        note += f" In the study file but in no plot of these records: {listed(absent)}."
    return Table("preparations", "Preparations", columns, tuple(rows), note=note)


def _radii(plots: pd.DataFrame) -> tuple[str, str]:
    known = (
        plots["weed_free_radius_m"].dropna() if "weed_free_radius_m" in plots else pd.Series([], dtype=float)
    )
    if known.empty:
        return "not recorded", "–"
    low, high = float(known.min()), float(known.max())
    area = [math.pi * end**2 for end in (low, high)]
    if math.isclose(low, high):
        return number(low, 2), number(area[0], 1)
    return f"{number(low, 2)} to {number(high, 2)}", f"{number(area[0], 1)} to {number(area[1], 1)}"


def _layout(analysis: Analysis) -> Table:
    plots = analysis.records.plots
    unique = plots.assign(method=plots["method"].astype(str))[[*PLOT_KEY, "method"]].drop_duplicates()
    had = set(unique["method"])
    methods = [m.name for m in analysis.settings.methods if m.name in had]
    methods = list(dict.fromkeys([*methods, *unique["method"]]))
    counts = unique.groupby(["site", "method"]).size()
    sites = list(dict.fromkeys(unique["site"].astype(str)))
    rows = tuple(
        (
            site,
            *(
                number(float(counts.get((site, method), 0))) if counts.get((site, method)) else "–"
                for method in methods
            ),
        )
        for site in sites
    )
    columns = (Column("Site"), *(Column(method, numeric=True) for method in methods))
    note = "Two preparations can be compared within a site only where a row has a number under both."
    table = Table("layout", "Plots of each preparation at each site", columns, rows, note=note)
    return shortened(table, "layout.csv")


def visits_table(analysis: Analysis) -> Table | None:
    """Return the days of each visit and how many plots were seen at it; None where nobody saw any."""
    visits = analysis.records.visits
    if visits.empty or "date" not in visits or "visit" not in visits:
        return None
    # A sheet has a row for each plant or plot at each visit, whether anybody was there or not.
    told = pd.Series(False, index=visits.index)
    if "state" in visits:
        told |= ~visits["state"].astype(str).isin(["", str(State.NOT_VISITED)])
    if "alive" in visits:
        told |= visits["alive"].notna()
    visits = visits[told]
    if visits.empty:
        return None
    rows = []
    for name, group in visits.groupby(visits["visit"].astype(str), sort=False):
        seen = group[list(PLOT_KEY)].drop_duplicates()
        rows.append((pd.to_datetime(group["date"]).min(), str(name), dates(group["date"]), number(len(seen))))
    rows.sort(key=lambda row: (pd.isna(row[0]), row[0]))
    columns = (Column("Visit"), Column("Dates"), Column("Plots seen", numeric=True))
    note = "Plots with a state or a count at the visit."
    return Table("visits", "Visits", columns, tuple(row[1:] for row in rows), note=note)
