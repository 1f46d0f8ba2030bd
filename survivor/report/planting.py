"""What was planted where, how it was looked at, photo points, and corrections of the records."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pandas as pd

from survivor.document.elements import Block, Column, Paragraph, Section, Table, shortened
from survivor.report import english as en
from survivor.report.reasons import allocation, is_random
from survivor.report.tables import correction_table, photo_table
from survivor.vocabulary import BY_CHOICE, PLOT_KEY, State
from survivor.words import NONE, counted, date, dates, listed, number, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.settings import Settings


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
        "random": en.PLOTS_RANDOM,
        BY_CHOICE: en.PLOTS_CHOSEN,
        "not recorded": en.PLOTS_NOT_KNOWN,
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
    # A radius a seedling stands with the seedlings, not with the plots.
    measured = analysis.season.intervals
    known = "weed_free_radius_m" in plots and plots["weed_free_radius_m"].notna().any()
    for name in order:
        own = plots[plots["method"].astype(str) == name]
        works = listed(named[name].works) if name in named and named[name].works else "not described"
        rows.append(
            (
                name,
                works,
                *_radii(own if known else measured[measured["method"].astype(str) == name]),
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
    note = en.PREPARATIONS_NOTE
    if absent:
        note += f" {en.PREPARATIONS_ABSENT.format(names=listed(absent))}"
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


def _layout(analysis: Analysis) -> Block:
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
    each = {int(counts.get((site, method), 0)) for site in sites for method in methods}
    if len(each) == 1 and len(sites) > 1:
        plots_each, all_sites = counted(float(each.pop()), "plot"), counted(float(len(sites)), "site")
        return Paragraph(en.LAYOUT_EVEN.format(plots=plots_each, sites=all_sites))
    columns = (Column("Site"), *(Column(method, numeric=True) for method in methods))
    note = en.LAYOUT_NOTE
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
    note = en.VISITS_NOTE
    return Table("visits", "Visits", columns, tuple(row[1:] for row in rows), note=note)


def photo_points(settings: Settings) -> tuple[Section, ...]:
    """List the photo points; nothing where the study file names none."""
    table = photo_table(settings)
    if table.empty:
        return ()
    words = {"latitude": "Latitude", "longitude": "Longitude"}
    columns = (
        Column("Photo point"),
        Column("Site"),
        Column("Photographed"),
        Column("File"),
        Column("Note"),
        *(Column(words[name], numeric=True) for name in table.columns if name in words),
    )
    rows = tuple(
        (
            str(row["name"]),
            str(row["site"]) or NONE,
            date(row["date"]) if row["date"] else NONE,
            str(row["file"]) or NONE,
            str(row["note"]) or NONE,
            *(NONE if pd.isna(row[name]) else f"{row[name]:.5f}" for name in table.columns if name in words),
        )
        for row in table.to_dict("records")
    )
    text = (
        f"{counted(float(len(rows)), 'photograph')} from photo points, listed; the pictures themselves go "
        "beside this report."
    )
    made = Table("photo-points-table", "Photographs by point and date", columns, rows)
    return (Section("photo-points", "Photo points", (Paragraph(text), made)),)


def corrections(settings: Settings) -> Section:
    """Return the log of corrections; a sentence where the study file lists none."""
    table = correction_table(settings)
    heading = "Corrections"
    if table.empty:
        said = "The study file lists no correction of the records ([[corrections]])."
        return Section("corrections", heading, (Paragraph(said),))
    columns = (Column("Day"), Column("By"), Column("What was changed"), Column("Why"))
    rows = tuple(
        (date(row["date"]), str(row["who"]) or NONE, str(row["what"]), str(row["why"]))
        for row in table.to_dict("records")
    )
    made = Table("corrections-table", "Corrections of the records", columns, rows)
    text = f"{counted(float(len(rows)), 'correction')} made in the records after they were first written."
    return Section("corrections", heading, (Paragraph(text), made))
