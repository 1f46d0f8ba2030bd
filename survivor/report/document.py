"""The report as a PDF that is tagged for reading aloud (PDF/UA-1), from the same content as the page.

The words go to the typesetter as data and are never read as markup. The fonts are
those that come with matplotlib, so the document looks alike on every machine and its
figures keep their own face.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from importlib.resources import files
from typing import Any, Final

from survivor.errors import ReportError
from survivor.figures.fonts import font_folder
from survivor.figures.style import COLOURS
from survivor.report.content.elements import Block, Figure, Listing, Paragraph, Report, Section, Table, Terms

DOCUMENT: Final = "report.pdf"
TEMPLATE: Final = "report.typ"

PAGE_POINTS: Final = 481.9  # 170 mm between the margins
SIZES: Final = ((6, 8.0), (9, 7.2), (10_000, 6.4))  # of letters, in points, up to so many columns
_LETTER: Final = 0.6  # width of a letter, in its size
_GUTTER: Final = 2  # letters between columns
MOST_NUMBER: Final = 16  # letters of a number with its limits that stay on one line
FULL_WIDTH: Final = 60  # letters; a narrower table keeps its own width
MOST_LETTERS: Final = 26  # of words that stand on one line of a cell; longer ones wrap

_VARIABLE: Final = re.compile(r"var\(--[a-z0-9]+, ?(#[0-9a-fA-F]{6})\)")


def document_of(report: Report, pictures: Mapping[str, str]) -> bytes:
    """Return the report as a PDF.

    Parameters
    ----------
    report
        What is said.
    pictures
        Each figure's SVG by its key, as the page has it.

    Returns
    -------
    bytes
        The same report gives the same bytes: the document bears no date of making.

    Raises
    ------
    ReportError
        When the typesetter refuses the document.
    """
    import typst

    content = {
        "title": report.title,
        "about": list(report.about),
        "answer": _section(report.answer),
        "sections": [_section(section) for section in report.sections],
        "colours": {name: colour.light for name, colour in COLOURS.items()},
    }
    template = files("survivor.report").joinpath("templates", TEMPLATE).read_bytes()
    drawings = {_file(key): standing_alone(svg).encode() for key, svg in pictures.items()}
    # The typesetter takes a folder's files by name; its published types know single files only.
    sources: Any = {"main.typ": template, **drawings}
    try:
        found = typst.compile(
            sources,
            font_paths=[str(font_folder())],
            ignore_system_fonts=True,
            sys_inputs={"report": json.dumps(content, ensure_ascii=False, allow_nan=False)},
            pdf_standards=["ua-1"],
        )
    except typst.TypstError as error:
        raise ReportError(
            f"the report could not be set as a PDF: {error}",
            where=DOCUMENT,
            mend="read report.html instead, and report this with the message",
        ) from error
    return bytes(found)


def standing_alone(svg: str) -> str:
    """Return a page's drawing as SVG that stands by itself, in the colours of a light page."""
    # A page's drawing is marked as safe markup; its own replace would escape what is put in.
    named = str(svg).replace(
        "<svg ", '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" ', 1
    )
    return _VARIABLE.sub(r"\1", named).replace(' href="#', ' xlink:href="#')


def _section(section: Section) -> dict[str, Any]:
    return {
        "key": section.key,
        "heading": section.heading,
        "blocks": [_block(block) for block in section.blocks],
        "parts": [_section(part) for part in section.parts],
    }


def _block(block: Block) -> dict[str, Any]:
    match block:
        case Paragraph():
            words = {"text": block.text, "kind": block.kind, "label": block.label, "see": block.see}
            return {"what": "paragraph", **words}
        case Listing():
            return {"what": "listing", "items": list(block.items), "label": block.label}
        case Terms():
            return {
                "what": "terms",
                "pairs": [list(pair) for pair in block.pairs],
                "label": block.label,
                "code": block.code,
            }
        case Table():
            return _table(block)
        case Figure():
            return {
                "what": "figure",
                "file": _file(block.key),
                "title": block.title,
                "finding": block.finding,
                "caption": block.caption,
                "table": _table(block.table),
            }


def _table(table: Table) -> dict[str, Any]:
    shares = _shares(table)
    return {
        "what": "table",
        "caption": table.caption,
        "full": sum(shares) > FULL_WIDTH,
        "columns": [
            {"heading": column.heading, "numeric": column.numeric, "share": share}
            for column, share in zip(table.columns, shares, strict=True)
        ],
        "rows": [list(row) for row in table.rows],
        "note": table.note,
    }


def _shares(table: Table) -> list[int]:
    """Width of each column in letters: a number stays on its line, long words may wrap.

    Where the page is narrower than all columns together, no column becomes narrower than its longest
    word, and what room is left goes to those with most to say.
    """
    wanted, least, more = [], [], []
    for place, column in enumerate(table.columns):
        cells = [row[place] for row in table.rows]
        longest = max(map(len, cells), default=0)
        words = [len(word) for text in (column.heading, *cells) for word in text.split()]
        wrapped = min(longest, MOST_LETTERS + max(longest - MOST_LETTERS, 0) // 3)
        wanted.append(max([longest if column.numeric else wrapped, *words, 3]) + _GUTTER)
        least.append(max([min(longest, MOST_NUMBER) if column.numeric else 0, *words, 3]) + _GUTTER)
        more.append(max(longest + _GUTTER - least[-1], 0))
    room = _letters(len(table.columns))
    if sum(wanted) <= room:
        return wanted
    spare = min(max(room - sum(least), 0) / max(sum(more), 1), 1.0)
    return [low + int(extra * spare) for low, extra in zip(least, more, strict=True)]


def _letters(columns: int) -> int:
    """Letters on a line of the page's width, in the size that the template sets so many columns in."""
    size = next(size for most, size in SIZES if columns <= most)
    return int(PAGE_POINTS / (size * _LETTER))


def _file(key: str) -> str:
    return f"{key}.svg"
