"""What is said of a study before its season: blank, laid out, or with visits not named yet."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import RecordsError
from survivor.study import load

WIDE = """
[study]
name = "Wide"

[records]
kind = "counts"
shape = "wide"

[[records.sheets]]
file = "wide.csv"
"""


def test_a_blank_study_says_that_there_are_no_records_yet(tmp_path: Path) -> None:
    run = CliRunner()
    assert run.invoke(app, ["new", str(tmp_path / "blank")]).exit_code == 0
    with pytest.raises(RecordsError, match="no records yet") as fault:
        _ = load(tmp_path / "blank").records
    assert "write the records below the header" in fault.value.mend


@pytest.mark.slow
def test_a_study_laid_out_for_a_coming_season_says_that_it_has_not_begun(tmp_path: Path) -> None:
    run = CliRunner()
    assert run.invoke(app, ["new", str(tmp_path / "blank")]).exit_code == 0
    plan = tmp_path / "blank" / "plan.toml"
    few = ["layout", str(plan), "--out", str(tmp_path / "laid"), "--plots", "4", "--seedlings", "4"]
    assert run.invoke(app, few).exit_code == 0
    with pytest.raises(RecordsError, match="the season has not begun") as fault:
        _ = load(tmp_path / "laid").analysis
    assert "after the records were closed" not in str(fault.value)


@pytest.mark.parametrize("last", ["comments...", "Notes", "site remarks"])
def test_the_example_of_a_visit_is_a_count_and_never_the_remarks(tmp_path: Path, last: str) -> None:
    (tmp_path / "study.toml").write_text(WIDE, encoding="utf-8")
    (tmp_path / "wide.csv").write_text(
        f"site,plot,method,Sept 23 live,July 24 live,{last}\nOddle Flat,1,rip,20,18,\n", encoding="utf-8"
    )
    with pytest.raises(RecordsError, match="needs its visits named") as fault:
        _ = load(tmp_path).records
    assert 'state = "Sept 23 live"' in fault.value.mend


def test_no_milestone_is_called_out_of_reach_once_all_are_dead(tmp_path: Path) -> None:
    """Counts of 0 at both visits leave no interval after the first; the later visit was made all the same."""
    study = WIDE.replace('\nshape = "wide"', "").replace("wide.csv", "long.csv")
    (tmp_path / "study.toml").write_text(study, encoding="utf-8")
    for alive, said in ((0, False), (4, True)):
        lines = ["site,plot,method,planted_date,planted,date,alive"]
        for plot, method in ((1, "rip"), (2, "rip"), (3, "auger"), (4, "auger")):
            lines.append(f"Oddle Flat,{plot},{method},2022-06-10,20,2022-09-12,{alive}")
        (tmp_path / "long.csv").write_text("\n".join(lines), encoding="utf-8")
        assert ("milestone-not-reached" in set(load(tmp_path).problems["code"])) is said
