"""Seedlings that were not tagged at planting: what is told of them, and in whose name."""

from __future__ import annotations

import pandas as pd
import pytest

from survivor.analysis.models import first_plants
from survivor.curves import curve
from survivor.document.page import page_of
from survivor.entry import from_first_visit, watched_late
from survivor.report.arrangement import ANNEX, REPORT
from survivor.study import load
from survivor.vocabulary import Basis
from tests.analysis.seasons import write
from tests.document.reading import read
from tests.once import analysed

TARGET = """
[target]
survival_per_100 = {promised}
milestone = "12 months"
"""


def visits(site: int, plot: int) -> tuple[int, ...]:
    """First visits weeks apart, so that entry is on different days."""
    return (40 + 12 * site, 200, 365)


@pytest.fixture(scope="module")
def late(tmp_path_factory):
    folder = tmp_path_factory.mktemp("late")
    return write(folder, visits, rules='tagged = "at first sighting"', more=TARGET.format(promised=40))


def test_survival_is_of_those_found_alive_at_the_first_visit(late):
    # Of ten in each plot one was dead at the first visit; of nine found alive with the usual practice 3
    # or 4 (by plot) were dead at the last: 11 of 18 live. With the other 1 or 2: 15 of 18.
    rows = first_plants(load(late).intervals)
    assert watched_late(rows)
    found = from_first_visit(rows)
    alive = curve(found, by="method").read(365).set_index("method")["survival"]
    assert alive["usual"] == pytest.approx(11 / 18)
    assert alive["other"] == pytest.approx(15 / 18)
    assert found["start_day"].min() == 0


def test_who_is_first_seen_later_enters_then_and_the_dead_before_leave():
    def row(tag, start, stop, died):
        return {"site": "s", "block": "", "plot": "p", "tag": tag, "start_day": start, "stop_day": stop,
                "at_risk": 1, "died": died}  # fmt: skip

    rows = pd.DataFrame(
        [
            row("a", 0, 40, 1),  # tagged at planting, dead at the first visit
            row("b", 0, 40, 0), row("b", 40, 100, 1),
            row("c", 41, 100, 0),  # the first visit took two days
            row("d", 100, 200, 1),  # first seen at the second visit
            row("e", 0, 100, 0), row("e", 100, 200, 0),  # not seen at the first visit
            row("f", 45, 50, 0), row("f", 50, 53, 0),  # visited again within days
        ]
    )  # fmt: skip
    found = from_first_visit(rows).sort_values(["tag", "start_day"])
    told = list(found[["tag", "start_day", "stop_day"]].itertuples(index=False, name=None))
    assert told == [
        ("b", 0, 100),
        ("c", 0, 100),
        ("d", 100, 200),
        ("e", 100, 200),
        ("f", 0, 50),
        ("f", 50, 53),
    ]


@pytest.mark.slow
def test_nothing_in_the_report_is_called_survival_of_planted(late):
    analysis = analysed(late)
    assert analysis.basis is Basis.FOUND
    assert all("100 planted" not in finding.answer + finding.unit for finding in analysis.findings)
    report = ANNEX.of(analysis)
    first = read(page_of(REPORT.of(analysis))).text()
    assert "survival is of seedlings found at the first visit; survival of those planted is lower" in first
    assert "per 100 planted" not in first
    page = page_of(report)
    text = " ".join(read(page).text().split())
    # The problem that says so names the unit that numbers do not have.
    assert "per 100 planted" not in page.replace("not per 100 planted", "").replace(
        "no number is per 100 planted", ""
    )
    assert Basis.FOUND.per_100 in text
    assert "0 seedlings planted" not in text
    assert "144 seedlings found at the first visit, 16 plots, 4 sites" in report.about
    assert "survival from planting cannot be determined" in text


def test_models_curves_and_counts_speak_of_the_same_seedlings(late):
    analysis = analysed(late)
    # 12 of 16 plots' worth: as in the test of curves, 11 of 18 and 15 of 18 at every site alike.
    modelled = analysis.survival.by_method.table.set_index("method")["estimate"]
    counted = analysis.survival.curves.read(365).set_index("method")["survival"]
    plainly = analysis.survival.observed.set_index("method")
    for method, share in (("usual", 11 / 18), ("other", 15 / 18)):
        assert modelled[method] == pytest.approx(100 * share, abs=1.0)
        assert counted[method] == pytest.approx(share)
        assert plainly.loc[method, "alive"] / plainly.loc[method, "watched"] == pytest.approx(share)


@pytest.mark.slow
@pytest.mark.parametrize(("promised", "judged"), [(40, False), (99, True)])
def test_a_promise_of_planted_is_never_shown_to_be_kept_by_those_found(tmp_path, promised, judged):
    folder = write(
        tmp_path, visits, rules='tagged = "at first sighting"', more=TARGET.format(promised=promised)
    )
    analysis = analysed(folder)
    verdicts = [finding.verdict for finding in analysis.findings if finding.verdict]
    assert verdicts == (["missed"] if judged else [])
    assert judged or any("cannot show that the promise was kept" in said for said in analysis.cannot)


@pytest.mark.slow
def test_a_few_late_entries_change_no_name_and_are_said(tmp_path):
    # Tags first seen at the second visit, in a season recorded within two weeks of planting.
    folder = write(tmp_path, lambda s, p: (10, 200, 365), rules="", unseen=lambda number: number == 9)
    analysis = analysed(folder)
    assert analysis.basis is not Basis.FOUND
    assert any("followed from the first sighting on" in note for note in analysis.notes)
    assert all(Basis.FOUND.per_100 not in finding.answer for finding in analysis.findings)
