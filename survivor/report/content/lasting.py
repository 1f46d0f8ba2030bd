"""Whether the weed-free patch lasted: weed cover and radius at each visit, described only."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.figures.patch import patch_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import NONE, limits, number
from survivor.report.content.elements import Column, Figure, Paragraph, Section, Table
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "patch"
HEADING = "Whether the weed-free patch lasted"
_MOST_VISITS = 7  # in a table; of more, the first and the last


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
    return Figure(
        key=f"patch-{key}",
        title=f"{sentence(measure).rstrip('.')} after planting, by preparation",
        finding=_finding(measure, table, unit, digits),
        caption="Dot: mean of the plots at a visit. Upright line: the middle half of the plots.",
        draw=partial(_draw, table, f"{sentence(measure).rstrip('.')}, {unit}"),
        table=_table(f"patch-{key}-table", f"{sentence(measure).rstrip('.')}, {unit}", table, digits),
    )


def _table(key: str, measure: str, table: pd.DataFrame, digits: int) -> Table:
    """Return a row a preparation and a column a visit; the first and the last of many visits."""
    visits = list(dict.fromkeys(table.sort_values("day", kind="stable")["visit"].astype(str)))
    shown = visits if len(visits) <= _MOST_VISITS else [visits[0], visits[-1]]
    cells = {
        (str(row["method"]), str(row["visit"])): (
            number(float(row["mean"]), digits)
            + f" ({limits(float(row['low_quarter']), float(row['high_quarter']), digits)})"
        )
        for row in table.to_dict("records")
    }
    rows = []
    for method, own in table.groupby(table["method"].astype(str), sort=False):
        plots = _range(float(own["n_plots"].min()), float(own["n_plots"].max()))
        rows.append((str(method), *(cells.get((str(method), visit), NONE) for visit in shown), plots))
    days = table.groupby(table["visit"].astype(str)).agg({"first_day": "min", "last_day": "max"})
    columns = (
        Column("Preparation"),
        *(
            Column(
                f"{_visit(visit)}, days {_range(*map(float, days.loc[visit, ['first_day', 'last_day']]))}",
                numeric=True,
            )
            for visit in shown
        ),
        Column("Plots", numeric=True),
    )
    note = (
        "Mean of the plots and, in brackets, the middle half of them. Of the seedlings first put in, where "
        "it was written down. A description, not a comparison. patch.csv has every visit with its records."
    )
    return Table(key, f"{measure}, by preparation and visit", columns, tuple(rows), note=note)


def _visit(name: str) -> str:
    return f"Visit {name}" if name.isdigit() else sentence(name).rstrip(".")


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


def _range(first: float, last: float) -> str:
    return number(first) if first == last else f"{number(first)} to {number(last)}"


def _draw(table: pd.DataFrame, axis: str, size: Size) -> Drawing:
    return patch_figure(table, axis=axis, size=size)
