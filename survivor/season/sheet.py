"""A daily file of a gauge or a weather station as rows of text, and which of its columns is which."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from survivor.errors import SeasonError

DATE_WORDS: Final = ("date", "year", "month", "day")
_HEADER_WITHIN: Final = 40  # rows; notes may stand above the header
_DELIMITERS: Final = ",;\t|"


@dataclass(frozen=True)
class Layout:
    """What a kind of daily file may hold.

    Attributes
    ----------
    kind
        What it is of: ``a gauge``.
    words
        Our words for its columns; those of the date among them.
    word_of
        The words of a header, in small letters -> our word, or None; forgiving.
    needed
        One of these sets of words must be there, beside a date.
    needs
        The same for a reader: ``an amount``.
    section
        Where the study file names its columns.
    also
        Other words for a column that the study file may use -> ours.
    """

    kind: str
    words: tuple[str, ...]
    word_of: Callable[[list[str]], str | None]
    needed: tuple[frozenset[str], ...]
    needs: str
    section: str
    also: Mapping[str, str]

    def enough(self, places: Mapping[str, int]) -> bool:
        """Whether these columns are all that is needed."""
        dated = "date" in places or {"year", "month", "day"} <= set(places)
        return dated and any(words <= set(places) for words in self.needed)


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


def date_word(tokens: list[str]) -> str | None:
    """Tell a column of dates, or of a part of one, by the words of its header."""
    if "date" in tokens:
        return "date"
    parts = {"year": ("year", "yr"), "month": ("month", "mth", "mon"), "day": ("day", "dy")}
    short = bool(tokens) and len(tokens) <= 3
    return next((word for word, spellings in parts.items() if short and tokens[0] in spellings), None)


def _rain_word(tokens: list[str]) -> str | None:
    """Tell a column of a gauge's file; the longer descriptions are looked at first."""
    if any(token.startswith("qual") or token in ("flag", "status") for token in tokens):
        return "quality"
    if any(token in ("period", "days", "accumulated", "accumulation") for token in tokens):
        return "days_covered"
    if word := date_word(tokens):
        return word
    if any(token.startswith(("rain", "precip")) or token in ("amount", "mm", "fall") for token in tokens):
        return "rain_mm"
    return None


RAIN: Final = Layout(
    kind="a gauge",
    words=(*DATE_WORDS, "rain_mm", "days_covered", "quality"),
    word_of=_rain_word,
    needed=(frozenset({"rain_mm"}),),
    needs="an amount",
    section="[gauges.columns]",
    also={"amount": "rain_mm", "rain": "rain_mm", "rainfall": "rain_mm", "period": "days_covered"},
)


def read_sheet(file: Path, named: Mapping[str, str], layout: Layout = RAIN) -> Sheet:
    """Read a text file and tell its columns.

    Parameters
    ----------
    file
        Comma, semicolon or tab between cells; UTF-8, UTF-16 or Windows text.
    named
        Our word -> header, from the study file; what is not named is matched forgivingly.
    layout
        The kind of file.

    Raises
    ------
    SeasonError
        When the file is absent, empty or not text, or a needed column is not found.
    """
    text = _text(file)
    lines = text.splitlines()
    wanted = _named(named, file.name, layout)
    for skip in range(min(_HEADER_WITHIN, len(lines))):
        delimiter = max(_DELIMITERS, key=lines[skip].count)
        headers = next(csv.reader([lines[skip]], delimiter=delimiter))
        places = _match(headers, wanted, layout)
        if layout.enough(places):
            reader = csv.reader(io.StringIO("\n".join(lines[skip + 1 :])), delimiter=delimiter)
            rows = tuple(
                (skip + 2 + number, cells)
                for number, cells in enumerate(reader)
                if any(cell.strip() for cell in cells)
            )
            _one_column_a_word(headers, wanted, file.name, layout)
            return Sheet(file.name, tuple(header.strip() for header in headers), places, rows)
    first = next(csv.reader([next((line for line in lines if line.strip()), "")]))
    absent = [header for header in wanted.values() if _plain(header) not in map(_plain, first)]
    raise SeasonError(
        f"no header {', '.join(map(repr, absent))}" if absent else "the columns of this file cannot be told",
        where=file.name,
        mend=f"it needs {layout.needs} and a date (or year, month, day): name them under {layout.section} in "
        f"the study file; the first row reads {', '.join(cell.strip() for cell in first)!r}",
    )


def _text(file: Path) -> str:
    if not file.is_file():
        raise SeasonError(
            "there is no such file", where=file.name, mend="check the file's name in the study file"
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
        raise SeasonError("the file is empty", where=file.name, mend="export the record again")
    return text


def _named(named: Mapping[str, str], file: str, layout: Layout) -> dict[str, str]:
    wanted = {layout.also.get(word, word): header for word, header in named.items()}
    unknown = [word for word in wanted if word not in layout.words]
    if unknown:
        raise SeasonError(
            f"{unknown[0]!r} is no column of {layout.kind}",
            where=f"{layout.section} for {file}",
            mend=f"use: {', '.join(layout.words)}",
        )
    return wanted


def _plain(header: str) -> str:
    return " ".join(re.sub(r"[^a-z0-9]+", " ", header.casefold()).split())


def _match(headers: list[str], wanted: Mapping[str, str], layout: Layout) -> dict[str, int]:
    plain = [_plain(header) for header in headers]
    places = {word: plain.index(_plain(header)) for word, header in wanted.items() if _plain(header) in plain}
    for place, header in enumerate(plain):
        word = layout.word_of(header.split())
        if word is not None and word not in wanted and word not in places and place not in places.values():
            places[word] = place
    return places if set(wanted) <= set(places) else {}


def _one_column_a_word(headers: list[str], wanted: Mapping[str, str], file: str, layout: Layout) -> None:
    taken = {_plain(header) for header in wanted.values()}
    for word in ("date", *sorted(frozenset().union(*layout.needed))):
        alike = [
            header.strip()
            for header in headers
            if layout.word_of(_plain(header).split()) == word and _plain(header) not in taken
        ]
        if word not in wanted and len(alike) > 1:
            raise SeasonError(
                f"several columns may be {word}: {', '.join(alike)}",
                where=file,
                mend=f'name one in the study file: {layout.section} {word} = "{alike[0]}"',
            )
