"""A text file of cells: its encoding and the sign that parts the cells are sniffed, and said."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.files.bounds import check_table
from survivor.files.content import content

_SIGNS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "upright bars"}
_WORKBOOK_STARTS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_SAYS_SIGN = re.compile(r'(?P<line>"?sep=(?P<sign>[^\r\n])"?[ \t]*)\r?\n', re.IGNORECASE)
# An apostrophe before what a spreadsheet takes for a formula, as `survivor.files.writing.csv_text` puts it.
_GUARDED = re.compile(r'(?:^|[,;\t|"])\'\s*[=+@-]', re.MULTILINE)
_GUARDED_CELL = re.compile(r"^'(?=\s*[=+@-])")
_START, _MANY_BYTES = 4096, 32 * 2**20
_SAMPLE_LINES = 50
_LONGEST_SAMPLE = 100_000  # signs of a line; the reader of cells takes no longer one


def read_delimited(path: Path, name: str) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Read a text file to text cells.

    Parameters
    ----------
    path
        The file.
    name
        How to call it in errors.

    Returns
    -------
    rows, said
        Text cells, numbered from 1 as a spreadsheet numbers rows; and sentences
        that say how the file was read where it was not UTF-8 with commas.

    Raises
    ------
    RecordsError
        When the file is empty, not text, too wide to be records, or has a quotation mark
        that never closes.
    """
    try:
        with path.open("rb") as opened:
            start = opened.read(_START)
        if path.stat().st_size > _MANY_BYTES:
            _decode(start if start.count(b"\x00") else b"", name)  # what is no text is told by its start
        raw = content(path)
    except OSError as error:
        raise RecordsError(
            f"the file cannot be opened: {error.strerror}", where=name, mend="close it elsewhere"
        ) from error
    text, encoding = _decode(raw, name)
    if "\n" not in text:
        text = text.replace("\r", "\n")  # as old spreadsheets of one maker end their rows
    if not text.strip():
        raise RecordsError("there is nothing in it", where=name, mend="check that the right file was saved")
    declared = _SAYS_SIGN.match(text)
    if declared is not None:
        text = text[declared.end("line") :]  # the row stays, blank, so that rows keep their numbers
    sign = declared["sign"] if declared is not None and declared["sign"] in _SIGNS else sniff_sign(text)
    plain = encoding == "UTF-8" and sign == ","
    remarks = () if plain else (f"read as {encoding} text with cells parted by {_SIGNS[sign]}",)
    try:
        width = _width(text, sign)
        check_table(text.count("\n") + 1, width, len(text), name)
        rows = pd.read_csv(
            io.StringIO(text),
            sep=sign,
            header=None,
            names=list(range(width)),
            index_col=False,
            dtype=object,
            keep_default_na=False,
            na_filter=False,
            skip_blank_lines=False,
        )
    except (pd.errors.ParserError, csv.Error) as error:
        begun = _OPENED.search(str(error))
        what = f"row {int(begun[1]) + 1:,} opens a quotation mark that is never closed" if begun else error
        raise RecordsError(
            f"the cells cannot be distinguished: {what}",
            where=name,
            mend="look for a quotation mark that is opened and never closed",
        ) from error
    for place in rows.columns[rows.isna().any()]:  # of rows that end early
        rows[place] = rows[place].fillna("")
    if _GUARDED.search(text):
        rows = rows.replace(_GUARDED_CELL, "", regex=True)
    rows.index = pd.RangeIndex(1, len(rows) + 1)
    return rows, remarks


_OPENED: Final = re.compile(r"EOF inside string starting at row (\d+)")  # which pandas counts from 0


def _width(text: str, sign: str) -> int:
    if '"' in text:  # a sign or a line's end inside quotation marks parts nothing
        return max(len(row) for row in csv.reader(io.StringIO(text), delimiter=sign))
    return 1 + max(line.count(sign) for line in io.StringIO(text))


def _decode(raw: bytes, name: str) -> tuple[str, str]:
    if raw.startswith(_WORKBOOK_STARTS):
        raise RecordsError(
            "this is a workbook under the name of a text file",
            where=name,
            mend="give it its own ending, such as .xlsx",
        )
    if raw.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        encodings = [("utf-32", "UTF-32")]
    elif raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = [("utf-16", "UTF-16")]
    elif b"\x00" in raw:
        encodings = _without_mark(raw)
    else:
        encodings = [("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252")]
    what = "this is not a text file"
    for encoding, words in encodings:
        try:
            return raw.decode(encoding), words
        except UnicodeDecodeError as fault:
            if encoding == "utf-8-sig" and _is_mostly_utf8(raw):
                row = raw[: fault.start].count(b"\n") + 1
                sign = f"{raw[fault.start]:02x}"
                what = f"row {row:,} holds a sign that is no letter of a text in UTF-8 (byte {sign})"
    raise RecordsError(what, where=name, mend="open it in a spreadsheet program and save it as CSV")


def _is_mostly_utf8(raw: bytes) -> bool:
    """Tell whether signs beyond ASCII are letters of UTF-8, most of them."""
    text = raw.decode("utf-8", "replace")
    return sum(letter > "\x7f" for letter in text) > 2 * text.count("\N{REPLACEMENT CHARACTER}") - 1


def _without_mark(raw: bytes) -> list[tuple[str, str]]:
    """Guess UTF-16 that bears no mark: in western text every second byte is zero."""
    start = raw[:4096]
    if len(start) < 4 or len(raw) % 2:
        return []
    zero = [start[first::2].count(0) / len(start[first::2]) for first in (0, 1)]
    if zero[1] > 0.9 and zero[0] < 0.1:
        return [("utf-16-le", "UTF-16")]
    return [("utf-16-be", "UTF-16")] if zero[0] > 0.9 and zero[1] < 0.1 else []


def sniff_sign(text: str) -> str:
    """Return the sign that parts the cells: the one that gives the most rows equally many cells.

    Parameters
    ----------
    text
        The whole file.

    Returns
    -------
    str
        A comma, semicolon, tab or upright bar; a comma where nothing tells.
    """
    lines = []
    for line in io.StringIO(text):
        if line.strip():
            lines.append(line[:_LONGEST_SAMPLE])
        if len(lines) == _SAMPLE_LINES:
            break
    best, best_score = ",", (0, 0)
    for sign in _SIGNS:
        try:
            widths = Counter(len(row) for row in csv.reader(lines, delimiter=sign) if len(row) > 1)
        except csv.Error:  # a quotation mark that stays open over very long lines
            continue
        if not widths:  # titles and notes have one cell, whatever the sign
            continue
        common, times = widths.most_common(1)[0]
        score = (times, common)
        if score >= best_score:  # a decimal comma may stand in every row as well
            best, best_score = sign, score
    return best
