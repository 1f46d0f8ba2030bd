"""The works diary: a row a work, given to its plots, every row accounted for, departures told per plot."""

from __future__ import annotations

import datetime as dt

import pandas as pd
import pytest

from survivor.records import Records
from survivor.records.work_names import AFTER, BEFORE, WEED_CONTROL, WORK_WORDS, soil_state, work_name
from survivor.season.gauge import read_gauges
from survivor.season.wet_works import check_dry_soil
from survivor.settings import Gauge
from tests.records.making import ReadStudy

STUDY = """
[study]
name = "works"
as_of = "2025-01-01"
[records]
kind = "counts"
[[records.sheets]]
file = "visits.csv"
[records.plots]
file = "plots.csv"
[works.diary]
file = "diary.csv"
{more}
[[methods]]
name = "spray"
works = ["knockdown"]
[[methods]]
name = "spray, rip"
also = ["spray and rip"]
works = ["knockdown", "ripping"]
[[methods]]
name = "nothing"
"""
PLOTS = """site,block,plot,preparation,planting date,planted
Rise,A,1,spray,2022-06-01,50
Rise,A,2,"spray, rip",2022-06-01,50
Rise,B,3,spray,2022-06-01,50
Rise,B,4,"spray, rip",2022-06-01,50
Rise,B,5,nothing,2022-06-01,50
Vale,A,1,spray,2022-07-01,50
"""
_PLOTS = [line.split(",")[:3] for line in PLOTS.splitlines()[1:]]
VISITS = "site,block,plot,visit,date,alive\n" + "".join(
    f"{site},{block},{plot},{visit},{date},{alive}\n"
    for site, block, plot in _PLOTS
    for visit, date, alive in (("1", "2022-08-01", 45), ("2", "2022-10-01", 40))
)
HEAD = "site,block,plot,preparation,work,date,pass,soil,depth,note\n"
SPRAYED = "Rise,,all,,spray,2022-04-01,,,,\nVale,,all,,spray,2022-04-01,,,,\n"
RIPPED = 'Rise,,,"spray, rip",ripped,2022-03-01,,dry,45,\n'


def works_of(read_study: ReadStudy, rows: str, more: str = "", head: str = HEAD) -> Records:
    return read_study(STUDY.format(more=more), visits_csv=VISITS, plots_csv=PLOTS, diary_csv=head + rows)


def diary_problems(records: Records) -> pd.DataFrame:
    return records.problems[records.problems["code"].str.contains("work|soil|repeated|impossible|date")]


def test_rows_of_all_plots_reach_every_one_of_them(read_study: ReadStudy) -> None:
    rows = works_of(read_study, SPRAYED.replace("Rise,,all", "Rise,,") + RIPPED).works.rows
    assert rows[rows["work"] == "knockdown"].shape[0] == 6
    ripped = rows[rows["work"] == "rip"]
    assert ripped["plot"].tolist() == ["2", "4"]
    assert ripped["day"].tolist() == [-92.0, -92.0]
    assert ripped["soil"].tolist() == ["dry", "dry"]
    assert ripped["depth_cm"].tolist() == [45.0, 45.0]


@pytest.mark.parametrize(
    ("row", "plots"),
    [
        ("Rise,B,,,spray,2022-04-01,,,,", ["3", "4", "5"]),
        ("Rise,,2,,spray,2022-04-01,,,,", ["2"]),
        ("Rise,,,spray and rip,spray,2022-04-01,,,,", ["2", "4"]),
        (",,,spray,spray,2022-04-01,,,,", ["1", "3", "1"]),
        ("rise,a,1,,spray,2022-04-01,,,,", ["1"]),
    ],
)
def test_where_a_row_is_of(read_study: ReadStudy, row: str, plots: list[str]) -> None:
    found = works_of(read_study, row + "\n").works.rows
    told = found[found["told_by"] == "diary"]
    assert told["plot"].tolist() == plots
    assert set(told["work"]) == {"knockdown"}


ROWS = {
    "work-without-place": (",,,,spray,2022-04-01,,,,", "stop", "excluded"),
    "work-unnamed": ("Rise,,1,,,2022-04-01,,,,", "stop", "excluded"),
    "work-nowhere": ("Rise,,9,,spray,2022-04-01,,,,", "stop", "excluded"),
    "work-in-future": ("Rise,,1,,watering,2027-04-01,,,,", "stop", "excluded"),
    "work-before-planting": ("Rise,,1,,follow up,2022-05-01,,,,", "stop", "excluded"),
    "work-after-planting": ("Rise,,2,,rip,2022-07-01,,,,", "check", "used"),
    "work-long-before": ("Rise,,1,,slash,2012-07-01,,,,", "check", "used"),
    "work-undated": ("Rise,,1,,guards,,,,,", "check", "used"),
    "work-spelling": ("Rise,,1,,knokdown,2022-04-02,,,,", "check", "used"),
    "work-own-word": ("Rise,,1,,burn,2022-04-02,,,,", "note", "used"),
    "soil-state-unknown": ("Rise,,2,,mound,2022-04-02,,claggy,,", "check", "used"),
    "repeated-work": ("Rise,,1,,knockdown,2022-04-01,,,,", "check", "listed"),
    "impossible-measure": ("Rise,,2,,mound,2022-04-02,,,-4,", "check", "used"),
    "unreadable-date": ("Rise,,2,,mound,in March,,,,", "stop", "excluded"),
    "ambiguous-date": ("Rise,,2,,mound,03/04/2022,,,,", "stop", "excluded"),
    "unreadable-number": ("Rise,,2,,mound,2022-04-02,,,deep,", "check", "used"),
}


@pytest.mark.parametrize("code", ROWS)
def test_each_fault_names_its_row_and_each_row_is_accounted_for(read_study: ReadStudy, code: str) -> None:
    row, severity, fate = ROWS[code]
    records = works_of(read_study, SPRAYED + RIPPED + row + "\n")
    found = records.problems[records.problems["code"] == code]
    assert found[["severity", "file", "row"]].values.tolist() == [[severity, "diary.csv", 5]]
    assert found["mend"].iloc[0]
    accounts = records.accounts[records.accounts["record"] == "works row"].set_index("row")
    assert accounts["fate"].to_dict() == {2: "used", 3: "used", 4: "used", 5: fate}


def test_a_label_of_two_sites_needs_its_site(read_study: ReadStudy) -> None:
    records = works_of(read_study, ",,1,,spray,2022-04-01,,,,\n")
    found = records.problems[records.problems["code"] == "work-nowhere"]
    assert found["what"].tolist() == ["several plots have this label"]


def test_departures_are_told_per_plot(read_study: ReadStudy) -> None:
    rows = (
        "Rise,,1,,spray,2022-04-01,,,,\nRise,,2,,spray,2022-04-01,,,,\nRise,,4,,spray,2022-04-01,,,,\n"
        "Vale,,1,,spray,2022-04-01,,,,\nRise,,2,,rip,2022-07-01,,,,\nRise,,1,,mound,2022-04-01,,,,\n"
    )
    records = works_of(read_study, rows)
    table = records.works.departures.set_index(["site", "plot", "work"])["what"]
    assert table.to_dict() == {
        ("Rise", "1", "knockdown"): "done",
        ("Rise", "1", "mound"): "done and not planned",
        ("Rise", "2", "knockdown"): "done",
        ("Rise", "2", "rip"): "done late",
        ("Rise", "3", "knockdown"): "nothing told of the plot",
        ("Rise", "4", "knockdown"): "done",
        ("Rise", "4", "rip"): "not done",
        ("Vale", "1", "knockdown"): "done",
    }
    problems = records.problems.set_index("code")
    assert problems.loc["plot-without-works", "value"] == "Rise B 3"
    assert problems.loc["work-not-done", "value"] == "Rise B 4"
    assert problems.loc["work-not-planned", "value"] == "Rise A 1"


def test_a_work_long_after_that_of_most_plots_is_told(read_study: ReadStudy) -> None:
    plots = "site,plot,preparation,planting date,planted\n" + "".join(
        f"Rise,{plot},spray,2022-06-01,50\n" for plot in range(1, 6)
    )
    visits = "site,plot,visit,date,alive\n" + "".join(
        f"Rise,{plot},{visit},{day},40\n"
        for plot in range(1, 6)
        for visit, day in ((1, "2022-08-01"), (2, "2022-10-01"))
    )
    rows = "".join(f"Rise,{plot},spray,2022-02-01\n" for plot in range(1, 5)) + "Rise,5,spray,2022-05-20\n"
    diary = "site,plot,work,date\n" + rows
    records = read_study(STUDY.format(more=""), visits_csv=visits, plots_csv=plots, diary_csv=diary)
    found = records.problems[records.problems["code"] == "work-at-other-time"]
    assert found["value"].tolist() == ["Rise 5"]
    assert "12 days before planting, usually 120 days before planting" in found["what"].iloc[0]


def test_follow_up_is_no_departure_from_a_preparation(read_study: ReadStudy) -> None:
    records = works_of(read_study, SPRAYED + RIPPED + "Rise,,1,,release spray,2022-09-01,,,,\n")
    table = records.works.departures
    assert "follow-up weed control" not in set(table["work"])
    # The plot of no preparation that was sprayed with the rest is one all the same.
    assert table.loc[table["what"] != "done", "plot"].tolist() == ["5"]
    assert records.works.rows["work"].eq("follow-up weed control").sum() == 1


def test_a_planned_work_of_which_the_diary_never_speaks_stands_as_planned(read_study: ReadStudy) -> None:
    records = works_of(read_study, SPRAYED)
    rows = records.works.rows
    ripped = rows[rows["work"] == "rip"]
    assert ripped["told_by"].tolist() == ["preparation", "preparation"]
    assert ripped["date"].isna().all()
    assert "work-not-in-diary" in set(records.problems["code"])


def test_without_a_diary_the_works_of_preparations_stand_without_dates(read_study: ReadStudy) -> None:
    study = STUDY.format(more="").replace('[works.diary]\nfile = "diary.csv"\n', "")
    records = read_study(study, visits_csv=VISITS, plots_csv=PLOTS)
    rows = records.works.rows
    assert rows.groupby("work").size().to_dict() == {"knockdown": 5, "rip": 2}
    assert rows["date"].isna().all()
    assert records.works.departures.empty
    assert records.works.found.empty


def test_words_of_the_study_file_go_before_ours(read_study: ReadStudy) -> None:
    more = '[works.words]\n"first go" = "knockdown"\n'
    records = works_of(read_study, "Rise,,1,,First go,2022-04-01,,,,\n", more)
    assert records.works.rows.query("told_by == 'diary'")["work"].tolist() == ["knockdown"]


def test_a_diary_without_a_column_for_the_work_is_refused_with_its_headers(read_study: ReadStudy) -> None:
    from survivor.errors import RecordsError

    with pytest.raises(RecordsError, match=r"no column was understood as work.*'thing'") as refused:
        works_of(read_study, "Rise,1,x,2022-04-01\n", head="site,plot,thing,date\n")
    assert "[works.diary.columns]" in str(refused.value)


def test_the_names_of_works_are_apart_and_belong_somewhere() -> None:
    words = [word for ours, theirs in WORK_WORDS.items() for word in (ours, *theirs)]
    assert len({word.casefold() for word in words}) == len(words)
    assert not BEFORE & AFTER
    assert set(WEED_CONTROL) < BEFORE
    assert {work_name(word, {}) for word in words} == set(WORK_WORDS)
    assert work_name("Chook  Manure", {}) == "chook manure"
    assert [soil_state(word) for word in ("Dry", "damp", "MUDDY", "", "claggy")] == [
        "dry", "moist", "wet", "", None,
    ]  # fmt: skip


@pytest.mark.parametrize(("fell", "asked"), [(2.0, True), (1.0, False)])
def test_a_rip_called_dry_after_a_wet_month_is_asked_about(tmp_path, fell: float, asked: bool) -> None:
    days = [dt.date(2022, 2, 1) + dt.timedelta(days=n) for n in range(40)]
    text = "date,rain_mm\n" + "".join(f"{day},{fell}\n" for day in days)
    (tmp_path / "rain.csv").write_text(text, encoding="utf-8")
    gauge = Gauge(name="Rise gauge", file="rain.csv")
    works = pd.DataFrame(
        {
            "site": "Rise", "work": "rip", "soil": "dry", "file": "diary.csv", "sheet": "",
            "date": pd.to_datetime(["2022-03-05"]), "row": 4,
        }
    )  # fmt: skip
    problems = check_dry_soil(read_gauges(tmp_path, (gauge,), ()), (gauge,), works, "rip").problems
    assert (problems["code"] == "dry-rip-in-wet-month").sum() == asked
    if asked:
        assert "60 mm fell at Rise gauge in the 30 days up to it" in problems["what"].iloc[0]
        assert problems["row"].tolist() == [4]
