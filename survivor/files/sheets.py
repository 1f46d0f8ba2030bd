"""Any sheet (CSV, XLSX, ODS, XLS) to cells as they are, with file, sheet and row.

Nothing is interpreted here: a tag written as the text ``0012`` stays that text, a
date cell stays a date, a blank stays a blank. Rows are numbered as a spreadsheet
shows them, so that a problem can be found again.
"""

from __future__ import annotations

import datetime as dt
import difflib
import io
import unicodedata
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd
from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    PasswordError,
    SheetVisibleEnum,
    WorksheetNotFound,
)

from survivor.errors import RecordsError
from survivor.files.bounds import check_bounds, column_number
from survivor.files.content import content
from survivor.files.days import read_day
from survivor.files.delimited import read_delimited
from survivor.files.errors_shown import errors_shown
from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS
from survivor.words import readable

Cell = str | float | int | bool | dt.date | dt.datetime | dt.time | dt.timedelta

HEADER_JOINT = " / "

Line = tuple[int, tuple[str, ...]]
_MOST_ABOVE: Final = 8  # rows above the body that are kept

_Merged = tuple[tuple[int, int], tuple[int, int]]


@dataclass(frozen=True)
class Grid:
    """One sheet as read.

    Attributes
    ----------
    file, sheet
        Where it came from; ``sheet`` is empty for a text file.
    header
        One header a column, the parts of a header of several rows joined by " / ".
    cells
        One column (0, 1, ...) a header, cells as they are and "" for a blank; the
        index holds the row numbers as a spreadsheet shows them. Rows without any
        content are left out.
    merged_down
        First row, last row and column of cells merged downwards in the body.
    said
        How the sheet was read, where that was not plain; for the problems list.
    places
        Place of each column in the sheet, counted from 0; columns without any content
        are left out.
    above
        Number and texts of the last rows above the body, those of the header among them.
    """

    file: str
    sheet: str
    header: tuple[str, ...]
    cells: pd.DataFrame
    merged_down: tuple[tuple[int, int, int], ...] = ()
    said: tuple[str, ...] = ()
    places: tuple[int, ...] = ()
    above: tuple[Line, ...] = ()

    @property
    def place(self) -> str:
        """File and sheet, for an error."""
        return f"{self.file}, sheet {self.sheet}" if self.sheet else self.file


@dataclass(frozen=True)
class Whole:
    """One sheet as it stands, before anybody says where its header is.

    Attributes
    ----------
    file, sheet
        Where it came from.
    rows
        Its cells, numbered from row 1 and column 0; "" for a blank.
    merged
        Corners of merged cells, counted from 0.
    said
        How the file was read, where that was not plain.
    """

    file: str
    sheet: str
    rows: pd.DataFrame
    merged: Sequence[_Merged] = ()
    said: tuple[str, ...] = ()

    @cached_property
    def filled(self) -> np.ndarray[Any, Any]:
        """Which cells are not blank: asked each time that the sheet is cut in another way."""
        return _filled(self.rows)

    @cached_property
    def texts(self) -> np.ndarray[Any, Any]:
        """Its cells as text, a row a row."""
        return table_texts(self.rows)

    def above(self, row: int) -> np.ndarray[Any, Any]:
        """Texts of its rows down to one, as a spreadsheet numbers them."""
        return self.texts[: int((self.rows.index <= row).sum())]

    def part(self, area: str) -> Whole:
        """Leave out the cells beyond an area such as ``A3:H40``; rows and columns keep their numbers.

        Raises
        ------
        RecordsError
            When no cell of the sheet lies in it.
        """
        (left, top), (right, foot) = (_corner(cell) for cell in area.split(":"))
        rows = self.rows.loc[top:foot].iloc[:, : right + 1].copy()
        if rows.empty:
            where = f"{self.file}, sheet {self.sheet}" if self.sheet else self.file
            raise RecordsError(
                f"the sheet has no cell in {area}", where=where, mend="correct area in the study file"
            )
        rows.iloc[:, :left] = ""
        return replace(self, rows=rows)

    def turned(self) -> Whole:
        """Lay it on its side: its columns, counted from 1, become rows."""
        rows = self.rows.T.reset_index(drop=True)
        rows.index = rows.index + 1
        rows.columns = pd.RangeIndex(rows.shape[1])
        merged = [((left, top), (right, foot)) for (top, left), (foot, right) in self.merged]
        said = "the sheet lies on its side: what a problem calls row 3 is its column C, and so on"
        return replace(self, rows=rows.astype(object), merged=merged, said=(*self.said, said))

    def cut(self, skip_rows: int = 0, header_rows: int = 1) -> Grid:
        """Part the header from the body.

        Parameters
        ----------
        skip_rows
            Rows above the header that are not part of it, such as a title.
        header_rows
            Rows that the header takes.

        Raises
        ------
        RecordsError
            When there is nothing in it, or nothing below the header.
        """
        return _cut(self, skip_rows, header_rows)


def letters(column: int) -> str:
    """Name a column, counted from 0, as a spreadsheet does: A, B, ..., Z, AA."""
    name = ""
    while column >= 0:
        name = chr(ord("A") + column % 26) + name
        column = column // 26 - 1
    return name


def _corner(cell: str) -> tuple[int, int]:
    """Column, counted from 0, and row of a cell such as H40."""
    name = cell.rstrip("0123456789")
    return column_number(name.encode()) - 1, int(cell[len(name) :])


def read_whole(path: Path, *, name: str = "", sheet: str | None = None) -> Whole:
    """Read one sheet as it stands.

    Parameters
    ----------
    path
        The file.
    name
        How to call the file in problems and errors; default: its name.
    sheet
        Name of the sheet in a workbook; None: the first visible one with content.

    Raises
    ------
    RecordsError
        When the file is absent, damaged, empty, of another kind than its name
        says, or has no such sheet.
    """
    rows, sheet_name, merged, said = _read(path, name or path.name, sheet)
    return Whole(name or path.name, sheet_name, rows, merged, said)


def sheet_names(path: Path) -> list[str]:
    """Name the visible sheets of a workbook; a text file has one without a name.

    Raises
    ------
    RecordsError
        When the workbook cannot be opened.
    """
    if path.suffix.lower() not in WORKBOOK_ENDINGS:
        return [""]
    return [name for name, visible in _sheets(path) if visible]


def hidden_sheets(path: Path) -> list[str]:
    """Name the sheets that a workbook hides.

    Raises
    ------
    RecordsError
        When the workbook cannot be opened.
    """
    return [name for name, visible in _sheets(path) if not visible]


def _sheets(path: Path) -> list[tuple[str, bool]]:
    if path.suffix.lower() not in WORKBOOK_ENDINGS:
        return []
    check_bounds(path, path.name)
    with _opened(path, path.name) as book:
        return [(sheet.name, sheet.visible == SheetVisibleEnum.Visible) for sheet in book.sheets_metadata]


@contextmanager
def _opened(path: Path, name: str) -> Iterator[CalamineWorkbook]:
    """Open a workbook; what its reader finds wrong, or stumbles over, is said in words."""
    try:
        with CalamineWorkbook.from_filelike(io.BytesIO(content(path))) as book:
            yield book
    except (CalamineError, OSError) as error:
        raise _not_opened(path, name, error) from error
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # of the reader, which is no Exception of ours
            raise
        raise _not_opened(path, name, OSError("its parts do not fit together")) from error


def read_rows(path: Path, *, name: str = "", sheet: str | None = None) -> pd.DataFrame:
    """Read one sheet as it stands, numbered from row 1 and column 0; "" for a blank cell.

    Raises
    ------
    RecordsError
        When the file cannot be read.
    """
    return _read(path, name or path.name, sheet)[0]


def _read(
    path: Path, name: str, sheet: str | None
) -> tuple[pd.DataFrame, str, Sequence[_Merged], tuple[str, ...]]:
    must_be_there(path, name)
    ending = path.suffix.lower()
    if ending in TEXT_ENDINGS:
        rows, said = read_delimited(path, name)
        return rows, "", (), said
    if ending in WORKBOOK_ENDINGS:
        return _read_workbook(path, name, sheet)
    raise RecordsError(
        f"files ending in {ending or 'nothing'} are not read",
        where=name,
        mend=f"save it as one of {', '.join(TEXT_ENDINGS + WORKBOOK_ENDINGS)}",
    )


def must_be_there(path: Path, name: str, named: Collection[str] = ()) -> None:
    """Refuse a path at which there is no file.

    Parameters
    ----------
    path
        Where it should be.
    name
        How to call it in an error.
    named
        Names of files that the study file uses for something: none of them is proposed.

    Raises
    ------
    RecordsError
        With the file beside it that is most like it, if there is one.
    """
    folder = path.parent
    try:
        if path.is_dir():
            raise RecordsError("this is a folder, not a file", where=name, mend="name a file in it")
        if path.is_file():
            return
        beside = sorted(item.name for item in folder.iterdir()) if folder.is_dir() else []
    except OSError:  # a name that no file can have, or a folder that may not be looked into
        beside = []
    free = [item for item in beside if item not in {Path(other).name for other in named}]
    close = [item for item in free if item.casefold() == path.name.casefold()] or [
        item
        for item in difflib.get_close_matches(path.name, free, n=3)
        if item.lower().endswith(TEXT_ENDINGS + WORKBOOK_ENDINGS)
    ]
    mend = "check the name in the study file, which is relative to it, or put the file there"
    if close:
        mend = f"did you mean {close[0]}?"
    if "\\" in name and (folder / name.replace("\\", "/")).is_file():
        mend = f"write / between folders, which every machine knows: {name.replace(chr(92), '/')}"
    same = [
        item for item in free if unicodedata.normalize("NFC", item) == unicodedata.normalize("NFC", path.name)
    ]
    if same:
        mend = "give the file its name anew: it is written there with the accents apart from their letters"
    raise RecordsError("there is no such file", where=name, mend=mend)


def _read_workbook(
    path: Path, name: str, sheet: str | None
) -> tuple[pd.DataFrame, str, Sequence[_Merged], tuple[str, ...]]:
    check_bounds(path, name)
    with _opened(path, name) as book:
        chosen, said = _choose_sheet(book, name, sheet)
        rows = chosen.to_python(skip_empty_area=False)
        merged = chosen.merged_cell_ranges or []
    _show_errors(rows, errors_shown(content(path), chosen.name))
    frame = pd.DataFrame(rows, dtype=object)
    frame.index = pd.RangeIndex(1, len(frame) + 1)
    return frame, chosen.name, merged, said


def _show_errors(rows: list[list[Cell]], shown: dict[tuple[int, int], str]) -> None:
    """Put errors in their cells, which the reader gives as blank; a row of errors alone stays blank."""
    for row, column in shown:
        if row < len(rows) and any(cell != "" and (row, c) not in shown for c, cell in enumerate(rows[row])):
            rows[row][column] = shown[row, column]


def _not_opened(path: Path, name: str, error: Exception) -> RecordsError:
    if isinstance(error, PasswordError):
        return RecordsError(
            "the workbook is locked by a password", where=name, mend="save a copy without the password"
        )
    return RecordsError(
        f"the workbook cannot be opened: {_in_words(path, error)}",
        where=name,
        mend="open it in a spreadsheet program and save it again, as XLSX or as CSV",
    )


def _in_words(path: Path, error: Exception) -> str:
    start = content(path)[:512]
    if not start:
        return "the file is empty"
    if b"\x00" not in start and not start.startswith(b"PK"):
        return "it holds plain text, so perhaps it is a CSV file under another name"
    return f"it is damaged ({error})"


def _choose_sheet(
    book: CalamineWorkbook, name: str, sheet: str | None
) -> tuple[CalamineSheet, tuple[str, ...]]:
    if sheet is not None:
        same = [s for s in book.sheet_names if s.strip().casefold() == sheet.strip().casefold()]
        try:
            return book.get_sheet_by_name(sheet if sheet in book.sheet_names or not same else same[0]), ()
        except WorksheetNotFound as error:
            raise RecordsError(
                f"there is no sheet {sheet!r}; the sheets are {', '.join(map(repr, book.sheet_names))}",
                where=name,
                mend="give one of these names as `sheet` in the study file",
            ) from error
    visible = [s.name for s in book.sheets_metadata if s.visible == SheetVisibleEnum.Visible]
    filled = [s for s in map(book.get_sheet_by_name, visible) if s.end is not None]
    if not filled:
        raise RecordsError(
            "the workbook has no visible sheet with content", where=name, mend="check the file"
        )
    if len(filled) == 1:
        return filled[0], ()
    others = ", ".join(repr(s.name) for s in filled[1:])
    return filled[0], (f"the first sheet, {filled[0].name!r}, was read; not read: {others}",)


def _cut(whole: Whole, skip_rows: int, header_rows: int) -> Grid:
    """Part the header from the body and leave out rows and columns without content."""
    rows, name, sheet, merged, said = whole.rows, whole.file, whole.sheet, whole.merged, whole.said
    where = f"{name}, sheet {sheet}" if sheet else name
    numbers, filled = rows.index.to_numpy(), whole.filled
    with_content = np.flatnonzero(filled.any(axis=1) & (numbers > skip_rows))
    if not len(with_content):
        raise RecordsError("there is nothing in it", where=where, mend="check that the right file was saved")
    top = int(numbers[with_content[0]])
    below = top + header_rows - 1
    of_header = np.flatnonzero((numbers >= top) & (numbers <= below))
    header_cells = [list(map(as_text, line)) for line in rows.iloc[of_header].to_numpy(dtype=object)]
    spans = {
        (r1 + 1 - top, c1): c2
        for (r1, c1), (r2, c2) in merged
        if top <= r1 + 1 <= below and c2 > c1 and r1 == r2
    }
    header = join_header(header_cells, spans if merged else None)
    of_body = with_content[numbers[with_content] > below]
    in_body = np.asarray(filled[of_body].any(axis=0))
    # A heading carried over from the left alone makes no column.
    keep = [c for c in range(len(header)) if any(row[c] for row in header_cells) or in_body[c : c + 1].any()]
    if not len(of_body):
        raise RecordsError(
            "no records yet: there is a header and no row below it",
            where=where,
            mend="write the records below the header; if they are there, check that the right sheet was "
            f"saved, and that header_rows = {header_rows} is right",
        )
    place = {column: new for new, column in enumerate(keep)}
    down = tuple(
        (r1 + 1, r2 + 1, place[c1])
        for (r1, c1), (r2, _) in merged
        if r1 + 1 > below and r2 > r1 and c1 in place
    )
    cells, dittos = _as_above(rows.iloc[of_body, keep].set_axis(range(len(keep)), axis="columns"))
    if dittos:
        said = (*said, f"{dittos:,} ditto marks are read as the cell above them")
    last = np.flatnonzero(numbers <= below)[-_MOST_ABOVE:]
    above = tuple(
        (int(numbers[row]), tuple(map(as_text, line)))
        for row, line in zip(last, rows.iloc[last, keep].to_numpy(dtype=object), strict=True)
    )
    return Grid(name, sheet, tuple(header[c] for c in keep), cells, down, said, tuple(keep), above)


_DITTO: Final = frozenset((
    '"', '""', "''", ",,", "\N{DITTO MARK}", "\N{RIGHT DOUBLE QUOTATION MARK}", "-\"-",
    "\N{LEFT DOUBLE QUOTATION MARK}", "do.", "Do.", "ditto", "Ditto", '" "',
))  # fmt: skip


def _as_above(body: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Write out ditto marks: the cell above, in each column; and how many there were."""
    if all(_DITTO.isdisjoint(body[column].to_numpy(dtype=object)) for column in body.columns):
        return body, 0
    marks = {column: body[column].isin(_DITTO) for column in body.columns}
    number = sum(int(own.sum()) for own in marks.values())
    written = {
        column: _repeated(body[column], own) if own.any() else body[column] for column, own in marks.items()
    }
    return pd.DataFrame(written, index=body.index), number


def _repeated(column: pd.Series[Any], marks: pd.Series[bool]) -> pd.Series[Any]:
    """Write the last filled cell above in place of each mark; an empty text where there is none."""
    cells = column.to_numpy(dtype=object).copy()
    own, rows = marks.to_numpy(dtype=bool), np.arange(len(cells))
    above = np.maximum.accumulate(np.where(own | pd.isna(cells), -1, rows))
    cells[own] = np.where(above[own] < 0, "", cells[above[own]])
    return pd.Series(cells, index=column.index, dtype=object)


def _filled(rows: pd.DataFrame) -> np.ndarray[Any, Any]:
    filled = np.empty(rows.shape, dtype=bool)
    for place, column in enumerate(rows.columns):
        filled[:, place] = [
            not isinstance(cell, str) or bool(cell.strip()) for cell in rows[column].to_numpy(dtype=object)
        ]
    return filled


def table_texts(table: pd.DataFrame) -> np.ndarray[Any, Any]:
    """Cells of a table as text, a row a row."""
    cells = table.to_numpy(dtype=object)
    written = np.empty(cells.size, dtype=object)
    written[:] = list(map(as_text, cells.ravel()))
    return written.reshape(cells.shape)


def as_text(cell: object) -> str:
    """Write a cell as a person would: 12 for 12.0, the date alone for midnight, one space for many."""
    if isinstance(cell, str):
        if cell.isascii() and cell.isprintable():  # of which a register has millions: every sign is readable
            return " ".join(cell.split()) if " " in cell else cell
        return readable(" ".join(cell.split()))
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else repr(cell)
    if isinstance(cell, dt.datetime):
        return cell.date().isoformat() if cell.time() == dt.time() else cell.isoformat(sep=" ")
    return "" if cell is None else str(cell)


_OF_DAYS: Final = frozenset({"date", "dates", "day", "visit date", "date of visit"})


def _is_day(text: str) -> bool:
    return read_day(text, "day-first")[0] is not None


def join_header(rows: list[list[str]], spans: dict[tuple[int, int], int] | None) -> list[str]:
    """Join the rows of a header into one text a column.

    Parameters
    ----------
    rows
        Header rows from the top; equal lengths.
    spans
        Cells merged to the right: (row, first column) -> last column. None where
        the file cannot tell: a top cell is then carried over the blanks on its
        right, unless nothing stands below it (it is a header by itself).

    Returns
    -------
    list of str
        The non-empty parts of each column joined by " / ", equal parts once.
    """
    carried = [list(row) for row in rows]
    for r, row in enumerate(rows[1:], 1):
        for c, part in enumerate(
            row[:-1]
        ):  # "Date" before a row of days says what they are, and heads nothing
            if part.rstrip(":").casefold() in _OF_DAYS and rows[r - 1][c] and _is_day(row[c + 1]):
                carried[r][c] = ""
    for r, row in enumerate(rows[:-1]):
        reach = -1
        for c, part in enumerate(row):
            if part:
                below = any(other[c] for other in rows[r + 1 :])
                reach = spans.get((r, c), c) if spans else (len(row) - 1 if below else c)
                value = part
            elif c <= reach:
                carried[r][c] = value
    joined = []
    for parts in zip(*carried, strict=True):
        joined.append(HEADER_JOINT.join(dict.fromkeys(part for part in parts if part)))
    return joined
