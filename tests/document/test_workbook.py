"""A workbook holds what it was given, as what it is, whatever is in the cells."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile

import numpy as np
import pandas as pd
from python_calamine import CalamineWorkbook

from survivor.document.workbook import LONGEST_TEXT, Book


def held(table: pd.DataFrame) -> tuple[bytes, list[list[object]]]:
    book = Book("Invented", dt.date(2024, 5, 1))
    book.add_table("a sheet", table)
    content = book.close()
    sheet = CalamineWorkbook.from_filelike(io.BytesIO(content)).get_sheet_by_name("a sheet")
    return content, sheet.to_python()


def test_values_stay_what_they_are_and_the_same_table_gives_the_same_bytes() -> None:
    table = pd.DataFrame(
        {
            "text": ["=1+1", "https://a.example", "007", None, ""],
            "number": [1.25, np.nan, np.inf, -np.inf, 3.0],
            "date": [dt.date(2024, 2, 29), dt.date(1899, 12, 31), pd.NaT, pd.Timestamp("2024-01-01"), pd.NA],
            "flag": [True, False, None, True, False],
        }
    )
    content, (head, *rows) = held(table)
    assert head == ["text", "number", "date", "flag"]
    assert [row[0] for row in rows] == ["=1+1", "https://a.example", "007", "", ""]
    assert [row[1] for row in rows] == [1.25, "", "no limit", "no limit", 3.0]
    assert [row[2] for row in rows] == [dt.date(2024, 2, 29), "1899-12-31", "", dt.date(2024, 1, 1), ""]
    assert [row[3] for row in rows] == [True, False, "", True, False]
    assert held(table)[0] == content


def test_fractions_are_shown_with_three_places_at_most_and_small_ones_as_they_are() -> None:
    content, _ = held(pd.DataFrame({"number": [44.8358468537137, 2.0, 0.00012, 7]}))
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        sheet = parts.read("xl/worksheets/sheet1.xml").decode()
        styles = parts.read("xl/styles.xml").decode()
    looks = re.findall(r'<xf numFmtId="(\d+)"', styles[styles.index("<cellXfs") :])
    formats = dict(re.findall(r'<numFmt numFmtId="(\d+)" formatCode="([^"]+)"', styles))
    cells = dict(re.findall(r'<c r="(A[2-5])"(?: s="(\d+)")?>', sheet))
    shown = [formats.get(looks[int(cells[f"A{row}"] or 0)], "as it is") for row in range(2, 6)]
    assert shown == ["0.0##", *["as it is"] * 3]
    assert "<v>44.8358468537137</v>" in sheet


def test_a_text_longer_than_a_cell_holds_is_cut_not_lost() -> None:
    _, rows = held(pd.DataFrame({"text": ["x" * 40_000]}))
    assert rows[1] == ["x" * LONGEST_TEXT]
