"""The workbook, read back with python-calamine."""

from __future__ import annotations

import io
from dataclasses import replace

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from survivor.analysis import Analysis
from survivor.document.workbook import LONGEST_NAME, Book
from survivor.report.forms import workbook_of
from survivor.report.tables import TITLES, findings_table, tables_of, title_of
from tests.report.making import build


@pytest.fixture(scope="module")
def book(analysis: Analysis) -> CalamineWorkbook:
    return CalamineWorkbook.from_filelike(io.BytesIO(workbook_of(analysis)))


def test_every_table_has_a_sheet_and_a_line_in_the_contents(
    book: CalamineWorkbook, analysis: Analysis
) -> None:
    # What everybody can count stands first.
    names = ["observed", "findings", *(name for name in tables_of(analysis) if name != "observed")]
    assert book.sheet_names == ["contents", *(name[:LONGEST_NAME] for name in names)]
    contents = book.get_sheet_by_name("contents").to_python()
    assert contents[0] == ["sheet", "holds", "rows"]
    assert [row[0] for row in contents[1:]] == names
    assert all(row[1] for row in contents[1:])


def test_numbers_keep_sixteen_digits() -> None:
    numbers = [59.53173117305046, -0.13821200671209571, 1 / 3, 1e-300]
    made = Book("numbers", None)
    made.add_table("all", pd.DataFrame({"estimate": numbers}))
    rows = CalamineWorkbook.from_filelike(io.BytesIO(made.close())).get_sheet_by_name("all").to_python()
    assert [row[0] for row in rows[1:]] == pytest.approx(numbers, rel=1e-15, abs=0)


def test_the_numbers_are_those_of_the_tables(book: CalamineWorkbook, analysis: Analysis) -> None:
    for name, table in tables_of(analysis).items():
        rows = book.get_sheet_by_name(name[:LONGEST_NAME]).to_python()
        assert rows[0] == [str(column) for column in table.columns]
        assert len(rows) - 1 <= len(table)
        if "estimate" in table:
            place = list(table.columns).index("estimate")
            read = [row[place] for row in rows[1:] if row[place] != ""]
            # Twelve digits, as the findings have: what is beyond differs from machine to machine.
            assert read == [float(f"{number:.12g}") for number in table["estimate"].dropna()]


def test_text_stays_text(analysis: Analysis) -> None:
    problems = analysis.records.problems.assign(value=["=1+1", "https://x.invalid", "-9999"])
    records = replace(build().records, problems=problems)
    read = CalamineWorkbook.from_filelike(io.BytesIO(workbook_of(build(records=records))))
    rows = read.get_sheet_by_name("problems").to_python()
    place = rows[0].index("value")
    assert [row[place] for row in rows[1:]] == ["=1+1", "https://x.invalid", "not shown"]


def test_the_same_analysis_gives_the_same_bytes(analysis: Analysis) -> None:
    assert workbook_of(analysis) == workbook_of(analysis)


def test_findings_stand_one_a_row(analysis: Analysis) -> None:
    assert list(findings_table(analysis)["key"]) == [finding.key for finding in analysis.findings]


def test_every_table_says_what_it_holds(analysis: Analysis) -> None:
    untold = [name for name in tables_of(analysis) if name not in TITLES and not name.startswith("terms_")]
    assert untold == []
    assert all(text and not text.endswith(".") for text in TITLES.values())
    assert "“cox”" in title_of("terms_cox")
    assert title_of("no_such_table") == "no such table"
