from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.report.content.gathering import gather
from tests.report.conftest import build


def _record(**gaps: float) -> pd.DataFrame:
    dates = pd.date_range("2005-01-01", "2024-12-31", freq="D")
    frame = pd.DataFrame({"gauge": "north gauge", "date": dates, "rain_mm": 1.0})
    for day, value in gaps.items():
        frame.loc[frame["date"] == pd.Timestamp(day.replace("_", "-").strip("d")), "rain_mm"] = value
    return frame


def test_rain_is_added_up_from_the_first_planting() -> None:
    ((gauge, table, years),) = gather(build(rain_record=_record()))
    assert gauge == "north gauge"
    assert table["date"].iloc[0] == pd.Timestamp("2023-06-15")
    assert list(table["rain_mm"][:3]) == [1.0, 2.0, 3.0]
    assert (table["median"] == table["rain_mm"]).all()
    assert years == 18


def test_a_day_not_read_adds_nothing_and_is_counted() -> None:
    ((_, table, _),) = gather(build(rain_record=_record(d2023_06_16=np.nan)))
    assert list(table["rain_mm"][:3]) == [1.0, 1.0, 2.0]
    assert table["not_read"].iloc[-1] == 1


def test_too_many_days_not_read_end_the_sum() -> None:
    record = _record()
    gap = (record["date"] >= "2023-12-01") & (record["date"] < "2024-01-15")
    ((_, table, _),) = gather(build(rain_record=record.assign(rain_mm=record["rain_mm"].mask(gap))))
    known = table["rain_mm"].notna()
    assert known.iloc[:169].all()
    assert not known.iloc[-1]


def test_a_record_of_few_years_makes_no_picture() -> None:
    record = _record()
    assert gather(build(rain_record=record[record["date"] >= "2016-01-01"])) == []
