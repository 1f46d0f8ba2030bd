"""The check of the records as a workbook: what to do, and each sheet with the cells at fault marked."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from survivor.document.workbook import DAY_FORMAT, LONGEST_NAME, MOST_ROWS, Book, finish
from survivor.figures.colours import COLOURS
from survivor.files.sheets import as_text, read_rows
from survivor.records import Records
from survivor.records.problems import shortened
from survivor.records.sheets import grid_of
from survivor.vocabulary import Severity
from survivor.words import full_stop

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

TO_DO, RULES, ACCOUNTS = "what to do", "rules", "records"
_SAID: Final = {
    Severity.STOP: "Correct this first",
    Severity.CHECK: "Please look",
    Severity.NOTE: "Worth knowing",
}
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
    book = _Marked(records.settings.study.name, records.settings.records_closed)
    marks = records.findings
    marks = marks[marks["row"].notna() & marks["severity"].isin([Severity.STOP, Severity.CHECK])]
    places = _headers(records, folder)
    sheets = list(dict.fromkeys(zip(marks["file"], marks["sheet"], strict=True)))
    sheets = [(file, sheet) for file, sheet in sheets if (file, sheet) in places]
    names = _names(sheets)
    to_do, rules, accounts = (book.add(name) for name in (TO_DO, RULES, ACCOUNTS))
    for key in sheets:
        file, sheet = key
        rows = read_rows(folder / file, name=file, sheet=sheet or None)
        own = marks[(marks["file"] == file) & (marks["sheet"] == sheet)]
        _copy(book, names[key], rows, _marks(own, places[key]))
    _write_problems(book, to_do, records.problems, names, places)
    book.fill(rules, records.rules)
    book.fill(accounts, records.accounts)
    return book.close()


class _Marked(Book):
    """A workbook with the looks of cells at fault."""

    def __init__(self, title: str, day: dt.date | None) -> None:
        super().__init__(title, day)
        fills: dict[Severity, dict[str, Any]] = {
            Severity.STOP: {"bg_color": COLOURS["dry"].light, "bold": True, "border": 2},
            Severity.CHECK: {"bg_color": COLOURS["worth"].light, "border": 1},
        }
        add = self.workbook.add_format
        self.plain: Format = add({"valign": "top", "text_wrap": True})
        self.marked: dict[Severity, Format] = {at: add(fill) for at, fill in fills.items()}
        self.marked_date: dict[Severity, Format] = {
            at: add({**fill, **DAY_FORMAT}) for at, fill in fills.items()
        }


def _names(sheets: list[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """Name the copies as spreadsheets allow, each its own."""
    names: dict[tuple[str, str], str] = {}
    taken = {TO_DO, RULES, ACCOUNTS, "history"}
    for number, (file, sheet) in enumerate(sheets, start=1):
        wanted = re.sub(r"[\[\]:*?/\\\x00-\x1f]", "_", sheet or Path(file).name).strip("' ")
        name = wanted[:LONGEST_NAME] or f"sheet {number}"
        if name.casefold() in taken:
            name = f"{wanted[: LONGEST_NAME - 5]} ({number})"
        names[file, sheet] = name
        taken.add(name.casefold())
    return names


def _headers(records: Records, folder: Path) -> dict[tuple[str, str], dict[str, int]]:
    """Find the column of each header of each sheet that the study file names."""
    named = records.settings.records
    found: dict[tuple[str, str], dict[str, int]] = {}
    for told in (*named.sheets, *([named.plots] if named.plots is not None else [])):
        grid = grid_of(folder, told)
        found[told.file, grid.sheet] = dict(reversed(list(zip(grid.header, grid.places, strict=True))))
    return found


def _place(header: str, places: Mapping[str, int]) -> int:
    """Column of a header; of several joined, of the first that is there; else the first of all."""
    return places.get(header, next((places[part] for part in header.split(", ") if part in places), 0))


def _copy(
    book: _Marked, name: str, rows: pd.DataFrame, marks: Mapping[tuple[int, int], tuple[Severity, str]]
) -> None:
    """Write a sheet as it stands, and mark its cells."""
    sheet = book.add(name)
    whole = len(rows) <= _MOST_WHOLE
    wanted = rows if whole else rows.loc[rows.index.isin({row for row, _ in marks} | set(range(1, 6)))]
    for number, cells in zip(wanted.index, wanted.itertuples(index=False, name=None), strict=True):
        for column, value in enumerate(cells):
            if (number, column) in marks:
                severity = marks[number, column][0]
                looks = book.marked[severity], book.marked_date[severity]
                book.cell(sheet, (number - 1, column), value, *looks)
            else:
                book.cell(sheet, (number - 1, column), value)
    for (row, column), (_, comment) in list(marks.items())[:_MOST_COMMENTS]:
        sheet.write_comment(row - 1, column, comment, {"x_scale": 2.5, "y_scale": 2, "author": "survivor"})
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
        said = f"{_SAID[severity]}: {full_stop(row['what'])}\nWhat to do: {full_stop(row['mend'])}"
        before = marks.get(key)
        if before is not None and said in before[1]:
            continue
        text = said if before is None else f"{before[1]}\n\n{said}"
        marks[key] = (before[0] if before else severity, shortened(text, _LONGEST_COMMENT))
    return marks


def _write_problems(
    book: _Marked,
    sheet: Worksheet,
    problems: pd.DataFrame,
    names: Mapping[tuple[str, str], str],
    places: Mapping[tuple[str, str], Mapping[str, int]],
) -> None:
    """List the problems, worst first, each with a link to its cell."""
    headings = ("do", "file", "sheet", "row", "column", "value", "what is wrong", "what to do", "code")
    for place, heading in enumerate(headings):
        sheet.write_string(0, place, heading, book.heading)
    for number, row in enumerate(problems.head(MOST_ROWS).to_dict("records"), start=1):
        texts = [_SAID[Severity(row["severity"])], row["file"], row["sheet"], "", row["column"], row["value"],
                 row["what"], row["mend"], row["code"]]  # fmt: skip
        for place, text in enumerate(texts):
            sheet.write_string(number, place, str(text), book.plain)
        if pd.notna(row["row"]):
            _link(sheet, number, row, names, places)
    for place, width in enumerate((16, 16, 12, 7, 18, 18, 60, 60, 20)):
        sheet.set_column(place, place, width)
    finish(sheet, len(problems), len(headings))


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
