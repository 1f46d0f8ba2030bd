"""The check of the records as a workbook: what to do, and each sheet with the cells at fault marked."""

from __future__ import annotations

import datetime as dt
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from survivor.figures.style import DRY, WORTH
from survivor.records import Records
from survivor.records.kinds import sentence
from survivor.records.problems import shortened
from survivor.records.reading import as_text, read_grid, read_rows
from survivor.vocabulary import Severity

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

TO_DO, RULES, ACCOUNTS = "what to do", "rules", "records"
_SAID: Final = {
    Severity.STOP: "Mend this first",
    Severity.CHECK: "Please look",
    Severity.NOTE: "Worth knowing",
}
_LONGEST_NAME: Final = 31  # of a sheet, as spreadsheets allow
_MOST_ROWS: Final = 1_000_000
_MOST_WHOLE: Final = 20_000  # rows; of a longer sheet only the rows at fault are copied, in their place
_MOST_COMMENTS: Final = 2_000  # of a sheet: a spreadsheet draws each one
_LONGEST_COMMENT: Final = 1_500
_FAR: Final = 200  # columns looked at for widths


def workbook_of_check(records: Records, folder: Path) -> bytes:
    """Return the workbook; the same records give the same bytes.

    Parameters
    ----------
    records
        A study's records as read.
    folder
        Where its files are, to copy the sheets from.

    Returns
    -------
    bytes
        An XLSX file: what to do, rules, records, then a copy of each sheet with something to
        mend or to look at, cells in their place, those at fault filled and commented.
        Text stays text, formulas included.
    """
    import xlsxwriter

    held = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    book = xlsxwriter.Workbook(held, options)
    book.set_properties({"title": records.settings.study.name, "created": _closed(records)})
    looks = _Looks.of(book)
    marks = records.findings
    marks = marks[marks["row"].notna() & marks["severity"].isin([Severity.STOP, Severity.CHECK])]
    places = _headers(records, folder)
    sheets = list(dict.fromkeys(zip(marks["file"], marks["sheet"], strict=True)))
    sheets = [(file, sheet) for file, sheet in sheets if (file, sheet) in places]
    names = _names(sheets)
    to_do, rules, accounts = (book.add_worksheet(name) for name in (TO_DO, RULES, ACCOUNTS))
    for key in sheets:
        file, sheet = key
        rows = read_rows(folder / file, name=file, sheet=sheet or None)
        own = marks[(marks["file"] == file) & (marks["sheet"] == sheet)]
        _copy(book.add_worksheet(names[key]), rows, own, places[key], looks)
    _write_problems(to_do, records.problems, names, places, looks)
    _write(rules, records.rules, looks)
    _write(accounts, records.accounts.head(_MOST_ROWS), looks)
    book.close()
    return held.getvalue()


@dataclass(frozen=True)
class _Looks:
    heading: Format
    plain: Format
    date: Format
    marked: Mapping[Severity, Format]
    marked_date: Mapping[Severity, Format]

    @classmethod
    def of(cls, book: Workbook) -> _Looks:
        day = {"num_format": "yyyy-mm-dd", "align": "left"}
        fills: dict[Severity, dict[str, Any]] = {
            Severity.STOP: {"bg_color": DRY, "bold": True, "border": 2},
            Severity.CHECK: {"bg_color": WORTH, "border": 1},
        }
        return cls(
            heading=book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1}),
            plain=book.add_format({"valign": "top", "text_wrap": True}),
            date=book.add_format(day),
            marked={severity: book.add_format(fill) for severity, fill in fills.items()},
            marked_date={severity: book.add_format({**fill, **day}) for severity, fill in fills.items()},
        )


def _closed(records: Records) -> dt.datetime:
    day = records.settings.records_closed
    return dt.datetime(day.year, day.month, day.day) if day else dt.datetime(2000, 1, 1)


def _names(sheets: list[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """Name the copies as spreadsheets allow, each its own."""
    names: dict[tuple[str, str], str] = {}
    taken = {TO_DO, RULES, ACCOUNTS, "history"}
    for number, (file, sheet) in enumerate(sheets, start=1):
        wanted = re.sub(r"[\[\]:*?/\\\x00-\x1f]", "_", sheet or Path(file).name).strip("' ")
        name = wanted[:_LONGEST_NAME] or f"sheet {number}"
        if name.casefold() in taken:
            name = f"{wanted[: _LONGEST_NAME - 5]} ({number})"
        names[file, sheet] = name
        taken.add(name.casefold())
    return names


def _headers(records: Records, folder: Path) -> dict[tuple[str, str], dict[str, int]]:
    """Find the column of each header of each sheet that the study file names."""
    named = records.settings.records
    found: dict[tuple[str, str], dict[str, int]] = {}
    for told in (*named.sheets, *([named.plots] if named.plots is not None else [])):
        grid = read_grid(
            folder / told.file,
            name=told.file,
            sheet=told.sheet,
            skip_rows=told.skip_rows,
            header_rows=told.header_rows,
        )
        found[told.file, grid.sheet] = dict(reversed(list(zip(grid.header, grid.places, strict=True))))
    return found


def _place(header: str, places: Mapping[str, int]) -> int:
    """Column of a header; of several joined, of the first that is there; else the first of all."""
    return places.get(header, next((places[part] for part in header.split(", ") if part in places), 0))


def _copy(
    sheet: Worksheet, rows: pd.DataFrame, own: pd.DataFrame, places: Mapping[str, int], looks: _Looks
) -> None:
    """Write a sheet as it stands, and mark its cells."""
    marks = _marks(own, places)
    whole = len(rows) <= _MOST_WHOLE
    wanted = rows if whole else rows.loc[rows.index.isin({row for row, _ in marks} | set(range(1, 6)))]
    for number, cells in zip(wanted.index, wanted.itertuples(index=False, name=None), strict=True):
        for column, value in enumerate(cells):
            severity = marks[number, column][0] if (number, column) in marks else None
            _cell(sheet, number - 1, column, value, looks, severity)
    for count, ((row, column), (_, said)) in enumerate(marks.items()):
        if count < _MOST_COMMENTS:
            sheet.write_comment(row - 1, column, said, {"x_scale": 2.5, "y_scale": 2, "author": "survivor"})
    for column in range(min(rows.shape[1], _FAR)):
        longest = max((len(as_text(value)) for value in wanted[column].head(200)), default=0)
        sheet.set_column(column, column, min(max(longest + 2, 8), 40))


def _marks(own: pd.DataFrame, places: Mapping[str, int]) -> dict[tuple[int, int], tuple[Severity, str]]:
    """Row and column -> the gravest severity there, and what is said of the cell."""
    marks: dict[tuple[int, int], tuple[Severity, str]] = {}
    order = own.assign(grave=own["severity"] != Severity.STOP).sort_values("grave", kind="stable")
    for row in order.to_dict("records"):
        severity = Severity(row["severity"])
        key = (int(row["row"]), _place(row["column"], places))
        said = f"{_SAID[severity]}: {sentence(row['what'])}\nWhat to do: {sentence(row['mend'])}"
        before = marks.get(key)
        if before is not None and said in before[1]:
            continue
        text = said if before is None else f"{before[1]}\n\n{said}"
        marks[key] = (before[0] if before else severity, shortened(text, _LONGEST_COMMENT))
    return marks


def _write_problems(
    sheet: Worksheet,
    problems: pd.DataFrame,
    names: Mapping[tuple[str, str], str],
    places: Mapping[tuple[str, str], Mapping[str, int]],
    looks: _Looks,
) -> None:
    """List the problems, worst first, each with a link to its cell."""
    headings = ("do", "file", "sheet", "row", "column", "value", "what is wrong", "what to do", "code")
    for place, heading in enumerate(headings):
        sheet.write_string(0, place, heading, looks.heading)
    for number, row in enumerate(problems.head(_MOST_ROWS).to_dict("records"), start=1):
        texts = [_SAID[Severity(row["severity"])], row["file"], row["sheet"], "", row["column"], row["value"],
                 row["what"], row["mend"], row["code"]]  # fmt: skip
        for place, text in enumerate(texts):
            sheet.write_string(number, place, str(text), looks.plain)
        if pd.notna(row["row"]):
            _link(sheet, number, row, names, places)
    for place, width in enumerate((16, 16, 12, 7, 18, 18, 60, 60, 20)):
        sheet.set_column(place, place, width)
    sheet.freeze_panes(1, 0)
    if len(problems):
        sheet.autofilter(0, 0, min(len(problems), _MOST_ROWS), len(headings) - 1)


def _link(
    sheet: Worksheet,
    number: int,
    row: Mapping[Any, Any],
    names: Mapping[tuple[str, str], str],
    places: Mapping[tuple[str, str], Mapping[str, int]],
) -> None:
    from xlsxwriter.utility import xl_rowcol_to_cell

    key = (row["file"], row["sheet"])
    if key not in names or number > 50_000:  # a spreadsheet follows no more links than about that
        sheet.write_number(number, 3, int(row["row"]))
        return
    cell = xl_rowcol_to_cell(int(row["row"]) - 1, _place(row["column"], places[key]))
    name = names[key].replace("'", "''")
    sheet.write_url(number, 3, f"internal:'{name}'!{cell}", string=str(row["row"]))


def _write(sheet: Worksheet, table: pd.DataFrame, looks: _Looks) -> None:
    for place, name in enumerate(table.columns):
        sheet.write_string(0, place, str(name), looks.heading)
        values = table[name].tolist()
        for row, value in enumerate(values, start=1):
            _cell(sheet, row, place, value, looks)
        longest = max((len(as_text(value)) for value in values[:200]), default=0)
        sheet.set_column(place, place, min(max(longest, len(str(name))) + 2, 60))
    sheet.freeze_panes(1, 0)


def _cell(
    sheet: Worksheet, row: int, column: int, value: Any, looks: _Looks, severity: Severity | None = None
) -> None:
    look = looks.marked[severity] if severity is not None else None
    if isinstance(value, bool):
        sheet.write_boolean(row, column, value, look)
    elif isinstance(value, dt.datetime | dt.date) and value is not pd.NaT:
        if value.year >= 1900:
            sheet.write_datetime(
                row, column, value, looks.marked_date[severity] if severity is not None else looks.date
            )
        else:
            sheet.write_string(row, column, as_text(value), look)
    elif isinstance(value, int | float) and math.isfinite(value):
        sheet.write_number(row, column, value, look)
    elif (text := as_text(value)) and value is not pd.NaT:
        sheet.write_string(row, column, shortened(text, 32_000), look)
    elif look is not None:
        sheet.write_blank(row, column, None, look)
