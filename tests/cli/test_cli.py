"""The command line as a person meets it."""

import shutil
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app

DATASETS = Path(__file__).parents[2] / "datasets"


def run(*arguments):
    return CliRunner().invoke(app, [str(part) for part in arguments])


def test_help_names_the_verbs_and_a_start():
    said = run("--help")
    assert said.exit_code == 0
    for word in ("demo", "check", "report", "Start with"):
        assert word in said.output


def test_the_version():
    said = run("--version")
    assert said.exit_code == 0
    assert said.output.startswith("survivor 0.")


def test_a_slip_of_the_pen_is_wrong_use():
    assert run("reprot").exit_code == 2


@pytest.mark.slow
def test_demo_writes_both_cohorts_and_says_what_next(tmp_path):
    said = run("demo", tmp_path / "here")
    assert said.exit_code == 0
    assert "invented" in said.output
    for cohort in ("tagged", "counts"):
        assert (tmp_path / "here" / cohort / "study.toml").is_file()
        assert f"survivor report {tmp_path / 'here' / cohort}" in said.output


@pytest.mark.slow
@pytest.mark.parametrize("cohort", ["tagged", "counts"])
def test_check_accounts_for_every_record(cohort, tmp_path):
    said = run("check", DATASETS / cohort, "--out", tmp_path)
    assert said.exit_code == 0
    accounts = pd.read_csv(tmp_path / "accounts.csv")
    assert f"{len(accounts):,} records read" in said.output
    assert accounts["fate"].isin(["used", "excluded", "listed"]).all()
    assert accounts.loc[accounts["fate"] != "used", "reason"].notna().all()
    problems = pd.read_csv(tmp_path / "problems.csv")
    assert problems[["code", "severity", "what", "mend"]].notna().all(axis=None)
    assert "What to do" in said.output


def test_check_shows_the_rise_in_a_count_where_it_stands():
    said = run("check", DATASETS / "counts").output
    assert "plot counts.xlsx, sheet Counts, row 12, column Alive / Jul 2022 [47]" in said


@pytest.mark.slow
def test_a_problem_without_a_row_stands_beside_those_with_one(tmp_path):
    shutil.copytree(DATASETS / "tagged", tmp_path / "tagged")
    file = tmp_path / "tagged" / "visits.csv"
    file.write_text(file.read_text(encoding="utf-8").replace(",", ";"), encoding="utf-8")
    said = run("check", tmp_path / "tagged")
    assert said.exception is None
    assert "how-read" in said.output


@pytest.mark.slow
def test_a_gauge_that_is_not_there_is_said_without_a_warning(tmp_path):
    shutil.copytree(DATASETS / "tagged", tmp_path / "tagged")
    (tmp_path / "tagged" / "rain_north.csv").unlink()
    said = run("check", tmp_path / "tagged")
    assert said.exit_code == 1  # a file that the study file names is not there
    assert "gauge-unreadable" in said.output
    assert "Nothing stops the answer" not in said.output


@pytest.mark.slow
def test_a_column_of_a_gauge_that_is_not_there_has_to_be_mended(tmp_path):
    shutil.copytree(DATASETS / "tagged", tmp_path / "tagged")
    file = tmp_path / "tagged" / "study.toml"
    text = file.read_text(encoding="utf-8")
    at = text.index("[gauges.columns]")
    named = text[:at] + text[at:].replace("rain_mm =", 'rain_mm = "Rrain" #', 1)
    assert named != text
    file.write_text(named, encoding="utf-8")
    said = run("check", tmp_path / "tagged")
    assert said.exit_code == 1
    assert "no header 'Rrain'" in said.output
    assert "Nothing stops the answer" not in said.output
