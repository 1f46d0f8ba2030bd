"""Matches saved in the study file, and a study file proposed from the sheets of a folder."""

from __future__ import annotations

import difflib
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import StudyFileError
from survivor.records import read_records
from survivor.records.saving import BACKUP, BEGINS, ENDS, save_matches
from survivor.records.study_text import propose_study
from survivor.settings import read_settings
from survivor.settings.questions import answered, questions_in
from tests.records.making import ReadStudy
from tests.records.sheetfiles import as_csv, as_xlsx
from tests.slow import some_slow

DATASETS = Path(__file__).parents[2] / "datasets"
AWKWARD = Path(__file__).parent / "awkward"
SEEDLINGS = (
    "Quadrat No.,Stake no.,Status,Date visited,Site\n1,001,A,2022-07-14,Rise\n1,001,D,2023-04-20,Rise\n"
)
PLOTS = "Site,Plot,Preparation,Planted on\nRise,1,rip,2022-06-15\n"
# A study file as people keep them: remarks, odd spacing, keys in their own order.
STUDY = """# Our season.   Keep this remark.
[study]
as_of = "2024-06-30"   # closed
name = "ours"
purpose = "check a target"

[records]
kind = "tagged"

[records.plots]
file = "plots.csv"

# The visits.
[[records.sheets]]
file = "visits.csv"

[records.sheets.columns]
site = "Site"
# more to come

[rules]
tagged = "at planting"
"""


def study(folder: Path, text: str = STUDY) -> Path:
    (folder / "plots.csv").write_text(PLOTS)
    (folder / "visits.csv").write_text(SEEDLINGS)
    file = folder / "study.toml"
    file.write_bytes(text.encode())
    return file


def matches_of(folder: Path):
    return read_records(folder, read_settings(folder)).matches


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_matches_are_added_and_nothing_else_is_touched(tmp_path: Path, ends: str) -> None:
    text = STUDY.replace("\n", ends)
    file = study(tmp_path, text)
    before = matches_of(tmp_path)
    said = save_matches(file, before)
    after = file.read_bytes().decode()
    changed = list(difflib.ndiff(text.splitlines(), after.splitlines()))
    assert [line for line in changed if line.startswith("- ")] == []
    added = [line[2:] for line in changed if line.startswith("+ ")]
    assert {
        'plot = "Quadrat No."',
        'tag = "Stake no."',
        'state = "Status"',
        'A = "alive"',
        'D = "dead"',
        'method = "Preparation"',
    } <= {*added}
    assert added.count(BEGINS) == added.count(ENDS) == 3  # columns of two files, states of one
    assert ends == "\n" or "\n" not in after.replace("\r\n", "")
    assert (tmp_path / f"study.toml{BACKUP}").read_bytes().decode() == text
    assert "nothing else in it was changed" in said
    now = matches_of(tmp_path)
    assert list(now["column"]) == list(before["column"])
    assert set(now["how"]) == {"study file"}


def test_a_second_time_there_is_nothing_to_write(tmp_path: Path) -> None:
    file = study(tmp_path)
    save_matches(file, matches_of(tmp_path))
    once = file.read_bytes()
    assert "nothing was written" in save_matches(file, matches_of(tmp_path))
    assert file.read_bytes() == once


def test_every_version_is_kept_aside(tmp_path: Path) -> None:
    file = study(tmp_path)
    (tmp_path / f"study.toml{BACKUP}").write_text("older")
    save_matches(file, matches_of(tmp_path))
    assert (tmp_path / f"study.toml{BACKUP}").read_text() == "older"
    assert (tmp_path / f"study.toml{BACKUP}-2").read_bytes().decode() == STUDY


def test_words_that_nobody_has_explained_are_lines_to_fill_in(tmp_path: Path) -> None:
    study(tmp_path)
    (tmp_path / "visits.csv").write_text(SEEDLINGS.replace(",D,", ",kaput,"))
    for number in range(2):
        CliRunner().invoke(app, ["check", str(tmp_path), "--write-matches"])
        text = (tmp_path / "study.toml").read_text()
        assert text.count('#? "kaput" = ""   # 1 cell: alive, dead, missing') == 1, number
    (question,) = questions_in(text)
    (tmp_path / "study.toml").write_text(answered(text, {question.parts[0][0].place: '"dead"'}))
    assert list(read_records(tmp_path, read_settings(tmp_path)).intervals["died"]) == [0, 1]


@pytest.mark.parametrize(
    "text",
    [
        STUDY.replace('[records.sheets.columns]\nsite = "Site"\n', 'columns = { site = "Site" }\n'),
        STUDY.replace('[records.sheets.columns]\nsite = "Site"\n', 'columns.site = "Site"\n'),
        STUDY.replace('[records.plots]\nfile = "plots.csv"\n', "").replace(
            'kind = "tagged"\n', 'kind = "tagged"\nplots = { file = "plots.csv" }\n'
        ),
    ],
    ids=["a table in one line", "a key with a point", "plots in one line"],
)
def test_a_file_in_another_shape_is_left_alone_and_the_lines_are_shown(tmp_path: Path, text: str) -> None:
    file = study(tmp_path, text)
    said = save_matches(file, matches_of(tmp_path))
    assert file.read_bytes().decode() == text
    assert "To paste" in said
    assert 'tag = "Stake no."' in said
    assert not (tmp_path / f"study.toml{BACKUP}").exists()


@pytest.mark.slow
@pytest.mark.parametrize("case", sorted(folder.name for folder in AWKWARD.iterdir() if folder.is_dir()))
def test_every_awkward_study_reads_the_same_afterwards(case: str, tmp_path: Path) -> None:
    folder = tmp_path / case
    shutil.copytree(AWKWARD / case, folder)
    result = CliRunner().invoke(app, ["check", str(folder), "--write-matches"])
    if case == "11-percentages":  # refused before anything is matched
        assert (folder / "study.toml").read_bytes() == (AWKWARD / case / "study.toml").read_bytes()
        return
    assert "Wrote" in result.output
    first, second = (read_records(place, read_settings(place)) for place in (AWKWARD / case, folder))
    assert list(first.matches["column"]) == list(second.matches["column"])
    assert first.intervals.astype(str).equals(second.intervals.astype(str))
    settings = tomllib.loads((folder / "study.toml").read_text(encoding="utf-8"))
    assert settings["study"] == tomllib.loads((AWKWARD / case / "study.toml").read_text())["study"]


# ---- a study file from sheets -------------------------------------------------------------


@pytest.mark.slow
def test_a_folder_of_sheets_is_told_what_to_do_and_reads_after_it(tmp_path: Path) -> None:
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / "plots.csv").write_text(PLOTS)
    (folder / "visits.csv").write_text(SEEDLINGS)
    asked = CliRunner().invoke(app, ["check", str(folder)])
    assert f"survivor new {folder} --from-sheets" in str(asked.exception)
    made = CliRunner().invoke(app, ["new", str(folder), "--from-sheets"])
    assert made.exit_code == 0
    records = read_records(folder, read_settings(folder))
    assert list(records.intervals["died"]) == [1]
    assert set(records.matches.loc[records.matches["column"] != "", "how"]) <= {
        "study file", "forgiving match", "trait"
    }  # fmt: skip


@pytest.mark.slow
def test_the_demo_is_proposed_as_it_is(tmp_path: Path) -> None:
    for cohort, kind, shape in (("tagged", "tagged", "long"), ("counts", "counts", "wide")):
        folder = tmp_path / cohort
        shutil.copytree(DATASETS / cohort, folder)
        (folder / "study.toml").unlink()
        text = propose_study(folder)
        proposed = tomllib.loads(text)["records"]
        told = tomllib.loads((DATASETS / cohort / "study.toml").read_text(encoding="utf-8"))["records"]
        assert (proposed["kind"], proposed.get("shape", "long")) == (kind, shape)
        sheet, own = proposed["sheets"][0], told["sheets"][0]
        assert sheet["file"] == own["file"]
        assert sheet["date_order"] == own["date_order"]
        assert sheet.get("header_rows") == own.get("header_rows")
        for word, header in sheet["columns"].items():
            assert own["columns"].get(word, header) == header
        assert "rain, it seems" in text
        if kind == "counts":
            assert [v["state"] for v in proposed["visits"]] == [v["state"] for v in told["visits"]]


def test_what_cannot_be_told_is_asked(tmp_path: Path) -> None:
    table = [["Site", "Plot", "Tag", "Date", "State"], ["Rise", "1", "1", "03/04/2022", "A"]]
    (tmp_path / "a.csv").write_bytes(as_csv(table))
    assert '#? date_order = "day-first"   # 3 April' in propose_study(tmp_path)
    wide = [["Site", "Plot", "Jul 2022", "14 Apr 2023"], ["Rise", "1", "48", "40"]]
    (tmp_path / "a.csv").write_bytes(as_csv(wide))
    text = propose_study(tmp_path)
    assert '#? date = ""   # Jul 2022: year-month-day, such as 2022-05-31' in text
    assert 'date = "2023-04-14"' in text


def test_sheets_of_a_workbook_and_what_is_not_understood(tmp_path: Path, read_study: ReadStudy) -> None:
    (tmp_path / "a.xlsx").write_bytes(as_xlsx([["colour", "taste"], ["red", "sweet"]]))
    (tmp_path / "b.csv").write_bytes(b"\x00\x01")
    with pytest.raises(StudyFileError, match="no sheet here seems to hold visits") as error:
        propose_study(tmp_path)
    assert "b.csv was not understood" in error.value.what
    (tmp_path / "study.toml").write_text("")
    with pytest.raises(StudyFileError, match="there already"):
        propose_study(tmp_path)


def test_a_sheet_that_is_missing_is_not_taken_for_one_that_has_its_use(tmp_path: Path) -> None:
    study(tmp_path)
    (tmp_path / "plots.csv").unlink()
    said = str(CliRunner().invoke(app, ["check", str(tmp_path)]).exception)
    assert said.startswith("plots.csv: there is no such file")
    assert "did you mean" not in said
    (tmp_path / "Plots (1).csv").write_text(PLOTS)
    said = str(CliRunner().invoke(app, ["check", str(tmp_path)]).exception)
    assert "did you mean Plots (1).csv?" in said


def wide_heights(
    folder: Path, heights: tuple[str, str], planted: str = "Planted"
) -> tuple[str, dict[str, Any]]:
    """A wide sheet of seedlings with a height beside the state of each visit."""
    table = [["Site", "Plot", "Tag", planted, "12/9/23", heights[0], "20/6/24", heights[1]]]
    table += [
        [
            "Rise",
            "1",
            str(tag),
            "15/6/2023",
            "A",
            str(20 + tag),
            "A" if tag % 2 else "D",
            "30" if tag % 2 else "",
        ]
        for tag in range(4)
    ]
    (folder / "a.csv").write_bytes(as_csv(table))
    text = propose_study(folder)
    (folder / "study.toml").write_text(text, encoding="utf-8")
    return text, tomllib.loads(text)


@pytest.mark.parametrize("form", some_slow(["Ht (cm) {}", "{} ht", "Ht {}", "Height {}", "{} height cm"], 2))
@pytest.mark.parametrize("planted", ["Planted", "Plant date"])
def test_heights_of_a_wide_sheet_are_heights_of_its_visits(tmp_path: Path, form: str, planted: str) -> None:
    _, told = wide_heights(tmp_path, (form.format("12/9/23"), form.format("20/6/24")), planted)
    visits = told["records"]["visits"]
    assert [visit["state"] for visit in visits] == ["12/9/23", "20/6/24"]
    assert [visit["height"] for visit in visits] == [form.format("12/9/23"), form.format("20/6/24")]
    assert told["records"]["sheets"][0]["columns"]["planted_date"] == planted
    records = read_records(tmp_path, read_settings(tmp_path))
    assert "unknown-state" not in set(records.problems["code"])
    assert sorted(records.visits["height_cm"].dropna()) == [20, 21, 22, 23, 30, 30]
    assert records.intervals["died"].sum() == 2


def test_a_height_of_no_visit_is_left_out_and_said(tmp_path: Path) -> None:
    text, told = wide_heights(tmp_path, ("Ht 12/9/23", "Ht 21/6/24"))
    assert [visit.get("height") for visit in told["records"]["visits"]] == ["Ht 12/9/23", None]
    assert 'what lived: "Ht 21/6/24".' in text


def test_a_column_of_dead_or_of_notes_with_a_day_is_no_visit(tmp_path: Path) -> None:
    table = [["Site", "Plot", "Planted", "Alive 12/9/23", "Dead 12/9/23", "Notes 12/9/23", "20/6/24 alive"]]
    table.append(["Rise", "1", "50", "48", "2", "hares", "40"])
    (tmp_path / "a.csv").write_bytes(as_csv(table))
    text = propose_study(tmp_path)
    told = tomllib.loads(text)["records"]
    assert [visit["state"] for visit in told["visits"]] == ["Alive 12/9/23", "20/6/24 alive"]
    assert '# not understood: "Dead 12/9/23", "Notes 12/9/23"' in text
    assert told["sheets"][0]["columns"]["planted"] == "Planted"  # a number, not a day
