"""One odd cell does not cost a plot: the row is named, the rest is used, and words and deed agree."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.study import Study, load

TAGGED = """
[study]
name = "Slips"
as_of = "2023-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"

[rules]
tagged = "at planting"
"""


def tagged(folder: Path, odd: dict[int, str], plants: int = 10) -> Study:
    """Two plots visited twice; ``odd`` gives the preparation told in some rows of the first, by plant."""
    lines = ["site,plot,tag,method,planted_date,date,state"]
    for plot, method in (("1", "auger"), ("2", "rip")):
        for plant in range(plants):
            for place, day in enumerate(("2023-03-01", "2023-09-01")):
                told = odd.get(plant, method) if plot == "1" and place == 0 else method
                lines.append(f"Oddle Flat,{plot},{plot}-{plant},{told},2022-08-01,{day},alive")
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(TAGGED, encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    return load(folder)


def test_a_slip_in_one_row_is_named_with_what_was_meant_and_the_rest_is_used(tmp_path: Path) -> None:
    study = tagged(tmp_path / "s", {4: "riip"})
    found = study.problems[study.problems["code"] == "odd-preparation"]
    assert found["row"].astype(str).tolist() == ["10"]  # header, then 4 plants of two rows, then this one
    assert found["value"].tolist() == ["riip"]
    assert "the other rows of the plot auger, which is used; did you mean rip?" in found["what"].iloc[0]
    assert set(study.records.intervals["method"].astype(str)) == {"auger", "rip"}
    assert (study.accounts["fate"] == "used").all()


@pytest.mark.parametrize("odd", [dict.fromkeys(range(10), "rip"), {0: "rip", 1: "rip", 2: "riip"}])
def test_a_plot_in_two_parts_is_still_set_aside(tmp_path: Path, odd: dict[int, str]) -> None:
    study = tagged(tmp_path / "s", odd)
    assert "plot-differs" in set(study.problems["code"])
    assert set(study.records.intervals["method"].astype(str)) == {"rip"}


COUNTS = """
[study]
name = "Dates"
as_of = "2023-12-31"

[records]
kind = "counts"

[[records.sheets]]
file = "visits.csv"
"""


def counts(folder: Path, planted: str, first: str = "2023-03-01") -> Study:
    lines = ["site,plot,method,planted_date,planted,date,alive"]
    for plot in range(1, 5):
        day = planted if plot == 1 else "2022-06-10"
        for seen, alive in ((first if plot == 1 else "2022-09-12", 18), ("2023-06-12", 15)):
            lines.append(f"Oddle Flat,{plot},{'rip' if plot % 2 else 'auger'},{day},20,{seen},{alive}")
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(COUNTS, encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    return load(folder)


def test_a_planting_date_after_a_visit_takes_the_plot_out_and_is_set_beside_the_others(
    tmp_path: Path,
) -> None:
    """October typed for June: days counted from it would be four months short."""
    study = counts(tmp_path / "s", "2022-10-06", first="2022-09-12")
    found = study.problems[study.problems["code"] == "planting-odd"]
    assert found["value"].astype(str).iloc[0] == "2022-10-06"
    assert "other plots of this site: 2022-06-10" in found["what"].iloc[0]
    assert "1" not in set(study.records.intervals["plot"].astype(str))
    fates = study.accounts["fate"].value_counts()
    assert (fates["set aside"], fates["used"]) == (2, 6)
    said = CliRunner().invoke(app, ["check", str(tmp_path / "s")])
    assert said.exit_code == 1
    assert said.output.count("planting-odd") == 1


def test_a_visit_typed_too_early_costs_that_visit_only(tmp_path: Path) -> None:
    """2012 for 2022: the planting date is that of all plots, so the visit is what is wrong."""
    study = counts(tmp_path / "s", "2022-06-10", first="2012-09-12")
    assert "before-planting" in set(study.problems["code"])
    assert "planting-odd" not in set(study.problems["code"])
    assert "1" in set(study.records.intervals["plot"].astype(str))


def test_a_later_planting_that_no_visit_contradicts_is_no_fault(tmp_path: Path) -> None:
    study = counts(tmp_path / "s", "2022-10-06", first="2023-03-01")
    assert not {"planting-odd", "before-planting"} & set(study.problems["code"])


@pytest.mark.parametrize(
    ("study", "status"),
    [
        (COUNTS.replace("visits.csv", "gone.csv"), 1),
        (COUNTS + '[records.sheets.columns]\nalive = "No such header"\n', 1),
        (COUNTS.replace("[study]", "[stdy]"), 2),
        ("nonsense", 2),
    ],
)
def test_exit_codes_are_those_of_the_readme(tmp_path: Path, study: str, status: int) -> None:
    """README: 1 records, or a file or column that is not there; 2 the study file itself."""
    import subprocess
    import sys

    counts(tmp_path / "s", "2022-06-10")
    (tmp_path / "s" / "study.toml").write_text(study, encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-c", "from survivor.cli import main; main()", "check", str(tmp_path / "s")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == status, run.stdout + run.stderr
    assert "Traceback" not in run.stderr
