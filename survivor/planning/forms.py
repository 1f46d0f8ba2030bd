"""Two forms to print beside the field sheets: the day of planting, and the works of each plot."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any, Final

import pandas as pd

from survivor.planning.layout import Layout
from survivor.planning.planfile import Plan
from survivor.planning.sheets import begun, paper, site_breaks

PLANTING_FORM: Final = "planting-day.xlsx"
WORKS_FORM: Final = "works-by-plot.xlsx"
_PLANTING_WIDTHS: Final = {
    "Site": 16, "Block": 7, "Plot": 7, "Seedlings": 10, "Tags": 14, "Planned day": 12, "Planted on": 12,
    "Tags put in": 11, "Weed-free radius (m)": 12, "Notes": 30,
}  # fmt: skip
_WORKS_WIDTHS: Final = {
    "Site": 16, "Block": 7, "Plot": 7, "Preparation": 26, "Works": 40, "Done on": 12, "Notes": 24,
}  # fmt: skip
_ROW_POINTS: Final = 24  # room for a pencil


def planting_form(plan: Plan, layout: Layout) -> bytes:
    """Write the form of the planting day: a row a plot, its tags, and room for day and radius.

    The preparation is not on it: the same people look at the plants later.
    """
    tags = layout.tags.groupby(["site", "block", "plot"], sort=False)["tag"].agg(["first", "last"])
    rows = layout.plots.merge(tags.reset_index(), on=["site", "block", "plot"], how="left")
    rows["Tags"] = rows["first"] + " to " + rows["last"]
    rows = rows.rename(columns={"planted": "Planned day", "seedlings": "Seedlings"})
    note = "Copy the day and the radius into plots.csv: they are read from there."
    return _form(plan, "Planting day", note, rows, _PLANTING_WIDTHS)


def works_form(plan: Plan, layout: Layout) -> bytes:
    """Write the form for whoever prepares the ground: which plot gets which works."""
    works = {method.name: ", ".join(method.works) for method in plan.methods}
    rows = layout.plots.rename(columns={"method": "Preparation"})
    rows["Works"] = rows["Preparation"].map(works)
    note = "Copy the days into diary.csv. Not for whoever looks at the plants: it tells the preparation."
    return _form(plan, "Works by plot", note, rows, _WORKS_WIDTHS)


def _form(plan: Plan, title: str, note: str, rows: pd.DataFrame, widths: dict[str, int]) -> bytes:
    rows = rows.rename(columns={"site": "Site", "block": "Block", "plot": "Plot"})
    out = io.BytesIO()
    first = dt.date.fromisoformat(min(site.planted for site in plan.sites))
    book, sheet = begun(out, f"{plan.plan.name}: {title}", first, title)
    bold = book.add_format({"bold": True})
    edge = {"border": 1, "valign": "vcenter", "text_wrap": True}
    head, cell = book.add_format({**edge, "bold": True, "bg_color": "#e2e8ee"}), book.add_format(edge)
    sheet.write_string(0, 0, f"{plan.plan.name}: {title}", bold)
    sheet.write_string(1, 0, note)
    for column, name in enumerate(widths):
        sheet.write_string(2, column, name, head)
    for line, row in enumerate(rows.to_dict("records"), start=3):
        sheet.set_row(line, _ROW_POINTS)
        for column, name in enumerate(widths):
            _write(sheet, line, column, row.get(name, ""), cell)
    paper(sheet, 2, list(widths.values()), site_breaks(rows, 3))
    book.close()
    return out.getvalue()


def _write(sheet: Any, line: int, column: int, value: Any, form: Any) -> None:
    if isinstance(value, int | float) and value == value:
        sheet.write_number(line, column, value, form)
    else:
        sheet.write_string(line, column, "" if value != value else str(value), form)
