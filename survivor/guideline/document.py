"""The guideline as a PDF of one or two pages, tagged for reading aloud (PDF/UA-1).

Words go to the typesetter as data and are never read as markup.
"""

from __future__ import annotations

import re
from dataclasses import replace
from importlib.resources import files
from typing import Any, Final

from survivor.document.elements import Table
from survivor.document.pdf import standing_alone, typeset
from survivor.figures.svg import to_svg
from survivor.guideline import english as en
from survivor.guideline.content import by_preparation, details_table, figure_of, lead, money_table
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
from survivor.words import listed

TEMPLATE: Final = "guideline.typ"
FIGURE: Final = "differences.svg"
_LONG: Final = re.compile(r"(\S{12})(?=\S)")  # of a longer word, which may be broken after it
_PAGE: Final = re.compile(rb"/Type\s*/Page\b")
MOST_PAGES: Final = 2
_CHART, _SMALL_CHART = 131, 50  # mm wide: its letters as large as the words; for names that need many lines
_FEWEST_CHANGES = 2
_MOST_CHANGES = 6  # of the newest version; the page has them all
_MOST_ROWS = 16  # of what stands behind the advice
_MOST_LETTERS = 26  # of words on a line of a cell
_LEAST_LETTERS = 9  # under a heading of several words
_ALIKE: Final = ("Evidence", "Seasons", "Sites", "Plots")  # headings of columns that may be told once


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
    content, made = _content(guideline), b""
    for shorter in (lambda given: given, _without_rule, _with_few_changes, _with_small_chart, _without_notes):
        content = shorter(content)
        made = typeset(template, content, drawings, name="guideline")
        if len(_PAGE.findall(made)) <= MOST_PAGES:
            break
    return made


def _without_rule(content: dict[str, Any]) -> dict[str, Any]:
    return {**content, "rule": [en.RULE_ON_PAGE]}


def _with_few_changes(content: dict[str, Any]) -> dict[str, Any]:
    return {**content, "changes": _first(content["every_change"], _FEWEST_CHANGES)}


def _first(changes: list[str], most: int) -> list[str]:
    more = len(changes) - most
    return changes if more <= 0 else [*changes[:most], en.MORE.format(more=more)]


def _without_notes(content: dict[str, Any]) -> dict[str, Any]:
    return {**content, "details_note": en.NOTES_ON_PAGE, "money_note": ""}


def _with_small_chart(content: dict[str, Any]) -> dict[str, Any]:
    return {**content, "chart": _SMALL_CHART}


def _content(guideline: Guideline) -> dict[str, Any]:
    about, newest = guideline.file.guideline, guideline.changes[0]
    moved = [*newest.also, *newest.moved, *newest.stood]
    details = _shortened(details_table(guideline, checks_on_page=en.CHECKS_ON_PAGE))
    details = _without_alike(_priced(details, guideline))
    calendar, figure = _sources_below(calendar_table(guideline)), figure_of(guideline)
    money = money_table(guideline)
    return {
        "title": about.name,
        "version": f"Version {about.version}, {about.dated}",
        "district": about.district,
        "rests": f"Rests on {data_note(guideline)}.",
        "lead": [list(map(plain_text, by_preparation(one))) for one in lead(guideline)],
        "read": f"Plants alive per 100 planted at {about.milestone}, with 95 % CI. {en.HOW_TO_READ}",
        "caution": en.NO_INSTRUCTION,
        "touched": cautions_touched(guideline),
        "details": _table(details),
        "details_note": details.note,
        "money_note": "" if money is None else money.note,
        "figure": FIGURE,
        "chart": _CHART,
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
        "changes": _first(moved, _MOST_CHANGES),
        "every_change": moved,
        "next_heading": en.NEXT_HEADING,
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


def _priced(table: Table, guideline: Guideline) -> Table:
    """Put what each preparation costs beside what stands behind its advice, the usual practice first."""
    money = money_table(guideline)
    if money is None:
        return table
    costs = {row[:2]: row[2:] for row in money.rows}
    wide, none = len(table.columns), ("–",) * (len(money.columns) - 2)
    usual = {row[0]: row for row in reversed(money.rows)}  # the first row of each kind of ground
    rows: list[tuple[str, ...]] = []
    for row in table.rows:
        if row[0] in usual and (not rows or rows[-1][0] != row[0]):
            ground, name, *prices = usual[row[0]]
            rows.append((ground, name, *("–" for _ in range(wide - 2)), *prices))
        rows.append((*row, *costs.get(row[:2], none)))
    caption = f"{table.caption}, and {money.caption[0].lower()}{money.caption[1:]}"
    return replace(table, caption=caption, columns=(*table.columns, *money.columns[2:]), rows=tuple(rows))


def _without_alike(table: Table) -> Table:
    """Say below the table what is the same in all rows of advice, in place of a column of it."""
    told: list[str] = []
    kept = [0, 1, 2]
    for place in range(3, len(table.columns)):
        held = {row[place] for row in table.rows if row[2] != "–"}
        heading = table.columns[place].heading
        if len(held) == 1 and heading in _ALIKE:
            told.append(f"{heading.lower()} {held.pop()}")
        else:
            kept.append(place)
    if not told:
        return table
    return replace(
        table,
        columns=tuple(table.columns[place] for place in kept),
        rows=tuple(tuple(row[place] for place in kept) for row in table.rows),
        note=f"{table.note} {en.ALIKE.format(what=', '.join(told))}",
    )


def _sources_below(table: Table) -> Table:
    """Say the source that most works have once, below the table, with those that have another."""
    sources = [row[-1] for row in table.rows]
    most = max(dict.fromkeys(sources), key=sources.count, default="")
    others = [f"{row[0]} ({row[-1]})" for row in table.rows if row[-1] != most]
    if not most or len(others) > len(sources) / 2:
        return table
    words = en.SOURCE_BUT if others else en.SOURCE
    said = words.format(source=most, others=listed(others))
    rows = tuple(row[:-1] for row in table.rows)
    return replace(table, columns=table.columns[:-1], rows=rows, note=f"{table.note} {said}".strip())


def _letters(table: Table, place: int) -> int:
    """Letters that a column is to have on a line: a number stays on its own, words may wrap."""
    column = table.columns[place]
    words = [len(word) for word in column.heading.split()]
    cells = [len(row[place]) for row in table.rows]
    longest = max([*cells, *words])
    return max(longest, _LEAST_LETTERS) if column.numeric else max(*words, min(longest, _MOST_LETTERS))


def _table(table: Table) -> dict[str, Any]:
    return {
        "caption": table.caption,
        "columns": [column.heading for column in table.columns],
        "numeric": [column.numeric for column in table.columns],
        "letters": [_letters(table, place) for place in range(len(table.columns))],
        "rows": [[_LONG.sub("\\1\u200b", cell) for cell in row] for row in table.rows],
    }
