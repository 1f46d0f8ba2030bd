"""How long the sentences of a document are, as somebody reads them: every text of every document."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from typing import Final

from survivor.analysis import Analysis
from survivor.document.elements import Figure, Listing, Paragraph, Report, Table, Terms
from survivor.document.page import sections_of
from survivor.sentences import Name, Names, Sentence, Text, Value, plain_text, sentences_of

MOST_WORDS: Final = 25
_FEW: Final = 6  # words; a cell with fewer is no sentence
# A sentence ends at a stop with a space and a capital letter, a number or a quotation mark after it.
_SENTENCE_END: Final = re.compile(r"(?<=[.?!])[”)]?\s+(?=[A-Z0-9“−+])|\n")
_PLACE: Final = re.compile(r"^[^:]*\b(?:row|line) \d+[^\]]*(?:\])?: ")  # of a problem: where it is
_QUOTED: Final = re.compile(r"“[^”]*”")
_SPAN: Final = re.compile(r"\((?:95 % CI|range)[^()]*\)")


def texts_of(report: Report) -> Iterator[tuple[str, Text]]:
    """Give every text of a document with where it stands, in reading order."""
    for line in report.about:
        yield "about", line
    for section in sections_of(report):
        yield f"{section.key}: heading", section.heading
        for block in section.blocks:
            where = f"{section.key}: {type(block).__name__.lower()}"
            match block:
                case Paragraph():
                    yield f"{where} label", block.label
                    yield where, block.text
                case Listing():
                    yield from ((where, item) for item in block.items)
                case Terms() if not block.code:
                    for word, meaning in block.pairs:
                        yield f"{where} term", word
                        yield where, meaning
                case Table():
                    yield from _table(where, block)
                case Figure():
                    yield f"{where} title", block.title
                    yield f"{where} finding", block.finding
                    yield f"{where} caption", block.caption
                    if block.table is not None:
                        yield from _table(where, block.table)


def names_of(analysis: Analysis) -> set[str]:
    """Names that somebody gave: each counts as one word, however many it has."""
    found = {one.name for one in (*analysis.settings.milestones, *analysis.settings.gauges)}
    found.add(analysis.settings.study.name)
    for frame in (analysis.records.plots, analysis.records.intervals):
        for column in {"site", "method", "species"} & set(frame.columns):
            found |= set(frame[column].dropna().astype(str))
    return found


def _table(where: str, table: Table) -> Iterator[tuple[str, Text]]:
    yield f"{where} {table.key} caption", table.caption
    yield f"{where} {table.key} note", table.note
    for row in table.rows:
        yield from ((f"{where} {table.key} cell", cell) for cell in row if len(cell.split()) >= _FEW)


def texts_of_findings(content: str) -> Iterator[tuple[str, str]]:
    """Give every text of ``findings.json`` with where it stands."""
    held = json.loads(content)
    for finding in held["findings"]:
        for name, value in finding.items():
            if name in ("question", "answer", "cost") and value:
                yield f"{finding['key']}: {name}", value
            elif isinstance(value, list) and name != "methods":
                yield from ((f"{finding['key']}: {name}", one) for one in value)
    for name in ("cannot", "notes"):
        yield from ((name, one) for one in held[name])


def one_by_one(text: Text, names: Iterable[str] = ()) -> list[str]:
    """Split a text into its sentences, with a name, a quotation or a number with its interval as one word.

    ``names``: those that somebody gave, such as of preparations, sites and the study.
    """
    if not isinstance(text, str):
        return [part for one in sentences_of(text) for part in _split(_bare(one), names)]
    return _split(text, names)


def _bare(one: Sentence) -> str:
    held = {
        place: "N"
        if isinstance(part, Value | Name)
        else "N, N and N"
        if isinstance(part, Names)
        else str(part)
        for place, part in one.parts.items()
    }
    return one.template.format(**held)


def _split(text: str, names: Iterable[str]) -> list[str]:
    text = _PLACE.sub("", text)
    for name in sorted(filter(None, names), key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", "N", text, flags=re.IGNORECASE)
    text = _SPAN.sub("(I)", _QUOTED.sub("N", text))
    return [one.strip() for one in _SENTENCE_END.split(text) if one and one.strip()]


def faults(texts: Iterable[tuple[str, Text]], names: Iterable[str] = ()) -> list[str]:
    """List the sentences that are too long or have two parentheses, each with where it stands."""
    known = tuple(names)
    found: dict[str, str] = {}
    for where, text in texts:
        # A cell, and what stands under a term, may be a list: its items are read one by one.
        listed = " cell" in where or ": terms" in where
        read = one_by_one(text, known)
        for one in [item for part in read for item in part.split("; ")] if listed else read:
            words = len(one.split())
            if words > MOST_WORDS or one.count("(") > 1:
                found.setdefault(one, f"{where} [{words} words, {one.count('(')} parentheses]: {one}")
    return list(found.values())


def shown(text: Text) -> str:
    """Write a text as somebody reads it."""
    return plain_text(text)
