"""Every table of the report as one workbook: the numbers, not rounded, a sheet each."""

from __future__ import annotations

import datetime as dt
import io
import math
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from survivor.report.content.reasons import base_words
from survivor.report.tables import tables_of
from survivor.report.titles import title_of

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

    from survivor.analysis.result import Analysis

WORKBOOK: Final = "report.xlsx"
CONTENTS: Final = "contents"

LONGEST_NAME: Final = 31  # of a sheet, as spreadsheets allow
WIDEST: Final = 60  # letters
LOOKED_AT: Final = 500  # rows that set the width of a column
MOST_ROWS: Final = 1_000_000  # a sheet holds 1,048,576


def workbook_of(analysis: Analysis) -> bytes:
    """Return the workbook.

    Parameters
    ----------
    analysis
        A season, analysed.

    Returns
    -------
    bytes
        An XLSX file: a sheet of contents, the findings, then every table. Text stays
        text, formulas and addresses included. The same analysis gives the same bytes:
        the file bears the date of the last visit, not of its making.
    """
    import xlsxwriter

    tables = {"findings": findings_table(analysis), **tables_of(analysis)}
    held = io.BytesIO()
    book = xlsxwriter.Workbook(
        held,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    book.set_properties({"title": analysis.settings.study.name, "created": _day_of(analysis)})
    looks = _Looks.of(book)
    _write(book.add_worksheet(CONTENTS), _contents(tables, base_words(analysis)), looks)
    for name, table in tables.items():
        _write(book.add_worksheet(name[:LONGEST_NAME]), table.head(MOST_ROWS), looks)
    book.close()
    return held.getvalue()


def findings_table(analysis: Analysis) -> pd.DataFrame:
    """Return the findings, one row each; lists are joined by semicolons."""
    records = [finding.as_record() for finding in analysis.findings]
    return pd.DataFrame(
        [
            {name: "; ".join(value) if isinstance(value, list) else value for name, value in record.items()}
            for record in records
        ]
    )


def _contents(tables: dict[str, pd.DataFrame], base: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "sheet": [name[:LONGEST_NAME] for name in tables],
            "holds": [title_of(name, base) for name in tables],
            "rows": [len(table) for table in tables.values()],
        }
    )


class _Looks:
    """How a heading and a date look."""

    def __init__(self, heading: Format, date: Format) -> None:
        self.heading = heading
        self.date = date

    @classmethod
    def of(cls, book: Workbook) -> _Looks:
        heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        return cls(heading, book.add_format({"num_format": "yyyy-mm-dd", "align": "left"}))


def _write(sheet: Worksheet, table: pd.DataFrame, looks: _Looks) -> None:
    for place, name in enumerate(table.columns):
        sheet.write_string(0, place, str(name), looks.heading)
        values = table[name].tolist()
        for row, value in enumerate(values, start=1):
            _cell(sheet, row, place, value, looks)
        longest = max((len(_text(value)) for value in values[:LOOKED_AT]), default=0)
        sheet.set_column(place, place, min(max(longest, len(str(name))) + 2, WIDEST))
    sheet.freeze_panes(1, 0)
    if len(table) and len(table.columns):
        sheet.autofilter(0, 0, len(table), len(table.columns) - 1)


def _cell(sheet: Worksheet, row: int, place: int, value: Any, looks: _Looks) -> None:
    if value is None or value is pd.NaT or value is pd.NA:
        return
    if isinstance(value, bool):
        sheet.write_boolean(row, place, value)
    elif isinstance(value, dt.datetime | dt.date):
        sheet.write_datetime(row, place, value, looks.date)
    elif isinstance(value, int | float):
        if math.isfinite(value):
            sheet.write_number(row, place, value)
        elif math.isinf(value):
            sheet.write_string(row, place, "no limit")
    elif str(value):
        sheet.write_string(row, place, str(value))


def _text(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.6g}" if math.isfinite(value) else ""
    return "" if value is None or value is pd.NaT or value is pd.NA else str(value)


def _day_of(analysis: Analysis) -> dt.datetime:
    """Day of the last visit; a fixed day where there is none."""
    seen = analysis.records.visits.get("date")
    last = pd.Timestamp(seen.max()) if seen is not None and seen.notna().any() else pd.Timestamp(2000, 1, 1)
    return dt.datetime(last.year, last.month, last.day)
