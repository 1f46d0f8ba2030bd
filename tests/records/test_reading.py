"""Sheets as people save them: encodings, signs, workbooks, headers of two rows, and files that are none."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
import xlsxwriter

from survivor.errors import RecordsError
from survivor.files.sheets import join_header
from tests.files.grids import read_grid

# bytes of a CSV file -> what is said of it
TEXTS = {
    "utf-8": ("site,plot\nTarn Höhe,1\n".encode(), ()),
    "utf-8 with a mark": ("site,plot\nTarn Höhe,1\n".encode("utf-8-sig"), ()),
    "Windows": (
        "site,plot\nTarn Höhe,1\n".encode("cp1252"),
        ("read as Windows-1252 text with cells parted by commas",),
    ),
    "semicolons": (
        "site;plot\nTarn Höhe;1\n".encode(),
        ("read as UTF-8 text with cells parted by semicolons",),
    ),
    "semicolons and decimal commas": (
        "site;plot;m\nTarn Höhe;1;0,5\nb;1;0,25\n".encode(),
        ("read as UTF-8 text with cells parted by semicolons",),
    ),
    "tabs": ("site\tplot\nTarn Höhe\t1\n".encode(), ("read as UTF-8 text with cells parted by tabs",)),
    "bars": ("site|plot\nTarn Höhe|1\n".encode(), ("read as UTF-8 text with cells parted by upright bars",)),
    "saved as Unicode text": (
        "site\tplot\nTarn Höhe\t1\n".encode("utf-16"),
        ("read as UTF-16 text with cells parted by tabs",),
    ),
}


@pytest.mark.parametrize("name", TEXTS)
def test_encoding_and_sign_are_sniffed_and_said(tmp_path: Path, name: str) -> None:
    content, said = TEXTS[name]
    (tmp_path / "a.csv").write_bytes(content)
    grid = read_grid(tmp_path / "a.csv")
    assert grid.header[:2] == ("site", "plot")
    assert list(grid.cells.iloc[0])[:2] == ["Tarn Höhe", "1"]
    assert grid.said == said


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('\n\nsite,note\nA,"two\nlines, and a comma"\n\nB,ends here\n,\n')
    grid = read_grid(tmp_path / "a.csv")
    assert list(grid.cells.index) == [4, 6]
    assert grid.cells.loc[4, 1] == "two\nlines, and a comma"


def test_ragged_rows_are_read_and_cells_without_a_header_kept(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("site,plot,,\nA,1,,stray\nB\n")
    grid = read_grid(tmp_path / "a.csv")
    assert grid.header == ("site", "plot", "")
    assert list(grid.cells.loc[2]) == ["A", "1", "stray"]
    assert list(grid.cells.loc[3]) == ["B", "", ""]


def test_a_quotation_mark_that_is_never_closed_is_named_with_its_row(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('site,plot\nRise,1\nRise,"2\nRise,3\n', encoding="utf-8")
    with pytest.raises(RecordsError, match="row 3 opens a quotation mark that is never closed"):
        read_grid(tmp_path / "a.csv")


def test_a_quotation_mark_inside_a_cell_is_a_plain_sign(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text('site,method\nA,5" auger\nB,rip\n')
    assert read_grid(tmp_path / "a.csv").cells.loc[2, 1] == '5" auger'


def test_cells_of_a_workbook_stay_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    book = xlsxwriter.Workbook(str(path), {"default_date_format": "yyyy-mm-dd"})
    sheet = book.add_worksheet("Visits")
    sheet.write_row(2, 0, ["tag", "date", "count", "state"])
    sheet.write_string(3, 0, "0012")
    sheet.write_datetime(3, 1, dt.datetime(2022, 3, 4))
    sheet.write_number(3, 2, 12)
    sheet.write_boolean(3, 3, True)
    book.add_worksheet("empty")
    book.close()
    grid = read_grid(path)
    assert list(grid.cells.index) == [4]
    assert list(grid.cells.loc[4]) == ["0012", dt.date(2022, 3, 4), 12.0, True]
    assert grid.said == ()
    assert grid.place == "a.xlsx, sheet Visits"


def test_a_header_of_two_rows_is_joined_and_merged_cells_carried(tmp_path: Path) -> None:
    path = tmp_path / "a.xlsx"
    book = xlsxwriter.Workbook(str(path))
    sheet = book.add_worksheet("Counts")
    sheet.merge_range(0, 0, 0, 5, "Counts of 2022")
    sheet.merge_range(1, 0, 2, 0, "Site")
    sheet.write(1, 1, "Plot")
    sheet.merge_range(1, 2, 1, 3, "Spring")
    sheet.write_row(2, 2, ["alive", "dead", "notes"])
    sheet.merge_range(3, 0, 4, 0, "Rise")
    sheet.write_row(3, 1, [1, 10, 0])
    sheet.write_row(4, 1, [2, 9, 1, "wet"])
    book.close()
    grid = read_grid(path, skip_rows=1, header_rows=2)
    assert grid.header == ("Site", "Plot", "Spring / alive", "Spring / dead", "notes")
    assert grid.merged_down == ((4, 5, 0),)


def test_without_merged_cells_a_top_header_is_carried_over_the_blanks() -> None:
    top = ["Site", "Plot", "Spring", "", "Autumn", ""]
    low = ["", "", "alive", "dead", "alive", "dead"]
    assert join_header([top, low], None) == [
        "Site", "Plot", "Spring / alive", "Spring / dead", "Autumn / alive", "Autumn / dead",
    ]  # fmt: skip


def test_date_before_a_row_of_days_is_no_part_of_the_heading_above_it() -> None:
    low = ["", "Date:", "2024-05-31", "2024-11-30"]
    assert join_header([["Plot", "Tag", "V1", "V2"], low], {}) == [
        "Plot", "Tag", "V1 / 2024-05-31", "V2 / 2024-11-30",
    ]  # fmt: skip
    assert join_header([["Tag", "Spring", ""], ["", "Date", "State"]], {(0, 1): 2}) == [
        "Tag", "Spring / Date", "Spring / State",
    ]  # fmt: skip


def workbook(path: Path, sheets: dict[str, list[list[object]]]) -> None:
    book = xlsxwriter.Workbook(str(path))
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for number, row in enumerate(rows):
            sheet.write_row(number, 0, row)
    book.close()


def test_the_first_sheet_is_read_and_the_others_are_named(tmp_path: Path) -> None:
    workbook(tmp_path / "a.xlsx", {"one": [["site"], ["A"]], "two": [["site"], ["B"]]})
    grid = read_grid(tmp_path / "a.xlsx")
    assert grid.sheet == "one"
    assert "'two'" in grid.said[0]
    assert read_grid(tmp_path / "a.xlsx", sheet="Two ").cells.iloc[0, 0] == "B"


def damaged(path: Path) -> None:
    workbook(path, {"one": [["site"], ["A"]]})
    path.write_bytes(path.read_bytes()[:400])


# name of the file: (how it is made, words of the error)
NONE_OF_OURS = {
    "missing.csv": (None, "there is no such file"),
    "empty.csv": (b"", "there is nothing in it"),
    "blank.csv": (b"\n  \n,,\n", "there is nothing in it"),
    "header.csv": (b"site,plot\n", "a header and no row below it"),
    "picture.csv": (b"\x89PNG\r\n\x1a\n\x00\x00\x00", "not a text file"),
    "really a workbook.csv": (b"PK\x03\x04....", "a workbook under the name of a text file"),
    "open quote.csv": (b'site,plot\n"A,1\nB,2\n', "cells cannot be distinguished"),
    "letter.docx": (b"PK\x03\x04....", "files ending in .docx are not read"),
    "empty.xlsx": (b"", "the file is empty"),
    "text.xlsx": (b"site,plot\nA,1\n", "plain text"),
    "damaged.xlsx": (damaged, "it is damaged"),
}


@pytest.mark.parametrize("name", NONE_OF_OURS)
def test_a_file_that_cannot_be_read_is_a_plain_error(tmp_path: Path, name: str) -> None:
    make, words = NONE_OF_OURS[name]
    if callable(make):
        make(tmp_path / name)
    elif make is not None:
        (tmp_path / name).write_bytes(make)
    with pytest.raises(RecordsError) as error:
        read_grid(tmp_path / name)
    assert words in error.value.what
    assert error.value.where == name
    assert error.value.mend


def test_errors_name_what_is_there(tmp_path: Path) -> None:
    workbook(tmp_path / "a.xlsx", {"one": [["site"], ["A"]]})
    with pytest.raises(RecordsError, match="the sheets are 'one'"):
        read_grid(tmp_path / "a.xlsx", sheet="visits")
    with pytest.raises(RecordsError, match=r"did you mean a\.xlsx"):
        read_grid(tmp_path / "b.xlsx")
    with pytest.raises(RecordsError, match="a folder"):
        read_grid(tmp_path)
