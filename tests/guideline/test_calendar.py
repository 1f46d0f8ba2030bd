"""When to start: checks before any ground is broken, and the dry season, as a plan has them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from survivor.guideline.file import Lead
from survivor.guideline.wording import calendar_table, works_due
from survivor.planning.calendar import USUAL_WORKS, breaks_ground, checks_first

CHECKS = tuple(work.name for work in USUAL_WORKS if work.before_ground)


def with_lines(made, *lines):
    """The guideline with other lines of its own in the calendar."""
    own = tuple(Lead.model_validate({"source": "told by nobody", **line}) for line in lines)
    return replace(made, file=made.file.model_copy(update={"calendar": own}))


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


@pytest.mark.slow
def test_checks_end_before_the_ground_is_broken(made):
    # Trade fact (common practice, no source): services and heritage are cleared before any digging.
    found = rows(made)
    ground = {work.name for work in works_due(made) if breaks_ground(work)}
    starts = [float(row[1].split(" to ")[0]) for name, row in found.items() if name in ground]
    assert {"rip line", "auger hole"} <= ground
    for name in CHECKS:
        first, last = (float(week) for week in found[name][1].split(" to "))
        assert last > max(week for week in starts if week > 0)
        assert first > last
    assert "Do not dig until both are done" in calendar_table(made).note


def test_without_a_usual_planting_day_the_checks_come_first_too(made):
    about = made.file.guideline.model_copy(update={"planting_day": None})
    plain = replace(made, file=made.file.model_copy(update={"guideline": about}))
    found = {row[0]: row[1] for row in calendar_table(plain).rows}
    assert found["rip line"] == "43 to 9"
    assert found["plans of buried services"] == "59 to 44"  # moved whole: a check takes as long


def test_a_line_of_the_file_that_breaks_ground_comes_after_the_checks_too(made):
    # Trade fact (common practice, no source): the fence line is dug as well, by whoever wrote the line.
    fence = {"what": "dig the fence line", "earliest_days_before": 420, "latest_days_before": 300}
    found = {row[0]: row[1] for row in calendar_table(with_lines(made, fence)).rows}
    assert float(found["dig the fence line"].split(" to ")[0]) == 60
    assert all(float(found[name].split(" to ")[1]) == 61 for name in CHECKS)
    spoken = {**fence, "what": "see whoever digs", "breaks_ground": False}
    found = {row[0]: row[1] for row in calendar_table(with_lines(made, spoken)).rows}
    assert all(float(found[name].split(" to ")[1]) < 60 for name in CHECKS)


def test_a_line_of_the_file_stands_over_the_usual_work_of_its_name(made):
    own = {"what": "Rip line", "earliest_days_before": 100, "latest_days_before": 90}
    found = [row for row in calendar_table(with_lines(made, own)).rows if row[0].casefold() == "rip line"]
    assert [(row[0], row[1], row[-1]) for row in found] == [("Rip line", "14 to 13", "told by nobody")]


def test_works_without_a_lead_time_are_named_and_not_dropped(made):
    note = calendar_table(made).note
    assert note.endswith("No lead time is entered for: hand-dug hole, scalp by hand.")
    hole = {"what": "hand-dug hole", "earliest_days_before": 21, "latest_days_before": 0}
    assert calendar_table(with_lines(made, hole)).note.endswith("No lead time is entered for: scalp by hand.")


@pytest.mark.parametrize("work", ["rip line", "mound", "auger hole", "scalp", "guard"])
def test_whatever_breaks_ground_comes_after_the_checks(work):
    works = [each for each in USUAL_WORKS if each.name in (*CHECKS, work)]
    spans = {each.name: (-each.earliest_days_before, -each.latest_days_before) for each in works}
    moved = checks_first(works, spans, 0)
    assert all(moved[name][1] <= moved[work][0] - 7 for name in CHECKS)
    assert moved[work] == spans[work]


def test_where_no_work_breaks_ground_checks_end_before_planting_does():
    works = [each for each in USUAL_WORKS if each.name in (*CHECKS, "spot spray")]
    spans = {work.name: (-100, -20) for work in works}
    assert checks_first(works, spans, 0) == spans
    late = checks_first(works, {work.name: (-100, -2) for work in works}, 0)
    assert {late[name] for name in CHECKS} == {(-105, -7)}
    assert late["spot spray"] == (-100, -2)
