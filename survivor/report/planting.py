"""What was planted where, how it was looked at, photo points, and corrections of the records."""

from __future__ import annotations

import math

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Column,
    Paragraph,
    Section,
    Table,
    headed,
    numbers,
    shortened,
    words,
    written,
)
from survivor.report import english as en
from survivor.report.reasons import allocation, is_random
from survivor.report.tables import correction_table, photo_table
from survivor.settings import Settings
from survivor.vocabulary import BY_CHOICE, PLOT_KEY, State
from survivor.words import NONE, counted, date, dates, listed, number, sentence

KEY = "planting"


def planting(analysis: Analysis) -> Section:
    """Return what was planted and prepared, and when it was visited."""
    plots = analysis.records.plots
    when = dates(plots["planted_date"]) if "planted_date" in plots else "–"
    species = _species(analysis)
    first = f"Planted {when}" if when != "–" else "The planting date is not recorded"
    kinds = f"; {counted(len(species), 'species', 'species')}: {listed(species)}" if species else ""
    placed = {
        "random": en.PLOTS_RANDOM,
        BY_CHOICE: en.PLOTS_CHOSEN,
        "not recorded": en.PLOTS_NOT_KNOWN,
    }[analysis.settings.design.plots_placed]
    visits = visits_table(analysis)
    blocks = (
        Paragraph(sentence(first + kinds)),
        *((allocation(analysis),) if is_random(analysis) else ()),
        Paragraph(placed),
        _methods(analysis),
        _layout(analysis),
        *(() if visits is None else (visits,)),
    )
    return Section(KEY, "What was planted, and how it was prepared", blocks)


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
    known = plots["weed_free_radius_m"].dropna() if "weed_free_radius_m" in plots else pd.Series(dtype=float)
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
    held = {site: [int(counts.get((site, method), 0)) for method in methods] for site in sites}
    rows = tuple((site, *(number(plots) if plots else NONE for plots in own)) for site, own in held.items())
    each = {plots for own in held.values() for plots in own}
    if len(each) == 1 and len(sites) > 1:
        plots_each, all_sites = counted(float(each.pop()), "plot"), counted(float(len(sites)), "site")
        return Paragraph(en.LAYOUT_EVEN.format(plots=plots_each, sites=all_sites))
    columns = headed("Site", numeric=methods)
    table = Table("layout", "Plots of each preparation at each site", columns, rows, note=en.LAYOUT_NOTE)
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
    columns = headed("Visit", "Dates", numeric=("Plots seen",))
    return Table("visits", "Visits", columns, tuple(row[1:] for row in rows), note=en.VISITS_NOTE)


def photo_points(settings: Settings) -> tuple[Section, ...]:
    """List the photo points; nothing where the study file names none."""
    table = photo_table(settings)
    if table.empty:
        return ()
    at = [name for name in table.columns if name in ("latitude", "longitude")]
    fields = (
        words("Photo point", "name"),
        words("Site", "site", _or_none),
        words("Photographed", "date", lambda day: date(day) if day else NONE),
        words("File", "file", _or_none),
        words("Note", "note", _or_none),
        *(numbers(name.capitalize(), name, write=_degrees) for name in at),
    )
    text = (
        f"{counted(float(len(table)), 'photograph')} from photo points, listed; the pictures themselves go "
        "beside this report."
    )
    made = written("photo-points-table", "Photographs by point and date", table, fields)
    return (Section("photo-points", "Photo points", (Paragraph(text), made)),)


def _or_none(text: object) -> str:
    return str(text) or NONE


def _degrees(value: float) -> str:
    return NONE if pd.isna(value) else f"{value:.5f}"


def corrections(settings: Settings) -> Section:
    """Return the log of corrections; a sentence where the study file lists none."""
    table = correction_table(settings)
    heading = "Corrections"
    if table.empty:
        said = "The study file lists no correction of the records ([[corrections]])."
        return Section("corrections", heading, (Paragraph(said),))
    fields = (
        words("Day", "date", date),
        words("By", "who", _or_none),
        words("What was changed", "what"),
        words("Why", "why"),
    )
    made = written("corrections-table", "Corrections of the records", table, fields)
    text = f"{counted(float(len(table)), 'correction')} made in the records after they were first written."
    return Section("corrections", heading, (Paragraph(text), made))
