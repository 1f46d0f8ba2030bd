"""Slips in a gauge's file that change a season's rain are asked about: each with its row."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path

import pandas as pd
import pytest

from survivor.season.gauge import read_gauge
from survivor.season.weather import read_weather
from survivor.settings import Gauge, Weather

FIRST = dt.date(2020, 1, 1)
HEADER = "date,rain (mm),days covered,quality"


def rows(days: int = 800) -> list[str]:
    """A row a day, three of ten wet, no fall above 30 mm."""
    drawn = random.Random(4)
    falls = [min(drawn.expovariate(1 / 6), 30.0) if drawn.random() < 0.3 else 0.0 for _ in range(days)]
    return [f"{FIRST + dt.timedelta(days=n)},{fall:.1f},1,checked" for n, fall in enumerate(falls)]


def problems(
    folder: Path, lines: list[str], missing_days: str = "zero", header: str = HEADER
) -> pd.DataFrame:
    (folder / "rain.csv").write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    gauge = Gauge.model_validate({"name": "g", "file": "rain.csv", "missing_days": missing_days})
    return read_gauge(folder, gauge).problems.set_index("code")


def test_a_whole_file_has_no_problem(tmp_path):
    assert problems(tmp_path, rows()).empty


def test_days_left_out_of_a_file_that_writes_noughts_are_asked_about(tmp_path):
    lines = rows()
    del lines[100:103], lines[400]
    found = problems(tmp_path, lines)
    assert list(found.index) == ["rain-left-out"]
    asked = found.loc["rain-left-out"]
    assert (asked["severity"], asked["row"], asked["value"]) == ("check", 102, "2020-04-10")
    assert "2020-04-10 to 2020-04-12, 2021-02-07" in asked["what"]
    assert "4 days have no row" in asked["what"]
    # Where days without a row are not known, they are counted as such and nothing is asked.
    assert problems(tmp_path, lines, "not read").empty


def test_a_book_of_rain_days_leaves_out_the_dry_ones(tmp_path):
    wet = [line for line in rows() if ",0.0," not in line]
    assert problems(tmp_path, wet).empty
    # Of days that are not known the same book would have many blank weekends.
    assert list(problems(tmp_path, wet, "not read").index) == ["rain-weekends"]


def test_days_of_one_reading_are_not_left_out(tmp_path):
    lines = rows()
    lines[102] = lines[102].replace(",1,", ",3,")
    del lines[100:102]
    assert "rain-left-out" not in problems(tmp_path, lines).index


def test_a_fall_far_above_every_other_is_asked_about(tmp_path):
    lines = rows()
    lines[300] = f"{FIRST + dt.timedelta(days=300)},92,1,checked"
    found = problems(tmp_path, lines)
    assert list(found.index) == ["rain-largest"]
    assert found.loc["rain-largest", ["severity", "row", "value"]].tolist() == ["check", 302, "92"]


@pytest.mark.parametrize(
    ("amount", "days", "number"),
    [("55", "1", 800), ("92", "3", 800), ("92", "1", 300)],
    ids=["within twice the next", "of several days", "too short a record to tell"],
)
def test_what_may_well_have_fallen_is_not(tmp_path, amount, days, number):
    lines = rows(number)
    lines[200] = f"{FIRST + dt.timedelta(days=200)},{amount},{days},checked"
    assert "rain-largest" not in problems(tmp_path, lines).index


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("n/a", "no day of this file has an amount"),
        ("0", "has the same, 0 mm"),
        ("12", "has the same, 12 mm"),
    ],
)
def test_a_column_of_one_amount_or_none_is_asked_about(tmp_path, amount, words):
    lines = [f"{FIRST + dt.timedelta(days=n)},{amount},1,checked" for n in range(100)]
    found = problems(tmp_path, lines)
    assert list(found.index) == ["rain-alike"]
    assert words in found.loc["rain-alike", "what"]
    assert "rain-alike" not in problems(tmp_path, rows(100)).index


def test_words_of_quality_that_are_not_known_are_listed(tmp_path):
    lines = [line.replace("checked", "chekced" if n > 790 else "checked") for n, line in enumerate(rows())]
    found = problems(tmp_path, lines)
    assert list(found.index) == ["rain-quality"]
    assert found.loc["rain-quality", "row"] == 793
    assert "chekced (9 days)" in found.loc["rain-quality", "what"]


def test_cells_under_no_header_and_columns_not_read_are_told(tmp_path):
    lines = rows()
    lines[50] = f"{FIRST + dt.timedelta(days=50)},12,5,1,checked"
    assert problems(tmp_path, lines).loc["rain-beyond", ["row", "value"]].tolist() == [52, "checked"]
    found = problems(tmp_path, rows(), header=HEADER.replace("quality", "qulity"))
    assert found.loc["rain-unread", "what"] == "1 column is not read: qulity"
    found = problems(tmp_path, rows(), header=HEADER.replace("quality", ""))
    assert found.loc["rain-unread", "what"] == "1 column is not read: (no header)"


def test_so_are_those_of_a_weather_file(tmp_path):
    lines = [f"{FIRST + dt.timedelta(days=n)},5,15" for n in range(100)]
    lines[7] += ",7"
    (tmp_path / "t.csv").write_text("\n".join(["date,tmin,tmax", *lines]) + "\n", encoding="utf-8")
    found = read_weather(tmp_path / "t.csv", Weather(gauge="g", file="t.csv")).problems
    assert found[["code", "row"]].to_numpy().tolist() == [["weather-beyond", 9]]
