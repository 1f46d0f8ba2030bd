"""A PDF that is tagged for reading aloud (PDF/UA-1), from the same content as the page.

The words go to the typesetter as data and are never read as markup. The fonts are
those that come with matplotlib, so the document looks alike on every machine and its
figures keep their own face.

A reader that is built on Poppler may say "Suspects object is wrong type (boolean)". The entry is
``/MarkInfo << /Marked true /Suspects false >>``, a boolean as ISO 32000-1 (table 321) has it; that reader
takes only ``true`` for one. Nothing is wrong with the file.
"""

from __future__ import annotations

import json
import re
import warnings
from collections.abc import Mapping
from importlib.resources import files
from typing import Any, Final

from survivor.document.elements import (
    MOST_LETTERS,
    Block,
    Figure,
    Listing,
    Paragraph,
    Report,
    Section,
    Table,
    Terms,
)
from survivor.document.page import lines_of
from survivor.errors import ReportError
from survivor.figures.colours import COLOURS
from survivor.figures.letters import letters_of
from survivor.figures.style import font_folder
from survivor.sentences import Text, runs_of

TEMPLATE: Final = "report.typ"

PAGE_POINTS: Final = 481.9  # 170 mm between the margins
SIZES: Final = ((6, 8.4), (9, 7.6), (10_000, 6.6))  # of letters, in points, up to so many columns
_SET: Final[set[str]] = set()  # documents that this process has set: the typesetter keeps threads of its own
_LETTER: Final = 0.6  # width of a letter, in its size
_GUTTER: Final = 2  # letters between columns
MOST_NUMBER: Final = 16  # letters of a number with its limits that stay on one line
FULL_WIDTH: Final = 60  # letters; a narrower table keeps its own width

MOST_TOGETHER: Final = 12  # rows of a table that is not broken over two pages

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
    content = {
        "title": report.title,
        "subject": report.subject,
        "about": report.about,
        "contents": report.contents,
        "answer": _section(report.answer),
        "sections": [_section(section) for section in report.sections],
    }
    template = files("survivor.document").joinpath("templates", TEMPLATE).read_bytes()
    drawings = {_file(key): standing_alone(svg).encode() for key, svg in pictures.items()}
    return typeset(template, content, drawings, name=report.called)


def typeset(
    template: bytes, content: Mapping[str, Any], drawings: Mapping[str, bytes] | None = None, *, name: str
) -> bytes:
    """Return a PDF of a template, which reads ``content`` and the colours as ``sys.inputs.content``.

    Parameters
    ----------
    template
        In the typesetter's language.
    content
        Texts, and lists and mappings of them.
    drawings
        Pictures that the template names, by file.
    name
        What the document is: ``report`` for ``report.pdf`` beside ``report.html``.

    Raises
    ------
    ReportError
        When the typesetter refuses the document.

    Warns
    -----
    UserWarning
        When the typesetter has something to remark, such as that the pages do not settle.
    """
    import typst

    texts = json.dumps(content, ensure_ascii=False)
    pictures = {file: drawing.decode() for file, drawing in (drawings or {}).items()}
    letters = letters_of((texts, *pictures.values()))
    content = {**json.loads(letters.shown(texts)), "letters": letters.said}
    colours = {colour: shades.light for colour, shades in COLOURS.items()}
    inputs = json.dumps({**content, "colours": colours}, ensure_ascii=False, allow_nan=False)
    # The typesetter takes a folder's files by name; its published types know single files only.
    shown = {file: letters.shown(drawing).encode() for file, drawing in pictures.items()}
    sources: Any = {"main.typ": template, **shown}
    _SET.add(name)
    try:
        document, caught = typst.compile_with_warnings(
            sources,
            font_paths=[str(font_folder())],
            ignore_system_fonts=not letters.elsewhere,
            sys_inputs={"content": inputs},
            pdf_standards=["ua-1"],
        )
    except typst.TypstError as error:
        raise ReportError(
            f"the {name} could not be set as a PDF: {error}",
            where=f"{name}.pdf",
            mend=f"read {name}.html instead, and report this with the message",
        ) from error
    for warning in caught:
        warnings.warn(f"{name}.pdf: {warning.message}", stacklevel=2)
    return bytes(document)


def has_set() -> bool:
    """Whether this process has set a document: a copy of it would wait for ever for threads that it lacks."""
    return bool(_SET)


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
        case Table():
            return _table(block)
        case Figure():
            return {
                "what": "figure",
                "file": _file(block.key),
                "title": block.title,
                "described": block.described,
                "finding": _runs(block.finding),
                "caption": _runs(block.caption),
                "table": None if block.table is None else _table(block.table),
            }
        case Paragraph():
            see = None if block.see is None else vars(block.see)
            told = {"kind": block.kind, "label": block.label, "see": see}
            return {"what": "paragraph", "text": _runs(block.text), **told}
        case Listing():
            return {"what": "listing", "items": [_runs(item) for item in block.items], "label": block.label}
        case Terms():
            pairs = [(word, *map(_runs, lines_of(meaning))) for word, meaning in block.pairs]
            return {"what": "terms", "pairs": pairs, "label": block.label, "code": block.code}


def _runs(text: Text) -> list[dict[str, Any]]:
    return [{"text": run.text, "name": run.name} for run in runs_of(text)]


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
        "whole": len(table.rows) <= MOST_TOGETHER,
        "note": _runs(table.note),
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
