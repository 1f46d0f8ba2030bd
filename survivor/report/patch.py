"""Did the weed-free patch last?: weed cover and radius at each visit, described only."""

from __future__ import annotations

from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Figure, Paragraph, Section, Table, headed, missing
from survivor.figures.patch import patch_figure
from survivor.report import english as en
from survivor.report.columns import days
from survivor.words import NONE, limits, number, sentence

KEY = "patch"
HEADING = "Did the weed-free patch last?"
_MOST_VISITS = 7  # in a table; of more, the first and the last


def patch(analysis: Analysis) -> tuple[Section, ...]:
    """Return weed cover and weed-free radius by visit; a sentence where neither was recorded."""
    table = analysis.patch
    if table.empty:
        return (missing(KEY, HEADING, en.PATCH_NONE),)
    figures = [
        _figure(str(measure), rows.reset_index(drop=True))
        for measure, rows in table.groupby("measure", sort=False)
    ]
    return (Section(KEY, HEADING, (Paragraph(en.PATCH), *figures)),)


def _figure(measure: str, table: pd.DataFrame) -> Figure:
    key = measure.replace(" ", "-")
    unit, digits = str(table["unit"].iloc[0]), 0 if table["unit"].iloc[0] == "%" else 2
    return Figure(
        key=f"patch-{key}",
        title=f"{sentence(measure).rstrip('.')} after planting, by preparation",
        finding=_finding(measure, table, unit, digits),
        caption=en.PATCH_CAPTION,
        draw=partial(patch_figure, table, axis=f"{sentence(measure).rstrip('.')}, {unit}"),
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
        plots = days(float(own["n_plots"].min()), float(own["n_plots"].max()))
        rows.append((str(method), *(cells.get((str(method), visit), NONE) for visit in shown), plots))
    rounds = table.groupby(table["visit"].astype(str)).agg({"first_day": "min", "last_day": "max"})
    spans = [days(*map(float, rounds.loc[visit, ["first_day", "last_day"]])) for visit in shown]
    named = [f"{_visit(visit)}, days {span}" for visit, span in zip(shown, spans, strict=True)]
    columns = headed("Preparation", numeric=(*named, "Plots"))
    return Table(key, f"{measure}, by preparation and visit", columns, tuple(rows), note=en.PATCH_NOTE)


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

    words = en.PATCH_ONE if table["visit"].nunique() < 2 else en.PATCH_SPAN
    return words.format(measure=sentence(measure).rstrip("."), first=span(first), last=span(last), unit=unit)
