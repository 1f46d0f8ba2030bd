"""The guideline as a PDF of one or two pages, tagged for reading aloud (PDF/UA-1).

Words go to the typesetter as data and are never read as markup.
"""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from survivor.errors import ReportError
from survivor.figures.style import COLOURS
from survivor.guideline.calendar import calendar_table
from survivor.guideline.content import details_table, lead, matrix
from survivor.guideline.making import Guideline
from survivor.guideline.rule import NOT_ANSWERED
from survivor.guideline.wording import (
    HOW_TO_READ,
    NO_INSTRUCTION,
    cautions_touched,
    data_note,
    next_sentence,
    radius_words,
)
from survivor.report.content.cautions import CAUTIONS
from survivor.report.content.elements import Table

TEMPLATE: Final = "guideline.typ"
_MOST_CHANGES = 8  # of the newest version; the page has them all
_MOST_BEFORE = 5  # of a version before
_MOST_ROWS = 16  # of what stands behind the advice


def guideline_pdf(guideline: Guideline) -> bytes:
    """Return the document; the same guideline gives the same bytes.

    Raises
    ------
    ReportError
        When the typesetter is not installed, or refuses the document.
    """
    try:
        import typst
    except ImportError as error:
        raise ReportError(
            "the typesetter is not installed", where="guideline.pdf", mend="pip install typst"
        ) from error
    template: Any = files("survivor.guideline").joinpath("templates", TEMPLATE).read_bytes()
    try:
        made = typst.compile(
            template,
            font_paths=[str(_fonts())],
            ignore_system_fonts=True,
            sys_inputs={"guideline": json.dumps(_content(guideline), ensure_ascii=False, allow_nan=False)},
            pdf_standards=["ua-1"],
        )
    except typst.TypstError as error:
        raise ReportError(
            f"the guideline could not be set as a PDF: {error}",
            where="guideline.pdf",
            mend="read guideline.html instead, and report this with the message",
        ) from error
    return bytes(made)


def _fonts() -> Path:
    """Give the folder of the fonts that come with the drawing library, without loading it."""
    found = find_spec("matplotlib")
    assert found is not None, "a dependency"
    assert found.submodule_search_locations, "a package"
    return Path(next(iter(found.submodule_search_locations))) / "mpl-data" / "fonts" / "ttf"


def _content(guideline: Guideline) -> dict[str, Any]:
    about, newest = guideline.file.guideline, guideline.changes[0]
    moved = [*newest.also, *newest.moved, *newest.stood]
    if len(moved) > _MOST_CHANGES:
        moved = [*moved[:_MOST_CHANGES], f"And {len(moved) - _MOST_CHANGES} more, on the page."]
    details = _shortened(details_table(guideline))
    calendar = calendar_table(guideline)
    return {
        "title": about.name,
        "version": f"Version {about.version}, {about.dated}",
        "district": about.district,
        "rests": f"Rests on {data_note(guideline)}.",
        "lead": lead(guideline),
        "read": f"Plants alive per 100 planted at {about.milestone}, with 95 % limits. {HOW_TO_READ}",
        "caution": NO_INSTRUCTION,
        "touched": cautions_touched(guideline),
        "matrix": _table(matrix(guideline)),
        "details": _table(details),
        "details_note": details.note,
        "radius": [[each.ground, radius_words(each).replace("\n", " ")] for each in guideline.radius],
        "practice": [
            f"{each.preparation} on {each.ground}: {each.says} ({each.source})."
            for each in guideline.file.practice
        ],
        "calendar": _table(calendar),
        "calendar_note": calendar.note,
        "changed": f"What version {newest.number} changed",
        "changes": moved,
        "next": next_sentence(guideline) if len(guideline.next) else "",
        "history": [
            f"Version {change.number}{', ' + change.dated if change.dated else ''}: "
            + " ".join([*change.also, *change.moved[:_MOST_BEFORE], *_rest(change.moved)])
            for change in guideline.changes[1:]
        ],
        "rule": list(guideline.version.rule),
        "cautions": [[caution.subject, caution.said_in("guideline")] for caution in CAUTIONS],
        "colours": {name: colour.light for name, colour in COLOURS.items()},
    }


def _rest(moved: tuple[str, ...]) -> list[str]:
    more = len(moved) - _MOST_BEFORE
    return [f"And {more} more, on the page."] if more > 0 else []


def _shortened(table: Table) -> Table:
    """Leave out what is not answered where there is much: the page has every row."""
    if len(table.rows) <= _MOST_ROWS:
        return table
    answered = tuple(row for row in table.rows if row[2] != NOT_ANSWERED)
    left = len(table.rows) - len(answered[:_MOST_ROWS])
    return replace(table, rows=answered[:_MOST_ROWS], note=f"{table.note} {left} more rows are on the page.")


def _table(table: Table) -> dict[str, Any]:
    return {
        "caption": table.caption,
        "columns": [column.heading for column in table.columns],
        "numeric": [column.numeric for column in table.columns],
        "rows": [list(row) for row in table.rows],
    }
