"""What a report is made of: words, tables and figures, with no markup in them.

A page, a document or a workbook decides how these look; nothing here knows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from survivor.figures.style import Drawing, Size


@dataclass(frozen=True)
class Paragraph:
    """A few sentences.

    ``lead`` is the answer itself; ``note`` stands apart and must not be missed;
    ``small`` may be read later.
    """

    text: str
    kind: Literal["plain", "lead", "note", "small"] = "plain"
    label: str = ""  # a few words before a note: what it is about
    see: str = ""  # key of the section that says more


@dataclass(frozen=True)
class Listing:
    """Short items of equal rank."""

    items: tuple[str, ...]
    label: str = ""


@dataclass(frozen=True)
class Terms:
    """Words and what they mean, or names and their values; a line break starts a quieter line."""

    pairs: tuple[tuple[str, str], ...]
    label: str = ""
    code: bool = False  # the values are to be read letter by letter


@dataclass(frozen=True)
class Column:
    """A column of a table: its heading, and whether it holds numbers."""

    heading: str
    numeric: bool = False


@dataclass(frozen=True)
class Table:
    """A table of finished texts; the first ``row_heads`` cells of a row name it.

    ``key`` is unique in the report. ``note`` goes below. A ``folded`` table is opened by
    those who want it.
    """

    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    row_heads: int = 1
    note: str = ""
    folded: bool = False


@dataclass(frozen=True)
class Figure:
    """A picture, with its words and its numbers.

    Attributes
    ----------
    key
        Small letters, figures and hyphens; unique in the report.
    title
        What the picture is of.
    finding
        What it shows, in a sentence, for one who can't see it; also its description.
    caption
        How to read it.
    draw
        Draws it, wide or narrow.
    table
        The same numbers as a table.
    open_table
        The table is part of the reading, not an aside.
    """

    key: str
    title: str
    finding: str
    caption: str
    draw: Callable[[Size], Drawing]
    table: Table
    open_table: bool = False


Block = Paragraph | Listing | Terms | Table | Figure


@dataclass(frozen=True)
class Section:
    """A heading and what stands under it."""

    key: str
    heading: str
    blocks: tuple[Block, ...] = ()
    parts: tuple[Section, ...] = ()


@dataclass(frozen=True)
class Report:
    """A whole report, in reading order; the answer stands alone on the first screen.

    ``subject`` goes with the title in a window's name; ``called`` is what the page calls itself.
    """

    title: str
    about: tuple[str, ...]  # a line or two under the title
    answer: Section
    sections: tuple[Section, ...]
    language: str = "en-GB"
    subject: str = "establishment survival"
    called: str = "report"
    made_from: str = "the records"  # what it rests on, named in its provenance


def missing(key: str, heading: str, reason: str) -> Section:
    """Return a section that says why there is nothing in it."""
    return Section(key, heading, (Paragraph(reason, kind="note", label="No answer"),))
