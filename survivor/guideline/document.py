"""The guideline as a PDF of one or two pages, tagged for reading aloud (PDF/UA-1).

Words go to the typesetter as data and are never read as markup.
"""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from typing import Any, Final

from survivor.document.elements import Table
from survivor.document.pdf import standing_alone, typeset
from survivor.figures.svg import to_svg
from survivor.guideline import english as en
from survivor.guideline.content import details_table, figure_of, lead, money_table
from survivor.guideline.making import Guideline
from survivor.guideline.rule import NOT_ANSWERED
from survivor.guideline.wording import (
    calendar_table,
    cautions_touched,
    data_note,
    next_sentence,
    power_words,
    radius_words,
)
from survivor.report.cautions import CAUTIONS
from survivor.sentences import plain_text

TEMPLATE: Final = "guideline.typ"
FIGURE: Final = "differences.svg"
_MOST_CHANGES = 8  # of the newest version; the page has them all
_MOST_ROWS = 16  # of what stands behind the advice


def guideline_pdf(guideline: Guideline) -> bytes:
    """Return the document; the same guideline gives the same bytes.

    Raises
    ------
    ReportError
        When the typesetter refuses the document.
    """
    template = files("survivor.guideline").joinpath("templates", TEMPLATE).read_bytes()
    chart = figure_of(guideline)
    drawn = to_svg(chart.draw(size="wide"), chart.key, chart.title, plain_text(chart.finding))
    drawings = {FIGURE: standing_alone(drawn).encode()}
    return typeset(template, _content(guideline), drawings, name="guideline")


def _content(guideline: Guideline) -> dict[str, Any]:
    about, newest = guideline.file.guideline, guideline.changes[0]
    moved = [*newest.also, *newest.moved, *newest.stood]
    if len(moved) > _MOST_CHANGES:
        moved = [*moved[:_MOST_CHANGES], f"And {len(moved) - _MOST_CHANGES} more, on the page."]
    details = _shortened(details_table(guideline))
    calendar, money, figure = calendar_table(guideline), money_table(guideline), figure_of(guideline)
    return {
        "title": about.name,
        "version": f"Version {about.version}, {about.dated}",
        "district": about.district,
        "rests": f"Rests on {data_note(guideline)}.",
        "lead": [plain_text(one) for one in lead(guideline)],
        "read": f"Plants alive per 100 planted at {about.milestone}, with 95 % CI. {en.HOW_TO_READ}",
        "caution": en.NO_INSTRUCTION,
        "touched": cautions_touched(guideline),
        "details": _table(details),
        "details_note": details.note,
        "money": None if money is None else _table(money),
        "money_note": "" if money is None else money.note,
        "figure": FIGURE,
        "described": plain_text(figure.finding),
        "figure_caption": plain_text(figure.caption),
        "radius": [[kind.ground, radius_words(kind).replace("\n", " ")] for kind in guideline.radius],
        "practice": [
            f"{kind.preparation} on {kind.ground}: {kind.says} ({kind.source})."
            for kind in guideline.file.practice
        ],
        "calendar": _table(calendar),
        "calendar_note": calendar.note,
        "changed": f"What version {newest.number} changed",
        "changes": moved,
        "next": plain_text(next_sentence(guideline)) if len(guideline.next) else "",
        "rule": list(guideline.version.rule),
        "power": power_words(guideline),
        "cautions": [[caution.subject, caution.said_in("guideline")] for caution in CAUTIONS],
    }


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
