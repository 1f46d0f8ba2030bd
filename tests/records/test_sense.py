"""What can be and is not borne out by anything else is asked about, with its cell; errors are no blanks."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pandas as pd
import pytest
import xlsxwriter

from survivor.files.errors_shown import NOT_WORKED_OUT
from survivor.study import load
from tests.records.making import COUNTS, TAGGED, sheet
from tests.writing import write_files

DATASETS = Path(__file__).parents[2] / "datasets"


def changed(tmp_path: Path, cohort: str, row: int, column: str, value: str) -> pd.DataFrame:
    """What is newly found in a demo cohort once a cell of its plot sheet holds something else."""
    shutil.copytree(DATASETS / cohort, tmp_path / "study")
    file = tmp_path / "study" / "plots.csv"
    lines = [line.split(",") for line in file.read_text(encoding="utf-8").splitlines()]
    at = lines[0].index(column)
    before = len(load(DATASETS / cohort).problems)
    lines[row - 1][at] = value
    file.write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")
    problems = load(tmp_path / "study").problems
    assert len(problems) == before + 1
    return problems[(problems["file"] == "plots.csv") & (problems["row"] == row)]


def counts(planted: dict[int, str]) -> str:
    rows = ["site,plot,visit,date,planting date,planted,alive,method"]
    for plot in range(1, 9):
        for visit, day, alive in ((1, "2022-07-01", 49), (2, "2022-11-01", 47), (3, "2023-06-01", 45)):
            facts = f"2022-06-01,{planted.get(plot, '55')},{alive - plot % 3},{'ab'[plot % 2]}"
            rows.append(f"Rise,{plot},{visit},{day},{facts}")
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize("planted", ["550", "555", "43257"])
def test_a_digit_too_many_in_the_number_planted_is_asked_about(tmp_path, planted):
    write_files(tmp_path, {"study.toml": COUNTS + sheet(), "visits.csv": counts({3: planted})})
    found = load(tmp_path).problems
    found = found[found["code"] == "planted-unusual"]
    assert set(found["severity"]) == {"check"}
    assert set(found["row"]) == {8}
    told = dict(zip(found["column"], found["value"], strict=True))
    assert told == {"planted": planted, "alive": "49"}
    assert "the usual number planted, 55" in found.iloc[0]["what"]
    assert f"49 of {planted} planted are alive at the first count, where the others had lost 1" in " ".join(
        found["what"]
    )


def test_more_than_any_plot_holds_is_asked_about_though_all_rows_say_it(tmp_path):
    planted = {plot: "1e9" for plot in range(1, 9)}
    write_files(tmp_path, {"study.toml": COUNTS + sheet(), "visits.csv": counts(planted)})
    found = load(tmp_path).records.findings
    found = found[(found["code"] == "planted-unusual") & (found["column"] == "planted")]
    assert set(found["what"]) == {"this is more than a plot holds (100,000)"}
    assert len(found) == 24


def test_numbers_planted_that_differ_as_they_may_are_not_asked_about(tmp_path):
    planted = {plot: str(50 + 20 * plot) for plot in range(1, 9)}
    write_files(tmp_path, {"study.toml": COUNTS + sheet(), "visits.csv": counts(planted)})
    assert "planted-unusual" not in set(load(tmp_path).problems["code"])


@pytest.mark.slow
def test_a_number_planted_in_the_plot_sheet_is_asked_about(tmp_path):
    found = changed(tmp_path, "tagged", 12, "Seedlings", "800")
    assert set(found["code"]) == {"planted-unusual"}
    assert set(found["column"]) == {"Seedlings"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("column", "word", "code"),
    [
        ("Texture", "CLAY", "trait-spelling"),
        ("Texture", "clay.", "trait-spelling"),
        ("Texture", "O12", "trait-spelling"),
        ("Texture", "85%", "trait-spelling"),
        ("Texture", "A/D", "trait-spelling"),
        ("Slope", "ilat", "trait-spelling"),
        ("Texture", "", "trait-blank"),
        ("Weed-free radius (m)", "", "trait-blank"),
    ],
)
def test_a_slip_in_a_word_of_a_trait_is_asked_about(tmp_path, column, word, code):
    found = changed(tmp_path, "tagged", 12, column, word)
    assert list(found["code"]) == [code]
    assert list(found["severity"]) == ["check"]
    assert list(found["column"]) == [column]
    assert list(found["value"]) == [word]


@pytest.mark.parametrize("year", ["1822", "1922", "2012"])
def test_a_slip_in_the_year_of_planting_is_asked_about(tmp_path, year):
    lines = [
        line.replace("2022-06-01", f"{year}-06-01") if line.startswith("Rise,4,") else line
        for line in counts({}).splitlines()
    ]
    write_files(tmp_path, {"study.toml": COUNTS + sheet(), "visits.csv": "\n".join(lines) + "\n"})
    found = load(tmp_path).problems
    found = found[found["code"] == "planting-far"]
    assert list(found["severity"]) == ["check"]
    assert list(found["value"]) == [f"{year}-06-01"]


def test_seasons_years_apart_of_several_plots_are_not_asked_about(tmp_path):
    lines = [
        line.replace("2022-", "2016-").replace("2023-", "2017-") if line[5] in "1234" else line
        for line in counts({}).splitlines()
    ]
    write_files(tmp_path, {"study.toml": COUNTS + sheet(), "visits.csv": "\n".join(lines) + "\n"})
    assert "planting-far" not in set(load(tmp_path).problems["code"])


def workbook(cells: dict[tuple[int, int], object]) -> bytes:
    """Two tagged plots in a workbook; formulas with what a spreadsheet shows of them at places, from 0."""
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    book.add_worksheet("First").write(0, 0, "nothing here")
    page = book.add_worksheet("Visits & states")
    rows = [["site", "plot", "tag", "method", "date", "planting date", "state", "height (cm)"]]
    for plot in "pq":
        for tag in range(3):
            for day in ("2022-07-01", "2022-11-01"):
                rows.append(["Rise", plot, f"{plot}{tag}", plot, day, "2022-06-01", "alive", "25"])
    for row, line in enumerate(rows):
        for column, text in enumerate(line):
            if (row, column) in cells:
                page.write_formula(row, column, "=X1", None, cells[row, column])
            else:
                page.write_string(row, column, text)
    for row in range(20, 60):  # a formula drawn down the sheet, below the records
        page.write_formula(row, 6, "=X1", None, "#N/A")
    book.close()
    return held.getvalue()


@pytest.mark.parametrize("named", [True, False])
def test_records_on_a_sheet_that_is_not_read_are_asked_about(tmp_path, named):
    held = io.BytesIO()
    book = xlsxwriter.Workbook(held, {"in_memory": True})
    lines = [line.split(",") for line in counts({}).splitlines()]
    for name, rows in (("May", lines[:13]), ("June", [lines[0], *lines[13:]]), ("Key", [["word"], ["rain"]])):
        page = book.add_worksheet(name)
        for number, row in enumerate(rows):
            page.write_row(number, 0, row)
    book.close()
    which = 'sheet = "May"\n' if named else ""
    write_files(
        tmp_path, {"study.toml": COUNTS + sheet("visits.xlsx", which), "visits.xlsx": held.getvalue()}
    )
    found = load(tmp_path).problems
    found = found[found["code"] == "sheet-not-read"]
    assert list(found["severity"]) == ["check"]
    assert list(found["value"]) == ["June"]
    assert "[[records.sheets]]" in found["mend"].iloc[0]


@pytest.mark.parametrize("shown", ["#N/A", "#REF!", "#DIV/0!", "#VALUE!", "#NAME?"])
def test_a_cell_that_shows_an_error_is_no_blank(tmp_path, shown):
    study = TAGGED + sheet("visits.xlsx", 'sheet = "Visits & states"\n')
    book = workbook({(3, 6): shown, (5, 4): shown, (7, 7): shown})
    write_files(tmp_path, {"study.toml": study, "visits.xlsx": book})
    read = load(tmp_path)
    found = read.problems[read.problems["value"] == shown]
    told = {
        row: (code, severity)
        for row, code, severity in zip(found["row"], found["code"], found["severity"], strict=True)
    }
    assert told == {
        4: ("unknown-state", "stop"),
        6: ("unreadable-date", "stop"),
        8: ("unreadable-number", "check"),
    }
    assert len(read.accounts) == 12  # rows of errors alone are no records


def test_a_formula_without_a_result_is_no_blank_and_one_that_comes_to_nothing_is(tmp_path):
    study = TAGGED + sheet("visits.xlsx", 'sheet = "Visits & states"\n')
    book = workbook({(3, 6): ""})
    write_files(tmp_path, {"study.toml": study, "visits.xlsx": book})
    found = load(tmp_path).problems
    assert list(found.loc[found["value"] == NOT_WORKED_OUT, "code"]) == ["unknown-state"]
    from tests.records.sheetfiles import with_members_changed

    empty = with_members_changed(book, lambda held: held.replace(b'<c r="G4"', b'<c r="G4" t="str"'))
    assert empty != book
    (tmp_path / "visits.xlsx").write_bytes(empty)
    found = load(tmp_path).problems
    assert "unknown-state" not in set(found["code"])
    assert "not-visited" in set(found["code"])
