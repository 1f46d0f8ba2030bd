"""A gauge's file as rows of text, and which of its columns is which."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from survivor.errors import SeasonError

WORDS: Final = ("date", "year", "month", "day", "rain_mm", "days_covered", "quality")
_ALSO: Final = {"amount": "rain_mm", "rain": "rain_mm", "rainfall": "rain_mm", "period": "days_covered"}
_HEADER_WITHIN: Final = 40  # rows; notes may stand above the header
_DELIMITERS: Final = ",;\t|"


@dataclass(frozen=True)
class Sheet:
    """Rows of text under a header that is understood.

    Attributes
    ----------
    file
        Name of the file without folders.
    headers
        As written.
    places
        Our word -> column number.
    rows
        Number of the row in the file (first row 1) and its cells; blank rows are left out.
    """

    file: str
    headers: tuple[str, ...]
    places: Mapping[str, int]
    rows: tuple[tuple[int, list[str]], ...]

    def cell(self, cells: list[str], word: str) -> str:
        """Return the text under our word; empty where the file has no such column or cell."""
        place = self.places.get(word)
        return "" if place is None or place >= len(cells) else cells[place]

    def header_of(self, word: str) -> str:
        """Return the header as written over our word."""
        place = self.places.get(word)
        return word if place is None else self.headers[place]


def read_sheet(file: Path, named: Mapping[str, str]) -> Sheet:
    """Read a text file and tell its columns.

    Parameters
    ----------
    file
        Comma, semicolon or tab between cells; UTF-8, UTF-16 or Windows text.
    named
        Our word -> header, from the study file; what is not named is matched forgivingly.

    Raises
    ------
    SeasonError
        When the file is absent, empty or not text, or a needed column is not found.
    """
    text = _text(file)
    lines = text.splitlines()
    wanted = _named(named, file.name)
    for skip in range(min(_HEADER_WITHIN, len(lines))):
        delimiter = max(_DELIMITERS, key=lines[skip].count)
        headers = next(csv.reader([lines[skip]], delimiter=delimiter))
        places = _match(headers, wanted)
        if _enough(places):
            reader = csv.reader(io.StringIO("\n".join(lines[skip + 1 :])), delimiter=delimiter)
            rows = tuple(
                (skip + 2 + number, cells)
                for number, cells in enumerate(reader)
                if any(cell.strip() for cell in cells)
            )
            _one_column_a_word(headers, wanted, file.name)
            return Sheet(file.name, tuple(header.strip() for header in headers), places, rows)
    first = next(csv.reader([next((line for line in lines if line.strip()), "")]))
    absent = [header for header in wanted.values() if _plain(header) not in map(_plain, first)]
    raise SeasonError(
        f"no header {', '.join(map(repr, absent))}" if absent else "the columns of this file cannot be told",
        where=file.name,
        mend="it needs an amount and a date (or year, month, day): name them under [gauges.columns] in "
        f"the study file; the first row reads {', '.join(cell.strip() for cell in first)!r}",
    )


def _text(file: Path) -> str:
    if not file.is_file():
        raise SeasonError(
            "there is no such file", where=file.name, mend="check the gauge's file name in the study file"
        )
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise SeasonError(
            f"the file cannot be opened ({error.strerror})",
            where=file.name,
            mend="close it elsewhere, or check its rights",
        ) from error
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = raw.decode("utf-16", errors="replace")
    elif b"\x00" in raw or raw.startswith(b"PK\x03\x04"):
        raise SeasonError(
            "this is not a text file",
            where=file.name,
            mend="unzip it, or save the sheet as CSV, and name that file",
        )
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", errors="replace")
    if not text.strip():
        raise SeasonError("the file is empty", where=file.name, mend="export the gauge's record again")
    return text


def _named(named: Mapping[str, str], file: str) -> dict[str, str]:
    wanted = {_ALSO.get(word, word): header for word, header in named.items()}
    unknown = [word for word in wanted if word not in WORDS]
    if unknown:
        raise SeasonError(
            f"{unknown[0]!r} is no column of a gauge",
            where=f"columns of the gauge in {file}",
            mend=f"use: {', '.join(WORDS)}",
        )
    return wanted


def _plain(header: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", header.casefold()).split())


def _word_of(header: str) -> str | None:
    """Return our word for a header, forgivingly; the longer descriptions are looked at first."""
    tokens = _plain(header).split()
    if any(token.startswith("qual") or token in ("flag", "status") for token in tokens):
        return "quality"
    if any(token in ("period", "days", "accumulated", "accumulation") for token in tokens):
        return "days_covered"
    if "date" in tokens:
        return "date"
    for word, spellings in {
        "year": ("year", "yr"),
        "month": ("month", "mth", "mon"),
        "day": ("day", "dy"),
    }.items():
        if tokens and tokens[0] in spellings and len(tokens) <= 3:
            return word
    if any(token.startswith(("rain", "precip")) or token in ("amount", "mm", "fall") for token in tokens):
        return "rain_mm"
    return None


def _match(headers: list[str], wanted: Mapping[str, str]) -> dict[str, int]:
    plain = [_plain(header) for header in headers]
    places = {word: plain.index(_plain(header)) for word, header in wanted.items() if _plain(header) in plain}
    for place, header in enumerate(headers):
        word = _word_of(header)
        if word is not None and word not in wanted and word not in places and place not in places.values():
            places[word] = place
    return places if set(wanted) <= set(places) else {}


def _one_column_a_word(headers: list[str], wanted: Mapping[str, str], file: str) -> None:
    taken = {_plain(header) for header in wanted.values()}
    for word in ("rain_mm", "date"):
        alike = [h.strip() for h in headers if _word_of(h) == word and _plain(h) not in taken]
        if word not in wanted and len(alike) > 1:
            raise SeasonError(
                f"several columns may be {word}: {', '.join(alike)}",
                where=file,
                mend=f'name one in the study file: [gauges.columns] {word} = "{alike[0]}"',
            )


def _enough(places: Mapping[str, int]) -> bool:
    return "rain_mm" in places and ("date" in places or {"year", "month", "day"} <= set(places))
