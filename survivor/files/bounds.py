"""How much one file may unpack to: a workbook is looked through before it is opened.

A workbook is a packed file. One of a few kilobytes can unpack to gigabytes, hold two
cells at opposite corners of a sheet of seventeen thousand million, or refer from every cell
to the same text of megabytes; whoever opens it runs out of memory. What is larger than any
season's records is refused in plain words.
"""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np

from survivor.errors import RecordsError
from survivor.files import old_workbook
from survivor.files.content import content

MOST_UNPACKED: Final = 768 * 2**20  # bytes; a full sheet of a million rows takes about 500 MB
MOST_CELLS: Final = 20_000_000  # from the first cell to the last, those between them included
MOST_COLUMNS: Final = 16_384  # as spreadsheets allow
MOST_LETTERS: Final = 256 * 2**20  # of all cells, a text counted as often as a cell holds it

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
_ODS_SPACES: Final = re.compile(rb"""\btext:c\s*=\s*["'](\d{1,12})["']""")  # so many spaces in one tag
_ODS_CELL: Final = re.compile(rb"<table:(?:covered-)?table-cell\b")
_ROW_ENDS: Final = b"</table:table-row>"
_TEXT: Final = re.compile(rb"<(?:\w+:)?si\b")
_SHARES: Final = re.compile(rb"""\bt\s*=\s*["']s["']""")  # said of a cell that holds a shared text
_SHARED: Final = re.compile(  # such a cell, a formula in it or not, and the number of its text
    rb"""<(?:\w+:)?c\b(?>[^<>]*?\bt\s*=\s*["']s["'])[^<>]*+>\s*+"""
    rb"""(?:<(?:\w+:)?f\b[^<>]*+>(?:[^<]*+</(?:\w+:)?f>)?\s*+)?<(?:\w+:)?v\b[^<>]*+>\s*+(\d{1,9})"""
)
_TEXT_RECORD, _SHARED_RECORD = 19, 7  # of a binary workbook: a shared text, a cell that holds one
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
        lie so far apart that the sheet would hold more than 20 million, or hold together
        more than 268 million letters.
    """
    raw = _packed(path, name)
    if raw.startswith(old_workbook.STARTS):
        _check_old(raw, name)
        return
    if not zipfile.is_zipfile(io.BytesIO(raw)):
        return
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as packed:
            members = [_Member(raw, member) for member in packed.infolist()]
        if len(raw) * _DENSEST_PACKING > _LARGE:
            _check_size(members, len(raw), name)
        for ending in _endings(members):
            _check_cells(members, ending, name)
    except _CORRUPT:
        return  # damaged, or locked: the reader says so


def _packed(path: Path, name: str) -> bytes:
    """Return what a workbook holds; a large file that is none is not taken into memory."""
    try:
        with path.open("rb") as opened:
            old = opened.read(8).startswith(old_workbook.STARTS)
        if path.stat().st_size > _LARGE / 2 and not old and not zipfile.is_zipfile(path):
            raise OSError(0, "it is damaged, or no workbook at all")
        return content(path)
    except OSError as error:
        raise RecordsError(
            f"the workbook cannot be opened: {error.strerror or error}",
            where=name,
            mend="open it in a spreadsheet program and save it again, as XLSX or as CSV",
        ) from error


def _check_old(raw: bytes, name: str) -> None:
    """Refuse an old workbook; its reader takes in all sheets at once."""
    try:
        held = old_workbook.held_by(raw)
    except (ValueError, IndexError, struct.error) as error:
        raise RecordsError(
            "the workbook is damaged, or no workbook of the old kind (.xls)",
            where=name,
            mend="open it in a spreadsheet program and save it again, as XLSX or as CSV",
        ) from error
    for reach in held.reaches:
        _check_reach(reach, name)
    if sum(rows * columns for rows, columns in held.reaches) > MOST_CELLS:
        raise RecordsError(
            f"its {len(held.reaches)} sheets together reach over more than {MOST_CELLS:,} cells, too many to "
            "hold",
            where=name,
            mend="look for cells far below or far to the right of the records; copy the records alone to a "
            "new workbook",
        )
    _check_letters(held.letters, name)


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


_Lengths: TypeAlias = "np.ndarray[tuple[int], np.dtype[np.int64]]"


@dataclass(frozen=True)
class _Member:
    """One file of a packed file, unpacked piece by piece however large it says that it is."""

    raw: bytes
    info: zipfile.ZipInfo

    @property
    def name(self) -> str:
        return self.info.filename.lower()

    def chunks(self) -> Iterator[bytes]:
        """Unpack in pieces of 4 MB; what it says of its own size may be untrue, and isn't asked."""
        with io.BytesIO(self.raw) as file:
            if self.info.header_offset < 0:
                raise zipfile.BadZipFile("its parts begin before it does")
            file.seek(self.info.header_offset)
            head = file.read(30)  # signature to the two lengths, APPNOTE 4.3.7
            if len(head) < 30:
                raise zipfile.BadZipFile("cut short")
            file.seek(sum(struct.unpack_from("<HH", head, 26)), 1)
            left = self.info.compress_size
            if self.info.compress_type == zipfile.ZIP_STORED:
                while left > 0 and (piece := file.read(min(_CHUNK, left))):
                    left -= len(piece)
                    yield piece
                return
            if self.info.compress_type != zipfile.ZIP_DEFLATED:
                raise NotImplementedError(self.info.compress_type)
            inflate = zlib.decompressobj(-zlib.MAX_WBITS)
            while not inflate.eof:
                packed = inflate.unconsumed_tail
                if not packed:
                    packed = file.read(min(_CHUNK, left))
                    left -= len(packed)
                    if not packed:
                        return
                if piece := inflate.decompress(packed, _CHUNK):
                    yield piece

    def pieces(self, ends: bytes) -> Iterator[bytes]:
        """Unpack in pieces that are cut behind ``ends`` only, so that what it ends stands in one of them."""
        rest: list[bytes] = []
        for chunk in self.chunks():
            cut = chunk.rfind(ends)
            if cut < 0:
                rest.append(chunk)
                continue
            yield b"".join([*rest, chunk[: cut + len(ends)]])
            rest = [chunk[cut + len(ends) :]]
        yield b"".join(rest)


def _endings(members: list[_Member]) -> list[str]:
    """Kinds of workbook that the content may be read as, whatever the name of the file says."""
    held = {member.name for member in members}
    kinds = {".ods": "content.xml" in held, ".xlsb": any(name.endswith(".bin") for name in held)}
    return [".xlsx", *(ending for ending, may_be in kinds.items() if may_be)]


def _check_size(members: list[_Member], size: int, name: str) -> None:
    """Unpack and count."""
    total = 0
    for member in members:
        for chunk in member.chunks():
            total += len(chunk)
            if total > MOST_UNPACKED or (total > _LARGE and total > _DENSEST * size):
                raise RecordsError(
                    f"the workbook is {size / 1e6:,.1f} MB and unpacks to more than "
                    f"{total / 1e6:,.0f} MB, which no sheet of records does; it was not opened",
                    where=name,
                    mend="ask where it comes from; save the sheet that is needed as CSV",
                )


def _check_cells(members: list[_Member], ending: str, name: str) -> None:
    """Refuse a sheet whose first and last cell are too far apart, and cells that hold too many letters."""
    letters = 0
    if ending == ".ods":
        for member in members:
            if member.name == "content.xml":
                reach, letters = _reach_ods(member)
                _check_reach(reach, name)
                _check_letters(letters, name)
        return
    texts = _text_lengths(members, ending)
    for member in members:
        if ending == ".xlsb":
            if not member.name.endswith(".bin"):
                continue
            reach, letters_here = _reach_xlsb(member, texts)
        elif member.name.startswith("xl/media/"):
            continue
        else:
            reach, cells = _reach_xlsx(member)
            letters_here = cells * int(texts.max(initial=0))
            if letters + letters_here > MOST_LETTERS:  # were each of them the longest: so each is looked at
                letters_here = _letters_of(member, texts)
        _check_reach(reach, name)
        letters += letters_here
        _check_letters(letters, name)


def _check_reach(reach: tuple[int, int], name: str) -> None:
    rows, columns = reach
    if rows * columns > MOST_CELLS:
        raise _too_far(rows, columns, name)


def _check_letters(letters: int, name: str) -> None:
    if letters > MOST_LETTERS:
        raise RecordsError(
            f"its cells hold {letters / 1e6:,.0f} million letters, one long text many times over, which no "
            "sheet of records does; it was not opened",
            where=name,
            mend="look for a very long text, or one repeated over many cells; copy the records alone to a "
            "new sheet",
        )


def _too_far(rows: int, columns: int, name: str) -> RecordsError:
    return RecordsError(
        f"a sheet reaches over {rows:,} rows and {columns:,} columns, too many cells to hold",
        where=name,
        mend="look for a cell far below or far to the right of the records; copy the records alone "
        "to a new sheet",
    )


def _text_lengths(members: list[_Member], ending: str) -> _Lengths:
    """Bytes of each text that cells share; more than its letters."""
    for member in members:
        if ending == ".xlsb" and member.name.endswith("sharedstrings.bin"):
            data = b"".join(member.chunks())
            lengths = [length for kind, _, length in _records_xlsb(data) if kind == _TEXT_RECORD]
            return np.array(lengths, dtype=np.int64)
        if member.name.endswith("sharedstrings.xml"):
            starts: list[int] = []
            at = 0
            for piece in member.pieces(b">"):
                starts += [at + match.start() for match in _TEXT.finditer(piece)]
                at += len(piece)
            return np.array([*starts[1:], at], dtype=np.int64) - np.array(starts or [at], dtype=np.int64)
    return np.zeros(0, dtype=np.int64)


def _letters_of(member: _Member, texts: _Lengths) -> int:
    """Letters of all cells of a sheet that hold shared texts."""
    letters = 0
    for piece in member.pieces(b"</c>"):
        held = np.array(_SHARED.findall(piece), dtype=np.int64)
        unseen = len(_SHARES.findall(piece)) - len(held)  # written otherwise: the longest may be meant
        letters += int(texts[held[held < len(texts)]].sum()) + unseen * int(texts.max())
    return letters


def _reach_xlsx(member: _Member) -> tuple[tuple[int, int], int]:
    """Rows and columns up to the last cell, by its place or counted where cells bear none; and cells."""
    near, cells = _near(member)
    if near:
        return (0, 0), cells
    last_row = last_column = rows = cells = named = in_row = 0
    rest = b""
    for chunk in member.chunks():
        text = rest + chunk
        cut = max(len(text) - _OVERLAP, 0)
        places = set(_REFERENCE.findall(text))
        last_row = max([last_row, *(int(row) for _, row in places)])
        last_column = max([last_column, *(column_number(letters) for letters, _ in places)])
        done = text[:cut]
        rows += len(_ROW.findall(done))
        cells += len(_CELL.findall(done))
        named += sum(1 for letters, _ in _REFERENCE.findall(done) if letters)
        rest = text[cut:]
    cells += len(_CELL.findall(rest))
    if cells > named and rows:  # some cells bear no place: they are counted along their row
        in_row = min(cells - named, MOST_COLUMNS) if rows * 2 > cells else -(-cells // rows) * 4
    return (max(last_row, rows), max(last_column, in_row)), cells


def _near(member: _Member) -> tuple[bool, int]:
    """Tell, at little cost, that all cells bear a place and none is beyond column Z or row 99,999."""
    cells = 0
    for text in member.pieces(b">"):  # a tag is not cut in two
        here = text.count(b"<c ")
        plain = here == text.count(b'<c r="') and b"<c>" not in text and b":c " not in text
        if not plain or b"r =" in text or _FAR.search(text) is not None:
            return False, 0
        cells += here
    return True, cells


def column_number(letters: bytes) -> int:
    """Tell the number, counted from 1, of a column that a spreadsheet calls A, B, ..., Z, AA."""
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - ord("A") + 1
    return number


def _reach_ods(member: _Member) -> tuple[tuple[int, int], int]:
    """Rows and columns of the cells with content, and their letters, each as often as it is repeated."""
    rows = last_row = last_column = letters = 0
    for piece in member.pieces(_ROW_ENDS):
        for row in piece.split(_ROW_ENDS):
            at = row.find(b"<table:table-row")
            if at < 0:
                continue
            times = _times(row[at : row.index(b">", at)])
            column = width = long = 0
            if b"-repeated" not in row and b"text:c" not in row:
                width, long = len(_ODS_CELL.findall(row)), len(row)  # markup and all: at little cost
            else:
                for cell in _ODS_CELL.split(row)[1:]:
                    attributes, _, content = cell.partition(b">")
                    content = b"" if attributes.endswith(b"/") else content.partition(b"</table:")[0]
                    repeated = _times(attributes)
                    column += repeated
                    if content.strip() or b"office:value" in attributes:
                        width = column
                        spaces = sum(map(int, _ODS_SPACES.findall(content)))
                        long += repeated * (len(content) + len(attributes) + spaces)
            rows += times
            if width:
                last_row, last_column = rows, max(last_column, width)
                letters += times * long
    return (min(last_row, 2**20), min(last_column, MOST_COLUMNS)), letters  # the reader stops there


def _times(attributes: bytes) -> int:
    match = _ODS_REPEAT.search(attributes)
    return int(match[2]) if match is not None else 1


def _reach_xlsb(member: _Member, texts: _Lengths) -> tuple[tuple[int, int], int]:
    """Rows and columns named by the records of a binary sheet, and the letters of its shared texts."""
    data = b"".join(member.chunks())
    last_row = last_column = letters = 0
    for kind, place, length in _records_xlsb(data):
        if length >= 4 and place + 4 <= len(data):
            (number,) = struct.unpack_from("<I", data, place)
            if kind == 0:
                last_row = max(last_row, number + 1)
            elif 1 <= kind <= 11:
                last_column = max(last_column, number + 1)
        if kind == _SHARED_RECORD and length >= 12 and place + 12 <= len(data):
            (text,) = struct.unpack_from("<I", data, place + 8)  # after its column and its style
            letters += int(texts[text]) if text < len(texts) else 0
    return (last_row, last_column), letters


def _records_xlsb(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Kind, place and length of each record of a part of a binary workbook (MS-XLSB 2.1.4)."""
    place = 0
    while place < len(data):
        kind, place = _varying(data, place, 2)
        length, place = _varying(data, place, 4)
        yield kind, place, length
        place += length


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
