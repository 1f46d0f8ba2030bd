"""A field sheet for the next visit, from the records of any study: filled, it reads straight back."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.files.sheets import as_text
from survivor.planning.next_visit import seedling_rows, write_next_visit
from survivor.planning.sheets import SHEET
from survivor.proposing.proposal import propose, write_proposal
from survivor.settings.questions import answered, questions_in
from tests.files.grids import read_grid
from tests.once import once, study_of
from tests.slow import some_slow

DATASETS = Path(__file__).parents[2] / "datasets"
WORKBOOKS = Path(__file__).parents[1] / "records" / "workbooks"
# Of sheets that no layout made: wide and long, a sheet a site, joined plots, a plot sheet that alone tells
# the site, counts of the dead, a species a row.
UNTIDY = ("p01-brackenmere", "p02-tarrawick", "p05-quarrow", "p14-corrimond")


def from_demo(folder: Path, cohort: str) -> Path:
    home = folder / cohort
    shutil.copytree(DATASETS / cohort, home)
    file = home / "study.toml"  # the day on which the records were closed is of the last visit
    file.write_text(re.sub(r"(?m)^as_of = .*$", "", file.read_text(encoding="utf-8")), encoding="utf-8")
    return home


def from_sheets(folder: Path, name: str) -> Path:
    home = folder / name
    home.mkdir()
    for file in WORKBOOKS.glob(f"{name}*"):
        if file.suffix != ".json":
            shutil.copy(file, home)
    # A name of the season is that of its folder, which is the same wherever it lies.
    write_proposal(home, once(f"proposed for the next visit: {name}", lambda: propose(home)))
    words = json.loads((WORKBOOKS / f"{name}.truth.json").read_text(encoding="utf-8"))["answers"]
    file = home / "study.toml"
    text = file.read_text(encoding="utf-8")
    said = {}
    for line in (line for question in questions_in(text) for part in question.parts for line in part):
        if (state := words.get("states", {}).get(line.key.strip('"'))) is not None:
            said[line.place] = json.dumps(state)
        elif (line.key, line.value) == ("tagged", '"at planting"'):
            said[line.place] = line.value
    file.write_text(answered(text, said), encoding="utf-8")
    return home


@pytest.fixture(scope="module", params=some_slow(("counts", "tagged", *UNTIDY), 1))
def study(request, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("next")
    make = from_demo if request.param in ("tagged", "counts") else from_sheets
    return make(folder, request.param)


def sheet_of(file: Path) -> pd.DataFrame:
    grid = read_grid(file, sheet=SHEET)
    return pd.DataFrame({name: grid.cells[place].map(as_text) for place, name in enumerate(grid.header)})


@pytest.fixture(autouse=True)
def read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sheet is laid out from the study that was read before, where its files are the same."""
    monkeypatch.setattr("survivor.planning.next_visit.load", study_of)


def test_a_filled_sheet_of_the_next_visit_is_one_more_visit_of_the_same_plants(study: Path) -> None:
    before = study_of(study / "study.toml").records
    path, made = write_next_visit(study)
    rows = sheet_of(path)
    rows = rows[rows["Plot"] != ""]
    assert len(rows) == made.rows
    assert not {"method", "Preparation"} & set(rows.columns)
    day = f"{before.visits['date'].max() + pd.Timedelta(days=60):%Y-%m-%d}"
    if "Tag" in rows:
        rows["State"] = rows["Last state"].map(
            lambda last: "alive" if last in ("alive", "planted") else "dead"
        )
    else:
        rows["Alive"] = rows["Last count"]
    rows["Date"] = day
    rows.to_excel(path, index=False, sheet_name=SHEET, engine="xlsxwriter")
    file = study / "study.toml"
    file.write_text(file.read_text(encoding="utf-8") + f"\n{made.lines}\n", encoding="utf-8")
    after = survivor.load(study).records
    new = after.visits[after.visits["file"] == path.name]
    assert len(new) == made.rows
    assert set(new["date"].dt.strftime("%Y-%m-%d")) == {day}
    own = ["site", "block", "plot", "method", "planted_date"]
    pd.testing.assert_frame_equal(before.plots[own], after.plots[own])
    keys = ["site", "block", "plot", "tag", "species", "cohort"]
    known = set(before.visits[keys].astype(str).itertuples(index=False, name=None))
    assert set(new[keys].astype(str).itertuples(index=False, name=None)) <= known
    fates = [own.accounts["fate"].value_counts() for own in (before, after)]
    assert fates[1]["used"] == fates[0]["used"] + made.rows
    assert fates[1].get("excluded", 0) == fates[0].get("excluded", 0)


@pytest.mark.slow
def test_a_sheet_that_nobody_filled_says_nothing(tmp_path: Path) -> None:
    home = from_sheets(tmp_path, "p01-brackenmere")
    before = study_of(home / "study.toml").records
    path, made = write_next_visit(home)
    file = home / "study.toml"
    file.write_text(file.read_text(encoding="utf-8") + f"\n{made.lines}\n", encoding="utf-8")
    after = study_of(home / "study.toml").records
    pd.testing.assert_frame_equal(before.intervals, after.intervals)
    told = after.problems[after.problems["file"] == path.name]
    assert set(told["severity"]) == {"note"}
    assert write_next_visit(home)[1].lines == ""  # written again, and named already


def test_who_is_on_the_sheet(tmp_path: Path) -> None:
    """Alive, dead once, dead twice, missing after dead, never seen, replanted under the old tag."""
    states = {"1": "AAA", "2": "AAD", "3": "ADD", "4": "ADM", "5": "...", "6": "ARA", "10": "ANN"}
    words = {"A": "alive", "D": "dead", "M": "missing", "N": "not found", "R": "replanted", ".": ""}
    lines = ["site,plot,tag,species,method,planting date,date,state"]
    for tag, letters in states.items():
        for letter, day in zip(letters, ("2023-08-01", "2023-11-01", "2024-02-01"), strict=True):
            lines.append(f"Rise,1,{tag},myall,rip,2023-06-01,{day},{words[letter]}")
    (tmp_path / "visits.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(
        '[study]\nname = "x"\npurpose = "compare preparations"\n[records]\nkind = "tagged"\n'
        '[[records.sheets]]\nfile = "visits.csv"\n[rules]\ntagged = "at planting"\n',
        encoding="utf-8",
    )
    rows, left_off = seedling_rows(survivor.load(tmp_path).records.visits)
    told = rows.set_index("Tag")[["Last state", "Last seen", "Infill", "Planted on"]].T.to_dict("list")
    assert left_off == 2
    assert told == {
        "1": ["alive", "2024-02-01", "", ""],
        "2": ["dead", "2024-02-01", "", ""],
        "5": ["planted", "", "", ""],
        "10": ["alive", "2023-08-01", "", ""],
        "6": ["alive", "2024-02-01", "yes", "2023-11-01"],
    }
    assert rows["Tag"].tolist() == ["1", "2", "5", "10", "6"]  # by number, infill below


@pytest.mark.slow
def test_a_filled_sheet_is_never_written_over(tmp_path: Path) -> None:
    home = from_demo(tmp_path, "tagged")
    run = CliRunner().invoke(app, ["sheets", str(home)])
    assert run.exit_code == 0, run.output
    assert "next-visit.xlsx (" in run.output
    assert "field_sheet = true" in run.output
    path = home / "next-visit.xlsx"
    rows = sheet_of(path)
    rows.loc[0, "State"] = "alive"
    rows.to_excel(path, index=False, sheet_name=SHEET, engine="xlsxwriter")
    filled = path.read_bytes()
    run = CliRunner().invoke(app, ["sheets", str(home)])
    assert path.read_bytes() == filled
    assert "next-visit-2.xlsx (" in run.output
    assert "somebody filled it: next-visit.xlsx" in run.output


def test_without_a_record_that_can_be_used_the_mend_is_said(tmp_path: Path) -> None:
    (tmp_path / "visits.csv").write_text("plot,tag,date,state\n1,1,2023-08-01,kaput\n", encoding="utf-8")
    (tmp_path / "study.toml").write_text(
        '[study]\nname = "x"\npurpose = "check a target"\n[records]\nkind = "tagged"\n'
        '[[records.sheets]]\nfile = "visits.csv"\n[rules]\nplanted_date = "2023-06-01"\n',
        encoding="utf-8",
    )
    run = CliRunner().invoke(app, ["sheets", str(tmp_path)])
    assert run.exit_code != 0
    assert "nothing tells which seedlings there are" in str(run.exception)
    assert not (tmp_path / "next-visit.xlsx").exists()


def test_the_sheet_is_the_same_each_time_and_locked(tmp_path: Path) -> None:
    home = from_demo(tmp_path, "counts")
    first, again = (write_next_visit(home)[1].content for _ in range(2))
    assert first == again
    with zipfile.ZipFile(home / "next-visit.xlsx") as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
    assert "sheetProtection" in sheet
    assert "dataValidation" in sheet


def test_a_list_of_tags_of_ones_own_is_no_layout(tmp_path: Path) -> None:
    home = from_demo(tmp_path, "counts")
    (home / "tags.csv").write_text("Tag,Species\n1,myall\n", encoding="utf-8")
    run = CliRunner().invoke(app, ["sheets", str(home)])
    assert run.exit_code == 0, run.output
    assert (home / "next-visit.xlsx").is_file()
