"""A slip in the year of one row makes no century of drought, and no traceback."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from survivor.season.rain import measures, read_gauge
from survivor.season.weather import read_weather
from survivor.settings import DrySeason, Gauge, Weather

DRY = DrySeason(start="12-01", end="03-31")
PLANTED = dt.date(2022, 6, 1)
DAYS = [dt.date(2010, 1, 1) + dt.timedelta(days=number) for number in range(14 * 365)]


def gauge(folder: Path, *more: str, dated: str = "date,rain (mm)") -> Gauge:
    rows = [f"{day},{5 if day.day % 3 == 0 else 0}" for day in DAYS]
    if "year" in dated:
        rows = [row.replace("-", ",", 2) for row in rows]
    (folder / "rain.csv").write_text("\n".join([dated, *rows, *more]) + "\n", encoding="utf-8")
    return Gauge(name="g", file="rain.csv", missing_days="zero")


def told(folder: Path, *more: str):
    return measures(read_gauge(folder, gauge(folder, *more)), PLANTED, DRY)


@pytest.mark.parametrize("day", ["1922-06-01", "1800-06-01", "2199-06-01", "2122-07-01", "2032-07-01"])
def test_a_day_years_from_all_others_is_named_and_set_aside(tmp_path, day):
    record = read_gauge(tmp_path, gauge(tmp_path, f"{day},5"))
    found = record.problems[record.problems["code"] == "rain-far"]
    assert list(found["row"]) == [len(DAYS) + 2]
    assert list(found["value"]) == [day]
    assert list(found["severity"]) == ["check"]
    assert record.daily["date"].min().date() == DAYS[0]
    assert record.daily["date"].max().date() == DAYS[-1]
    assert str(told(tmp_path, f"{day},5")) == str(told(tmp_path))


@pytest.mark.parametrize(
    "day", ["0001-01-01", "9999-12-31", "1677-01-01", "1700-06-01", "2262-12-31", "2300-01-01", "2922-06-01"]
)
@pytest.mark.parametrize("dated", ["date,rain (mm)", "year,month,day,rain (mm)"])
def test_a_day_out_of_all_range_is_an_unreadable_day(tmp_path, day, dated):
    row = f"{day},5" if "year" not in dated else f"{day},5".replace("-", ",", 2)
    record = read_gauge(tmp_path, gauge(tmp_path, row, dated=dated))
    found = record.problems[record.problems["code"] == "rain-date"]
    assert list(found["row"]) == [len(DAYS) + 2]
    assert record.daily["date"].max().date() == DAYS[-1]


def test_a_gauge_that_stood_still_for_years_keeps_both_its_parts(tmp_path):
    early = [f"{dt.date(1950, 1, 1) + dt.timedelta(days=number)},1" for number in range(400)]
    record = read_gauge(tmp_path, gauge(tmp_path, *early))
    assert "rain-far" not in set(record.problems["code"])
    assert record.daily["date"].min() == dt.datetime(1950, 1, 1)


def test_a_day_of_a_weather_file_years_from_all_others_is_named(tmp_path):
    rows = [f"{day},5,15" for day in DAYS]
    (tmp_path / "t.csv").write_text(
        "\n".join(["date,tmin,tmax", *rows, "2912-01-01,5,15", "1912-01-01,5,15"])
    )
    found = read_weather(tmp_path / "t.csv", Weather(gauge="g", file="t.csv")).problems
    assert list(found["code"]) == ["weather-date", "weather-far"]
