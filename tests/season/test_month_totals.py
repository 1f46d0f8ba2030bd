"""Rain kept as one total a month, in the ways that a gauge book or a weather office writes it.

That a month's total stands for all its days, and for no day by itself: common practice, no source.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from survivor.errors import SeasonError
from survivor.proposing.rain import rain_files
from survivor.season.gauge import read_gauge
from survivor.season.rain import measures
from survivor.settings import DrySeason, Gauge
from tests.records.sheetfiles import as_csv, as_ods, as_xlsx

TOTALS = dict(
    zip(
        pd.date_range("2024-05-01", "2025-04-01", freq="MS"),
        (38.2, 71.4, 64, 58.6, 41, 29.2, 22.4, 11, 3.2, 0, 18.6, 27),
        strict=True,
    )
)


def listed(header: list[str], months, above=()) -> list[list[str]]:
    rows = ([*map(str, month), str(rain)] for month, rain in zip(months, TOTALS.values(), strict=True))
    return [*([line] for line in above), header, *rows]


NAMED = [[f"{month:%b-%y}"] for month in TOTALS]
FORMS = {
    "title.csv": as_csv(listed(["Month", "Rain"], NAMED, ["Rain gauge at the shed, mm"])),
    "plain.csv": as_csv(listed(["Month", "mm"], [[f"{month:%B %Y}"] for month in TOTALS])),
    "iso.xlsx": as_xlsx(listed(["Date", "Rainfall (mm)"], [[f"{month:%Y-%m}"] for month in TOTALS]), "Rain"),
    "first day.ods": as_ods(
        listed(["Month", "Rain mm"], [[f"{month:%Y-%m}-01"] for month in TOTALS]), "Rain"
    ),
    "first day.csv": as_csv(
        listed(["Month", "Rain mm"], [[f"1/{month.month}/{month.year}"] for month in TOTALS])
    ),
    "last day.csv": as_csv(
        listed(
            ["Date read", "Rain mm"],
            [[f"{month.days_in_month}/{month.month}/{month.year}"] for month in TOTALS],
        )
    ),
    "year and month.csv": as_csv(listed(["Year", "Month", "Rain mm"], [[m.year, f"{m:%B}"] for m in TOTALS])),
    "year and number.csv": as_csv(listed(["Year", "Month", "Rain mm"], [[m.year, m.month] for m in TOTALS])),
    "year in the title.csv": as_csv(
        listed(["Month", "Rain"], [[f"{m:%b}"] for m in TOTALS], ["Rain from May 2024"])
    ),
    "across.csv": as_csv(
        [
            ["Shed", *("" for _ in range(13))],
            ["Year", *(dt.date(2000, m, 1).strftime("%b") for m in range(1, 13)), "Total"],
            ["2024", *("" for _ in range(4)), *list(map(str, TOTALS.values()))[:8], "335.8"],
            ["2025", *list(map(str, TOTALS.values()))[8:], *("" for _ in range(8)), "48.8"],
        ]
    ),
}


@pytest.mark.parametrize("name", FORMS)
def test_each_total_stands_for_the_days_of_its_month(tmp_path, name):
    (tmp_path / name).write_bytes(FORMS[name])
    record = read_gauge(tmp_path, Gauge(name="shed", file=name))
    known = record.daily.dropna(subset="rain_mm")
    assert known["rain_mm"].tolist() == list(TOTALS.values())
    assert (known["date"].dt.to_period("M").dt.start_time).tolist() == list(TOTALS)
    assert known["days_covered"].tolist() == [month.days_in_month for month in TOTALS]
    assert (known["date"].dt.day == known["days_covered"]).all()
    assert set(record.problems["code"]) <= {"rain-several-days"}
    (found,) = rain_files([tmp_path / name])
    assert found.record is not None


def test_months_without_a_year_ask_for_one(tmp_path):
    (tmp_path / "rain.csv").write_bytes(
        as_csv(listed(["Month", "Rain"], [[f"{month:%b}"] for month in TOTALS]))
    )
    with pytest.raises(SeasonError, match="May to Apr, bear no year"):
        read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    told = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv", year=2024))
    assert told.daily["date"].iloc[-1] == pd.Timestamp(2025, 4, 30)


def test_a_line_that_is_no_month_is_named(tmp_path):
    (tmp_path / "rain.csv").write_bytes(as_csv([*listed(["Month", "Rain"], NAMED), ["Total", "384.6"]]))
    record = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    (fault,) = record.problems.query("code == 'rain-date'").to_dict("records")
    assert (fault["row"], fault["value"]) == (14, "Total")
    assert record.daily["rain_mm"].sum() == pytest.approx(384.6)


@pytest.mark.parametrize("step", ["D", "W", "15D"])
def test_a_list_of_days_is_none_of_months(tmp_path, step):
    days = pd.date_range("2024-06-01", periods=30, freq=step)
    (tmp_path / "rain.csv").write_bytes(
        as_csv([["Date", "Rain"], *([f"{day:%d/%m/%Y}", "2"] for day in days)])
    )
    record = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    assert record.daily["date"].tolist() == days.tolist()
    assert (record.daily["days_covered"] == 1).all()


def test_a_dry_season_of_whole_months_has_its_total_and_no_day_is_made_up(tmp_path):
    (tmp_path / "rain.csv").write_bytes(FORMS["title.csv"])
    record = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    season = DrySeason(start="12-01", end="03-31")
    found = measures(record, pd.Timestamp(2024, 6, 12), season).set_index("measure")
    assert found.loc["rain in the dry season", "value"] == pytest.approx(11 + 3.2 + 0 + 18.6)
    single = found[found["unit"].isin(["falls", "days"])]
    assert len(single) == 4
    assert np.isnan(single["value"]).all()
    assert single["note"].str.contains("no day was read by itself").all()
