"""When to start: checks before any ground is broken, and the dry season, as a plan has them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from survivor.guideline.calendar import CHECKS, breaks_ground, calendar_table, checks_first
from survivor.planning.works import USUAL_WORKS


def rows(made):
    return {row[0]: row for row in calendar_table(made).rows}


@pytest.mark.slow
def test_ripping_is_kept_to_the_dry_season_of_the_study_files(made):
    # Three hundred to sixty days before 15 June is August to April; the dry season is 1 December to 31 March.
    assert made.seasons[-1].settings.dry_season.start == "12-01"
    row = rows(made)["rip line"]
    assert row[2] == "December the year before to March"
    first, last = (float(week) for week in row[1].split(" to "))
    assert first == round((dt.date(2025, 6, 15) - dt.date(2024, 12, 1)).days / 7)
    assert last == round((dt.date(2025, 6, 15) - dt.date(2025, 3, 31)).days / 7)
    assert "1 December to 31 March" in row[3]


def test_checks_end_before_the_ground_is_broken(made):
    # Trade fact (common practice, no source): services and heritage are cleared before any digging.
    found = rows(made)
    starts = [float(row[1].split(" to ")[0]) for name, row in found.items() if breaks_ground(name)]
    assert starts
    for name in CHECKS:
        first, last = (float(week) for week in found[name][1].split(" to "))
        assert last > max(week for week in starts if week > 0)
        assert first > last
    assert "Break ground only when these two are done" in calendar_table(made).note


def test_without_a_usual_planting_day_the_checks_come_first_too(made):
    about = made.file.guideline.model_copy(update={"planting_day": None})
    plain = replace(made, file=made.file.model_copy(update={"guideline": about}))
    found = {row[0]: row[1] for row in calendar_table(plain).rows}
    assert found["rip line"] == "43 to 9"
    assert found["plans of buried services"] == "52 to 44"


@pytest.mark.parametrize("work", ["rip line", "mound", "auger hole", "scalp", "guard"])
def test_whatever_breaks_ground_comes_after_the_checks(work):
    spans = {each.name: (each.earliest_days_before, each.latest_days_before) for each in USUAL_WORKS}
    moved = checks_first({name: spans[name] for name in (*CHECKS, work)})
    assert all(moved[name][1] >= moved[work][0] + 7 for name in CHECKS)
    assert moved[work] == spans[work]


def test_where_nothing_breaks_ground_checks_keep_their_days():
    spans = {name: (100, 20) for name in (*CHECKS, "spot spray")}
    assert checks_first(spans) == spans
    assert not breaks_ground("strip spray")
