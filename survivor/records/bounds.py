"""How much one file may unpack to: a workbook is looked through before it is opened.

A workbook is a packed file. One of a few kilobytes can unpack to gigabytes, or hold two
cells at opposite corners of a sheet of seventeen thousand million; whoever opens it runs
out of memory. What is larger than any season's records is refused in plain words.
"""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final

from survivor.errors import RecordsError

MOST_UNPACKED: Final = 768 * 2**20  # bytes; a full sheet of a million rows takes about 500 MB
MOST_CELLS: Final = 20_000_000  # from the first cell to the last, those between them included
MOST_COLUMNS: Final = 16_384  # as spreadsheets allow

_LARGE, _DENSEST = 64 * 2**20, 200  # sheets pack ten to fifty times smaller, never two hundred
_DENSEST_PACKING: Final = 1032  # no packed byte can give more (Deutsch 1996, RFC 1951)
_CHUNK: Final = 4 * 2**20
_OVERLAP: Final = 256  # bytes carried from a chunk to the next, longer than any tag looked for
_REFERENCE: Final = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{0,3})(\d{1,9})["']""")
_FAR: Final = re.compile(
    rb"""\s[rR]=["'](?:[A-Za-z]{2,3}\d|[A-Za-z]?\d{6})"""
)  # beyond column Z or row 99,999
_ROW: Final = re.compile(rb"<(?:\w+:)?row\b")
_CELL: Final = re.compile(rb"<(?:\w+:)?c\b")
_ODS_REPEAT: Final = re.compile(rb"""number-(columns|rows)-repeated\s*=\s*["'](\d{1,12})["']""")
_ODS_ROW: Final = re.compile(rb"<table:table-row\b.*?</table:table-row>", re.DOTALL)
_ODS_CELL: Final = re.compile(
    rb"<table:(?:covered-)?table-cell\b([^>]*?)(?:/>|>(.*?)</table:(?:covered-)?table-cell>)", re.DOTALL
)
_CORRUPT: Final = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)


def check_bounds(path: Path, name: str) -> None:
    """Refuse a workbook that unpacks to more than a season's records can be.

    Parameters
    ----------
    path
        A workbook; other packed and damaged files pass, for the reader to refuse.
    name
        How to call it in an error.

    Raises
    ------
    RecordsError
        When it unpacks to more than 768 MB, or two hundred times its size, or its cells
        lie so far apart that the sheet would hold more than 20 million.
    """
    if not zipfile.is_zipfile(path):
        return
    try:
        with zipfile.ZipFile(path) as packed:
            _check_size(packed, path.stat().st_size, name)
            for member in packed.infolist():
                _check_reach(packed, member, path.suffix.lower(), name)
    except _CORRUPT:
        return  # damaged, or locked: the reader says so


def check_table(rows: int, columns: int, size: int, name: str) -> None:
    """Refuse a text file that becomes far more cells than it has letters.

    Parameters
    ----------
    rows, columns
        Of the table, every row as long as the longest.
    size
        Letters in the file: a cell takes one at least, unless the other rows are shorter.
    name
        How to call the file in an error.

    Raises
    ------
    RecordsError
        With more columns than a spreadsheet has, or more than 20 million cells of which
        most stand in no row of the file.
    """
    if columns > MOST_COLUMNS:
        raise RecordsError(
            f"one row has {columns:,} cells, more than the {MOST_COLUMNS:,} columns of a spreadsheet",
            where=name,
            mend="remove the empty columns or the long row, and save it again",
        )
    if rows * columns > max(MOST_CELLS, size):
        raise _too_far(rows, columns, name)


def _check_size(packed: zipfile.ZipFile, size: int, name: str) -> None:
    """Unpack and count, as what a file says of its own size may be untrue."""
    if size * _DENSEST_PACKING <= _LARGE:
        return
    total = 0
    for member in packed.infolist():
        with packed.open(member) as unpacked:
            unpacked._left = MOST_UNPACKED + 1  # type: ignore[attr-defined]  # not as the file says
            unpacked._expected_crc = None  # type: ignore[attr-defined]
            for chunk in _chunks(unpacked):
                total += len(chunk)
                if total > MOST_UNPACKED or (total > _LARGE and total > _DENSEST * size):
                    raise RecordsError(
                        f"the workbook is {size / 1e6:,.1f} MB and unpacks to more than "
                        f"{total / 1e6:,.0f} MB, which no sheet of records does; it was not opened",
                        where=name,
                        mend="ask where it comes from; save the sheet that is needed as CSV",
                    )


def _check_reach(packed: zipfile.ZipFile, member: zipfile.ZipInfo, ending: str, name: str) -> None:
    """Refuse a sheet whose first and last cell are too far apart."""
    file = member.filename.lower()
    if ending == ".ods":
        reach = _reach_ods(packed, member) if file == "content.xml" else (0, 0)
    elif ending == ".xlsb":
        reach = _reach_xlsb(packed, member) if file.endswith(".bin") else (0, 0)
    else:
        reach = _reach_xlsx(packed, member) if not file.startswith("xl/media/") else (0, 0)
    if reach[0] * reach[1] > MOST_CELLS:
        raise _too_far(*reach, name)


def _too_far(rows: int, columns: int, name: str) -> RecordsError:
    return RecordsError(
        f"a sheet reaches over {rows:,} rows and {columns:,} columns, too many cells to hold",
        where=name,
        mend="look for a cell far below or far to the right of the records; copy the records alone "
        "to a new sheet",
    )


def _chunks(unpacked: IO[bytes]) -> Iterator[bytes]:
    while chunk := unpacked.read(_CHUNK):
        yield chunk


def _reach_xlsx(packed: zipfile.ZipFile, member: zipfile.ZipInfo) -> tuple[int, int]:
    """Rows and columns up to the last cell, named by its place or counted where cells bear none."""
    if _is_near(packed, member):
        return 0, 0
    last_row = last_column = rows = cells = named = in_row = 0
    rest = b""
    with packed.open(member) as unpacked:
        for chunk in _chunks(unpacked):
            text = rest + chunk
            cut = max(len(text) - _OVERLAP, 0)
            places = set(_REFERENCE.findall(text))
            last_row = max([last_row, *(int(row) for _, row in places)])
            last_column = max([last_column, *(_number(letters) for letters, _ in places)])
            done = text[:cut]
            rows += len(_ROW.findall(done))
            cells += len(_CELL.findall(done))
            named += sum(1 for letters, _ in _REFERENCE.findall(done) if letters)
            rest = text[cut:]
    if cells > named and rows:  # some cells bear no place: they are counted along their row
        in_row = min(cells - named, MOST_COLUMNS) if rows * 2 > cells else -(-cells // rows) * 4
    return max(last_row, rows), max(last_column, in_row)


def _is_near(packed: zipfile.ZipFile, member: zipfile.ZipInfo) -> bool:
    """Tell, at little cost, that all cells bear a place and none is beyond column Z or row 99,999."""
    rest = b""
    with packed.open(member) as unpacked:
        for chunk in _chunks(unpacked):
            text = rest + chunk
            cut = text.rfind(b"<") if len(chunk) == _CHUNK else len(text)  # a tag is not cut in two
            text, rest = text[:cut], text[cut:]
            plain = text.count(b"<c ") == text.count(b'<c r="') and b"<c>" not in text and b":c " not in text
            if not plain or b"r =" in text or _FAR.search(text) is not None:
                return False
    return True


def _number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - ord("A") + 1
    return number


def _reach_ods(packed: zipfile.ZipFile, member: zipfile.ZipInfo) -> tuple[int, int]:
    """Rows and columns of the cells with content, each as often as it is repeated."""
    with packed.open(member) as unpacked:
        text = unpacked.read(MOST_UNPACKED)
    if not any(int(times) > 1024 for _, times in _ODS_REPEAT.findall(text)):
        return 0, 0  # then its cells are about as many as its bytes
    rows = last_row = last_column = 0
    for row in _ODS_ROW.finditer(text):
        head = row[0][: row[0].index(b">")]
        times = _times(head)
        column = width = 0
        for attributes, content in _ODS_CELL.findall(row[0]):
            column += _times(attributes)
            if content.strip() or b"office:value" in attributes:
                width = column
        rows += times
        if width:
            last_row, last_column = rows, max(last_column, width)
    return min(last_row, 2**20), min(last_column, MOST_COLUMNS)  # the reader stops there


def _times(attributes: bytes) -> int:
    found = _ODS_REPEAT.search(attributes)
    return int(found[2]) if found is not None else 1


def _reach_xlsb(packed: zipfile.ZipFile, member: zipfile.ZipInfo) -> tuple[int, int]:
    """Rows and columns named by the records of a binary sheet (ECMA-like records: kind, length, bytes)."""
    with packed.open(member) as unpacked:
        data = unpacked.read(MOST_UNPACKED)
    place = last_row = last_column = 0
    while place < len(data):
        kind, place = _varying(data, place, 2)
        length, place = _varying(data, place, 4)
        if length >= 4 and place + 4 <= len(data):
            (number,) = struct.unpack_from("<I", data, place)
            if kind == 0:
                last_row = max(last_row, number + 1)
            elif 1 <= kind <= 11:
                last_column = max(last_column, number + 1)
        place += length
    return last_row, last_column


def _varying(data: bytes, place: int, most: int) -> tuple[int, int]:
    """Read a number of seven bits a byte, the high bit telling that more follows."""
    number = 0
    for step in range(most):
        if place >= len(data):
            break
        byte = data[place]
        place += 1
        number |= (byte & 0x7F) << (7 * step)
        if byte < 0x80:
            break
    return number, place
