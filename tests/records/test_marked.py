"""The check as a page and as a workbook: every problem is said, and cells are marked in their place."""

from __future__ import annotations

import datetime as dt
import io
import re
import shutil
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook
from typer.testing import CliRunner

from survivor.cli import app
from survivor.records import Records, read_records
from survivor.records.accounts import kinds_of
from survivor.report.checked.page import page_of_check
from survivor.report.checked.workbook import workbook_of_check
from survivor.settings import read_settings
from survivor.study import load
from survivor.vocabulary import PROBLEM_COLUMNS, Severity
from tests.slow import some_slow

AWKWARD = Path(__file__).parent / "awkward"
DATASETS = Path(__file__).parents[2] / "datasets"
CASES = sorted(
    folder.name for folder in AWKWARD.iterdir() if folder.is_dir() and "percent" not in folder.name
)


class Words(HTMLParser):
    """The text of a page, its ids, and every address it would fetch."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.ids, self.links, self.fetched = "", [], [], []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if "href" in found else []
        self.fetched += [found["src"]] if "src" in found else []
        assert tag not in ("script", "link", "img", "iframe")

    def handle_data(self, data):
        self.text += data


def read(case: str) -> Records:
    return read_records(AWKWARD / case, read_settings(AWKWARD / case))


@pytest.mark.parametrize("case", some_slow(CASES, 4))
def test_the_page_says_every_problem_and_fetches_nothing(case: str) -> None:
    records = read(case)
    text = page_of_check(records, {"sha256 of visits.csv": "00"})
    page = Words()
    page.feed(text)
    assert len(page.ids) == len(set(page.ids))
    assert page.fetched == []
    assert [link for link in page.links if not link.startswith("#") or link[1:] not in page.ids] == []
    said = " ".join(page.text.split()).casefold()
    for mend in records.problems["mend"].unique():
        assert " ".join(mend.split()).casefold().rstrip(".") in said
    for row in records.rules.to_dict("records"):
        assert row["rule"] in page.text
    grave = [severity for severity in ("first", "look", "know") if severity in page.ids]
    places = [page.ids.index(name) for name in grave]
    assert places == sorted(places)
    assert text == page_of_check(records, {"sha256 of visits.csv": "00"})


def comments(content: bytes) -> dict[str, set[str]]:
    """Cells with a comment, by the sheet of the workbook (its number), and what they say."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        parts = {name: packed.read(name).decode() for name in packed.namelist() if "comments" in name}
    return {name: set(re.findall(r'<comment ref="([A-Z]+\d+)"', text)) for name, text in parts.items()}


def test_cells_at_fault_are_marked_where_they_stand() -> None:
    records = read("12-wide-dates-in-headers")
    content = workbook_of_check(records, AWKWARD / "12-wide-dates-in-headers")
    (marked,) = comments(content).values()
    # Stake 03 of both plots: "eaten" under 20 Apr 2023, the sixth column, rows 4 and 9.
    assert {"F4", "F9"} <= marked
    with CalamineWorkbook.from_filelike(io.BytesIO(content)) as book:
        assert book.sheet_names == ["what to do", "rules", "records", "seedlings.txt"]
        copied = book.get_sheet_by_name("seedlings.txt").to_python()
        assert copied[3][5] == "eaten"
        assert copied[0][1] == "Quadrat No."
        todo = book.get_sheet_by_name("what to do").to_python()
        assert todo[1][0] == "Correct this first"
        assert '"eaten" = "..." with one of alive, dead' in todo[1][7]
        assert len(todo) == len(records.problems) + 1
        account = book.get_sheet_by_name("records").to_python()
        assert len(account) == len(records.accounts) + 1


def test_a_marked_sheet_with_two_header_rows_keeps_its_places(tmp_path: Path) -> None:
    folder = tmp_path / "counts"
    shutil.copytree(DATASETS / "counts", folder)
    study = load(folder)
    rises = study.problems[study.problems["code"] == "count-rises"]
    content = workbook_of_check(study.records, folder)
    (marked,) = comments(content).values()
    # Alive / Jul 2022 and Alive / Nov 2022 are the 11th and 12th columns of the demo's workbook.
    assert len(rises) == 2
    assert len(marked) == 2
    with (
        CalamineWorkbook.from_filelike(io.BytesIO(content)) as book,
        CalamineWorkbook.from_path(folder / "plot counts.xlsx") as own,
    ):
        copy, source = (
            each.get_sheet_by_name("Counts").to_python(skip_empty_area=False) for each in (book, own)
        )
    for row, value in zip(rises["row"], rises["value"], strict=True):
        columns = [re.sub(r"\d", "", cell) for cell in marked if cell.endswith(str(row))]
        place = [sum((ord(c) - 64) * 26**n for n, c in enumerate(reversed(cell))) - 1 for cell in columns]
        assert float(value) in [copy[int(row) - 1][column] for column in place]
    for ours, theirs in zip(copy, source, strict=False):
        for one, other in zip(ours, theirs, strict=False):
            if isinstance(other, dt.date | float | int):
                assert one == other


def test_rules_and_their_records_are_told_on_screen_page_and_workbook(tmp_path: Path) -> None:
    page, book = tmp_path / "made" / "check.html", tmp_path / "made" / "check.xlsx"
    case = AWKWARD / "05-tags-joined"
    result = CliRunner().invoke(app, ["check", str(case), "--html", str(page), "--xlsx", str(book)])
    assert '[rules] tags_alike = "join": two spellings of a tag taken as one, 3 records' in result.output
    assert str(page) in result.output
    text = page.read_text(encoding="utf-8")
    assert "two spellings of a tag taken as one" in text
    with CalamineWorkbook.from_path(book) as opened:
        rules = opened.get_sheet_by_name("rules").to_python()
    assert rules == [["rule", "what", "records"],
                     ['[rules] tags_alike = "join"', "two spellings of a tag taken as one", 3.0]]  # fmt: skip


def test_the_same_records_give_the_same_workbook() -> None:
    case = "04-serial-dates-and-tags"
    once, twice = (workbook_of_check(read(case), AWKWARD / case) for _ in range(2))
    assert once == twice


def test_a_place_that_cannot_be_written_to_is_a_plain_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    case = AWKWARD / "05-tags-joined"
    result = CliRunner().invoke(app, ["check", str(case), "--html", str(tmp_path / "file" / "check.html")])
    assert "could not be written" in str(result.exception)


def test_the_same_of_one_cell_is_said_once_with_its_cell_and_what_to_do():
    """A whole plot may be found at fault by each of its records: places, cells and advice stay together."""
    rows = [("5", "correct it"), ("5", "correct it"), ("9", "leave it out"), ("7", "correct it")]
    found = pd.DataFrame(
        [("slip", "stop", "a.csv", "", row, "Plot", "x", "this is wrong", mend) for row, mend in rows],
        columns=list(PROBLEM_COLUMNS),
    )
    (kind,) = kinds_of(found, Severity.STOP)
    assert [cell.row for cell in kind.cells] == ["5", "9", "7"]
    assert kind.mends == ("correct it", "leave it out", "correct it")
    assert len(kind.spots) == len(kind.values) == 3
