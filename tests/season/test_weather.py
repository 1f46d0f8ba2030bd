"""Weather files as they come: columns told by their headers, gaps kept, slips listed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.errors import SeasonError
from survivor.season.gauge import read_gauges
from survivor.season.weather import read_weather
from survivor.settings import Gauge, Weather
from survivor.vocabulary import PROBLEM_COLUMNS

LAYOUTS = {
    "ours": "date,tmin_c,tmax_c\n2024-05-31,4.2,15.0\n",
    "words": "Date;Minimum temperature (C);Maximum temperature (C)\n31/05/2024;4,2;15,0\n",
    "highest first, with counts of days": "Year,Month,Day,Max temp,"
    "Days of accumulation of maximum temperature,Quality,Min temp\n2024,05,31,15.0,1,Y,4.2\n",
    "notes above": "Invented station\n\ndate\tTmin\tTmax\n2024-05-31\t4.2\t15\n",
    "no grass or humidity": "date,grass min temp,min rh,min temp,max temp\n2024-05-31,-9,20,4.2,15\n",
}


def read(folder: Path, text: str, **options):
    (folder / "t.csv").write_text(text, encoding="utf-8")
    return read_weather(folder, Weather(gauge="shed gauge", file="t.csv", **options))


@pytest.mark.parametrize("layout", LAYOUTS)
def test_columns_are_told_by_their_headers(tmp_path, layout):
    daily = read(tmp_path, LAYOUTS[layout]).daily
    assert list(daily.columns) == ["date", "tmin_c", "tmax_c"]
    assert daily.iloc[0].tolist() == [pd.Timestamp("2024-05-31"), 4.2, 15.0]


@pytest.mark.parametrize("header", ["ETo", "Reference evapotranspiration (mm)", "et0 mm"])
def test_evapotranspiration_may_stand_alone(tmp_path, header):
    daily = read(tmp_path, f"date,{header}\n2024-05-31,1.4\n").daily
    assert daily["eto_mm"].tolist() == [1.4]


def test_units_that_differ_between_files_are_asked_for(tmp_path):
    text = "date,tmin,tmax,wind speed,radiation\n2024-05-31,4,15,10,12\n"
    assert list(read(tmp_path, text).daily.columns) == ["date", "tmin_c", "tmax_c"]
    named = read(tmp_path, text, columns={"wind_m_s": "wind speed", "radiation_mj": "radiation"})
    assert named.daily.loc[0, ["wind_m_s", "radiation_mj"]].tolist() == [10, 12]


def test_gaps_stay_and_slips_are_listed(tmp_path):
    record = read(
        tmp_path,
        "date,tmin_c,tmax_c\n"
        "2024-01-01,12,30\n"
        "2024-01-02,,31\n"
        "2024-01-03,29,11\n"
        "2024-01-04,-999,28\n"
        "2024-01-05,53.6,82.4\n"
        "2024-01-06,warm,27\n"
        "2024-01-07,12,30\n"
        "2024-01-07,13,30\n"
        "2024-01-01,12,30\n"
        "someday,12,30\n",
    )
    assert record.daily["date"].is_monotonic_increasing
    assert record.daily["tmin_c"].isna().tolist() == [False, True, True, True, False, True, True]
    assert record.daily["tmax_c"].isna().tolist() == [False, False, True, False, True, False, True]
    assert tuple(record.problems.columns) == PROBLEM_COLUMNS
    listed = dict(zip(record.problems["code"], record.problems["row"], strict=True))
    assert listed == {
        "weather-crossed": 4,
        "weather-absurd": 6,
        "weather-value": 7,
        "weather-differs": 9,
        "weather-repeated": 10,
        "weather-date": 11,
        "weather-sentinel": 5,
    }


def test_day_and_month_that_cannot_be_told_apart_are_noted(tmp_path):
    record = read(tmp_path, "date,eto\n01/02/2024,5\n02/02/2024,5\n")
    assert record.daily["date"].iloc[0] == pd.Timestamp("2024-02-01")
    assert record.problems["code"].tolist() == ["weather-day-first"]


@pytest.mark.parametrize(
    ("text", "options", "words"),
    [
        ("date,rain\n2024-01-01,3\n", {}, "lowest and highest temperature"),
        ("date,tmin_c\n2024-01-01,3\n", {}, r"\[weather.columns\]"),
        ("date,tmin,tmax\n", {}, "no row of this file"),
        ("date,tmin,tmax,min temp\n2024-01-01,3,9,4\n", {}, "several columns may be tmin_c"),
        ("date,tmin,tmax\n2024-01-01,3,9\n", {"columns": {"rain_mm": "tmin"}}, "no column of a weather file"),
    ],
)
def test_a_file_that_cannot_be_used_says_what_to_do(tmp_path, text, options, words):
    with pytest.raises(SeasonError, match=words):
        read(tmp_path, text, **options)


def test_an_absent_file_is_a_problem_and_not_an_end(tmp_path):
    (tmp_path / "rain.csv").write_text("date,rain\n2024-01-01,3\n", encoding="utf-8")
    gauges = read_gauges(
        tmp_path, (Gauge(name="g", file="rain.csv"),), (Weather(gauge="g", file="nowhere.csv"),)
    )
    assert list(gauges.records) == ["g"]
    assert gauges.weather == {}
    assert gauges.problems["code"].tolist() == ["weather-unreadable"]
    assert gauges.accounts["fate"].tolist() == ["used", "excluded"]


def test_weather_read_is_accounted_for(tmp_path):
    (tmp_path / "rain.csv").write_text("date,rain\n2024-01-01,3\n", encoding="utf-8")
    (tmp_path / "t.csv").write_text("date,eto\n2024-01-01,3\n2024-01-02,\n", encoding="utf-8")
    gauges = read_gauges(tmp_path, (Gauge(name="g", file="rain.csv"),), (Weather(gauge="g", file="t.csv"),))
    np.testing.assert_array_equal(gauges.weather["g"].daily["eto_mm"], [3, np.nan])
    said = gauges.accounts.loc[gauges.accounts["record"] == "weather", "reason"].item()
    assert said == "1 days of weather known, 1 in the file and not whole"
