"""How wide a weed-free patch: survival against the radius as prepared."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.evidence.describing import radius_answer
from survivor.figures.radius import dose_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import number, per_100, per_100_limits
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.reasons import is_random, why
from survivor.report.content.wording import chance, listed, plain, sentence, table_of

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.effects.dose import Dose

KEY = "radius"
HEADING = "How wide a weed-free patch"
_SHAPES = {"spline": "by a curve", "line": "by a straight line", "groups": "by groups of radii"}


def radius(analysis: Analysis) -> Section:
    """Return the response to the radius, or why there is none."""
    dose = analysis.dose
    if dose is None:
        said = why(
            analysis, "radius", "radii", "patch", otherwise="The radius could not be related to survival"
        )
        return missing(KEY, HEADING, said)
    blocks: list[Block] = []
    if dose.table.empty:
        blocks.extend(Paragraph(sentence(check)) for check in dose.checks)
    else:
        if dose.stops_paying is not None:
            blocks.append(Paragraph(sentence(radius_answer(dose))))
        blocks.append(
            Paragraph(
                f"The radius of a plot was not drawn by lot{_even_here(analysis)}: of two plots of one "
                "preparation at one site, the one with the wider patch may differ in other ways.",
                kind="note",
                label="Radius by choice",
            )
        )
        blocks.append(_figure(analysis, dose))
        blocks.extend(Paragraph(sentence(check), kind="small") for check in dose.checks)
    if not dose.description.empty:
        made = _description(dose.description)
        names = dose.description[dose.description.columns[0]].astype(str)
        blocks.append(replace(made, note=_no_radius(analysis, set(names))))
    return Section(KEY, HEADING, tuple(blocks))


def _even_here(analysis: Analysis) -> str:
    return ", though the preparations were" if is_random(analysis) else ""


def _no_radius(analysis: Analysis, shown: set[str]) -> str:
    every = dict.fromkeys(analysis.records.intervals["method"].astype(str))
    absent = [name for name in every if name not in shown]
    return f"Not in this table, as no plot of it has a radius: {listed(absent)}." if absent else ""


def _figure(analysis: Analysis, dose: Dose) -> Figure:
    table = dose.table.sort_values(dose.column, kind="stable")
    low, high = table.iloc[0], table.iloc[-1]
    finding = (
        f"At {number(float(low[dose.column]), 2)} m, {per_100(float(low['estimate']))} alive per 100 "
        f"planted; "
        f"at {number(float(high[dose.column]), 2)} m, {per_100(float(high['estimate']))}."
    )
    stops = dose.stops_paying
    mark = None
    if stops is not None and stops.value is not None:
        ends = [math.nan if end is None else end for end in (stops.lower, stops.upper)]
        mark = (stops.value, ends[0], ends[1])
    gain = plain(analysis.settings.design.radius_gain)
    words = f"from here, under {gain} per 10 cm"
    tests = f"Test of the radius: p {chance(dose.p_value)}."
    if math.isfinite(dose.line_p_value):
        tests += f" Curve against straight line: p {chance(dose.line_p_value)}."
    return Figure(
        key="radius",
        title=f"Alive at day {number(dose.at_day)}, by radius of the weed-free patch",
        finding=finding,
        caption=(
            f"Line: alive per 100 planted, {_SHAPES[dose.shape]}; band: 95 % limits; strokes on the axis: "
            "the plots; above: the area of the patch. Only differences within a preparation and site count; "
            f"nothing is drawn beyond the data. {tests}"
        ),
        draw=partial(_draw, table, dose.plots, mark, words),
        table=_values(table, dose.column, analysis.settings.soil.root_depth_m, _SHAPES[dose.shape]),
    )


def _draw(
    table: pd.DataFrame,
    rug: tuple[float, ...],
    mark: tuple[float, float, float] | None,
    words: str,
    size: Size,
) -> Drawing:
    ordered = table[[str(table.columns[0]), "estimate", "lower", "upper"]]
    return dose_figure(ordered, rug=rug, stops=mark, stops_words=words, size=size)


def _values(table: pd.DataFrame, column: str, depth_m: float, shape: str) -> Table:
    step = max(1, math.ceil((len(table) - 1) / 14))
    places = sorted({*range(0, len(table), step), len(table) - 1})
    rows = tuple(
        (
            number(float(row[column]), 2),
            number(math.pi * float(row[column]) ** 2, 2),
            number(math.pi * float(row[column]) ** 2 * depth_m, 2),
            per_100(float(row["estimate"])),
            per_100_limits(float(row["lower"]), float(row["upper"])),
        )
        for row in (table.iloc[place].to_dict() for place in places)
    )
    columns = (
        Column("Radius, m", numeric=True),
        Column("Area, m²", numeric=True),
        Column(f"Soil under it to {number(depth_m, 2)} m, m³", numeric=True),
        Column("Alive per 100 planted", numeric=True),
        Column("95 % limits", numeric=True),
    )
    note = f"Survival {shape}, as drawn. Some of the radii looked at; radius.csv has them all."
    return Table("radius-table", "Survival by radius of the weed-free patch", columns, rows, note=note)


_WORDS = {
    "method": "Preparation",
    "n_plots": "Plots",
    "plots": "Plots",
    "mean_m": "Mean, m",
    "sd_m": "Standard deviation, m",
    "smallest_m": "Smallest, m",
    "largest_m": "Largest, m",
    "mean_area_m2": "Mean of the areas, m²",
}


def _description(frame: pd.DataFrame) -> Table:
    headings = [_WORDS.get(str(name), str(name).replace("_", " ")) for name in frame.columns]
    text = frame.assign(**{frame.columns[0]: frame[frame.columns[0]].astype(str)})
    return table_of("radius-by-preparation", "Radius by preparation", headings, text)
