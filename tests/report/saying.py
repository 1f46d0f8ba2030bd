"""Which sentence of a report says which numbers of which table.

``Said`` is a wording whose numbers are read back, all of them from one row; ``Stated`` one whose
numbers are in no table, with the reason. A number of a sentence that neither accounts for is a fault.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tests.report.reading import Element

Row = Mapping[str, Any]
NUMBER = r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:\.\d+)?"
_MARKS = {None: "#", "span": "# to #", "money": r"# \w+", "name": "<name>"}
_ANY = re.compile(NUMBER)
_WORDS = {"p", "li", "figcaption", "dd", "caption", "summary", "h1", "h2", "h3", "h4"}
_SKIPPED = {"table", "svg", "style", "script", "nav"}


@dataclass(frozen=True)
class Said:
    """A wording, the rows that it may tell of, and how a row would have each group of it written."""

    wording: str  # as ``compiled`` reads it
    rows: Callable[[Any], Iterable[Row]]
    written: Callable[[Row], Mapping[str, str]]


@dataclass(frozen=True)
class Stated:
    """A wording whose numbers are in no table, and why."""

    wording: str
    reason: str
    without: str = ""  # only in a report without this sheet


def sentences(page: Element) -> list[tuple[str, str]]:
    """Return the texts of a page outside its tables, each with the section or figure that it stands in."""
    found: list[tuple[str, str]] = []

    def walk(element: Element, place: str) -> None:
        for part in element.children:
            if not isinstance(part, Element) or part.name in _SKIPPED:
                continue
            here = part.attributes.get("id", place)
            if part.name == "dl" and "code" in part.attributes.get("class", ""):
                continue
            if part.name in _WORDS:
                text = " ".join(part.text().split())
                found.append((place if part.name != "dd" else here, text))
            else:
                walk(part, here)

    walk(page, "")
    return found


def compiled(wording: str, names: Sequence[str]) -> re.Pattern[str]:
    """Return a wording as a pattern.

    ``#`` is a number and ``<name>`` a preparation; ``«x»``, ``«x: span»``, ``«x: money»`` and ``«x: name»``
    are a number, two of them, an amount and a preparation that a row has to bear out.
    """
    marked = re.sub(r"«(\w+)(?:: (\w+))?»", lambda found: f"(?P<{found[1]}>{_MARKS[found[2]]})", wording)
    either = "|".join(re.escape(name) for name in sorted(names, key=len, reverse=True))
    return re.compile(marked.replace("<name>", f"(?i:{either})").replace("#", f"(?:{NUMBER})"))


def faults(
    texts: Iterable[tuple[str, str]], told: Sequence[Said | Stated], names: Sequence[str], tables: Any
) -> tuple[list[str], set[int]]:
    """Return what no table bears out, and which of the wordings were met (by place)."""
    patterns = [compiled(each.wording, names) for each in told]
    wrong: list[str] = []
    met: set[int] = set()
    for place, text in texts:
        free = {found.span() for found in _ANY.finditer(text)}
        for number, (each, pattern) in enumerate(zip(told, patterns, strict=True)):
            for match in pattern.finditer(text):
                covered = _covered(match, each)
                inside = {
                    span for span in free if any(low <= span[0] and span[1] <= high for low, high in covered)
                }
                if not inside:
                    continue
                if isinstance(each, Said) and not _borne_out(match, each, tables):
                    continue
                if isinstance(each, Stated) and each.without in tables:
                    continue
                met.add(number)
                free -= inside
        wrong += [f"{place}: {text[a:b]} in “{text[max(a - 60, 0) : b + 40]}”" for a, b in sorted(free)]
    return wrong, met


def _covered(match: re.Match[str], each: Said | Stated) -> list[tuple[int, int]]:
    """Parts of a text that a wording accounts for: its groups, or the whole of it where it has none."""
    if isinstance(each, Stated) or not match.re.groupindex:
        return [match.span()]
    return [match.span(name) for name in match.re.groupindex if match.group(name) is not None]


def _borne_out(match: re.Match[str], each: Said, tables: Any) -> bool:
    said = {name: text.lower() for name, text in match.groupdict().items() if text is not None}
    for row in each.rows(tables):
        written = {name: text.lower() for name, text in each.written(row).items()}
        if said.items() <= written.items():
            return True
    return False
