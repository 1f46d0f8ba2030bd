"""Bytes of the demo files: the same records always give the same bytes.

The untidy workbook of the ``counts`` cohort: two header rows, merged cells, dates in three styles.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from importlib import resources

import xlsxwriter

from survivor.records.words import COLUMN_WORDS
from survivor.settings.dictionary import key_table

INVENTED = (
    "The parameters behind invented records, kept to check estimates against. Nothing here was measured."
)

_EPOCH = (1980, 1, 1, 0, 0, 0)  # the earliest date that a zip archive can hold


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Comma-separated text in UTF-8 with a line feed at each row's end; None is an empty cell."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def json_bytes(content: object) -> bytes:
    """Indented JSON in UTF-8; numbers are expected to be rounded already."""
    return (json.dumps(content, indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def text_file(name: str) -> bytes:
    """Read a study file or dictionary that comes with the package, with line feeds."""
    return resources.files("survivor.demo").joinpath("text", name).read_bytes().replace(b"\r\n", b"\n")


def filled(name: str, places: Mapping[str, str]) -> bytes:
    """Read a text that comes with the package, and fill in its places, written @so@."""
    text = text_file(name).decode("utf-8")
    return re.sub(r"@([a-z ]+)@", lambda place: places[place[1]], text).encode("utf-8")


def dictionary(name: str) -> bytes:
    """Read a data dictionary and fill in the keys of the study file and the words for columns."""
    words = ", ".join(f"`{word}`" for word in COLUMN_WORDS)
    return filled(name, {"keys": key_table().strip(), "words": words})


def repack(archive: bytes) -> bytes:
    """Store a zip archive again, uncompressed and undated.

    The bytes then do not depend on the compression library of the machine.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as new:
        for item in old.infolist():
            entry = zipfile.ZipInfo(item.filename, date_time=_EPOCH)
            entry.create_system = 3
            new.writestr(entry, old.read(item))
    return out.getvalue()


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
