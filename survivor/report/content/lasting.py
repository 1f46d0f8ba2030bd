"""Whether the weed-free patch lasted: weed cover and radius at each visit, described only."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.patch import patch_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import limits, number
from survivor.report.content.elements import Column, Figure, Paragraph, Section, Table
from survivor.report.content.wording import sentence, shortened

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "patch"
HEADING = "Whether the weed-free patch lasted"


def patch(analysis: Analysis) -> tuple[Section, ...]:
    """Return weed cover and weed-free radius by visit; a sentence where neither was recorded."""
    table = analysis.patch
    if table.empty:
        said = (
            "Neither weed cover nor the weed-free radius was recorded at the visits, so whether the patch "
            "lasted cannot be told."
        )
        return (Section(KEY, HEADING, (Paragraph(said, kind="note", label="No answer"),)),)
    text = (
        "Measured after planting, so part of what a preparation did: described here, and no answer is "
        "adjusted for it."
    )
    figures = [
        _figure(str(measure), rows.reset_index(drop=True))
        for measure, rows in table.groupby("measure", sort=False)
    ]
    return (Section(KEY, HEADING, (Paragraph(text), *figures)),)


def _figure(measure: str, table: pd.DataFrame) -> Figure:
    key = measure.replace(" ", "-")
    unit, digits = str(table["unit"].iloc[0]), 0 if table["unit"].iloc[0] == "%" else 2
    columns = (
        Column("Preparation"),
        Column("Visit"),
        Column("Days after planting", numeric=True),
        Column(f"Mean of the plots, {unit}", numeric=True),
        Column(f"Middle half of the plots, {unit}", numeric=True),
        Column("Plots", numeric=True),
        Column("Records", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            str(row["visit"]),
            _days(float(row["first_day"]), float(row["last_day"])),
            number(float(row["mean"]), digits),
            limits(float(row["low_quarter"]), float(row["high_quarter"]), digits),
            number(float(row["n_plots"])),
            number(float(row["n_records"])),
        )
        for row in table.to_dict("records")
    )
    made = Table(
        f"patch-{key}-table",
        f"{sentence(measure).rstrip('.')} by preparation and visit",
        columns,
        rows,
        row_heads=2,
        note="Of the seedlings first put in, where it was written down. A description, not a comparison.",
    )
    return Figure(
        key=f"patch-{key}",
        title=f"{sentence(measure).rstrip('.')} after planting, by preparation",
        finding=_finding(measure, table, unit, digits),
        caption="Dot: mean of the plots at a visit. Upright line: the middle half of the plots.",
        draw=partial(_draw, table, f"{sentence(measure).rstrip('.')}, {unit}"),
        table=shortened(made, "patch.csv"),
    )


def _finding(measure: str, table: pd.DataFrame, unit: str, digits: int) -> str:
    """Give the range over preparations of the first and of the last round of visits."""
    ordered = table.sort_values("day", kind="stable")
    first = ordered.groupby("method", sort=False).head(1)
    last = ordered.groupby("method", sort=False).tail(1)

    def span(rows: pd.DataFrame) -> str:
        low, high = (number(float(end), digits) for end in (rows["mean"].min(), rows["mean"].max()))
        return low if low == high else f"{low} to {high}"

    said = f"{sentence(measure).rstrip('.')}, means of the preparations: {span(first)} {unit}"
    if table["visit"].nunique() < 2:
        return f"{said} at the one visit at which it was written down."
    return f"{said} at the first visit, {span(last)} {unit} at the last."


def _days(first: float, last: float) -> str:
    return number(first) if first == last else f"{number(first)} to {number(last)}"


def _draw(table: pd.DataFrame, axis: str, size: Size) -> Drawing:
    return patch_figure(table, axis=axis, size=size)
