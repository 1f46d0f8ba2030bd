"""Field sheets of plot counts: a row a plot, or a species in it, to print or to fill on a screen.

The preparation is not on the sheet: who counts should not know what it is expected to show.
"""

from __future__ import annotations

import datetime as dt
import io
from functools import partial
from typing import Any, Final

import pandas as pd

from survivor.planning.sheets import (
    SheetPlan,
    begun,
    forms_of,
    from_day,
    guard,
    guide,
    head_and_foot,
    paper,
    site_breaks,
    validate,
)

COUNTED: Final = ("Site", "Block", "Plot", "Species", "Planted", "Last count", "Counted on")
_FILLED: Final = ("Date", "Alive", "Infill", "Observer", "Notes")
_LAST: Final = ("Last count", "Counted on")  # beside what is filled in, for a look
HEADER: Final = (*COUNTED[:5], *_FILLED, *_LAST)
_WIDTHS: Final = (16, 8, 10, 18, 9, 12, 9, 9, 14, 30, 11, 12)
_ROW_POINTS: Final = 24  # 8 mm: room for a pencil
_GUIDE: Final = (
    "Write on the Visit sheet only, one row a plot (or a species in it); names are locked on purpose.",
    "Date: the day of the count, in every row. Alive: how many of the plants first put in live.",
    "Infill: plants put in later for dead ones are not counted under Alive; write how many were put in.",
    "Leave Alive blank where nobody counted: a blank is never 0.",
    "More alive than at the last count is shown in colour: count again, or look for infill.",
)


def count_sheet_bytes(rows: pd.DataFrame, about: SheetPlan) -> bytes:
    """Write a field sheet of counts.

    Parameters
    ----------
    rows
        Columns of `COUNTED`, one row a plot or species, in the order walked; all text.
    about
        What goes round them.

    Returns
    -------
    bytes
        An XLSX workbook: A4 across, the header on every page, a page break at each site.
    """
    out = io.BytesIO()
    book, sheet = begun(out, f"{about.study}: {about.visit}", about.earliest)
    _rows(book, sheet, rows)
    _page(sheet, rows, about)
    _checks(book, sheet, len(rows), about.earliest)
    guide(book, about, _GUIDE)
    book.close()
    return out.getvalue()


def _rows(book: Any, sheet: Any, rows: pd.DataFrame) -> None:
    forms = forms_of(book)
    sheet.write_row(0, 0, HEADER, forms["head"])
    for line, row in enumerate(rows.to_dict("records"), start=1):
        sheet.set_row(line, _ROW_POINTS)
        for column, name in enumerate(HEADER):
            value = str(row.get(name, ""))
            if name in _FILLED:
                sheet.write_blank(line, column, None, forms["day" if name == "Date" else "free"])
            elif name in ("Planted", "Last count") and value:
                sheet.write_number(line, column, float(value), forms["edge"])
            else:
                sheet.write_string(line, column, value, forms["given"])


def _page(sheet: Any, rows: pd.DataFrame, about: SheetPlan) -> None:
    paper(sheet, 0, _WIDTHS, site_breaks(rows, 1))
    head_and_foot(sheet, about)
    sheet.freeze_panes(1, HEADER.index("Planted"))


def _checks(book: Any, sheet: Any, rows: int, earliest: dt.date) -> None:
    """Say at the cell what cannot be: a day before the last visit, a count that is no whole number."""
    on = partial(validate, sheet, HEADER, rows)
    whole = {"validate": "integer", "criteria": ">=", "value": 0}
    for name in ("Alive", "Infill"):
        on(name, "A whole number of plants.", whole)
    day = f"A day from the last visit on ({earliest.isoformat()}), as year-month-day."
    on("Date", day, from_day(earliest))
    alive, last = (chr(ord("A") + HEADER.index(name)) for name in ("Alive", "Last count"))
    rises = f'=AND(${alive}2<>"",${last}2<>"",${alive}2>${last}2)'
    guard(book, sheet, (rows, len(HEADER)), rises)
