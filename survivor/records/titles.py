"""What the titles of a table, its name and the lines beside it tell: site, planting day, day of the visit."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from survivor.files import cells
from survivor.files.headers import Matched, squeezed
from survivor.files.sheets import Grid, Whole, as_text
from survivor.records.days_told import SPEAKS_OF_PLANTING
from survivor.records.guess import Guess
from survivor.records.tables import LABEL_SIGNS, plot_labels
from survivor.records.visit_columns import days_in, is_round
from survivor.records.words import COLUMN_WORDS, DATE_WORDS
from survivor.settings import Sheet

_GENERIC: Final = re.compile(
    r"(sheet|tabelle|feuil|hoja|data|visits?|monitoring|counts?|survival|records?|results?|seedlings?|trees|plots?|"
    r"field ?sheet|raw|all|main|master|current|final|export)[\s_-]*\d*"
)
_VISITED: Final = re.compile(
    r"\b(?:visit(?:ed)?|counted|checked|surveyed|monitored|assessed|inspected)\b", re.IGNORECASE
)
_TITLE_END: Final = re.compile(r"\s+[-\N{EN DASH}\N{EM DASH}]\s+|[,:;(]|\bplant(?:ed|ing)\b", re.IGNORECASE)
_SITE: Final = re.compile(r"\s*(?:site|paddock|location|property|field)\s*:\s*(.+)", re.IGNORECASE)
_RECORDS_BEHIND: Final = re.compile(
    r"(?:\s+(?:vigou?r|scores?|survival|monitoring|counts?|records?|data|results?|sheets?|heights?|tags?|seedlings?|"
    r"\d{4}(?:[-/]\d{2,4})?))+$",
    re.IGNORECASE,
)
_FORM_WORDS: Final = {
    squeezed(other): word
    for word in ("site", "block", "plot", "method", "species", "planted_date", "date")
    for other in (word, *COLUMN_WORDS[word], *(["planted"] if word == "planted_date" else []))
}
_OF_RECORDS: Final = re.compile(
    r"surviv|monitor|seedling|plant|record|data|count|trial|project|visit|check|reveg|restor|form|sheet|result|"
    r"plot|tree|report|field|summary|survey|season|programme|program|alive|dead|height|\d{4}",
    re.IGNORECASE,
)


def titles_above(whole: Whole, grid: Grid, sheet: Sheet, heading: Sequence[str] = ()) -> tuple[str, ...]:
    """Texts above the table, cell by cell and row by row; of a turned one the headers of blank columns."""
    above = whole.above(sheet.skip_rows)
    alone = [text for text in above.ravel() if text]
    rows = [" ".join(text for text in row if text) for row in above if (row != "").sum() > 1]
    if not sheet.turned:
        return (*alone, *rows, *heading)
    filled = heads_with_cells(grid)
    return (*alone, *rows, *(head for head, own in zip(grid.header, filled, strict=True) if head and not own))


def of_a_form(guess: Guess) -> dict[str, str]:
    """Read what lines above a table say under a word: "Plot: A1", or Plot in one cell and A1 beside it."""
    told: dict[str, str] = {}
    for row in guess.part.whole.above(guess.sheet.skip_rows) if not guess.sheet.turned else ():
        filled = [str(text) for text in row if text]
        pairs = list(pairwise(filled))
        pairs += [(one, two) for text in filled for one, sign, two in [text.partition(":")] if sign and two]
        for label, value in pairs:
            word = _FORM_WORDS.get(squeezed(label)) if len(filled) > 1 or ":" in filled[0] else None
            if (
                word is None
                or guess.matched.has(word)
                or squeezed(value) in _FORM_WORDS
                or value.endswith(":")
            ):
                continue
            day = cells.one_date(value.strip(), guess.order or "day-first")
            if word in DATE_WORDS and (day is None or (word == "date" and guess.visits)):
                continue
            told.setdefault(word, day if word in DATE_WORDS and day else value.strip())
        told = {**_of_a_plot(filled, guess.matched), **told}
    return told


def _of_a_plot(line: Sequence[str], matched: Matched) -> dict[str, str]:
    """Read a title that names one plot, and what else stands beside it: "Plot 3 - ripped, Block E"."""
    if matched.has("plot"):
        return {}
    told: dict[str, str] = {}
    for text in line:
        told |= plot_labels(text)
    if "plot" not in told:
        return {}
    parts = [part.strip() for text in line for part in LABEL_SIGNS.split(text)]
    rest = [part for part in parts if part and not plot_labels(part) and not re.search(r"\d{3}|:$", part)]
    rest = [part for part in rest if squeezed(part) not in _FORM_WORDS and not days_in(part, "day-first")]
    if len(rest) == 1 and not matched.has("method"):
        told["method"] = rest[0]
    return {word: value for word, value in told.items() if not matched.has(word)}


def site_of(guess: Guess, several: bool, own: str = "") -> str | None:
    """Name of the site from a title or from its own name (that of its sheet), where no column tells it."""
    for text in (*guess.titles, *guess.texts):
        if (named := _SITE.fullmatch(text)) is not None:
            return named[1].strip()
    leads = [lead for title in guess.titles if (lead := _TITLE_END.split(title, maxsplit=1)[0].strip())]
    labelled = [title for title in guess.titles if plot_labels(title)]
    others = {*guess.every_row.values(), *labelled}  # of a plot, its block or its preparation
    leads = [lead for lead in leads if lead not in others and not any(own in lead for own in labelled)]
    leads = [_without_records(lead) for lead in leads if not is_round(lead) and not plot_labels(lead)]
    leads = [lead for lead in leads if cells.one_date(lead) is None]
    own = own or (guess.part.name.strip() if guess.part.sheet and not guess.part.area else "")
    named_so = own and several and not _GENERIC.fullmatch(own.casefold())
    if named_so and not is_round(own) and not _day_in_name(own):
        return next((lead for lead in leads if lead.casefold().startswith(own.casefold())), own)
    if several and (leads or not guess.part.area):
        return leads[0] if leads else None
    # One table alone: its title names the place where no word of it speaks of the records.
    above = leads if guess.sheet.skip_rows or guess.sheet.turned else []
    names = (*above, guess.part.name.strip(), guess.part.whole.sheet.strip())
    named_by = [name for name in names if name and not _OF_RECORDS.search(name)]
    named_by = [name for name in named_by if not _GENERIC.fullmatch(name.casefold()) and not is_round(name)]
    return named_by[0] if named_by else None


def _without_records(lead: str) -> str:
    """Leave out what a title says of the records behind the name of a place: Tank Hill vigour scores."""
    return _RECORDS_BEHIND.sub("", lead) or lead


def _day_in_name(name: str) -> str | None:
    """Day in the name of a sheet, in which no slash can stand: 2023-08-14, 14.8.23, 14 Aug 23."""
    text = re.sub(r"(?<=\d)[-_. ](?=\d)", "/", name)
    days = {day for way in (name, text) for day in days_in(way, "day-first")} | {
        cells.one_date(name, "day-first")
    }
    days.discard(None)
    return days.pop() if len(days) == 1 else None


def day_of_sheet(guess: Guess) -> dict[str, str]:
    """Day of the one visit that a sheet holds, from a title or from its own name."""
    said = [title for title in guess.titles if not SPEAKS_OF_PLANTING.search(title) or _VISITED.search(title)]
    days = {day for title in said for day in days_in(title, guess.order or "day-first")}
    own = guess.part.name.strip()
    if (day := _day_in_name(own)) is not None:
        days = {day}
    if len(days) == 1:
        return {"date": days.pop()}
    return {"visit": own} if own and is_round(own) else {}


def beside(whole: Whole, grid: Grid) -> tuple[str, ...]:
    """Texts that are no records: rows of one or two cells, and columns without a header."""
    texts = whole.texts
    number = (texts != "").sum(axis=1)
    rows = [" ".join(cell for cell in row if cell) for row in texts[(number >= 1) & (number <= 2)]]
    bare = [place for place, header in enumerate(grid.header) if not header]
    columns = [cells.texts(grid.cells[place]) for place in bare]
    across = [" = ".join(t for t in row if t) for row in zip(*columns, strict=True)] if len(bare) > 1 else []
    return (
        *rows,
        *(text for column in columns for text in column if text),
        *(text for text in across if text),
    )


def heads_with_cells(grid: Grid) -> tuple[str, ...]:
    """Headers of a table that lies on its side: one above nothing is a title of the sheet."""
    return tuple(
        header if any(map(as_text, grid.cells[place].to_numpy(dtype=object))) else ""
        for place, header in enumerate(grid.header)
    )
