"""What a workbook shows and its cells do not hold: hidden rows and columns, decimals of labels, struck cells.

A label such as 1.10 that was typed as a number is the number 1.1, shown with two places; only the
format of its cell tells it from plot 1.1. Read from the parts of an XLSX or ODS file by their plain text:
a label column of a hundred thousand rows is looked through in a moment.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from typing import Final

from survivor.files.bounds import column_number
from survivor.files.content import content
from survivor.files.errors_shown import part_of_sheet
from survivor.files.sheets import Grid, as_text, letters

ENDINGS: Final = (".xlsx", ".xlsm")
ODS: Final = ".ods"
_YES: Final = ("1", "true")  # as the format writes it, in either way
_BUILT_IN: Final = {1: 0, 2: 2, 3: 0, 4: 2}  # number formats of every workbook -> decimals
_FIXED: Final = re.compile(r"#?(?:,##)?0(?:\.(0+))?(?:_\))?(?:;.*)?")
_ATTRIBUTE: Final = re.compile(r'([\w:.-]+)="([^"]*)"')
_STRIKE: Final = re.compile(r'<strike(?:\s+val="(?:1|true)")?\s*/>')


@dataclass(frozen=True)
class Hidden:
    """Rows (numbered as shown) and columns (counted from 0) that a sheet hides."""

    rows: tuple[int, ...] = ()
    columns: tuple[int, ...] = ()


def hidden(path: Path, sheet: str) -> Hidden:
    """Find what a sheet of a workbook hides; nothing where the file is of another kind."""
    if path.suffix.lower() == ODS:
        return _hidden_in_ods(_ods_table(path, sheet))
    text = _sheet_text(path, sheet)
    rows = [
        int(marks["r"])
        for tag in re.findall(r"<row\b[^>]*>", text)
        if "hidden" in tag and (marks := _attributes(tag)).get("hidden") in _YES and "r" in marks
    ]
    columns: list[int] = []
    for tag in re.findall(r"<col\b[^>]*>", text[: text.find("<sheetData")]):
        marks = _attributes(tag)
        if marks.get("hidden") in _YES and int(marks["max"]) - int(marks["min"]) < 1000:
            columns += range(int(marks["min"]) - 1, int(marks["max"]))
    return Hidden(tuple(rows), tuple(columns))


def decimals(path: Path, sheet: str, column: int, rows: Sequence[int]) -> dict[int, int]:
    """Tell with how many decimals the numbers of a column are shown, by row, where its format fixes it."""
    if path.suffix.lower() == ODS:
        return _decimals_in_ods(_ods_table(path, sheet), column, set(rows))
    text = _sheet_text(path, sheet)
    if not text:
        return {}
    places = _places_of_styles(path)
    wanted = set(rows)
    shown = {}
    for tag in re.findall(rf'<c\b[^>]*\br="{letters(column)}\d+"[^>]*>', text):
        tag_says = _attributes(tag)
        row = int(tag_says["r"][len(letters(column)) :])
        place = places.get(int(tag_says.get("s", "0")))
        if row in wanted and place is not None:
            shown[row] = place
    return shown


def struck_told(path: Path, grid: Grid, places: Iterable[int], *, turned: bool = False) -> Grid:
    """Write before the cells of some columns that they are struck through, where they are.

    That may mean dead, or that the cell was withdrawn: only the crew can tell.

    Parameters
    ----------
    path
        The file of the grid.
    grid
        A sheet as read; columns that no sheet holds have the place -1.
    places
        Columns of it.
    turned
        Whether it lies on its side.
    """
    out = _struck(path, grid.sheet)
    if not out:
        return grid
    table = grid.cells.copy()
    for place in places:
        own = grid.places[place]
        table[place] = [
            f"struck through: {as_text(cell)}"
            if ((own + 1, row - 1) if turned else (row, own)) in out and as_text(cell)
            else cell
            for row, cell in table[place].items()
        ]
    return replace(grid, cells=table)


def _struck(path: Path, sheet: str) -> frozenset[tuple[int, int]]:
    """Rows, numbered as shown, and columns, counted from 0, of cells whose letters are struck through."""
    if path.suffix.lower() == ODS:
        return _struck_in_ods(path, sheet)
    styles = _member(path, lambda _: "xl/styles.xml")
    fonts = re.findall(r"<font>.*?</font>|<font\b[^>]*/>", _between(styles, "fonts"), re.DOTALL)
    of_font = {str(number) for number, font in enumerate(fonts) if _STRIKE.search(font)}
    tags = re.findall(r"<xf\b[^>]*>", _between(styles, "cellXfs"))
    own = {str(number) for number, tag in enumerate(tags) if _attributes(tag).get("fontId", "0") in of_font}
    if not own:
        return frozenset()
    found = re.findall(r"<c\b[^>]*>", _sheet_text(path, sheet))
    names = [marks["r"] for marks in map(_attributes, found) if marks.get("s") in own and "r" in marks]
    parts = [re.match(r"([A-Z]+)(\d+)", name) for name in names]
    return frozenset((int(one[2]), column_number(one[1].encode()) - 1) for one in parts if one is not None)


def _between(text: str, part: str) -> str:
    """Text of the one part of a file that has this name."""
    return text[text.find(f"<{part}") : text.find(f"</{part}>")]


def _attributes(tag: str) -> dict[str, str]:
    return {name: unescape(value) for name, value in _ATTRIBUTE.findall(tag)}


# ---- OpenDocument: a row or column says so itself, and a cell holds the text that it shows ----

_ODS_ROW: Final = re.compile(r"<table:table-row\b([^>]*?)/?>")
_ODS_COLUMN: Final = re.compile(r"<table:table-column\b([^>]*?)/?>")
_ODS_CELL: Final = re.compile(
    r"<table:(?:covered-)?table-cell\b([^>]*?)(?:/>|>(.*?)</table:(?:covered-)?table-cell>)", re.DOTALL
)
_SHOWN: Final = re.compile(r"<text:p[^>]*>\s*-?\d+[.,](\d+)\s*</text:p>")
_OUT_OF_SIGHT: Final = ("collapse", "filter")
_MOST_REPEATED: Final = 1_000  # rows or columns of one tag: more are the empty rest of a sheet


def _ods_table(path: Path, sheet: str) -> str:
    text = _member(path, lambda _: "content.xml")
    for table in re.finditer(r"<table:table\s([^>]*)>", text):
        if _attributes(table[1]).get("table:name") == sheet:
            end = text.find("</table:table>", table.end())
            return text[table.end() : end if end >= 0 else len(text)]
    return ""


def _hidden_in_ods(table: str) -> Hidden:
    found: list[list[int]] = []
    for tags, kind in ((_ODS_ROW, "rows"), (_ODS_COLUMN, "columns")):
        at = 1 if kind == "rows" else 0
        own: list[int] = []
        for tag in tags.finditer(table):
            told = _attributes(tag[1])
            times = int(told.get(f"table:number-{kind}-repeated", "1"))
            if told.get("table:visibility") in _OUT_OF_SIGHT and times < _MOST_REPEATED:
                own += range(at, at + times)
            at += times
        found.append(own)
    return Hidden(tuple(found[0]), tuple(found[1]))


def _decimals_in_ods(table: str, column: int, wanted: set[int]) -> dict[int, int]:
    shown: dict[int, int] = {}
    for rows, part in _ods_rows(table):
        if not wanted.intersection(rows):
            continue
        for _, after, cell in _ods_cells(part):
            if after > column:
                if (places := _SHOWN.search(cell[2] or "")) is not None:
                    shown |= dict.fromkeys(wanted.intersection(rows), len(places[1]))
                break
    return shown


def _ods_rows(table: str) -> Iterator[tuple[range, str]]:
    """Numbers of the rows that one tag tells, and the text of their cells."""
    row = 1
    for part in re.split(r"(?=<table:table-row\b)", table):
        tag = _ODS_ROW.match(part)
        if tag is None:
            continue
        after = row + int(_attributes(tag[1]).get("table:number-rows-repeated", "1"))
        yield range(row, after) if after - row < _MOST_REPEATED else range(row, row), part[tag.end() :]
        row = after


def _ods_cells(row: str) -> Iterator[tuple[int, int, re.Match[str]]]:
    """First column, the one after the last, and the tag, of the cells of a row."""
    at = 0
    for cell in _ODS_CELL.finditer(row):
        after = at + int(_attributes(cell[1]).get("table:number-columns-repeated", "1"))
        yield at, after, cell
        at = after


def _struck_in_ods(path: Path, sheet: str) -> frozenset[tuple[int, int]]:
    text = _member(path, lambda _: "content.xml")
    named = {
        _attributes(style[1]).get("style:name")
        for style in re.finditer(r"<style:style\s([^>]*[^/>])>(.*?)</style:style>", text, re.DOTALL)
        if _attributes(style[2]).get("style:text-line-through-style", "none") != "none"
    }
    if not named:
        return frozenset()
    return frozenset(
        (row, column)
        for rows, part in _ods_rows(_ods_table(path, sheet))
        for at, after, cell in _ods_cells(part)
        if cell[2] and _attributes(cell[1]).get("table:style-name") in named
        for row in rows
        for column in range(at, min(after, at + _MOST_REPEATED))
    )


def _member(path: Path, find: Callable[[zipfile.ZipFile], str]) -> str:
    """Text of one part of a workbook; nothing where the file is of another kind or has no such part."""
    if path.suffix.lower() not in (*ENDINGS, ODS):
        return ""
    try:
        with zipfile.ZipFile(io.BytesIO(content(path))) as book:
            return book.read(find(book)).decode("utf-8", "replace")
    except (OSError, KeyError, StopIteration, zipfile.BadZipFile):
        return ""


def _sheet_text(path: Path, sheet: str) -> str:
    """Text of the part that holds a sheet."""
    return _member(path, lambda book: part_of_sheet(book, sheet))


def _places_of_styles(path: Path) -> dict[int, int]:
    """Decimals of each cell style that fixes them."""
    text = _member(path, lambda _: "xl/styles.xml")
    codes = {
        int(tag_says["numFmtId"]): tag_says.get("formatCode", "")
        for tag_says in map(_attributes, re.findall(r"<numFmt\b[^>]*>", text))
    }
    fixed = dict(_BUILT_IN)
    for number, code in codes.items():
        if (match := _FIXED.fullmatch(code)) is not None:
            fixed[number] = len(match[1] or "")
    cells = _between(text, "cellXfs")
    return {
        place: fixed[number]
        for place, tag in enumerate(re.findall(r"<xf\b[^>]*>", cells))
        if (number := int(_attributes(tag).get("numFmtId", "0"))) in fixed
    }
