"""Which day an answer is for, by which visits, and that nothing claims a milestone it has not reached."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.described import survival_by
from survivor.analysis.milestone import milestone_day, milestone_words, reached
from survivor.analysis.observed import counted_by_method
from survivor.analysis.survival import method_curves
from survivor.curves.rounds import at_milestone
from survivor.document.page import page_of
from survivor.report.arrangement import ANNEX, REPORT
from survivor.settings import Milestone
from tests.analysis.seasons import write
from tests.document.reading import read, undrawn
from tests.once import analysed

TWO_YEARS = """
[[milestones]]
name = "12 months"
day = 365

[[milestones]]
name = "24 months"
day = 730

[target]
survival_per_100 = 50
milestone = "24 months"
"""


def watched(*stops: float, plot: str = "p", died: int = 1) -> pd.DataFrame:
    """A plot of ten counted at some days, one dead at each."""
    starts = (0.0, *stops[:-1])
    rows = [
        ("s", "", plot, "", "m", start, stop, 10 - died * place, died)
        for place, (start, stop) in enumerate(zip(starts, stops, strict=True))
    ]
    names = ["site", "block", "plot", "tag", "method", "start_day", "stop_day", "at_risk", "died"]
    return pd.DataFrame(rows, columns=names)


@pytest.mark.parametrize(
    ("stops", "moved"),
    [
        ((200.0, 368.0), (200.0, 365.0)),
        ((360.0, 371.0), (365.0, 371.0)),  # 360 is nearer
        ((360.0, 370.0), (360.0, 365.0)),  # as near: the later
        ((200.0, 396.0), (200.0, 396.0)),  # outside the window
        ((365.0, 366.0), (365.0, 366.0)),
    ],
)
def test_the_nearest_visit_in_the_window_is_taken_as_made_on_the_day(stops, moved):
    frame, span = at_milestone(watched(*stops), 365.0, 30.0)
    assert tuple(frame["stop_day"]) == moved
    assert tuple(frame["start_day"]) == (0.0, *moved[:-1])
    inside = [stop for stop in stops if abs(stop - 365) <= 30]
    assert (span is None) == (not inside)


def test_each_plot_has_its_own_nearest_visit():
    both = pd.concat([watched(200.0, 366.0), watched(190.0, 350.0, plot="q")], ignore_index=True)
    frame, span = at_milestone(both, 365.0, 30.0)
    assert list(frame["stop_day"]) == [200.0, 365.0, 190.0, 365.0]
    assert span == (350.0, 366.0)


def test_a_visit_after_the_day_counts_in_curves_sites_and_counts():
    # Of ten in each of two plots one was found dead at the first visit and one on day 368: 8 of 10 live.
    rows = pd.concat([watched(200.0, 368.0), watched(200.0, 364.0, plot="q")], ignore_index=True)
    two = pd.concat([rows, rows.assign(site="t")], ignore_index=True)
    curves = method_curves(two, 365.0, 30.0, "site")
    assert curves.read(365.0)["survival"].iloc[0] == pytest.approx(0.8)
    assert any("days 364 to 368 are taken as made on day 365" in note for note in curves.notes)
    sites = survival_by(two, "site", 365.0, 30.0)
    assert list(sites["estimate"]) == pytest.approx([80.0, 80.0])
    counted = counted_by_method(two, 365.0, 30.0).iloc[0]
    assert tuple(counted[["watched", "alive", "died"]]) == (40, 32, 8)


def test_a_site_without_a_visit_near_the_day_has_no_number_and_the_note_says_why():
    rows = pd.concat([watched(200.0, 368.0), watched(100.0, 500.0).assign(site="t")], ignore_index=True)
    found = survival_by(rows, "site", 365.0, 30.0).set_index("site")
    assert np.isfinite(found.loc["s", "estimate"])
    assert np.isnan(found.loc["t", "estimate"])
    assert found.loc["t", "note"] == "no visit lies within 30 days of day 365"


def test_visits_a_fortnight_apart_still_give_curves_and_sites():
    rows = pd.concat([watched(351.0, 365.0, 379.0), watched(352.0, 366.0, 380.0, plot="q")])
    two = pd.concat([rows, rows.assign(site="t")], ignore_index=True)
    assert method_curves(two, 365.0, 30.0, None).read(365.0)["survival"].iloc[0] == pytest.approx(0.8)
    assert list(survival_by(two, "site", 365.0, 30.0)["estimate"]) == pytest.approx([80.0, 80.0])


def test_the_words_of_a_milestone_that_is_not_reached_never_claim_it():
    two_years = Milestone(name="24 months", day=730, window_days=30)
    assert milestone_words(two_years, 366.0) == "day 366 (24 months not reached)"
    assert milestone_words(two_years, 700.0) == "24 months"
    assert not reached(two_years, 699.0)


def test_a_milestone_between_visits_is_said_to_be_drawn_from_them():
    at, said = milestone_day(watched(200.0, 500.0), Milestone(name="12 months", day=365, window_days=30))
    assert at == 365
    assert "no visit lies within 30 days of it" in said
    assert "days 200 and 500" in said


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """Two years asked, visits of one year."""
    folder = tmp_path_factory.mktemp("short")
    return analysed(
        write(folder, lambda s, p: (60, 200, 364 + p), headline='headline = "24 months"', more=TWO_YEARS)
    )


@pytest.mark.slow
def test_no_finding_claims_a_milestone_that_is_not_reached(short):
    assert short.milestone_day == 365
    for finding in short.findings:
        assert finding.milestone == "day 365 (24 months not reached)"
        assert "at 24 months" not in finding.answer
    assert any("(24 months not reached)" in finding.answer for finding in short.findings)


@pytest.mark.slow
def test_no_heading_table_or_chart_claims_it_and_no_target_is_judged(short):
    report = ANNEX.of(short)
    text = " ".join(read(page_of(report)).text().split())
    # What was promised is a promise still; no number is claimed for it.
    text = re.sub(r"Target set beforehand [\d.]+ per 100 planted at 24 months", "", text)
    assert "at 24 months" not in text.replace("for which survival was promised", "")
    first = " ".join(read(page_of(REPORT.of(short))).text().split())
    assert "at 24 months" not in first
    assert "Alive at day 365 (24 months not reached), by preparation" in first
    assert report.about[0] == "Establishment survival at day 365 (24 months not reached)"
    assert not any(finding.verdict for finding in short.findings)
    assert "the visits have not reached 24 months" in text


def test_every_milestone_is_answered_or_said_to_be_out_of_reach(short):
    table = short.survival.milestones
    first = table[table["milestone"] == "12 months"]
    assert set(first["method"]) == {"usual", "other"}
    assert (first["lower"] < first["estimate"]).all()
    assert (first["estimate"] < first["upper"]).all()
    assert list(first["n_seedlings"]) == [80, 80]
    out = table[table["milestone"] == "24 months"].iloc[0]
    assert np.isnan(out["at_day"])
    assert out["note"] == "not reached: the last visit was on day 365"
    text = " ".join(read(undrawn(ANNEX.of(short))).text().split())
    assert "24 months (day 730) is not reached: the last visit was on day 365." in text


@pytest.mark.slow
def test_infill_is_counted_apart_on_its_own_clock(tmp_path):
    days = (60, 200, 440)
    found = analysed(write(tmp_path, lambda s, p: days, infill=3)).survival.infill.iloc[0]
    # Three in each of 16 plots, put in on day 60 and all alive on day 440: 380 days, within 30 of 365.
    assert found["plants"] == 48
    assert found["at_day"] == 365
    assert found["estimate"] == 100
    assert found["lower"] < 100
    early = analysed(write(tmp_path, lambda s, p: (60, 200, 365), infill=3)).survival.infill.iloc[0]
    assert early["note"] == "12 months after their own planting is not reached: the last visit was on day 305"
