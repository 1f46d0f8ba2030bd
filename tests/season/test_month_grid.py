"""Rain as gauge books are kept: a month grid, weekends read on Monday, titles, a sheet of a workbook."""

from __future__ import annotations

import datetime as dt

import pytest

import survivor
from survivor.errors import SeasonError
from survivor.season.gauge import IN_MONDAY, read_gauge
from survivor.settings import Gauge
from tests.records.sheetfiles import as_csv, as_ods, as_xlsx
from tests.season.months import FIRST, LAST, MONTHS, NAMED, READINGS, TOTAL, WITH_YEARS, grid

FORMS = {
    "years in the headers.csv": as_csv(grid(WITH_YEARS, [])),
    "years in the title.csv": as_csv(grid(NAMED, ["Rain at the shed, mm", "July 2023 to March 2024"])),
    "season in the title.xlsx": as_xlsx(grid(NAMED, ["Rain 2023/24"]), "Rain"),
    "days of months.ods": as_ods(grid([f"{year}-{month:02d}-01" for year, month in MONTHS], []), "Rain"),
}


@pytest.mark.parametrize("name", FORMS)
def test_a_month_grid_is_read_day_by_day(tmp_path, name):
    (tmp_path / name).write_bytes(FORMS[name])
    record = read_gauge(tmp_path, Gauge(name="shed", file=name))
    assert len(record.daily) == len(READINGS)
    assert record.daily["rain_mm"].sum() == pytest.approx(TOTAL)
    assert record.daily["date"].iloc[[0, -1]].dt.date.tolist() == [FIRST, LAST]
    assert set(record.problems["code"]) == {"rain-trace"}
    traces = sum(text == "tr" for text in READINGS.values())
    assert record.problems["what"].iloc[0].startswith(f"{traces} days were read as a trace")


def test_a_grid_without_a_year_asks_for_one(tmp_path):
    (tmp_path / "rain.csv").write_bytes(as_csv(grid(NAMED, ["Rain at the shed"])))
    with pytest.raises(SeasonError, match="Jul to Mar, bear no year"):
        read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    told = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv", year=2023))
    assert told.daily["rain_mm"].sum() == pytest.approx(TOTAL)


def test_a_blank_weekend_is_not_read_or_in_mondays_reading(tmp_path):
    (tmp_path / "rain.csv").write_bytes(as_csv(grid(WITH_YEARS, [], weekends=False)))
    plain = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv"))
    assert "rain-weekends" in set(plain.problems["code"])
    assert (plain.daily["days_covered"] == 1).all()
    mondays = read_gauge(tmp_path, Gauge(name="shed", file="rain.csv", weekends=IN_MONDAY))
    covers = mondays.daily.set_index("date")["days_covered"]
    assert (covers[covers.index.weekday == 0].iloc[1:] == 3).all()
    assert (covers[covers.index.weekday != 0] == 1).all()
    assert covers.iloc[2] == 3  # the record begins with a Saturday, which Monday's reading is of too
    assert mondays.daily["rain_mm"].sum() == plain.daily["rain_mm"].sum()


STUDY = """
[study]
name = "shed"
purpose = "check a target"
as_of = "2024-04-30"
[records]
kind = "counts"
[[records.sheets]]
file = "counts.csv"
[dry_season]
start = "12-01"
end = "03-31"
[[gauges]]
name = "shed"
file = "rain.csv"
"""


@pytest.mark.parametrize("weekends", [False, True])
def test_check_says_why_a_dry_season_has_no_total_and_which_days(tmp_path, weekends):
    (tmp_path / "rain.csv").write_bytes(as_csv(grid(WITH_YEARS, [], weekends=weekends)))
    (tmp_path / "counts.csv").write_text(
        "site,plot,date,planted_date,planted,alive\nA,1,2023-09-01,2023-07-05,20,18\nA,1,2024-04-20,2023-07-05,20,12\n"
    )
    (tmp_path / "study.toml").write_text(STUDY)
    problems = survivor.load(tmp_path).problems
    gaps = problems[problems["code"] == "rain-gaps"]
    assert len(gaps) == (0 if weekends else 1)
    if not weekends:
        lost = sum(day.weekday() > 4 for day in READINGS if day >= dt.date(2023, 12, 1))
        assert gaps["what"].iloc[0].startswith(f"{lost} of 122 days of the dry season from 1 December 2023")
        assert "2023-12-02 to 2023-12-03" in gaps["what"].iloc[0]
    (tmp_path / "study.toml").write_text(STUDY + f'weekends = "{IN_MONDAY}"\n')
    assert "rain-gaps" not in set(survivor.load(tmp_path).problems["code"])
