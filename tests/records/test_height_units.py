"""A height in another unit than its column is named with what to write, and used as it stands."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from survivor.study import Study, load

TAGGED = """
[study]
name = "Heights"
purpose = "check a target"
as_of = "2025-12-31"

[records]
kind = "tagged"

[[records.sheets]]
file = "visits.csv"
date_order = "day-first"

[rules]
tagged = "at planting"
"""
DAYS = ("2024-06-20", "2025-06-20")


def long(folder: Path, first: list[str], second: list[str], header: str = "height (cm)") -> Study:
    """One plot; the heights of its plants at two visits, in one column."""
    lines = [f"site,plot,tag,planted_date,date,state,{header}"]
    for day, heights in zip(DAYS, (first, second), strict=True):
        lines += [f"Oddle Flat,1,{tag},2023-08-01,{day},alive,{tall}" for tag, tall in enumerate(heights)]
    folder.mkdir(exist_ok=True)
    (folder / "study.toml").write_text(TAGGED, encoding="utf-8")
    (folder / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    return load(folder)


def named(study: Study) -> pd.DataFrame:
    return study.problems[study.problems["code"] == "height-unit"]


def test_metres_in_a_wide_column_of_centimetres_are_named_and_not_mended(tmp_path: Path) -> None:
    lines = ["site,plot,tag,planted_date,20/6/24,Ht 20/6/24"]
    lines += [f"Oddle Flat,1,{tag},2023-08-01,alive,{tall}" for tag, tall in enumerate(("42", "38", "0.43"))]
    text = TAGGED.replace('kind = "tagged"', 'kind = "tagged"\nshape = "wide"')
    text += (
        '[[records.visits]]\nname = "one"\ndate = "2024-06-20"\nstate = "20/6/24"\nheight = "Ht 20/6/24"\n'
    )
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    (tmp_path / "visits.csv").write_text("\n".join(lines), encoding="utf-8")
    study = load(tmp_path)
    (problem,) = named(study).to_dict("records")
    assert (problem["row"], problem["column"], problem["value"]) == (4, "Ht 20/6/24", "0.43")
    assert problem["severity"] == "check"
    assert "if it is in metres, write 43 (cm)" in problem["mend"]
    assert sorted(study.records.visits["height_cm"]) == [0.43, 38, 42]


def test_growth_between_visits_is_no_other_unit(tmp_path: Path) -> None:
    assert named(long(tmp_path, ["8", "10", "12", "9"], ["310", "380", "400", "350"])).empty


def test_a_plant_that_shrinks_fiftyfold_is_named(tmp_path: Path) -> None:
    # One plant only, so no median of its column can tell.
    (problem,) = named(long(tmp_path, ["40"], ["0.5"])).to_dict("records")
    assert "it was 40 cm at its visit before" in problem["what"]
    assert "write 50 (cm)" in problem["mend"]
    assert named(long(tmp_path, ["40"], ["1"])).empty  # browsed to a stump: fortyfold


def test_centimetres_in_a_column_of_metres(tmp_path: Path) -> None:
    study = long(tmp_path, ["0.4", "0.45", "43", "0.5"], ["0.6", "0.7", "0.7", "0.8"], header="height (m)")
    (problem,) = named(study).to_dict("records")
    assert (problem["value"], problem["column"]) == ("43", "height (m)")
    assert "if it is in cm, write 0.43 (m)" in problem["mend"]


@pytest.mark.parametrize(("odd", "number"), [("1200", 1), ("1100", 0)])
def test_thirty_times_the_median_is_the_limit(tmp_path: Path, odd: str, number: int) -> None:
    assert len(named(long(tmp_path, ["40", "40", "40", "40", odd], ["50"] * 5))) == number
