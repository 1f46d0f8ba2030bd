"""Field sheets: a workbook a visit, to print or to fill on a screen, that reads straight back as records.

The preparation is not on the sheet: who looks at a seedling should not know what it is
expected to show.
"""

from __future__ import annotations

import datetime as dt
import io
from dataclasses import dataclass
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
FILLED: Final = ("Date", "State", "Height (cm)", "Weed cover (%)", "Likely cause", "Observer", "Notes")
LOOK_AGAIN: Final = "Look again"
HEADER: Final = (*GIVEN, *FILLED, LOOK_AGAIN)

_WIDTHS: Final = (16, 6, 6, 8, 18, 11, 11, 11, 12, 10, 11, 16, 12, 24, 20)
_TALLEST_CM: Final = 2000
_INK, _SHADE, _RULE = "#1c2522", "#efe9d8", "#74807a"

_GUIDE: Final = (
    "Write on the Visit sheet only, one row a seedling; tags and names are locked on purpose.",
    "State: alive; dead (no live tissue seen); missing (position found, plant gone); not found (position or "
    "tag not found); not visited. Leave it blank where nobody looked: a blank is never dead.",
    "Called dead before and alive now is a reshoot: write alive, and look twice.",
    "Date: the day on which this plot was looked at, not that of the whole visit.",
    "Height: of living plants, in centimetres, to the highest live tip.",
    "Likely cause: one, for a plant first seen dead or missing; unknown is a good answer.",
    "A new plant in a dead one's place is infill: it gets a tag and a planting date of its own.",
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
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    created = dt.datetime(about.earliest.year, about.earliest.month, about.earliest.day)
    book.set_properties({"title": f"{about.study}: {about.visit}", "created": created})
    sheet = book.add_worksheet(SHEET)
    _page(sheet, about, rows)
    _cells(book, sheet, rows)
    _validation(sheet, len(rows), about.earliest)
    _guide(book, about)
    book.close()
    return out.getvalue()


def _page(sheet: Any, about: SheetPlan, rows: pd.DataFrame) -> None:
    sheet.set_landscape()
    sheet.set_paper(9)  # A4
    sheet.set_margins(left=0.4, right=0.4, top=0.75, bottom=0.6)
    sheet.repeat_rows(0)
    sheet.fit_to_pages(1, 0)
    study, visit, between = (text.replace("&", "&&") for text in (about.study, about.visit, about.between))
    sheet.set_header(f"&L{study}&C&B{visit}&R{between}")
    sheet.set_footer("&LObserver: ______________________&CPage &P of &N&R&A")
    sites = rows["Site"].tolist()
    breaks = [place + 1 for place in range(1, len(sites)) if sites[place] != sites[place - 1]]
    if breaks:
        sheet.set_h_pagebreaks(breaks)
    sheet.freeze_panes(1, GIVEN.index("Species"))
    for column, width in enumerate(_WIDTHS):
        sheet.set_column(column, column, width)


def _cells(book: Any, sheet: Any, rows: pd.DataFrame) -> None:
    edge = {"border": 1, "border_color": _RULE, "font_color": _INK, "valign": "vcenter"}
    head = book.add_format({**edge, "bold": True, "text_wrap": True, "bg_color": "#e2e8ee"})
    given = book.add_format({**edge, "num_format": "@"})
    free = book.add_format({**edge, "locked": False})
    day = book.add_format({**edge, "locked": False, "num_format": "yyyy-mm-dd"})
    doubt = book.add_format({**edge, "italic": True})
    sheet.write_row(0, 0, HEADER, head)
    sheet.set_row(0, 30)
    for line, row in enumerate(rows.to_dict("records"), start=1):
        sheet.set_row(line, 19)  # room for a pencil
        for column, name in enumerate(GIVEN):
            sheet.write_string(line, column, str(row[name]), given)
        for column, name in enumerate(FILLED, start=len(GIVEN)):
            value = row.get(name, "")
            form = day if name == "Date" else free
            if value is None or value == "" or value != value:
                sheet.write_blank(line, column, None, form)
            elif name == "Date":
                sheet.write_datetime(line, column, dt.datetime.fromisoformat(str(value)), day)
            elif isinstance(value, int | float):
                sheet.write_number(line, column, value, free)
            else:
                sheet.write_string(line, column, str(value), free)
        sheet.write_formula(line, len(HEADER) - 1, _doubt(line + 1), doubt, "")
    shade = book.add_format({"bg_color": _SHADE, "bold": True})
    last = len(rows)
    sheet.conditional_format(
        1,
        0,
        last,
        len(HEADER) - 1,
        {"type": "formula", "criteria": f'=${_letter(LOOK_AGAIN)}2<>""', "format": shade},
    )
    sheet.protect("", {"format_columns": True, "format_rows": True, "autofilter": True, "sort": True})


def _letter(name: str) -> str:
    return chr(ord("A") + HEADER.index(name))


def _doubt(line: int) -> str:
    """Write the formula that says what does not fit in a row."""
    at = {name: f"{_letter(name)}{line}" for name in HEADER}
    gone = f'OR({at["Last state"]}="dead",{at["Last state"]}="missing")'
    state, day = at["State"], at["Date"]
    cases = (
        (f'AND({state}="",OR({at["Height (cm)"]}<>"",{at["Likely cause"]}<>""))', "state?"),
        (f'AND({state}<>"",{state}<>"not visited",{day}="")', "date?"),
        (f'AND({state}="alive",{gone})', "reshoot? look twice"),
        (f'AND({state}="alive",{at["Likely cause"]}<>"")', "alive with a cause?"),
        (f'AND({state}<>"alive",{at["Height (cm)"]}<>"")', "height, not alive?"),
    )
    formula = '""'
    for test, words in reversed(cases):
        formula = f'IF({test},"{words}",{formula})'
    return f"={formula}"


def _validation(sheet: Any, rows: int, earliest: dt.date) -> None:
    def on(name: str, options: dict[str, Any]) -> None:
        column = HEADER.index(name)
        sheet.data_validation(1, column, rows, column, {"ignore_blank": True, **options})

    on(
        "State",
        {
            "validate": "list",
            "source": list(STATES),
            "error_title": "State",
            "error_message": "One of the six states, or blank where nobody looked.",
        },
    )
    on(
        "Date",
        {
            "validate": "date",
            "criteria": ">=",
            "value": dt.datetime(earliest.year, earliest.month, earliest.day),
            "error_title": "Date",
            "error_message": f"A day on or after planting ({earliest.isoformat()}), as year-month-day.",
        },
    )
    on(
        "Height (cm)",
        {
            "validate": "decimal",
            "criteria": "between",
            "minimum": 0,
            "maximum": _TALLEST_CM,
            "error_title": "Height",
            "error_message": "Centimetres to the highest live tip.",
        },
    )
    on(
        "Weed cover (%)",
        {
            "validate": "decimal",
            "criteria": "between",
            "minimum": 0,
            "maximum": 100,
            "error_title": "Weed cover",
            "error_message": "Per cent of the weed-free patch, 0 to 100.",
        },
    )
    on(
        "Likely cause",
        {
            "validate": "list",
            "source": list(CAUSES),
            "error_type": "warning",
            "error_title": "Likely cause",
            "error_message": "Not on the list; keep it if it is right.",
        },
    )


def _guide(book: Any, about: SheetPlan) -> None:
    sheet = book.add_worksheet(GUIDE)
    bold = book.add_format({"bold": True})
    wrap = book.add_format({"text_wrap": True, "valign": "top"})
    sheet.set_column(0, 0, 100)
    sheet.write_string(0, 0, f"{about.study}: {about.visit}", bold)
    for line, text in enumerate(_GUIDE, start=1):
        sheet.write_string(line, 0, text, wrap)
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
