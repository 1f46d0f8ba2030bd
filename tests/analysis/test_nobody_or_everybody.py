"""Seasons in which nobody, or everybody, died: the target is judged, and visits say how far it goes."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.analysis import Analysis
from survivor.analysis.milestone import all_dead, milestone_day, reached, visit_ages
from survivor.analysis.models import first_plants
from survivor.curves import curve
from survivor.evidence.finding import Finding
from survivor.proportions import effective_number, wilson
from survivor.report.arrangement import REPORT
from survivor.report.pages.answer import answer
from survivor.report.summary import summary_of
from tests.analysis.seasons import write
from tests.once import analysed

TARGET = """
[[milestones]]
name = "12 months"
day = 365

[target]
survival_per_100 = 70
milestone = "12 months"
"""


def visits(site: int, plot: int) -> tuple[int, ...]:
    return (60, 200, 370)


def season(folder: Path, died: int, at: str = "first", more: str = TARGET) -> Analysis:
    """160 seedlings in 16 plots; of each ten, ``died`` at the first visit or at the last."""
    deaths = (died, 0) if at == "first" else (0, died)
    return analysed(write(folder, visits, more=more, deaths=lambda method, plot: deaths))


def of(analysis: Analysis, key: str) -> Finding:
    return next(finding for finding in analysis.findings if finding.key == key)


def test_where_nobody_died_the_target_is_met_with_limits_on_the_effective_number(tmp_path: Path) -> None:
    target = of(season(tmp_path, died=0), "target")
    assert target.verdict == "met"
    # 16 plots of ten at 4 sites, correlation 0.2 where no plot tells one: design effect 1 + 9 x 0.2.
    lower, upper = wilson(*[effective_number(160, 1 + 9 * 0.2, df=12)] * 2)
    assert (target.lower, target.upper) == pytest.approx((100 * float(lower), 100 * float(upper)))
    assert target.lower is not None
    assert 70 < target.lower < 97


def test_where_all_died_at_the_first_visit_the_milestone_is_reached_by_the_later_visits(
    tmp_path: Path,
) -> None:
    analysis = season(tmp_path, died=10)
    assert analysis.milestone_day == 365
    target = of(analysis, "target")
    assert (target.verdict, target.estimate, target.lower) == ("missed", 0.0, 0.0)
    assert target.upper is not None
    assert 0 < target.upper < 15
    words = summary_of(analysis, REPORT.of(analysis))
    assert "not reached" not in words
    assert "missed" in words


def test_later_visits_reach_nothing_while_some_are_alive_and_not_looked_at(tmp_path: Path) -> None:
    """Plots seen dead on day 370 say nothing of living seedlings last seen on day 200."""
    records = season(tmp_path, died=10).records
    rows = first_plants(records.intervals)
    ages = visit_ages(records.visits, rows)
    assert sorted(set(ages)) == [60, 200, 370]
    milestone = season(tmp_path / "again", died=0).settings.headline_milestone
    assert all_dead(rows)
    assert milestone_day(rows, milestone, ages)[0] == 365
    alive = rows.assign(died=rows["died"].where(rows.index != rows.index[0], 0))
    assert not all_dead(alive)
    day, _ = milestone_day(alive, milestone, ages)
    assert not reached(milestone, day)


@pytest.mark.slow
def test_a_target_that_cannot_be_judged_stays_on_the_list_with_its_reason(tmp_path: Path) -> None:
    later = TARGET.replace("365", "1095").replace("12 months", "36 months")
    analysis = season(tmp_path, died=2, at="last", more=later)
    target = of(analysis, "target")
    assert (target.grade, target.verdict) == ("not answered", None)
    assert "not reached 36 months" in target.answer
    first = answer(analysis).blocks
    labels = [getattr(block, "label", "") for block in first]
    assert len([label for label in labels if label.startswith("Target") and "cannot be judged" in label]) == 1


def test_survival_of_all_as_counted_agrees_with_its_curve(tmp_path: Path) -> None:
    analysis = season(tmp_path, died=10)
    target = of(analysis, "target")
    limits = curve(first_plants(analysis.records.intervals), strata="site")["all"].limits(365)
    assert (target.lower, target.upper) == pytest.approx([100 * limit for limit in limits])
