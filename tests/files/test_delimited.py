"""Text files as programs leave them: line ends, encodings and first rows of their own."""

from __future__ import annotations

import io
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

from survivor.errors import RecordsError
from survivor.files.cells import numbers
from survivor.files.writing import csv_text
from tests.files.grids import read_grid
from tests.records.sheetfiles import as_ods

TABLE = "site,plot,note\r\nRise,1,Ōtāpara\r\nFall,2,é\r\n"


def read(tmp_path: Path, raw: bytes, name: str = "visits.csv"):
    (tmp_path / name).write_bytes(raw)
    return read_grid(tmp_path / name)


@pytest.mark.parametrize(
    "raw",
    [
        TABLE.replace("\r\n", "\r").encode(),
        TABLE.encode("utf-32"),
        TABLE.encode("utf-16"),
        TABLE.encode("utf-8-sig"),
        TABLE.encode(),
    ],
    ids=["carriage returns", "UTF-32", "UTF-16", "with a mark", "plain"],
)
def test_a_table_is_the_same_however_it_is_kept(tmp_path, raw):
    grid = read(tmp_path, raw)
    assert grid.header == ("site", "plot", "note")
    assert grid.cells.to_numpy().tolist() == [["Rise", "1", "Ōtāpara"], ["Fall", "2", "é"]]
    assert list(grid.cells.index) == [2, 3]


def test_a_large_table_with_carriage_returns_is_no_long_row(tmp_path):
    rows = "\r".join(["site,plot", *(f"Rise,{number}" for number in range(30_000))])
    assert len(read(tmp_path, rows.encode()).cells) == 30_000


@pytest.mark.parametrize("first", ["sep=;", '"sep=;"', "SEP=;"])
def test_a_first_row_that_tells_the_sign_is_no_header(tmp_path, first):
    grid = read(tmp_path, f"{first}\r\nsite;note\r\nRise;a, b\r\n".encode())
    assert grid.header == ("site", "note")
    assert grid.cells.to_numpy().tolist() == [["Rise", "a, b"]]
    assert list(grid.cells.index) == [3]  # as a spreadsheet numbers its rows


def test_a_bad_byte_is_named_with_its_row(tmp_path):
    raw = TABLE.encode().replace(b"Fall", b"F\x81ll")
    with pytest.raises(RecordsError, match=r"row 3 holds a sign .* UTF-8 \(byte 81\)"):
        read(tmp_path, raw)


def test_the_kind_of_a_workbook_is_told_by_what_it_holds(tmp_path):
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held)
    book.add_worksheet("a").write_row(0, 0, ["site", "plot"])
    book.worksheets()[0].write_row(1, 0, ["Rise", "1"])
    book.close()
    assert read(tmp_path, held.getvalue(), "a.ods").header == ("site", "plot")
    assert read(tmp_path, as_ods([["site", "plot"], ["Rise", "1"]]), "a.xlsx").header == ("site", "plot")


def test_names_that_look_like_formulas_are_read_back_as_they_were_written(tmp_path):
    table = pd.DataFrame({"site": ["=g", "+a", "-b", "@SUM(A1)", "'quoted'", "it's"], "plot": list("123456")})
    text = csv_text(table)
    assert "\n'=g," in text
    grid = read(tmp_path, text.encode())
    assert grid.cells[0].tolist() == table["site"].tolist()


@pytest.mark.parametrize("cell", ["9" * 5000, "1e400", "-1e999", float("inf"), float("-inf")])
def test_a_number_beyond_all_numbers_is_none(cell):
    values, faults = numbers(pd.Series([cell], dtype=object))
    assert values.isna().all()
    assert list(faults) == ["unreadable-number"]
