"""Reads a page and a tagged document as a reader's tools do: elements, attributes, words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

import pikepdf
from markupsafe import Markup

from survivor.document.elements import Report
from survivor.document.page import Pictures, figures_of, page_of

_VOID = {"meta", "link", "br", "hr", "img", "input", "use", "path"}


@dataclass
class Element:
    name: str
    attributes: dict[str, str]
    children: list[Element | str] = field(default_factory=list)

    def text(self, leave_out: tuple[str, ...] = ("style", "script")) -> str:
        if self.name in leave_out:
            return ""
        return "".join(
            part if isinstance(part, str) else part.text(leave_out) + " " for part in self.children
        )

    def all(self, *names: str) -> list[Element]:
        found = []
        for part in self.children:
            if isinstance(part, Element):
                if not names or part.name in names:
                    found.append(part)
                found.extend(part.all(*names))
        return found


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("root", {})
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(element)
        if tag not in _VOID or tag in ("use", "path"):
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].name == tag, f"</{tag}> closes <{self.open[-1].name}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def read(page: str) -> Element:
    """Return the page as a tree; fails where a tag is not closed in order."""
    reader = _Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == [reader.root], f"not closed: {[e.name for e in reader.open[1:]]}"
    return reader.root


def elements(node: pikepdf.Object) -> Iterator[pikepdf.Dictionary]:
    """Go through the structure tree in reading order."""
    kids = node.get("/K")
    if kids is None:
        return
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from elements(kid)


def tags(pdf: pikepdf.Pdf) -> list[str]:
    return [str(element.S) for element in elements(pdf.Root.StructTreeRoot)]


def undrawn(report: Report) -> str:
    """Return the page of a report with its figures left blank, for tests of what is said beside them."""
    blank = {figure.key: Markup() for figure in figures_of(report)}
    return page_of(report, Pictures(blank, blank))
