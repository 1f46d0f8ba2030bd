"""The untidy workbook of the ``counts`` cohort: two header rows, merged cells, dates in three styles."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence

import xlsxwriter

from survivor.demo.files import repack

# Top header, and the columns under it. The header of a column is "top / bottom".
BANDS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Plot", ("Site", "No.", "Ground", "Landholder")),
    ("Planting", ("Date", "Preparation", "Number planted", "Weed-free radius (m)")),
)
NOTES = "Notes"
SHEET = "Counts"
_CREATED = dt.datetime(2023, 8, 31, 9, 0, 0)

Cell = str | int | float | dt.date | None


def workbook_bytes(visits: Sequence[str], rows: Sequence[Sequence[Cell]], total: Sequence[Cell]) -> bytes:
    """Write the sheet: headers, a blank row between sites, a total row at the foot.

    Parameters
    ----------
    visits
        Names of the visits, the lower headers under 'Alive'.
    rows
        One row a plot: the columns of ``BANDS``, a count a visit, the note.
    total
        The last row.
    """
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"title": "Plot counts (invented)", "created": _CREATED})
    bold = book.add_format({"bold": True, "align": "center", "border": 1})
    day = book.add_format({"num_format": "d/mm/yyyy"})
    sheet = book.add_worksheet(SHEET)
    sheet.freeze_panes(2, 2)
    column = 0
    for top, names in (*BANDS, ("Alive", tuple(visits))):
        sheet.merge_range(0, column, 0, column + len(names) - 1, top, bold)
        sheet.write_row(1, column, names, bold)
        column += len(names)
    sheet.merge_range(0, column, 1, column, NOTES, bold)
    line, site = 2, rows[0][0]
    for row in rows:
        if row[0] != site:
            line, site = line + 1, row[0]
        _write(sheet, line, row, day)
        line += 1
    _write(sheet, line, total, bold)
    sheet.set_column(0, column, 13)
    book.close()
    return repack(out.getvalue())


def _write(
    sheet: xlsxwriter.worksheet.Worksheet, line: int, row: Sequence[Cell], form: xlsxwriter.format.Format
) -> None:
    for column, value in enumerate(row):
        if isinstance(value, dt.date):
            sheet.write_datetime(line, column, dt.datetime(value.year, value.month, value.day), form)
        elif isinstance(value, str):
            sheet.write_string(line, column, value)
        elif value is not None:
            sheet.write_number(line, column, value)
