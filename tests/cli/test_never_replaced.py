"""No command replaces what survivor did not write, nor what a study is read from: status 2, all as it was."""

from __future__ import annotations

import io
import shutil
import sys
import zipfile
from pathlib import Path

import pytest
from typer.testing import CliRunner

import survivor.report.forms
from survivor.cli import app
from survivor.errors import SurvivorError
from survivor.files.writing import MANIFEST
from survivor.planning.folder import write_folder
from survivor.planning.layout import draw_layout
from tests.files.grids import read_grid
from tests.planning.making import small_plan

DATASETS = Path(__file__).parents[2] / "datasets"


def run(*arguments):
    return CliRunner().invoke(app, [str(part) for part in arguments])


def refused(*arguments) -> str:
    result = run(*arguments)
    assert isinstance(result.exception, SurvivorError), result.output
    assert result.exception.exit_status == 2
    assert result.exception.mend
    return str(result.exception)


def held(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != MANIFEST
    }


def changed(book: bytes, members: dict[str, tuple[bytes, bytes]]) -> bytes:
    """Change members of a workbook, the first place in each, as who saves it anew would."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w") as new:
        for name in dict.fromkeys([*old.namelist(), *members]):
            held = old.read(name) if name in old.namelist() else b""
            assert members.get(name, (b"",))[0] in held
            new.writestr(name, held.replace(*members[name], 1) if name in members else held)
    return out.getvalue()


@pytest.fixture
def counts(tmp_path):
    shutil.copytree(DATASETS / "counts", tmp_path / "counts")
    return tmp_path / "counts"


# --- check ----------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("option", ["--html", "--xlsx"])
@pytest.mark.parametrize("name", ["study.toml", "plot counts.xlsx", "rain.csv", "notes.txt"])
def test_check_never_writes_over_the_records(counts, option, name):
    (counts / "notes.txt").write_text("mine")
    before = held(counts)
    said = refused("check", counts, option, counts / name)
    assert name in said
    assert ("not written over" if name != "notes.txt" else "there already") in said
    assert held(counts) == before


@pytest.mark.slow
def test_check_never_writes_over_tables_of_others(counts):
    (counts / "problems.csv").write_text("mine")
    before = held(counts)
    assert "problems.csv: there already" in refused("check", counts, "--out", counts)
    assert held(counts) == before


@pytest.mark.slow
def test_check_writes_again_what_it_wrote_itself_unless_somebody_worked_in_it(counts, tmp_path):
    marked = tmp_path / "marked.xlsx"
    for _ in range(2):
        assert (
            run("check", counts, "--xlsx", marked, "--html", tmp_path / "a.html", "--out", tmp_path).exit_code
            == 0
        )
    mended = changed(marked.read_bytes(), {"xl/sharedStrings.xml": (b"</t>", b" and mended</t>")})
    marked.write_bytes(mended)
    assert "marked.xlsx: was changed since survivor wrote it" in refused("check", counts, "--xlsx", marked)
    assert marked.read_bytes() == mended


# --- field sheets ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def laid_once(tmp_path_factory):
    plan = small_plan()
    folder = tmp_path_factory.mktemp("laid") / "season"
    write_folder(plan, draw_layout(plan, 4, 3), folder)
    return folder


@pytest.fixture
def laid(laid_once, tmp_path):
    shutil.copytree(laid_once, tmp_path / "season")
    return tmp_path / "season"


STRINGS, VISIT = "xl/sharedStrings.xml", "xl/worksheets/sheet1.xml"
ROW = b'<row r="400"><c r="A400" t="inlineStr"><is><t>Site A</t></is></c></row></sheetData>'
# Way of filling in a sheet otherwise than expected -> member of the workbook, what in it, and into what.
WAYS = {
    "a column of their own": {VISIT: (b'<row r="2"', b'<row r="2" spans="1:20"')},
    "a remark, a state": {VISIT: (b'<c r="O2"', b'<c r="O2" t="str"')},
    "the last state": {STRINGS: (b">planted<", b">dead<")},
    "new rows": {VISIT: (b"</sheetData>", ROW)},
    "a sheet of notes": {"xl/worksheets/sheet9.xml": (b"", b"<worksheet/>")},
    "a comment": {"xl/comments1.xml": (b"", b"<comments/>")},
    "a colour": {VISIT: (b' s="1"', b' s="2"')},
}


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_a_field_sheet_that_anybody_touched_is_left_alone(laid, way):
    names = sorted(path.name for path in laid.glob("visit-*.xlsx"))
    file = laid / names[1]
    before = changed(file.read_bytes(), WAYS[way])
    assert before != file.read_bytes()
    file.write_bytes(before)
    said = run("sheets", laid)
    assert said.exit_code == 0, said.output
    assert f"Left as it is, since somebody saved it after survivor wrote it: {file.name}" in said.output
    assert [f"Written again: {name}" in said.output for name in names] == [
        name != file.name for name in names
    ]
    assert file.read_bytes() == before
    again = run("sheets", laid)  # what was written again is known as such
    assert [f"Written again: {name}" in again.output for name in names] == [
        name != file.name for name in names
    ]


def test_a_field_sheet_with_other_headers_is_left_alone(laid):
    file = sorted(laid.glob("visit-*.xlsx"))[1]
    file.write_bytes(changed(file.read_bytes(), {STRINGS: (b">State<", b">Condition<")}))
    before = held(laid)
    result = run("sheets", laid)
    assert "no column has the header 'State'" in str(result.exception)
    assert held(laid) == before


def test_a_field_sheet_of_which_nobody_knows_who_wrote_it_is_left_alone(laid):
    (laid / MANIFEST).unlink()
    before = held(laid)
    said = run("sheets", laid)
    assert said.exit_code == 0
    assert "Written again" not in said.output
    assert held(laid) == before


def test_a_layout_is_never_written_over_sheets_that_are_there(laid_once, tmp_path):
    (tmp_path / "plots.csv").write_text("mine")
    plan = small_plan()
    with pytest.raises(SurvivorError, match=r"plots\.csv: there already"):
        write_folder(plan, draw_layout(plan, 4, 3), tmp_path)
    assert held(tmp_path) == {"plots.csv": b"mine"}
    assert read_grid(laid_once / "plots.csv").header[0] == "Site"


# --- reports --------------------------------------------------------------------------------------


@pytest.fixture
def quick(monkeypatch):
    """A report of a few words, so that where it goes can be looked at."""
    monkeypatch.setattr("survivor.study.Study.analyse", lambda self, say: None)
    monkeypatch.setattr(survivor.report.forms, "tables_of", lambda analysis: {})
    monkeypatch.setattr(
        survivor.report.forms, "report_forms", lambda analysis, say: {"report.html": b"a report"}
    )
    monkeypatch.setattr(sys.modules["survivor.cli.report"], "_told", lambda loaded, written: [])


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_reports_of_two_studies_with_one_folder_name_do_not_share_a_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for contractor in ("a", "b"):
        shutil.copytree(DATASETS / "counts", tmp_path / contractor / "winter-2022")
    assert run("report", Path("a") / "winter-2022").exit_code == 0
    assert run("report", Path("a") / "winter-2022").exit_code == 0
    said = refused("report", Path("b") / "winter-2022")
    assert "this folder holds the report of another file" in said
    assert "--out" in said
    assert run("report", Path("b") / "winter-2022", "--out", "b/report").exit_code == 0


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", ["report.html", "findings.json"])
def test_a_report_is_not_written_over_files_of_others(counts, tmp_path, name, monkeypatch):
    monkeypatch.setattr("survivor.study.Study.analyse", lambda self, say: pytest.fail("the work was begun"))
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text("mine")
    assert f"{name}: there already" in refused("report", counts, "--out", tmp_path / "out")
    assert held(tmp_path / "out") == {name: b"mine"}


@pytest.mark.slow
@pytest.mark.usefixtures("quick")
def test_a_report_into_the_folder_of_the_study_leaves_the_records(counts, monkeypatch):
    before = held(counts)
    monkeypatch.chdir(counts)
    for _ in range(2):
        assert run("report", ".", "--out", ".").exit_code == 0
    assert held(counts) == before | {"report.html": b"a report"}


def test_a_guideline_leaves_the_officers_plan(tmp_path):
    shutil.copytree(DATASETS / "seasons", tmp_path / "g1")
    (tmp_path / "g1" / "plan.toml").write_text("my plan")
    said = refused("guideline", tmp_path / "g1" / "guideline.toml", "--out", tmp_path / "g1")
    assert "plan.toml: there already" in said
    assert (tmp_path / "g1" / "plan.toml").read_text() == "my plan"
