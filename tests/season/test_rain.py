"""Rain gauges: files as they come, and the season's measures worked by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from survivor.errors import SeasonError
from survivor.season.rain import COLUMNS, measures, read_gauge
from survivor.season.windows import on_calendar, runs
from survivor.settings import DrySeason, Gauge
from survivor.vocabulary import PROBLEM_COLUMNS
from tests.records.sheetfiles import as_ods, as_xlsx, xlsx_of

DRY = DrySeason(start="12-01", end="03-31")
PLANTED = dt.date(2023, 7, 1)

# What a file's header and first row may look like -> the reading on 31 May 2024.
LAYOUTS = {
    "year, month, day": "Year,Month,Day,Rainfall amount (mm),Period of measurement (days),Quality\n"
    "2024,05,31,4.2,1,Y\n",
    "ISO date": "date,rain_mm\n2024-05-31,4.2\n",
    "day first": "Date;Rain (mm)\n31/05/2024;4,2\n",
    "month first": "Date\tPrecipitation\n05/31/2024\t4.2\n",
    "month by name": "Reading date,Amount\n31 May 2024,4.2 mm\n",
    "month by name in a column": "yr,mth,dy,rain\n2024,May,31,4.2\n",
    "compact": "date,mm\n20240531,4.2\n",
    "with an hour": "date,rain\n2024-05-31 09:00,4.2\n",
    "notes above the header": "Invented gauge at the lower shed\n\nread at 9 am\ndate,rain\n2024-05-31,4.2\n",
    "marked UTF-8": "\ufeffdate,rain\n2024-05-31,4.2\n",
}


def gauge_of(tmp_path, text: str | bytes, **options) -> Gauge:
    raw = text if isinstance(text, bytes) else text.encode()
    (tmp_path / "rain.csv").write_bytes(raw)
    return Gauge(name="shed gauge", file="rain.csv", **options)


def read(tmp_path, text: str | bytes, **options):
    return read_gauge(tmp_path, gauge_of(tmp_path, text, **options))


def daily_text(first: str, amounts, covers=None, skip=()) -> str:
    """A file with a row a day from ``first``; None leaves the amount blank."""
    lines = ["date,rain,days covered"]
    for back, amount in enumerate(amounts):
        day = dt.date.fromisoformat(first) + dt.timedelta(days=back)
        if day.isoformat() not in skip:
            lines.append(f"{day},{'' if amount is None else amount},{(covers or {}).get(day.isoformat(), 1)}")
    return "\n".join(lines)


def years(first: int, last: int) -> int:
    return (dt.date(last, 12, 31) - dt.date(first, 1, 1)).days + 1


def of(frame: pd.DataFrame, words: str) -> pd.Series:
    found = frame[frame["measure"].str.contains(words, regex=False)]
    assert len(found) == 1, frame["measure"].tolist()
    return found.iloc[0]


@pytest.mark.parametrize("layout", LAYOUTS)
def test_files_as_they_come(tmp_path, layout):
    record = read(tmp_path, LAYOUTS[layout])
    assert list(record.daily.columns) == ["date", "rain_mm", "days_covered", "quality"]
    assert record.daily["date"].tolist() == [pd.Timestamp("2024-05-31")]
    assert record.daily["rain_mm"].tolist() == [4.2]
    assert list(record.problems.columns) == list(PROBLEM_COLUMNS)


# Ways of one day that the sheets of visits are read in as well.
SPELLINGS = (
    "2024-05-31", "20240531", "31/05/2024", "31.5.2024", "31-May-2024", "31/05/24", "Fri 31 May 2024",
    "31 May 24", "May 31, 2024", "45443", "31st May 2024", "2024 05 31",
)  # fmt: skip


@pytest.mark.parametrize("written", SPELLINGS)
def test_ordinary_spellings_of_a_day(tmp_path, written):
    record = read(tmp_path, f'date,rain\n"{written}",4.2\n')
    assert record.daily["date"].tolist() == [pd.Timestamp("2024-05-31")]
    assert set(record.problems["code"]) <= {"rain-serial-date"}


@pytest.mark.parametrize(("ending", "made"), [("xlsx", as_xlsx), ("ods", as_ods)])
def test_a_gauge_kept_in_a_workbook(tmp_path, ending, made):
    """A title above the header, a day as a spreadsheet counts it, a trace."""
    rows = [["Lower shed", ""], ["Date", "Rain mm"], ["45443", "4.2"], ["1 June 2024", "tr"]]
    (tmp_path / f"rain.{ending}").write_bytes(made(rows))
    record = read_gauge(tmp_path, Gauge(name="shed gauge", file=f"rain.{ending}"))
    assert record.daily["date"].tolist() == [pd.Timestamp("2024-05-31"), pd.Timestamp("2024-06-01")]
    assert record.daily["rain_mm"].tolist() == [4.2, 0.0]
    assert record.problems["code"].tolist() == ["rain-serial-date", "rain-trace"]


def test_a_gauge_in_a_workbook_is_held_to_the_same_bounds(tmp_path):
    (tmp_path / "rain.xlsx").write_bytes(xlsx_of('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'))
    with pytest.raises(SeasonError, match="too many cells to hold"):
        read_gauge(tmp_path, Gauge(name="g", file="rain.xlsx"))


def test_headers_named_in_the_study_file(tmp_path):
    text = "when,lower gauge,upper gauge\n2024-05-31,4.2,5.0\n"
    record = read(tmp_path, text, columns={"date": "When", "rain_mm": "upper gauge"})
    assert record.daily["rain_mm"].tolist() == [5.0]


def test_a_path_to_the_file_itself(tmp_path):
    gauge = gauge_of(tmp_path, "date,rain\n2024-05-31,4.2\n")
    record = read_gauge(tmp_path / "rain.csv", gauge)
    assert (record.name, record.file) == ("shed gauge", "rain.csv")


def test_blank_is_missing_and_nought_is_dry(tmp_path):
    record = read(tmp_path, "date,rain\n2024-05-01,\n2024-05-02,0\n2024-05-03,tr\n2024-05-04,-\n")
    assert record.daily["rain_mm"].isna().tolist() == [True, False, False, True]
    assert record.problems["code"].tolist() == ["rain-trace"]


def test_what_cannot_be_true_is_set_aside_and_listed_with_its_row(tmp_path):
    rows = [
        "date,rain,days covered,quality",
        "2024-05-01,-9999,1,",
        "2024-05-02,-3,1,",
        "2024-05-03,812,1,",
        "2024-05-04,wet,1,",
        "Total,12,,",
        "2024-05-05,7,1,",
        "2024-05-05,9,1,",
        "2024-05-06,7,1,",
        "2024-05-06,7,1,",
        "2024-05-07,7,some,",
        "2024-05-08,-99.9,1,",
        "2024-05-12,30,3,",
        "2024-05-13,1,1,provisional",
    ]
    record = read(tmp_path, "\n".join(rows))
    found = record.problems.set_index("code")
    assert found["row"].to_dict() | {"rain-sentinel": 0} == {
        "rain-negative": 3,
        "rain-absurd": 4,
        "rain-amount": 5,
        "rain-date": 6,
        "rain-differs": 8,
        "rain-repeated": 10,
        "rain-days": 11,
        "rain-several-days": 13,
        "rain-provisional": 14,
        "rain-sentinel": 0,
    }
    assert sorted(found.loc[["rain-sentinel"], "value"]) == ["-99.9", "-9999"]
    assert found.loc["rain-negative", "column"] == "rain"
    assert (record.problems["mend"] != "").all()
    known = record.daily.dropna(subset="rain_mm")
    assert known["date"].dt.day.tolist() == [6, 7, 12, 13]
    assert not record.daily["date"].duplicated().any()


def test_an_amount_of_several_days_may_be_large(tmp_path):
    record = read(tmp_path, "date,rain,days covered\n2024-05-04,812,3\n")
    assert record.daily["rain_mm"].tolist() == [812]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "there is nothing in it"),
        (" \n \n", "there is nothing in it"),
        (b"PK\x03\x04\x00\x00rain", "a workbook under the name of a text file"),
        (b"\x89PNG\x00\x01", "not a text file"),
        ("site,alive\nA,3\n", "the columns of this file are not understood"),
        ("date,rain\nTotal,3\n", "no row of this file holds a day"),
        ("date,rain\n", "no row of this file holds a day"),
        (
            "date,rain lower,rain upper\n2024-05-31,1,2\n",
            "several columns may be rain_mm: rain lower, rain upper",
        ),
    ],
)
def test_files_that_are_no_gauge_are_refused_in_words(tmp_path, text, words):
    with pytest.raises(SeasonError, match=words) as refusal:
        read(tmp_path, text)
    assert refusal.value.mend
    assert str(tmp_path) not in str(refusal.value)


def test_absent_files_and_columns(tmp_path):
    with pytest.raises(SeasonError, match="there is no such file"):
        read_gauge(tmp_path, Gauge(name="g", file="nowhere.csv"))
    with pytest.raises(SeasonError, match="no header 'pluvio'"):
        read(tmp_path, "date,rain\n2024-05-31,1\n", columns={"rain_mm": "pluvio"})
    with pytest.raises(SeasonError, match="'wind' is no column of a gauge"):
        read(tmp_path, "date,rain\n2024-05-31,1\n", columns={"wind": "rain"})


def test_dates_that_could_be_read_either_way_are_said_to_be(tmp_path):
    record = read(tmp_path, "date,rain\n03/04/2024,1\n05/04/2024,2\n")
    assert record.daily["date"].tolist() == [pd.Timestamp("2024-04-03"), pd.Timestamp("2024-04-05")]
    assert record.problems["code"].tolist() == ["rain-day-first"]


def test_measures_by_hand(tmp_path):
    """One season: 1 mm a day before planting, a fall of 12 mm on 1 October, a dry season with three falls."""
    amounts = np.zeros((dt.date(2024, 3, 31) - dt.date(2023, 1, 1)).days + 1)

    def put(day: str, mm: float) -> None:
        amounts[(dt.date.fromisoformat(day) - dt.date(2023, 1, 1)).days] = mm

    amounts[:181] = 1.0  # 1 January to 30 June
    put("2023-10-01", 12)
    put("2023-12-11", 3)
    put("2024-01-10", 11)
    put("2024-02-10", 10)
    found = measures(read(tmp_path, daily_text("2023-01-01", amounts)), PLANTED, DRY)
    assert list(found.columns) == list(COLUMNS)
    assert of(found, "six months before")["value"] == 181
    assert of(found, "planting to the dry season")["value"] == 12
    assert of(found, "rain in the dry season")["value"] == 24
    assert of(found, "days under 2 mm")["value"] == 50  # 11 February to 31 March 2024, a leap year
    assert of(found, "days under 5 mm")["value"] == 50
    assert of(found, "wait for a fall of 10 mm")["value"] == 100  # 2 October to 9 January: it began before
    assert of(found, "falls of 10 mm")["value"] == 2
    assert found["days_in_window"].tolist()[:3] == [181, 153, 122]
    assert (found["days_with_data"] == found["days_in_window"]).all()
    assert found["decile"].isna().all()  # no other year to be placed in
    assert found["note"].str.contains("0 other years of record, where 30 are usual", regex=False).all()


def season_text(dry_totals: list[float], first_year: int = 1990) -> str:
    """A dry season a year whose total is given, all of it on 15 January."""
    last = first_year + len(dry_totals)
    amounts = np.zeros(years(first_year, last))
    for back, total in enumerate(dry_totals):
        amounts[(dt.date(first_year + 1 + back, 1, 15) - dt.date(first_year, 1, 1)).days] = total
    return daily_text(f"{first_year}-01-01", amounts)


@pytest.mark.parametrize(("total", "decile"), [(0.5, 1), (15.5, 6), (31, 10), (3.5, 2)])
def test_decile_and_median_among_the_other_years(tmp_path, total, decile):
    """30 other years with totals 1 to 30 mm; this one is placed among the 31."""
    record = read(tmp_path, season_text([*range(1, 31), total]))
    found = of(measures(record, dt.date(2020, 7, 1), DRY), "rain in the dry season")
    assert found["value"] == total
    assert found["median"] == 15.5
    assert found["years_of_record"] == 30
    assert found["decile"] == decile
    assert found["note"] == ""


def test_few_years_give_a_median_and_no_decile(tmp_path):
    record = read(tmp_path, season_text([*range(1, 8), 4.0]))
    found = of(measures(record, dt.date(1997, 7, 1), DRY), "rain in the dry season")
    assert (found["median"], found["years_of_record"]) == (4.0, 7)
    assert np.isnan(found["decile"])
    assert found["note"] == "7 other years of record, where 30 are usual"


def test_a_year_with_gaps_is_not_compared_with(tmp_path):
    skip = {f"2001-02-{day:02d}" for day in range(1, 29)}
    text = season_text([*range(1, 31), 8.5])
    kept = "\n".join(line for line in text.splitlines() if line.split(",")[0] not in skip)
    found = of(measures(read(tmp_path, kept), dt.date(2020, 7, 1), DRY), "rain in the dry season")
    assert found["years_of_record"] == 29


def test_too_many_missing_days_give_no_total_and_say_so(tmp_path):
    blank = [0.5] * 455
    blank[340:360] = [None] * 20  # 7 to 26 December 2023
    record = read(tmp_path, daily_text("2023-01-01", blank))
    found = measures(record, PLANTED, DRY)
    total = of(found, "rain in the dry season")
    assert np.isnan(total["value"])
    assert (total["days_with_data"], total["days_in_window"]) == (101, 122)
    assert "21 of 122 days are not known, more than 10 %: no value" in total["note"]
    assert "the record ends on 30 March 2024" in total["note"]
    lenient = of(measures(record, PLANTED, DRY, missing_share=0.2), "rain in the dry season")
    assert lenient["value"] == pytest.approx(101 * 0.5)
    assert "21 of 122 days are not known, so the total is at least this" in lenient["note"]


def test_a_missing_day_breaks_a_dry_run(tmp_path):
    amounts: list[float | None] = [0.0] * 456
    amounts[365] = None  # 1 January 2024
    found = measures(read(tmp_path, daily_text("2023-01-01", amounts)), PLANTED, DRY)
    assert of(found, "days under 2 mm")["value"] == 90  # from 2 January to 31 March
    assert "1 of 122 days is not known, so it may be more" in of(found, "days under 2 mm")["note"]


@pytest.mark.parametrize(("amount", "run", "falls"), [(12.0, 89, 0), (1.5, 122, 0)])
def test_an_amount_of_several_days_is_never_spread(tmp_path, amount, run, falls):
    """Read on 2 January for three days: 12 mm may have fallen on any of them, 1.5 mm leaves all dry."""
    amounts: list[float | None] = [0.0] * 456
    amounts[364], amounts[365], amounts[366] = None, None, amount
    record = read(tmp_path, daily_text("2023-01-01", amounts, covers={"2024-01-02": 3}))
    found = measures(record, PLANTED, DRY)
    total = of(found, "rain in the dry season")
    assert (total["value"], total["days_with_data"]) == (amount, 122)
    assert of(found, "days under 2 mm")["value"] == run
    assert of(found, "falls of 10 mm")["value"] == falls
    assert (
        "1 amount covers several days, which is not counted as a fall" in of(found, "falls of 10 mm")["note"]
    )
    daily = on_calendar(record)
    assert np.nansum(daily.booked) == amount
    assert np.isnan(daily.single[364:367]).all()


def test_an_amount_across_the_windows_edge_is_named(tmp_path):
    amounts: list[float | None] = [0.0] * 456
    amounts[333], amounts[334] = None, 20.0  # read on 1 December for two days
    record = read(tmp_path, daily_text("2023-01-01", amounts, covers={"2023-12-01": 2}))
    found = measures(record, PLANTED, DRY)
    assert of(found, "rain in the dry season")["value"] == 20
    for words in ("rain in the dry season", "planting to the dry season"):
        assert "20 mm were read for days on both sides of the window's edge" in of(found, words)["note"]


def test_a_list_of_rain_days_only(tmp_path):
    """A landholder writes down rain; the study file says whether a missing date was dry or not read."""
    text = "date,rain\n2023-01-01,5\n2023-08-01,20\n2023-12-31,12\n"
    unread = of(measures(read(tmp_path, text), PLANTED, DRY), "rain in the dry season")
    assert np.isnan(unread["value"])
    dry = measures(read(tmp_path, text, missing_days="zero"), PLANTED, DRY, as_of=dt.date(2024, 3, 31))
    total = of(dry, "rain in the dry season")
    assert (total["value"], total["days_with_data"]) == (12, 122)
    assert "121 days are not in the file and count as dry" in total["note"]
    assert of(dry, "days under 2 mm")["value"] == 91


def test_provisional_days_are_named(tmp_path):
    days = [day.date() for day in pd.date_range("2023-01-01", "2024-03-31")]
    rows = [f"{day},0,{'provisional' if day.month in (2, 3) else 'checked'}" for day in days]
    record = read(tmp_path, "date,rain,quality\n" + "\n".join(rows))
    assert "60 days are provisional" in of(measures(record, PLANTED, DRY), "rain in the dry season")["note"]


def test_a_season_not_over_is_measured_to_the_day(tmp_path):
    record = read(tmp_path, daily_text("2022-01-01", np.ones(years(2022, 2024))))
    found = of(measures(record, PLANTED, DRY, as_of=dt.date(2024, 1, 15)), "rain in the dry season")
    assert (found["value"], found["days_in_window"]) == (46, 46)
    assert "to 15 January 2024 only, of days to 31 March 2024" in found["note"]
    early = of(measures(record, PLANTED, DRY, as_of=dt.date(2023, 9, 1)), "rain in the dry season")
    assert np.isnan(early["value"])
    assert early["note"] == "not begun by 1 September 2023"


def test_planted_in_the_dry_season(tmp_path):
    record = read(tmp_path, daily_text("2022-01-01", np.ones(years(2022, 2024))))
    found = measures(record, dt.date(2024, 1, 1), DRY)
    assert of(found, "rain in the dry season")["value"] == 91
    assert "planted in the dry season, which began on 1 December 2023" in of(found, "planting to")["note"]


def test_planting_dates_share_a_dry_season(tmp_path):
    record = read(tmp_path, daily_text("2022-01-01", np.ones(years(2022, 2024))))
    found = measures(record, [dt.date(2023, 7, 20), PLANTED, PLANTED], DRY)
    assert found.groupby("measure").size().to_dict()["rain from planting to the dry season"] == 2
    assert of(found, "rain in the dry season")["planted_date"] == pd.Timestamp(PLANTED)
    assert measures(record, PLANTED, None)["measure"].tolist() == ["rain in the six months before planting"]


@pytest.mark.parametrize(("planted", "options"), [([], {}), (PLANTED, {"missing_share": 1.0})])
def test_measures_refuse_in_words(tmp_path, planted, options):
    with pytest.raises(SeasonError):
        measures(read(tmp_path, "date,rain\n2024-05-31,1\n"), planted, DRY, **options)


def test_a_dry_season_ending_on_the_last_of_february(tmp_path):
    record = read(tmp_path, daily_text("2022-01-01", np.ones(years(2022, 2024))))
    found = of(
        measures(record, dt.date(2022, 7, 1), DrySeason(start="12-01", end="02-29")), "rain in the dry season"
    )
    assert found["window_end"] == pd.Timestamp("2023-02-28")


@given(st.lists(st.booleans(), max_size=60))
def test_runs_count_up_and_start_again(below):
    expected, length = [], 0
    for dry in below:
        length = length + 1 if dry else 0
        expected.append(length)
    assert runs(np.array(below, dtype=bool)).tolist() == expected
