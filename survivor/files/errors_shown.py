"""Cells of a workbook that show an error, or a formula without a result: its reader gives them as blank.

Only the sheets' own XML tells them from blanks (ECMA-376 part 1, 18.18.11: a cell of type ``e``; 18.3.1.40: a
formula; 18.3.1.96: what came of it).
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from typing import Final
from xml.sax.saxutils import unescape

from survivor.files.bounds import column_number
from survivor.files.markup import ANY_PREFIX, attributes, element, tag

NOT_WORKED_OUT: Final = "(formula without a result)"
_CELL: Final = re.compile(element(ANY_PREFIX + "c").encode())
_MAY_BE: Final = re.compile(rb"""\bt\s*=\s*["']e["']|<(?:\w+:)?f\b""")
_ERROR: Final = re.compile(rb"""\bt\s*=\s*["']e["']""")
_TEXT: Final = re.compile(rb"""\bt\s*=\s*["']str["']""")
_PLACE: Final = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,3})(\d{1,7})["']""")
_VALUE: Final = re.compile(rb"<(?:\w+:)?v\b[^<>]*+>([^<]++)</")
_SHEET: Final = re.compile(tag(ANY_PREFIX + "sheet"))
_RELATION: Final = re.compile(tag(ANY_PREFIX + "Relationship"))


def errors_shown(raw: bytes, sheet: str) -> dict[tuple[int, int], str]:
    """Find the cells of a sheet that show an error or hold a formula without a result.

    Parameters
    ----------
    raw
        An XLSX workbook within its bounds; of any other file nothing is found.
    sheet
        Name of the sheet.

    Returns
    -------
    dict
        Row and column, counted from 0 -> what the cell shows, such as ``#N/A``.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            text = packed.read(part_of_sheet(packed, sheet))
    except (zipfile.BadZipFile, KeyError, ValueError, RuntimeError, NotImplementedError):
        return {}  # no such workbook
    if _MAY_BE.search(text) is None:
        return {}
    errors = {}
    for cell in _CELL.finditer(text):
        if cell["held"] is None:
            continue
        place = _PLACE.search(cell["marks"])
        value = _VALUE.search(cell["held"])
        if place is None or (value is not None and _ERROR.search(cell["marks"]) is None):
            continue
        if value is None and (_MAY_BE.search(cell["held"]) is None or _TEXT.search(cell["marks"])):
            continue  # blank, or a formula that comes to an empty text
        shown = NOT_WORKED_OUT if value is None else unescape(value[1].decode("utf-8", "replace"))
        errors[int(place[2]) - 1, column_number(place[1]) - 1] = shown
    return errors


def part_of_sheet(packed: zipfile.ZipFile, sheet: str) -> str:
    """Name the file within a workbook that holds a sheet.

    Raises
    ------
    KeyError
        When it has no such sheet.
    """
    book, relations = (
        packed.read(name).decode("utf-8", "replace")
        for name in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels")
    )
    target = {at["Id"]: at["Target"] for at in map(attributes, _RELATION.findall(relations))}
    for at in map(attributes, _SHEET.findall(book)):
        if at["name"] == sheet:
            identity = next(value for name, value in at.items() if name.endswith(":id"))
            return posixpath.normpath(posixpath.join("/xl", target[identity])).lstrip("/")
    raise KeyError(sheet)
