"""Studies of which no record can be used: all is read, listed and accounted for, and nothing analysed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook
from typer.testing import CliRunner, Result

from survivor.cli import app
from survivor.errors import PlanError, PoolingError, RecordsError
from survivor.planning.calendar import visit_calendar
from survivor.planning.folder import visit_files, write_folder
from survivor.planning.layout import draw_layout
from survivor.planning.sheets import GIVEN, SheetPlan, sheet_bytes
from survivor.planning.sheets import SHEET as SHEET_NAME
from survivor.planning.variation import of_study
from survivor.seasons import take_in
from survivor.settings import Privacy
from survivor.study import Study, load
from survivor.vocabulary import INTERVAL_COLUMNS
from tests.files.grids import read_grid
from tests.planning.making import fill, small_plan

ABOUT = SheetPlan("Winter (invented)", "planting", "1 June 2022 to 20 June 2022", dt.date(2022, 6, 7))
HEAD = """
[study]
name = "Invented"
as_of = "2025-01-01"
[design]
usual_practice = "spot spray"
[records]
kind = "{kind}"
"""
PLOT_SHEET = '[records.plots]\nfile = "plots.csv"\n'
PLOTS = """site,plot,method,planting date,planted
Low Paddock,1,spot spray,2023-06-01,2
Low Paddock,2,rip,2023-06-01,2
"""
SHEET = '[[records.sheets]]\nfile = "visits.csv"\n'
TAGS = "site,plot,tag,visit,date,state\n"
ALONE = "site,plot,method,planting date,tag,visit,date,state\n"
COUNTS = "site,plot,method,planting date,visit,date,alive\n"
# What is in the folder: kind, plot sheet, visits.
STUDIES = {
    "a word nobody knows": ("tagged", PLOT_SHEET, f"{TAGS}Low Paddock,1,01,1,2023-09-01,perhaps\n"),
    "nothing filled in": ("tagged", PLOT_SHEET, f"{TAGS}Low Paddock,1,01,1,,\nLow Paddock,2,03,1,,\n"),
    "no plot of the sheet": ("tagged", PLOT_SHEET, f"{TAGS}Low Paddock,9,01,1,2023-09-01,alive\n"),
    "one sighting": ("tagged", "", f"{ALONE}Low Paddock,1,rip,2023-06-01,01,1,2023-09-01,alive\n"),
    "nobody found": ("tagged", "", f"{ALONE}Low Paddock,1,rip,2023-06-01,01,1,2023-09-01,not found\n"),
    "planted later": ("tagged", "", f"{ALONE}Low Paddock,1,rip,2033-06-01,01,1,2023-09-01,alive\n"),
    "only sums": ("counts", "", f"{COUNTS}Total,,,,,,40\n"),
    "one count": ("counts", "", f"{COUNTS}Low Paddock,1,rip,2023-06-01,1,2023-09-01,40\n"),
    "no date": ("counts", "", f"{COUNTS}Low Paddock,1,rip,2023-06-01,1,,40\n"),
}
SAID = {"nothing filled in": "no visit is filled in yet"}


def write(folder: Path, kind: str, plots: str, visits: str) -> Path:
    (folder / "study.toml").write_text(HEAD.format(kind=kind) + plots + SHEET, encoding="utf-8")
    (folder / "plots.csv").write_text(PLOTS, encoding="utf-8")
    (folder / "visits.csv").write_text(visits, encoding="utf-8")
    return folder


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(part) for part in arguments])


@pytest.fixture(scope="module", params=STUDIES)
def study(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Study, str]:
    folder = write(tmp_path_factory.mktemp("none"), *STUDIES[request.param])
    return load(folder), SAID.get(request.param, "no record can be used")


def test_every_row_is_accounted_for_and_none_is_called_used(study: tuple[Study, str]) -> None:
    loaded, _ = study
    folder = loaded.path.parent
    rows = [("visits.csv", row) for row in read_grid(folder / "visits.csv").cells.index]
    if loaded.settings.records.plots is not None:
        rows += [("plots.csv", row) for row in read_grid(folder / "plots.csv").cells.index]
    accounts = loaded.accounts
    assert sorted(zip(accounts["file"], accounts["row"], strict=True)) == sorted(rows)
    assert set(accounts["fate"]) <= {"excluded", "listed"}
    assert set(accounts["code"]) <= set(loaded.problems["code"])
    assert list(loaded.intervals.columns[: len(INTERVAL_COLUMNS)]) == list(INTERVAL_COLUMNS)
    assert loaded.intervals.empty
    assert loaded.first_plants.empty
    assert loaded.records.under(missing="unknown").empty
    assert "0 risk intervals" in repr(loaded)


def test_check_says_writes_and_marks_all(study: tuple[Study, str]) -> None:
    loaded, words = study
    folder = loaded.path.parent
    page, book = folder / "check.html", folder / "marked.xlsx"
    said = run("check", folder, "--html", page, "--xlsx", book, "--out", folder / "tables")
    assert said.exit_code == 1
    assert words in said.output.casefold()
    assert "survivor report" not in said.output
    for code in loaded.problems["code"]:
        assert code in said.output
    assert words in page.read_text(encoding="utf-8").casefold()
    sheets = CalamineWorkbook.from_path(book)
    problems = sheets.get_sheet_by_name("what to do").to_python()
    assert len(problems) == len(loaded.problems) + 1
    stops = loaded.problems[loaded.problems["severity"] == "stop"]
    assert {name for name in stops["file"] if name} <= set(sheets.sheet_names)
    assert (folder / "tables" / "accounts.csv").is_file()


def test_what_may_follow_from_a_first_cause_is_named_and_listed_when_all_is_asked_for(tmp_path: Path) -> None:
    folder = write(tmp_path, *STUDIES["a word nobody knows"])
    short, whole = run("check", folder).output, run("check", folder, "--all").output
    assert "1 problem more may be gone once these are corrected: plot-without-visits (1)" in short
    assert "no visit of any plot can be used" not in short.casefold()
    assert "no visit of any plot can be used" in whole.casefold()
    assert "may be gone" not in whole


def test_report_and_analysis_end_in_the_plain_message(study: tuple[Study, str]) -> None:
    loaded, words = study
    with pytest.raises(RecordsError, match=words) as fault:
        _ = loaded.analysis
    assert fault.value.mend
    said = run("report", loaded.path.parent, "--out", loaded.path.parent / "made")
    assert said.exit_code == 1
    assert words in str(said.exception)
    assert not (loaded.path.parent / "made").exists()
    with pytest.raises(PoolingError, match=words):
        take_in([loaded, loaded], ["one", "two"])
    with pytest.raises(PlanError, match=words):
        of_study(loaded.path)


def test_it_can_be_shown_without_its_places(study: tuple[Study, str]) -> None:
    loaded, _ = study
    settings = loaded.settings.model_copy(update={"privacy": Privacy(show_places=False)})
    shown = replace(loaded, records=replace(loaded.records, _settings=settings)).as_shown()
    nothing = shown.records.nothing
    assert nothing is not None
    assert "Low Paddock" not in str(nothing) + shown.problems.to_string()


def test_days_of_planting_that_are_still_to_come_do_not_hide_what_is_filled_in(tmp_path: Path) -> None:
    """A mistyped year is no season that has not begun."""
    rows = "Low Paddock,1,rip,2033-06-01,01,1,{},{}\n"
    begun = write(tmp_path, "tagged", "", ALONE + rows.format("2023-09-01", "alive"))
    nothing = load(begun).records.nothing
    assert nothing is not None
    assert "has not begun" not in nothing.what
    coming = write(tmp_path, "tagged", "", ALONE + rows.format("", ""))
    nothing = load(coming).records.nothing
    assert nothing is not None
    assert "the season has not begun: planting is set for 2033-06-01" in nothing.what


@pytest.mark.slow
def test_sheets_of_the_next_visit_come_from_the_layout(tmp_path: Path) -> None:
    plan = small_plan()
    layout = draw_layout(plan, 4, 3)
    write_folder(plan, layout, tmp_path)
    filled = fill(plan, layout, tmp_path, layout.tags.assign(death_day=1e9), 2)
    for file in filled:  # a word that nobody knows in every row
        rows = read_grid(tmp_path / file, sheet=SHEET_NAME)
        table = rows.cells.set_axis(list(rows.header), axis="columns").assign(State="perhaps")
        (tmp_path / file).write_bytes(sheet_bytes(table[[*GIVEN, "Date", "State"]], ABOUT))
    assert load(tmp_path).records.nothing is not None
    said = run("sheets", tmp_path)
    assert said.exit_code == 0
    assert f"Left as it is, since somebody saved it after survivor wrote it: {filled[1]}" in said.output
    number = 2 * len(layout.tags)
    assert f"no state filled in can be used ({number} records are excluded until corrected)" in said.output
    written = [line.removeprefix("Written again: ") for line in said.output.splitlines() if "again:" in line]
    assert len(written) == len(visit_files(visit_calendar(plan))) - 2
    next_sheet = read_grid(tmp_path / written[0], sheet=SHEET_NAME)
    assert len(next_sheet.cells) == len(layout.tags)
    assert set(next_sheet.cells[next_sheet.header.index("Last seen")]) == {""}
