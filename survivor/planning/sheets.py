"""Field sheets: a workbook a visit, to print or to fill on a screen, that reads straight back as records.

The preparation is not on the sheet: who looks at a seedling should not know what it is
expected to show.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import pandas as pd
import xlsxwriter

from survivor.vocabulary import State

SHEET: Final = "Visit"
GUIDE: Final = "How to fill it in"
PLANTED: Final = "planted"  # the last known state of a seedling that nobody has looked at yet
STATES: Final = tuple(state.value for state in State)
CAUSES: Final = (
    "unknown", "drought", "weeds", "browsing", "frost", "waterlogging", "insects", "disease",
    "herbicide drift", "fire", "damage by machines or people",
)  # fmt: skip

GIVEN: Final = ("Site", "Block", "Plot", "Tag", "Species", "Last state", "Last seen")
INFILL: Final = ("Infill", "Planted on")  # of a plant put in later: yes, and the day
FILLED: Final = (
    "Date", "State", "Height (cm)", "Weed cover (%)", "Likely cause", "Observer", "Notes", *INFILL,
)  # fmt: skip
LAST_SEEN: Final = "Last seen"
LOOK_AGAIN: Final = "Look again"
# The last two are for a screen: on paper they would take a fifth of the width.
PRINTED: Final = (*(name for name in GIVEN if name != LAST_SEEN), *FILLED)
HEADER: Final = (*PRINTED, LAST_SEEN, LOOK_AGAIN)
EMPTY_ROWS: Final = 8  # below each site, for infill

_WIDTHS: Final = (14, 6, 6, 7, 15, 9, 10, 10, 8, 8, 13, 8, 14, 5, 10, 11, 20)
_ROW_POINTS: Final = 24  # 8 mm: room for a pencil
_TALLEST_CM: Final = 2000
_DAYS: Final = ("Date", "Planted on")
_A4: Final = 9  # as the writer of workbooks counts paper
_INK, _SHADE, _RULE = "#1c2522", "#efe9d8", "#74807a"

_GUIDE: Final = (
    "Write on the Visit sheet only, one row a seedling; tags and names are locked on purpose.",
    "Date: write it once for each plot, in its first row. Rows of the plot without one were seen that day.",
    "State: alive; dead (no live tissue seen); missing (position found, plant gone); not found (position or "
    "tag not found); not visited; doubtful (nobody can tell whether it lives). Leave it blank where nobody "
    "looked: a blank is never dead.",
    "Called dead before and alive now is a reshoot: write alive, and look twice.",
    "Height: of living plants, in centimetres, to the highest live tip.",
    "Likely cause: one, for a plant first seen dead or missing; unknown is a good answer.",
    "A new plant in a dead one's place is infill. Write it into an empty row below its site: site, block, "
    "plot, a tag of its own, yes under Infill, and the day it was planted. Empty rows left blank are passed "
    "over.",
    "“Look again” tells what does not fit in a row. It is not read as a record.",
    "Dead or missing at two visits in a row: the row is left off the next sheet.",
)


@dataclass(frozen=True)
class SheetPlan:
    """What goes round the rows of a field sheet.

    Attributes
    ----------
    study, visit
        Names, for the head of each printed page.
    between
        First and last planned day, in words.
    earliest
        No visit is dated before this day (the first planting).
    """

    study: str
    visit: str
    between: str
    earliest: dt.date


def begun(out: io.BytesIO, title: str, earliest: dt.date, sheet: str = SHEET) -> tuple[Any, Any]:
    """Begin a workbook of one sheet to fill in, dated by the first day of it."""
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    book.set_properties({"title": title, "created": at_midnight(earliest)})
    return book, book.add_worksheet(sheet)


def at_midnight(day: dt.date) -> dt.datetime:
    """Return a day as the writer of workbooks takes it."""
    return dt.datetime(day.year, day.month, day.day)


def paper(sheet: Any, header_row: int, widths: Sequence[int], breaks: Sequence[int]) -> None:
    """Set a sheet up to be printed: A4 across, the header on every page, a break above each of some rows."""
    sheet.set_landscape()
    sheet.set_paper(_A4)
    sheet.repeat_rows(header_row)
    sheet.fit_to_pages(1, 0)
    if breaks:
        sheet.set_h_pagebreaks(breaks)
    for column, width in enumerate(widths):
        sheet.set_column(column, column, width)


def site_breaks(rows: pd.DataFrame, first: int) -> list[int]:
    """Rows of a sheet at which another site begins, where the first of ``rows`` stands in row ``first``."""
    sites = rows["Site"].tolist()
    return [place + first for place in range(1, len(sites)) if sites[place] != sites[place - 1]]


def head_and_foot(sheet: Any, about: SheetPlan) -> None:
    """Write round each printed page what it is of, and leave room for who filled it in."""
    sheet.set_margins(left=0.4, right=0.4, top=0.75, bottom=0.6)
    study, visit, between = (text.replace("&", "&&") for text in (about.study, about.visit, about.between))
    sheet.set_header(f"&L{study}&C&B{visit}&R{between}")
    sheet.set_footer("&LObserver: ______________________&CPage &P of &N&R&A")


def forms_of(book: Any) -> dict[str, Any]:
    """Return the forms of cells: head, edge, given (text), doubt; label free, free and day (to fill in)."""
    edge = {"border": 1, "border_color": _RULE, "font_color": _INK, "valign": "vcenter"}
    own: dict[str, dict[str, object]] = {
        "head": {"bold": True, "text_wrap": True, "bg_color": "#e2e8ee"},
        "edge": {},
        "given": {"num_format": "@"},
        "label free": {"num_format": "@", "locked": False},
        "free": {"locked": False},
        "day": {"locked": False, "num_format": "yyyy-mm-dd"},
        "doubt": {"italic": True},
    }
    return {name: book.add_format({**edge, **form}) for name, form in own.items()}


def guard(book: Any, sheet: Any, area: tuple[int, int], doubtful: str) -> None:
    """Shade what is doubtful, by a formula of row 2, over so many rows and columns; lock what is given."""
    shade = book.add_format({"bg_color": _SHADE, "bold": True})
    rows, columns = area
    asked = {"type": "formula", "criteria": doubtful, "format": shade}
    sheet.conditional_format(1, 0, rows, columns - 1, asked)
    sheet.protect("", {"format_columns": True, "format_rows": True, "autofilter": True, "sort": True})


def validate(
    sheet: Any, header: Sequence[str], rows: int, name: str, message: str, asked: dict[str, Any]
) -> None:
    """Say at the cells below a heading what can stand there; ``asked`` is as workbooks have it."""
    column = header.index(name)
    told = {"ignore_blank": True, "error_title": name.partition(" (")[0], "error_message": message}
    sheet.data_validation(1, column, rows, column, {**told, **asked})


def from_day(day: dt.date) -> dict[str, Any]:
    """Ask for a day that is not before another."""
    return {"validate": "date", "criteria": ">=", "value": at_midnight(day)}


def guide(book: Any, about: SheetPlan, lines: Sequence[str]) -> Any:
    """Write on a sheet of its own how the first is filled in."""
    sheet = book.add_worksheet(GUIDE)
    sheet.set_column(0, 0, 100)
    sheet.write_string(0, 0, f"{about.study}: {about.visit}", book.add_format({"bold": True}))
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    for line, text in enumerate(lines, start=1):
        sheet.write_string(line, 0, text, wrap)
    return sheet


def sheet_bytes(rows: pd.DataFrame, about: SheetPlan) -> bytes:
    """Write one field sheet.

    Parameters
    ----------
    rows
        Columns of ``GIVEN``, one row a seedling in the order walked; those of ``FILLED``
        too where something is filled in already (dates as ISO text).
    about
        What goes round them.

    Returns
    -------
    bytes
        An XLSX workbook: A4 across, the header on every page, a page break at each site.
    """
    out = io.BytesIO()
    book, sheet = begun(out, f"{about.study}: {about.visit}", about.earliest)
    _page(sheet, about, rows)
    _cells(book, sheet, rows)
    _validation(sheet, len(_lines(rows)), about.earliest)
    explained = guide(book, about, _GUIDE)
    explained.set_paper(_A4)
    explained.fit_to_pages(1, 0)
    book.close()
    return out.getvalue()


def _page(sheet: Any, about: SheetPlan, rows: pd.DataFrame) -> None:
    lines = _lines(rows)
    ends = [place for place in range(1, len(lines)) if lines[place] is not None and lines[place - 1] is None]
    paper(sheet, 0, _WIDTHS, [place + 1 for place in ends])
    head_and_foot(sheet, about)
    sheet.print_area(0, 0, len(lines), len(PRINTED) - 1)
    sheet.freeze_panes(1, GIVEN.index("Species"))


def _lines(rows: pd.DataFrame) -> list[dict[str, Any] | None]:
    """Return the rows in their order, and after those of each site some empty ones."""
    lines: list[dict[str, Any] | None] = []
    for row in rows.to_dict("records"):
        if lines and lines[-1] is not None and lines[-1]["Site"] != row["Site"]:
            lines += [None] * EMPTY_ROWS
        lines.append({str(name): value for name, value in row.items()})
    return [*lines, *([None] * EMPTY_ROWS)]


def _cells(book: Any, sheet: Any, rows: pd.DataFrame) -> None:
    forms = forms_of(book)
    given, label_free, free, day, doubt = (
        forms[name] for name in ("given", "label free", "free", "day", "doubt")
    )
    sheet.write_row(0, 0, HEADER, forms["head"])
    sheet.set_row(0, 30)
    lines = _lines(rows)
    for line, own in enumerate(lines, start=1):
        sheet.set_row(line, _ROW_POINTS)
        row, label = ({}, label_free) if own is None else (own, given)
        for column, name in enumerate(HEADER[:-1]):
            value = row.get(name, "")
            form = label if name in GIVEN else day if name in _DAYS else free
            if value is None or value == "" or value != value:
                sheet.write_blank(line, column, None, form)
            elif name in _DAYS:
                sheet.write_datetime(line, column, dt.datetime.fromisoformat(str(value)), day)
            elif name not in GIVEN and isinstance(value, int | float):
                sheet.write_number(line, column, value, free)
            else:
                sheet.write_string(line, column, str(value), form)
        sheet.write_formula(line, len(HEADER) - 1, _doubt(line + 1, len(lines) + 1), doubt, "")
    guard(book, sheet, (len(lines), len(HEADER)), f'=${_letter(LOOK_AGAIN)}2<>""')


def _letter(name: str) -> str:
    return chr(ord("A") + HEADER.index(name))


def _range(name: str, last: int) -> str:
    return f"${_letter(name)}$2:${_letter(name)}${last}"


def _doubt(line: int, last: int) -> str:
    """Write the formula that says what does not fit in a row; the day stands once for each plot."""
    at = {name: f"{_letter(name)}{line}" for name in HEADER}
    gone = f'OR({at["Last state"]}="dead",{at["Last state"]}="missing")'
    state = at["State"]
    same = ",".join(f"{_range(name, last)},{at[name]}" for name in ("Site", "Block", "Plot"))
    undated = f'COUNTIFS({same},{_range("Date", last)},">0")=0'
    infill = f'AND({at["Infill"]}<>"",{at["Planted on"]}="")'
    cases = (
        (f'AND({state}="",OR({at["Height (cm)"]}<>"",{at["Likely cause"]}<>""))', "state?"),
        (f'AND({state}<>"",{state}<>"not visited",{undated})', "date?"),
        (infill, "planted on?"),
        (f'AND({state}="alive",{gone})', "reshoot? look twice"),
        (f'AND({state}="alive",{at["Likely cause"]}<>"")', "alive with a cause?"),
        (f'AND({state}<>"alive",{at["Height (cm)"]}<>"")', "height, not alive?"),
    )
    formula = '""'
    for test, words in reversed(cases):
        formula = f'IF({test},"{words}",{formula})'
    return f"={formula}"


def _validation(sheet: Any, rows: int, earliest: dt.date) -> None:
    on = partial(validate, sheet, HEADER, rows)
    number = {"validate": "decimal", "criteria": "between", "minimum": 0}
    on(
        "State",
        "One of these words, or blank where nobody looked.",
        {"validate": "list", "source": list(STATES)},
    )
    on("Date", f"A day on or after planting ({earliest.isoformat()}), as year-month-day.", from_day(earliest))
    on("Height (cm)", "Centimetres to the highest live tip.", {**number, "maximum": _TALLEST_CM})
    on("Weed cover (%)", "Per cent of the weed-free patch, 0 to 100.", {**number, "maximum": 100})
    cause = {"validate": "list", "source": list(CAUSES), "error_type": "warning"}
    on("Likely cause", "Not on the list; keep it if it is right.", cause)
