from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.season.rain import RainSoFar, rain_so_far

PLANTED = pd.Series(pd.to_datetime(["2023-06-15", "2023-06-24"]))
UNTIL = pd.Timestamp("2024-07-02")


def _record(**gaps: float) -> pd.DataFrame:
    dates = pd.date_range("2005-01-01", "2024-12-31", freq="D")
    frame = pd.DataFrame({"gauge": "north gauge", "date": dates, "rain_mm": 1.0})
    for day, value in gaps.items():
        frame.loc[frame["date"] == pd.Timestamp(day.replace("_", "-").strip("d")), "rain_mm"] = value
    return frame


def added(record: pd.DataFrame) -> RainSoFar:
    rain = rain_so_far("north gauge", record, PLANTED, UNTIL)
    assert rain is not None
    return rain


def test_rain_is_added_up_from_the_first_planting() -> None:
    rain = added(_record())
    table = rain.table
    assert rain.name == "north gauge"
    assert table["date"].iloc[0] == pd.Timestamp("2023-06-15")
    assert list(table["rain_mm"][:3]) == [1.0, 2.0, 3.0]
    assert (table["median"] == table["rain_mm"]).all()
    assert rain.years == 18


def test_a_day_not_read_adds_nothing_and_is_counted() -> None:
    table = added(_record(d2023_06_16=np.nan)).table
    assert list(table["rain_mm"][:3]) == [1.0, 1.0, 2.0]
    assert table["not_read"].iloc[-1] == 1


def test_too_many_days_not_read_end_the_sum() -> None:
    record = _record()
    gap = (record["date"] >= "2023-12-01") & (record["date"] < "2024-01-15")
    table = added(record.assign(rain_mm=record["rain_mm"].mask(gap))).table
    known = table["rain_mm"].notna()
    assert known.iloc[:169].all()
    assert not known.iloc[-1]


def test_a_record_of_few_years_makes_no_picture() -> None:
    record = _record()
    assert rain_so_far("north gauge", record[record["date"] >= "2016-01-01"], PLANTED, UNTIL) is None
