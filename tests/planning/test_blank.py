"""A blank study folder: what it holds, and what it says when it is asked too early."""

import csv
import io

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import RecordsError, SurvivorError
from survivor.planning.folder import blank_files
from survivor.planning.planfile import read_plan
from survivor.settings import read_settings


def run(*arguments):
    return CliRunner().invoke(app, [str(part) for part in arguments])


@pytest.fixture
def blank(tmp_path):
    said = run("new", tmp_path / "season")
    assert said.exit_code == 0
    assert "no records in it yet" in said.output
    return tmp_path / "season"


def test_both_files_are_in_order_as_they_stand(blank):
    settings = read_settings(blank)
    assert settings.records.kind == "tagged"
    assert read_plan(blank / "plan.toml").n_sites == 3


def test_every_remark_that_looks_like_a_line_is_one(blank, tmp_path):
    # A line switched on by taking the # away must be known: the template teaches no wrong key.
    for name, read in (("study.toml", read_settings), ("plan.toml", read_plan)):
        text = (blank / name).read_text(encoding="utf-8")
        lines = [
            line[2:] if line.startswith(("# [", "# ")) and _is_line(line[2:]) else line
            for line in text.splitlines()
        ]
        opened = "\n".join(lines) + "\n"
        assert opened.count("\n#") < text.count("\n#")
        if name == "plan.toml":  # one of three ways
            for clash in ("plot_sd = 0.5", 'from_study = "../last-season"'):
                opened = opened.replace(clash, f"# {clash}")
        file = tmp_path / f"opened-{name}"
        file.write_text(opened, encoding="utf-8")
        read(file)


def _is_line(text):
    import re

    return bool(re.match(r"\[\[?[a-z_.]+\]\]?$|\w+ = ", text.strip()))


def test_asked_too_early_it_says_that_nothing_is_there(blank):
    said = run("check", blank)
    assert said.exit_code != 0
    assert isinstance(said.exception, RecordsError)
    assert "no row below it" in str(said.exception)
    assert "What to do" in str(said.exception)


def test_filled_under_its_headers_it_can_be_checked(blank):
    plots = pd.read_csv(blank / "plots.csv")
    rows = [
        ("Tarn Hollow", "B1", f"P{n}", method, "2022-06-07", 2, 0.5)
        for n, method in ((1, "rip"), (2, "auger"))
    ]
    pd.DataFrame(rows, columns=plots.columns).to_csv(blank / "plots.csv", index=False)
    header = next(csv.reader(io.StringIO((blank / "visits.csv").read_text(encoding="utf-8"))))
    visits = [
        dict(
            zip(
                header,
                ("Tarn Hollow", "B1", f"P{n}", f"000{n}{tag}", "blackwood", "1", "2023-06-07", state),
                strict=False,
            )
        )
        for n in (1, 2)
        for tag, state in (("1", "alive"), ("2", "dead"))
    ]
    pd.DataFrame(visits, columns=header).to_csv(blank / "visits.csv", index=False)
    said = run("check", blank)
    assert said.exit_code == 0, said.output
    assert "6 used" in said.output


def test_nothing_is_written_over(blank):
    before = (blank / "study.toml").read_bytes()
    again = run("new", blank)
    assert isinstance(again.exception, SurvivorError)
    assert (blank / "study.toml").read_bytes() == before


def test_every_key_is_in_the_dictionary():
    dictionary = blank_files()["DATA-DICTIONARY.md"].decode()
    for word in ("{{", "}}"):
        assert word not in dictionary
    for key in ("smallest_difference", "every_row", "missing_days"):
        assert f"| {key} |" in dictionary
