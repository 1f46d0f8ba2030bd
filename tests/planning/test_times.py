"""Visits tied to planting and the dry season, and works with their lead times."""

import datetime as dt

import pytest

from survivor.planning.calendar import (
    COMMON,
    USUAL_WORKS,
    breaks_ground,
    checks_of,
    timetable,
    visit_calendar,
    visits_until,
    window,
)
from survivor.planning.planfile import Work
from survivor.planning.words import ground_first
from survivor.report.cautions import touched
from survivor.settings import DrySeason
from tests.planning.making import small_plan
from tests.report.reading import faults

DRY = DrySeason(start="12-01", end="03-31")


def one_site(planted, **changed):
    return small_plan(sites=[{"name": "Tarn Hollow", "planted": planted}], **changed)


def days(calendar):
    kept = calendar[calendar["day"].notna()]
    return dict(zip(kept["visit"], kept["date"], strict=True))


def test_the_usual_visits_of_a_winter_planting():
    # Common practice, no source: within two weeks, 4 to 6 weeks, before and after the first dry season,
    # 12 months, after the second, 24 months.
    found = days(visit_calendar(one_site("2022-06-15")))
    assert found == {
        "after planting": "2022-06-22",
        "first weeks": "2022-07-20",
        "before the first dry season": "2022-11-17",
        "after the first dry season": "2023-04-14",
        "12 months": "2023-06-15",
        "after the second dry season": "2024-04-14",
        "24 months": "2024-06-14",
    }


def test_a_visit_right_beside_another_is_left_out_and_said():
    # Planted in mid October: the visit before the dry season falls in the first weeks.
    calendar = visit_calendar(one_site("2022-10-13"))
    left = calendar[calendar["day"].isna()]
    assert left["visit"].tolist() == ["before the first dry season"]
    assert left["note"].str.contains("serves for both").all()
    assert (calendar["date"].iloc[:-1].to_numpy() <= sorted(calendar["date"].iloc[:-1])).all()


def test_planting_in_the_dry_season_has_no_visit_before_it():
    calendar = visit_calendar(one_site("2023-01-10"))
    left = calendar[calendar["day"].isna()]
    assert "before the first dry season" in set(left["visit"])
    assert "planted in or just before" in left.set_index("visit")["note"]["before the first dry season"]
    assert days(calendar)["after the first dry season"] == "2023-04-14"


def test_windows_begin_no_earlier_than_planting():
    calendar = visit_calendar(one_site("2022-06-15"))
    assert calendar.loc[calendar["visit"] == "after planting", "earliest"].item() == "2022-06-15"
    assert (calendar["earliest"] <= calendar["date"]).all()
    assert (calendar["date"] <= calendar["latest"]).all()


def test_a_visit_before_the_dry_season_is_not_on_its_first_day():
    calendar = visit_calendar(one_site("2022-06-15")).set_index("visit")
    assert calendar.loc["before the first dry season", "latest"] == "2022-11-30"  # it starts on 1 December
    assert calendar.loc["after the first dry season", "earliest"] == "2023-04-01"  # it ends on 31 March


def test_visits_of_the_plan_stand_instead_of_the_usual_ones():
    plan = one_site(
        "2022-06-15",
        visits=[
            {"name": "a year", "day": 365},
            {"name": "before the third", "dry_season": "before", "which": 3, "margin_days": 7},
        ],
    )
    assert days(visit_calendar(plan)) == {"a year": "2023-06-15", "before the third": "2024-11-24"}
    assert visits_until(plan, 365) == 1


def test_visits_are_counted_up_to_the_milestone():
    assert visits_until(one_site("2022-06-15"), 365) == 5
    assert visits_until(small_plan(sites=[], sizes={"sites": 4}), 365) == 5


# ---- works before planting ---------------------------------------------------------


def test_ripping_is_kept_to_the_dry_season_before_planting():
    # Common practice, no source: rip while soil is dry, months before a winter planting.
    rip = next(work for work in USUAL_WORKS if work.name == "rip line")
    first, last = window(rip, dt.date(2027, 6, 15), DRY)
    assert (first, last) == (dt.date(2026, 12, 1), dt.date(2027, 3, 31))
    assert window(rip, dt.date(2027, 6, 15), None)[0] == dt.date(2027, 6, 15) - dt.timedelta(days=300)


def test_a_work_whose_days_miss_the_dry_season_keeps_its_own():
    work = Work(name="x", earliest_days_before=20, latest_days_before=5, in_dry_season=True)
    assert window(work, dt.date(2027, 9, 1), DRY) == (dt.date(2027, 8, 12), dt.date(2027, 8, 27))


@pytest.mark.parametrize(
    ("today", "status"),
    [
        ("2026-11-30", "ahead"),
        ("2026-12-01", "due now"),
        ("2027-03-31", "due now"),
        ("2027-04-01", "late"),
        ("2027-06-15", "late"),
        ("2027-06-16", "last day past: was it done?"),
        (None, "no day given"),
    ],
)
def test_what_is_late_is_told_by_the_day_in_the_plan(today, status):
    plan = one_site("2027-06-15", plan={"as_of": today})
    table = timetable(plan).set_index("work")
    assert table.loc["rip line", "status"] == status


def test_a_years_fallow_is_late_half_a_year_before_planting():
    methods = [
        {"name": "spot spray only", "works": ["spot spray"]},
        {"name": "fallow and rip", "works": ["weed control a year ahead", "rip line", "cast a spell"]},
    ]
    table = timetable(one_site("2027-06-15", plan={"as_of": "2026-12-15"}, methods=methods)).set_index("work")
    assert table.loc["weed control a year ahead", "status"] == "late"
    assert table.loc["rip line", "status"] == "due now"
    assert table.loc["cast a spell", "status"] == "no lead time known"
    assert "[[works]]" in table.loc["cast a spell", "condition"]
    assert "plans of buried services" in table.index  # before any ground is broken, whatever the method


RIP_AND_AUGER = [
    {"name": "spot spray only", "works": ["spot spray"]},
    {"name": "spray and rip", "works": ["spot spray", "rip line"]},
    {"name": "spray and auger", "works": ["spot spray", "auger hole"]},
]
OWN_RIP = {"name": "Rip line", "earliest_days_before": 100, "latest_days_before": 90}
OWN_DRILL = {"name": "drilled holes", "earliest_days_before": 250, "latest_days_before": 90}


@pytest.mark.parametrize("cannot", [[], ["rip line"], ["rip line", "auger hole"]])
@pytest.mark.parametrize("works", [[], [OWN_RIP], [OWN_DRILL]])
@pytest.mark.parametrize("planted", ["2027-06-15", "2027-09-20", "2027-12-20"])
def test_no_ground_may_be_broken_before_the_checks_must_be_done(planted, works, cannot):
    # Trade fact (common practice, no source): services and heritage come before the first broken ground.
    methods = [*RIP_AND_AUGER, {"name": "spray only, drilled", "works": ["spot spray", "drilled holes"]}]
    if OWN_DRILL not in works:
        methods = methods[:3]
    site = {"name": "Tarn Hollow", "planted": planted, "cannot": cannot}
    table = timetable(small_plan(methods=methods, sites=[site], works=works)).set_index("work")
    ground = [name for name in ("rip line", "auger hole", "drilled holes") if name in table.index]
    first_broken = min([*table.loc[ground, "earliest"], planted])
    for check in ("plans of buried services", "heritage and vegetation checks"):
        assert table.loc[check, "latest"] < first_broken
        assert table.loc[check, "earliest"] < table.loc[check, "latest"]
    for name in ground:
        assert (
            "only when these are done: heritage and vegetation checks and plans"
            in table.loc[name, "condition"]
        )


def test_a_work_that_breaks_ground_waits_for_the_checks_though_its_lead_time_is_not_known():
    methods = [
        {"name": "spot spray only", "works": ["spot spray"]},
        {"name": "b", "works": ["hand-dug hole", "cast a spell"]},
    ]
    table = timetable(one_site("2027-06-15", methods=methods)).set_index("work")
    assert table.loc["hand-dug hole", "condition"].startswith("only when these are done: heritage")
    assert table.loc["cast a spell", "condition"].startswith("add it to the plan file")


BREAKING = [
    "deep ripping",
    "rip",
    "hand-dug hole",
    "digging",
    "star pegs",
    "drilled",
    "Fence line",
    "disc harrow",
]
LEAVING = [
    "strip spray",
    "riparian planting",
    "stakeholder meeting",
    "digital map",
    "post-emergent",
    "mulch mat",
]


@pytest.mark.parametrize(("name", "breaks"), [*((n, True) for n in BREAKING), *((n, False) for n in LEAVING)])
def test_one_rule_tells_lead_times_and_cautions_what_breaks_ground(name, breaks):
    # Common practice, no source: services and heritage are checked before any digging.
    work = Work(name=name, earliest_days_before=20, latest_days_before=5)
    assert breaks_ground(work) is breaks
    subjects = {caution.subject for caution in touched((name,))}
    assert ({"Buried and overhead services", "Cultural heritage"} <= subjects) is breaks
    told = Work(name=name, earliest_days_before=20, latest_days_before=5, breaks_ground=not breaks)
    assert breaks_ground(told) is not breaks


def test_new_days_for_a_check_do_not_make_it_one_to_leave_out():
    works = [{"name": "Plans of buried services", "earliest_days_before": 60, "latest_days_before": 10}]
    table = timetable(one_site("2027-06-15", works=works)).set_index("work")
    assert table.loc["Plans of buried services", "latest"] == "2026-11-24"  # a week before ripping may start


def test_what_comes_before_broken_ground_is_said_with_its_days():
    plan = small_plan()
    said = ground_first(timetable(plan), checks_of(plan))
    assert len(said) == 1
    assert said[0].startswith("Do not dig until both are done: heritage and vegetation checks")
    assert "(by 24 Nov" in said[0]
    assert faults([("said", said[0])], {site.name for site in plan.sites}) == []


def test_lead_times_of_the_plan_stand_over_the_usual_ones():
    works = [
        {
            "name": "Rip line",
            "earliest_days_before": 100,
            "latest_days_before": 90,
            "source": "our contractor",
        }
    ]
    table = timetable(one_site("2027-06-15", works=works)).set_index("work")
    assert (
        table.loc["rip line", ["earliest", "latest", "source"]]
        == ["2027-03-07", "2027-03-17", "our contractor"]
    ).all()


def test_works_of_a_method_that_a_site_cannot_take_are_not_asked_of_it():
    methods = [
        {"name": "spot spray only", "works": ["spot spray"]},
        {"name": "spray and rip", "works": ["spot spray", "rip line"]},
        {"name": "spray and auger", "works": ["spot spray", "auger hole"]},
    ]
    site = {"name": "Tarn Hollow", "planted": "2027-06-15", "cannot": ["rip line"]}
    works = set(timetable(small_plan(methods=methods, sites=[site]))["work"])
    assert {"spot spray", "auger hole"} <= works
    assert "rip line" not in works


def test_the_usual_lead_times_say_that_they_have_no_source_and_hold_no_rate():
    assert all(work.source == COMMON == "common practice, no source" for work in USUAL_WORKS)
    words = " ".join(f"{work.name} {work.condition}" for work in USUAL_WORKS)
    for unit in ("l/ha", "ml", "g/ha", "kg/ha", "per hectare", "%"):
        assert unit not in words.casefold().split()
    herbicides = [
        work for work in USUAL_WORKS if "spray" in work.name or work.name in ("knockdown", "pre-emergent")
    ]
    assert herbicides
    assert all("label" in work.condition for work in herbicides)
