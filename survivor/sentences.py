"""Sentences that keep their values: a template, what stands in it, and the table cell each number is from.

A sentence is made once, where it is printed, and is never searched or edited afterwards. Names of
preparations are set apart from the words round them: in italics in a page or a document, between
quotation marks in plain text.
"""

from __future__ import annotations

import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

_FORMATTER: Final = string.Formatter()
OPEN, CLOSE = "“", "”"


@dataclass(frozen=True)
class Cell:
    """A cell of a table that goes out with the report: the table, what picks its row, and the column."""

    table: str
    row: tuple[tuple[str, str], ...]
    column: str


def cell(table: str, column: str, **row: object) -> Cell:
    """Name a cell: ``cell("contrasts", "estimate", method="rip")``."""
    return Cell(table, tuple((name, str(value)) for name, value in row.items()), column)


@dataclass(frozen=True)
class Value:
    """A number of a sentence: as it is printed, what it is, and the cell that it is from.

    ``scale`` is what the number in the cell is multiplied by to be the one that is printed: -1 where
    a difference is told the other way round ("17 fewer"), 100 where a share is told per 100.
    """

    text: str
    number: float
    cell: Cell | None = None
    scale: float = 1.0


@dataclass(frozen=True)
class Name:
    """A name that somebody gave, such as that of a preparation: set apart from the words round it."""

    text: str


@dataclass(frozen=True)
class Names:
    """Several names, listed with commas and "and"."""

    names: tuple[str, ...]


Part = Value | Name | Names | str


@dataclass(frozen=True)
class Run:
    """A stretch of text, and whether it is a name."""

    text: str
    name: bool = False


@dataclass(frozen=True)
class Sentence:
    """A finished sentence with its values.

    Attributes
    ----------
    template
        Words with ``{places}``, from a module of templates.
    parts
        What stands in each place.
    """

    template: str
    parts: Mapping[str, Part] = field(default_factory=dict)

    @property
    def runs(self) -> tuple[Run, ...]:
        """The sentence in stretches, names apart."""
        found: list[Run] = []
        for words, place, _, _ in _FORMATTER.parse(self.template):
            if words:
                found.append(Run(words))
            if place is not None:
                found.extend(_runs(self.parts[place]))
        return tuple(found)

    @property
    def values(self) -> tuple[Value, ...]:
        """The numbers of the sentence, in the order in which they stand."""
        places = [place for _, place, _, _ in _FORMATTER.parse(self.template) if place is not None]
        return tuple(part for place in places if isinstance(part := self.parts[place], Value))

    def __str__(self) -> str:
        return "".join(f"{OPEN}{run.text}{CLOSE}" if run.name else run.text for run in self.runs)


def say(template: str, **parts: Part) -> Sentence:
    """Make a sentence of a template and what stands in its places.

    Raises
    ------
    KeyError
        When a place of the template has nothing to stand in it.

    Examples
    --------
    >>> str(say("{name} had {more} more alive.", name=Name("rip"), more=Value("12", 12.3)))
    '“rip” had 12 more alive.'
    """
    made = Sentence(template, parts)
    made.runs  # noqa: B018 (a place left empty is found where the sentence is made)
    return made


Text = str | Sentence | tuple[Sentence, ...]
NEW_LINE: Final = Sentence("\n")  # among sentences: what follows stands on a line of its own


def sentences_of(text: Text) -> tuple[Sentence, ...]:
    """Return the sentences of a text that keep their values; a plain string has none."""
    if isinstance(text, Sentence):
        return (text,)
    return () if isinstance(text, str) else text


def runs_of(text: Text) -> tuple[Run, ...]:
    """Return a text in stretches, its names apart."""
    if isinstance(text, str):
        return (Run(text),) if text else ()
    found: list[Run] = []
    for one in sentences_of(text):
        if found:
            found.append(Run(" "))
        first, *others = one.runs or (Run(""),)
        # A name that begins a sentence has a capital, as any word does; in quotation marks it need not.
        found.append(Run(first.text[:1].upper() + first.text[1:], name=True) if first.name else first)
        found.extend(others)
    return tuple(found)


def plain_text(text: Text) -> str:
    """Write a text without markup, names between quotation marks."""
    return text if isinstance(text, str) else " ".join(map(str, sentences_of(text)))


class Stated:
    """A result that says itself in sentences (``said``), and so in words (``statement``)."""

    said: tuple[Sentence, ...]

    @property
    def statement(self) -> str:
        """The result in words."""
        return plain_text(self.said)


def _runs(part: Part) -> Iterable[Run]:
    if isinstance(part, str):
        return (Run(part),) if part else ()
    if isinstance(part, Value):
        return (Run(part.text),)
    if isinstance(part, Name):
        return (Run(part.text, name=True),)
    runs: list[Run] = []
    for place, name in enumerate(part.names):
        if place:
            last = place == len(part.names) - 1
            runs.append(Run((" and " if len(part.names) == 2 else ", and ") if last else ", "))
        runs.append(Run(name, name=True))
    return runs
