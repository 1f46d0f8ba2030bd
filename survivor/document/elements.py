"""What a report is made of: words, tables and figures, with no markup in them.

A page, a document or a workbook decides how these look; nothing here knows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final, Literal, Protocol

import pandas as pd

from survivor.sentences import Text, plain_text
from survivor.words import any_text, number

if TYPE_CHECKING:
    from survivor.figures.style import Drawing, Size


@dataclass(frozen=True)
class Link:
    """Words that lead to more: a section of the same document, or of another one.

    ``href`` is a section's key after ``#``, after the other document's file name where it is in that.
    """

    words: str
    href: str


@dataclass(frozen=True)
class Paragraph:
    """A few sentences.

    ``lead`` is the answer itself; ``note`` stands apart and must not be missed;
    ``small`` may be read later.
    """

    text: Text
    kind: Literal["plain", "lead", "note", "small"] = "plain"
    label: str = ""  # a few words before a note: what it is about
    see: Link | None = None  # where more is said

    @property
    def plain(self) -> str:
        """The text without its label and without markup."""
        return plain_text(self.text)


@dataclass(frozen=True)
class Listing:
    """Short items of equal rank."""

    items: tuple[Text, ...]
    label: str = ""


@dataclass(frozen=True)
class Terms:
    """Words and what they mean, or names and their values; a line break starts a quieter line."""

    pairs: tuple[tuple[str, Text], ...]
    label: str = ""
    code: bool = False  # the values are to be read letter by letter


MOST_LETTERS: Final = 26  # of words that stand on one line of a cell; longer ones wrap


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
    note: Text = ""
    folded: bool = False

    @property
    def letters(self) -> int:
        """About how many letters wide the table is when nothing but long words wraps."""
        return sum(self._column_letters(place) for place in range(len(self.columns)))

    def _column_letters(self, place: int) -> int:
        cells = [row[place] for row in self.rows]
        longest = max(map(len, cells), default=0)
        words = [len(word) for word in self.columns[place].heading.split()]
        wrapped = longest if self.columns[place].numeric else min(longest, MOST_LETTERS)
        return max([wrapped, *words]) + 2


class Drawer(Protocol):
    """Draws a picture, for a wide page or a narrow one."""

    def __call__(self, *, size: Size) -> Drawing:
        """Draw it."""


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
        The same numbers as a table; None where a table of the same document has them.
    """

    key: str
    title: str
    finding: Text
    caption: Text
    draw: Drawer
    table: Table | None

    @property
    def described(self) -> str:
        """What it shows, without markup: its description for one who cannot see it."""
        return plain_text(self.finding)


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
    ``contents``: whether it opens with a list of its sections; a few pages need none.
    ``beside``: the other documents of the same season. ``origin``: where its sources are named.
    """

    title: str
    about: tuple[str, ...]  # a line or two under the title
    answer: Section
    sections: tuple[Section, ...]
    subject: str
    called: str = "report"
    made_from: str = "the records"  # what it rests on, named in its provenance
    contents: bool = True
    beside: tuple[Link, ...] = ()
    origin: str = "#provenance"


def missing(key: str, heading: str, reason: str) -> Section:
    """Return a section that says why there is nothing in it."""
    return Section(key, heading, (Paragraph(reason, kind="note", label="No answer"),))


@dataclass(frozen=True)
class Field:
    """A column of a printed table, and where a frame has what stands in it.

    Attributes
    ----------
    heading
        Its heading.
    names
        Columns of the frame whose values are written in a cell, of one row; without any, the row as it is.
    write
        Writes them.
    numeric
        Whether it holds numbers.
    """

    heading: str
    names: tuple[str, ...]
    write: Callable[..., str]
    numeric: bool = True

    def cell(self, row: Any) -> str:
        """Write the cell of a row."""
        return self.write(*(row[name] for name in self.names)) if self.names else self.write(row)


def words(heading: str, name: str, write: Callable[[Any], str] = str) -> Field:
    """Return a field of words."""
    return Field(heading, (name,), write, numeric=False)


def numbers(heading: str, *names: str, write: Callable[..., str] = number) -> Field:
    """Return a field of numbers, whole ones unless ``write`` says otherwise."""
    return Field(heading, names, write)


def of_row(heading: str, write: Callable[[Any], str], *, numeric: bool = False) -> Field:
    """Return a field that is written from the whole row."""
    return Field(heading, (), write, numeric)


def headed(*of_words: str, numeric: Iterable[str] = ()) -> tuple[Column, ...]:
    """Return columns of words, and after them columns of numbers."""
    return (*map(Column, of_words), *(Column(heading, numeric=True) for heading in numeric))


def places(digits: int, *, sign: bool = False) -> Callable[[float], str]:
    """Return a writer of numbers with so many places after the point."""
    return lambda value: number(value, digits, sign=sign)


def written(
    key: str,
    caption: str,
    frame: pd.DataFrame | Iterable[Any],
    fields: Sequence[Field],
    row_heads: int = 1,
    note: str = "",
) -> Table:
    """Return a table of some fields of a frame, or of other rows, a row for each of its rows."""
    columns = tuple(Column(field.heading, field.numeric) for field in fields)
    held = frame.to_dict("records") if isinstance(frame, pd.DataFrame) else frame
    rows = tuple(tuple(field.cell(row) for field in fields) for row in held)
    return Table(key, caption, columns, rows, row_heads, note)


MOST_ROWS = 60  # a longer table is no longer read on a page


def shortened(table: Table, file: str, most: int = MOST_ROWS) -> Table:
    """Return the table with its first rows only where it is long, and say where the others are.

    Parameters
    ----------
    table
        Any table.
    file
        Name of the CSV file that has every row.
    most
        Rows kept.
    """
    if len(table.rows) <= most:
        return table
    said = f"The first {most} of {number(len(table.rows))} rows; {file} has them all."
    return replace(table, rows=table.rows[:most], note=f"{said} {plain_text(table.note)}".strip())


def table_of(key: str, caption: str, headings: Sequence[str], frame: pd.DataFrame, note: str = "") -> Table:
    """Return a plain table of a frame, column by column; numbers to the right."""
    columns = tuple(
        Column(heading, pd.api.types.is_numeric_dtype(frame[name]))
        for heading, name in zip(headings, frame.columns, strict=True)
    )
    rows = tuple(tuple(any_text(value) for value in row) for row in frame.itertuples(index=False, name=None))
    return Table(key, caption, columns, rows, note=note)
