"""A blank study folder: what it holds, and what it says when it is asked too early."""

import csv
import io

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import PlanError, RecordsError, SurvivorError
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
        if name == "plan.toml":  # one of three ways, and no combinations beside several methods
            for clash in ("plot_sd = 0.5", 'from_study = "../last-season"', *_factorial_lines(text)):
                opened = opened.replace(f"\n{clash}", f"\n# {clash}")
        file = tmp_path / f"opened-{name}"
        file.write_text(opened, encoding="utf-8")
        read(file)


def _factorial_lines(text):
    block = text[text.index("# [factorial]") :]
    return [line.removeprefix("# ") for line in block[: block.index("\n\n")].splitlines()]


def test_the_combinations_of_the_template_are_a_plan_with_one_base(blank):
    file = blank / "plan.toml"
    text = file.read_text(encoding="utf-8")
    for line in _factorial_lines(text):
        text = text.replace(f"# {line}", line)
    base, others = text.index("[[methods]]"), text.index("# Which part of a preparation pays")
    second = text.index("[[methods]]", base + 1)
    file.write_text(text[:second] + text[others:], encoding="utf-8")
    with pytest.raises(PlanError, match="say how many blocks there are to be"):
        read_plan(file)
    text = file.read_text(encoding="utf-8").replace("# plots_per_method = 24", "plots_per_method = 6")
    file.write_text(text, encoding="utf-8")
    plan = read_plan(file)
    assert [method.name for method in plan.methods] == [
        "spot spray only", "spot spray only, mulch mat", "spot spray only, rip line",
        "spot spray only, rip line and mulch mat",
    ]  # fmt: skip
    assert plan.factorial.whole_plots == ("rip line",)


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
