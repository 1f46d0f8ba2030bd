"""Files that no person wrote, pipes and gigabytes of nothing, are refused before they are read."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import pytest

from survivor.errors import SurvivorError
from survivor.files.content import content
from survivor.files.kinds import LARGE
from survivor.files.sheets import read_rows, sheet_names
from survivor.season.gauge import read_gauge
from survivor.settings import Gauge, read_settings
from survivor.study import load
from tests.writing import small_season

MANY, MOST_HELD = LARGE + 2**20, 4 * 2**20  # bytes


def hollow(path: Path, start: bytes, size: int = MANY) -> Path:
    with path.open("wb") as opened:
        opened.write(start)
        opened.truncate(size)
    return path


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this machine has no pipes with names")
@pytest.mark.parametrize("named", ["gauge", "sheet"])
def test_a_pipe_under_the_name_of_a_file_is_refused_and_not_waited_for(tmp_path: Path, named: str) -> None:
    small_season(tmp_path)
    study = tmp_path / "study.toml"
    os.mkfifo(tmp_path / "pipe.csv")
    with pytest.raises(OSError, match="no ordinary file"):
        content(tmp_path / "pipe.csv")
    text = study.read_text(encoding="utf-8")
    if named == "sheet":
        study.write_text(text.replace("visits.csv", "pipe.csv"), encoding="utf-8")
        with pytest.raises(SurvivorError, match="no such file"):
            load(tmp_path)
    else:
        study.write_text(text + '\n[[gauges]]\nname = "g"\nfile = "pipe.csv"\n', encoding="utf-8")
        assert "gauge-unreadable" in set(load(tmp_path).problems["code"])


REFUSED = {
    "visits.xlsx": (b"PK\x03\x04", "no workbook at all"),
    "visits.ods": (b"PK\x03\x04", "no workbook at all"),
    "visits.csv": (b"site,plot\n", "not a text file"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_large_file_of_nothing_is_refused_before_it_is_held(tmp_path: Path, name: str) -> None:
    start, words = REFUSED[name]
    file = hollow(tmp_path / name, start, 100 * 2**20)
    tracemalloc.start()
    with pytest.raises(SurvivorError, match=words):
        read_rows(file) if name.endswith("csv") else sheet_names(file)
    held = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held < MOST_HELD


@pytest.mark.parametrize("name", ["rain.csv", "rain.xlsx"])
def test_a_daily_record_larger_than_any_is_refused(tmp_path: Path, name: str) -> None:
    hollow(tmp_path / name, b"date,rain\n2021-01-01,3\n", 20 * 2**20)
    with pytest.raises(SurvivorError, match=r"this is 21 MB, more than any daily record holds"):
        read_gauge(tmp_path, Gauge(name="g", file=name))


def test_a_study_file_of_gigabytes_is_refused_by_its_size(tmp_path: Path) -> None:
    hollow(tmp_path / "study.toml", b"[study]\n")
    tracemalloc.start()
    with pytest.raises(SurvivorError, match="more than any study file holds"):
        read_settings(tmp_path)
    held = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held < MOST_HELD


def test_nothing_is_held_at_once_that_is_read_in_parts_only(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="larger than 268 MB"):
        content(hollow(tmp_path / "a.bin", b""))
