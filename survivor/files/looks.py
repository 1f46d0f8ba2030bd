"""What a workbook shows and its cells do not hold: what is hidden, struck through or red, decimals of labels.

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
from pathlib import Path
from typing import Final

from survivor.files.bounds import column_number
from survivor.files.content import content
from survivor.files.errors_shown import part_of_sheet
from survivor.files.markup import attributes, element, tag
from survivor.files.sheets import Grid, as_text, letters

ENDINGS: Final = (".xlsx", ".xlsm")
ODS: Final = ".ods"
_YES: Final = ("1", "true")  # as the format writes it, in either way
_BUILT_IN: Final = {1: 0, 2: 2, 3: 0, 4: 2}  # number formats of every workbook -> decimals
_FIXED: Final = re.compile(r"#?(?:,##)?0(?:\.(0+))?(?:_\))?(?:;.*)?")
_STRIKE: Final = re.compile(r'<strike(?:\s+val="(?:1|true)")?\s*/>|style:text-line-through-style="(?!none)')
_FONT, _FILL, _STYLE = (re.compile(element(name)) for name in ("font", "fill", "style:style"))
_FORMAT, _OF_CELL, _CELL, _ROW, _COLUMN = (
    re.compile(tag(name)) for name in ("numFmt", "xf", "c", "row", "col")
)
_COLOUR: Final = re.compile(
    r'<(?:color|fgColor)\b[^<>]*\brgb="(?:[0-9A-F]{2})?([0-9A-F]{6})"|'
    r'\bfo:(?:background-)?color="#([0-9A-F]{6})"',
    re.IGNORECASE,
)
_IN_RED: Final = "in red"
_REDDER: Final = 48  # of 255: how much more red than green and blue


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
        for told in _ROW.findall(text)
        if "hidden" in told and (marks := attributes(told)).get("hidden") in _YES and "r" in marks
    ]
    columns: list[int] = []
    for marks in map(attributes, _COLUMN.findall(text[: text.find("<sheetData")])):
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
    own = re.compile(rf'\br="{letters(column)}\d+"')
    for told in _CELL.findall(text):
        if own.search(told) is None:
            continue
        marks = attributes(told)
        row = int(marks["r"][len(letters(column)) :])
        place = places.get(int(marks.get("s", "0")))
        if row in wanted and place is not None:
            shown[row] = place
    return shown


def looks_told(path: Path, grid: Grid, places: Iterable[int], *, turned: bool = False) -> Grid:
    """Write before the cells of some columns how they look, where that may tell what their words do not.

    A word struck through, or in red where it stands in other colours too, may mean that the plant is
    dead, or that the cell was withdrawn: only the crew can tell.

    Parameters
    ----------
    path
        The file of the grid.
    grid
        A sheet as read; columns that no sheet holds have the place -1.
    places
        Columns of it; red numbers are left as they are, as that often is no more than emphasis.
    turned
        Whether it lies on its side.
    """
    looks = _looks(path, grid.sheet)
    if not looks:
        return grid
    table, own = grid.cells.copy(), {place: grid.places[place] for place in places}
    texts = {place: [as_text(cell) for cell in table[place]] for place in own}
    seen = {
        place: [looks.get((at + 1, row - 1) if turned else (row, at), "") for row in table.index]
        for place, at in own.items()
    }
    plain = {
        text for place in own for text, look in zip(texts[place], seen[place], strict=True) if look != _IN_RED
    }
    plain = {text for text in plain if not re.search(r"\d", text)}
    for place in own:
        table[place] = [
            f"{look}: {text}" if look and text and (look != _IN_RED or text in plain) else cell
            for cell, text, look in zip(table[place], texts[place], seen[place], strict=True)
        ]
    return replace(grid, cells=table)


def _looks(path: Path, sheet: str) -> dict[tuple[int, int], str]:
    """Give row, numbered as shown, and column, counted from 0, of each cell that is struck through or red."""
    if path.suffix.lower() == ODS:
        return _looks_in_ods(path, sheet)
    styles = _member(path, lambda _: "xl/styles.xml")
    fonts, fills = (
        [_look(part["held"] or "") for part in kind.finditer(_between(styles, of))]
        for of, kind in (("fonts", _FONT), ("fills", _FILL))
    )
    of_style: dict[str, str] = {}
    for number, marks in enumerate(map(attributes, _OF_CELL.findall(_between(styles, "cellXfs")))):
        ids = (int(marks.get(own, "0")) for own in ("fontId", "fillId"))
        looks = [own[at] for own, at in zip((fonts, fills), ids, strict=True) if at < len(own)]
        of_style[str(number)] = next(filter(None, looks), "")
    if not any(of_style.values()):
        return {}
    found = {}
    for marks in map(attributes, _CELL.findall(_sheet_text(path, sheet))):
        place = re.fullmatch(r"([A-Z]+)(\d+)", marks.get("r", ""))
        if place is not None and (look := of_style.get(marks.get("s", "0"), "")):
            found[int(place[2]), column_number(place[1].encode()) - 1] = look
    return found


def _look(part: str) -> str:
    """Tell what a font, a fill or a style makes of a cell: struck through, red, or neither."""
    if _STRIKE.search(part):
        return "struck through"
    return _IN_RED if any(_is_red(own[1] or own[2]) for own in _COLOUR.finditer(part)) else ""


def _is_red(colour: str) -> bool:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (0, 2, 4))
    return red - max(green, blue) >= _REDDER and abs(green - blue) <= _REDDER // 2


def _between(text: str, part: str) -> str:
    """Text of the one part of a file that has this name."""
    return text[text.find(f"<{part}") : text.find(f"</{part}>")]


# ---- OpenDocument: a row or column says so itself, and a cell holds the text that it shows ----

_ODS_TABLE, _ODS_ROW, _ODS_COLUMN = (
    re.compile(tag(f"table:{name}")) for name in ("table", "table-row", "table-column")
)
_ODS_CELL: Final = re.compile(element("table:(?:covered-)?table-cell"))
_SHOWN: Final = re.compile(r"<text:p[^<>]*+>\s*+-?\d++[.,](\d++)\s*+</text:p>")
_OUT_OF_SIGHT: Final = ("collapse", "filter")
_MOST_REPEATED: Final = 1_000  # rows or columns of one tag: more are the empty rest of a sheet


def _ods_table(path: Path, sheet: str) -> str:
    text = _member(path, lambda _: "content.xml")
    for table in _ODS_TABLE.finditer(text):
        if attributes(table["marks"]).get("table:name") == sheet:
            end = text.find("</table:table>", table.end())
            return text[table.end() : end if end >= 0 else len(text)]
    return ""


def _hidden_in_ods(table: str) -> Hidden:
    found: list[list[int]] = []
    for tags, kind in ((_ODS_ROW, "rows"), (_ODS_COLUMN, "columns")):
        at = 1 if kind == "rows" else 0
        own: list[int] = []
        for told in map(attributes, tags.findall(table)):
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
                if (places := _SHOWN.search(cell["held"] or "")) is not None:
                    shown |= dict.fromkeys(wanted.intersection(rows), len(places[1]))
                break
    return shown


def _ods_rows(table: str) -> Iterator[tuple[range, str]]:
    """Numbers of the rows that one tag tells, and the text of their cells."""
    row = 1
    for part in re.split(r"(?=<table:table-row\b)", table):
        begins = _ODS_ROW.match(part)
        if begins is None:
            continue
        after = row + int(attributes(begins["marks"]).get("table:number-rows-repeated", "1"))
        yield range(row, after) if after - row < _MOST_REPEATED else range(row, row), part[begins.end() :]
        row = after


def _ods_cells(row: str) -> Iterator[tuple[int, int, re.Match[str]]]:
    """First column, the one after the last, and the tag, of the cells of a row."""
    at = 0
    for cell in _ODS_CELL.finditer(row):
        after = at + int(attributes(cell["marks"]).get("table:number-columns-repeated", "1"))
        yield at, after, cell
        at = after


def _looks_in_ods(path: Path, sheet: str) -> dict[tuple[int, int], str]:
    text = _member(path, lambda _: "content.xml")
    named = {
        attributes(style["marks"]).get("style:name"): look
        for style in _STYLE.finditer(text)
        if (look := _look(style["held"] or ""))
    }
    if not named:
        return {}
    return {
        (row, column): named[style]
        for rows, part in _ods_rows(_ods_table(path, sheet))
        for at, after, cell in _ods_cells(part)
        if cell["held"] and (style := attributes(cell["marks"]).get("table:style-name")) in named
        for row in rows
        for column in range(at, min(after, at + _MOST_REPEATED))
    }


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
        for tag_says in map(attributes, _FORMAT.findall(text))
    }
    fixed = dict(_BUILT_IN)
    for number, code in codes.items():
        if (match := _FIXED.fullmatch(code)) is not None:
            fixed[number] = len(match[1] or "")
    cells = _between(text, "cellXfs")
    return {
        place: fixed[number]
        for place, marks in enumerate(map(attributes, _OF_CELL.findall(cells)))
        if (number := int(marks.get("numFmtId", "0"))) in fixed
    }
