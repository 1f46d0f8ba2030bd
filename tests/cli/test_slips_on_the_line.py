"""Plain-wrong use of the command line ends in a plain message: never a traceback, never a silent drop."""

import datetime as dt
import errno
import shutil
import sys
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

import survivor.cli
from survivor.cli import app
from survivor.errors import SurvivorError
from survivor.planning.folder import blank_files, write_folder
from survivor.planning.layout import draw_layout
from tests.planning.making import small_plan

DATASETS = Path(__file__).parents[2] / "datasets"
LONG = "x" * 300  # longer than a name may be


def said(*arguments):
    """What a command that must fail says."""
    run = CliRunner().invoke(app, [str(part) for part in arguments])
    assert isinstance(run.exception, SurvivorError), run.output
    assert run.exception.mend
    return str(run.exception)


@pytest.fixture(scope="module")
def laid(tmp_path_factory):
    plan = small_plan()
    folder = tmp_path_factory.mktemp("laid")
    write_folder(plan, draw_layout(plan, 4, 2), folder)
    return folder


@pytest.mark.parametrize("verb", ["check", "report", "sheets", "plan", "new"])
def test_a_name_that_no_file_can_have(verb):
    assert LONG in said(verb, LONG)


def test_what_the_machine_refuses_is_said_without_a_traceback(monkeypatch, capsys):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device", "somewhere.csv")

    monkeypatch.setattr(survivor.cli, "app", full)
    monkeypatch.setattr(sys, "argv", ["survivor", "check", "x"])
    with pytest.raises(SystemExit) as left:
        survivor.cli.main()
    assert left.value.code == 2
    told = capsys.readouterr().err
    assert "somewhere.csv: a file cannot be read or written: No space left on device" in told
    assert "What to do:" in told


def test_a_folder_that_is_not_there_has_no_sheets(tmp_path):
    assert "there is no such folder" in said("new", tmp_path / "nowhere", "--from-sheets")


@pytest.mark.parametrize("verb", ["plan", "layout"])
@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('planted = "2027-06-15"', 'planted = "0001-01-01"', "is not a day between 1800 and 2200"),
        ('planted = "2027-06-15"', 'planted = "9999-12-31"', "is not a day between 1800 and 2200"),
        ("[[methods]]", '[[visits]]\nname = "v"\nday = 99999999\n[[methods]]', "36525"),
        ('[[methods]]\nname = "spray and rip"', '[[sites]]\nname = "x"', "planted is needed"),
    ],
)
def test_slips_in_a_plan_are_named(verb, old, new, words, tmp_path):
    text = blank_files()["plan.toml"].decode()
    assert old in text
    (tmp_path / "plan.toml").write_text(text.replace(old, new, 1), encoding="utf-8")
    assert words in said(verb, tmp_path / "plan.toml", "--out", tmp_path / "out")


def test_a_study_file_is_no_plan():
    assert "this is a study file" in said("plan", DATASETS / "tagged" / "study.toml")


@pytest.mark.parametrize(
    ("verb", "file", "words"),
    [
        ("plan", "tagged/study.toml", ("this is a study file", "`survivor report` read it")),
        ("guideline", "tagged/study.toml", ("this is a study file", "`survivor report` read it")),
        ("guideline", "plan.toml", ("this is a plan file", "`survivor plan` and `survivor layout` read it")),
        ("report", "plan.toml", ("this is a plan file", "`survivor plan` and `survivor layout` read it")),
        ("check", "plan.toml", ("this is a plan file", "`survivor plan` and `survivor layout` read it")),
        ("plan", "seasons/guideline.toml", ("this is a guideline file", "`survivor guideline` reads it")),
        ("report", "seasons/guideline.toml", ("this is a guideline file", "`survivor guideline` reads it")),
        ("check", "seasons/guideline.toml", ("this is a guideline file", "`survivor guideline` reads it")),
    ],
)
def test_a_file_of_another_kind_is_called_by_its_name(verb, file, words, tmp_path):
    given = DATASETS / file
    if file == "plan.toml":
        given = tmp_path / file
        given.write_bytes(blank_files()["plan.toml"])
    told = " ".join(said(verb, given).split())
    for word in words:
        assert word in told
    assert "fault" not in told


@pytest.mark.slow
def test_the_columns_of_our_own_field_sheets_are_not_called_unused(laid, tmp_path):
    from survivor.planning.sheets import HEADER
    from survivor.vocabulary import SHEET_ONLY

    assert set(SHEET_ONLY) < set(HEADER)
    folder = tmp_path / "laid"
    shutil.copytree(laid, folder)
    own = CliRunner().invoke(app, ["check", str(folder), "--all"]).output
    assert "-> plot" in own
    assert not [word for word in SHEET_ONLY if word in own]
    # A column of somebody's own is still named, and so is one of such a name in a sheet that is not ours.
    sheet = sorted(folder.glob("visit-*.xlsx"))[0]
    theirs = pd.read_excel(sheet, dtype=str, engine="calamine").drop(columns="Look again")
    theirs.assign(Weather="dry").to_excel(sheet, index=False, sheet_name="Visit", engine="xlsxwriter")
    told = CliRunner().invoke(app, ["check", str(folder), "--all"]).output
    assert f"{sheet.name}, sheet Visit: 'Weather' -> not used" in told
    assert f"{sheet.name}, sheet Visit: 'Last seen' -> not used" in told
    assert told.count("'Last seen'") == 1


def test_too_few_methods_are_counted():
    from survivor.errors import PlanError
    from tests.planning.making import raw_plan

    with pytest.raises(PlanError, match=r"\[\[methods\]\]: at least 2 are needed, and there is 1"):
        small_plan(methods=raw_plan()["methods"][:1])


def test_what_no_number_of_plots_shows_lays_out_nothing(tmp_path):
    text = blank_files()["plan.toml"].decode()
    file = tmp_path / "plan.toml"
    for old, new in (
        ("smallest_difference = 10", "smallest_difference = 1"),
        ("power_per_100 = 80", "power_per_100 = 99.999"),
        ("plot_correlation = 0.1", "plot_correlation = 0.5"),
    ):
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    told = said("layout", file, "--out", tmp_path / "out")
    assert "no number of plots within reach is enough" in told
    assert "budget" not in told


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        ("calendar.csv", None, "x\n1\n", "a column that the layout wrote is not there: site, visit, day"),
        ("tags.csv", None, "", "tags.csv: there is nothing in it"),
        ("plots.csv", "2022-06-07", "sometime", "plots.csv: this is no day: 'sometime'"),
        ("calendar.csv", ",35,", ",many,", "calendar.csv, row 3: day is no number: 'many'"),
        ("plots.csv", "Planted on", "Day", "not there: Planted on"),
    ],
)
def test_a_layout_that_was_changed_by_hand(laid, name, old, new, words, tmp_path):
    folder = Path(shutil.copytree(laid, tmp_path / "laid"))
    text = (folder / name).read_text(encoding="utf-8")
    assert old is None or old in text
    (folder / name).write_text(new if old is None else text.replace(old, new), encoding="utf-8")
    assert words in said("sheets", folder)


def test_a_layout_saved_by_a_spreadsheet_program_is_read(laid, tmp_path):
    folder = Path(shutil.copytree(laid, tmp_path / "laid"))
    for name in ("tags.csv", "plots.csv"):
        text = (folder / name).read_text(encoding="utf-8")
        (folder / name).write_bytes(text.replace(",", ";").encode("utf-16"))
    before = {file.name: file.read_bytes() for file in laid.glob("*.xlsx")}
    assert CliRunner().invoke(app, ["sheets", str(folder)]).exit_code == 0
    assert {file.name: file.read_bytes() for file in folder.glob("*.xlsx")} == before


@pytest.mark.slow
def test_one_season_named_twice_is_not_two(tmp_path):
    season = DATASETS / "seasons" / "season-2021"
    assert "named twice" in said("pool", season, season)


def test_a_dry_season_that_begins_on_the_29th_of_february_begins_every_year():
    from survivor.season.windows import dry_season_met
    from survivor.settings import DrySeason
    from survivor.simulate.cohort import season_cuts

    season = DrySeason(start="02-29", end="03-31")
    days = dry_season_met(season, pd.Timestamp("2021-01-01"), pd.Timestamp("2021-12-31"))
    assert days == (pd.Timestamp("2021-02-28"), pd.Timestamp("2021-03-31"))
    planted = dt.date(2023, 6, 1)
    cuts = season_cuts(planted, ("02-29", "03-31"), 700)
    assert [planted + dt.timedelta(days=day) for day in cuts] == [
        dt.date(2024, 2, 29), dt.date(2024, 4, 1), dt.date(2025, 2, 28), dt.date(2025, 4, 1)
    ]  # fmt: skip


def test_a_price_out_of_this_world_is_still_written():
    from survivor.words import number

    assert number(1e300).startswith("1,000,")
    assert number(123456.789, 2) == "123,456.79"
