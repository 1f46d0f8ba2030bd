"""The first screen and the tables that stand by it: one horizon, one population, each named."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.document.elements import Table
from survivor.document.page import figures_of
from survivor.report.arrangement import ANNEX
from survivor.report.questions import records_words
from tests.analysis.seasons import write
from tests.once import analysed
from tests.report.making import METHODS, build, named, words


@pytest.mark.slow
def test_the_terminal_counts_them_too(tmp_path) -> None:
    folder = write(tmp_path / "season", lambda s, p: (60, 200, 365))
    said = CliRunner().invoke(app, ["report", str(folder), "--out", str(tmp_path / "out")])
    assert said.exit_code == 0, said.output
    assert "480 records were read: 480 used." in said.output


@pytest.mark.parametrize(
    ("planted", "heading", "said"),
    [
        (
            [320.0, 320.0, 260.0],
            ["Planted", "Watched"],
            "20 seedlings were planted and never seen at a visit",
        ),
        ([float("nan")] * 3, ["Watched"], "How many were planted is not recorded by site"),
    ],
)
def test_planted_and_watched_are_told_apart(planted: list[float], heading: list[str], said: str) -> None:
    sites = (
        build()
        .described.sites.drop(columns="alive", errors="ignore")
        .assign(planted=planted, watched=[310, 310, 260])
    )
    figure = next(f for f in figures_of(ANNEX.of(build(sites=sites))) if f.key == "sites")
    headings = [column.heading for column in figure.table.columns]
    assert [name for name in headings if name in ("Planted", "Watched")] == heading
    assert said in figure.table.note


def test_without_numbers_planted_the_head_says_how_many_were_watched() -> None:
    given = build()
    plots = given.records.plots.assign(planted=float("nan"))
    records = replace(given.records, plots=plots)
    about = ANNEX.of(build(records=records)).about
    # The counted table of the made-up season: three preparations of 270 and one of 90.
    assert about[2] == "900 seedlings watched, 30 plots, 3 sites"


def test_milestones_out_of_reach_and_infill_have_a_place() -> None:
    said = words(named(ANNEX.of(build()), "milestones"))
    assert "24 months (day 730) is not reached: the last visit was on day 365." in said
    assert "40 infill plants in 8 plots are counted apart. Of 100, 71 were alive 200 days after" in said
    assert "12 months after their own planting is not reached" in said
    without = words(named(ANNEX.of(build(infill=build().survival.infill.iloc[:0])), "milestones"))
    assert "No infill is recorded." in without


def test_a_planting_date_is_a_day_with_a_range_not_a_count() -> None:
    given = build()
    balance = pd.DataFrame(
        {
            "trait": "planted_date",
            "level": "",
            "method": METHODS[:2],
            "n_plots": 9,
            "value": [9.0, 9.0],
            "unit": "days after the first planting",
            "standardised_difference": [0.0, 0.1],
        }
    )
    confounding = replace(given.confounding.layout, balance=balance)
    report = ANNEX.of(build(layout=confounding))
    table = next(
        b for b in named(report, "ground").blocks if isinstance(b, Table) and b.key == "balance-table"
    )
    # Three plots a site, planted on 15 June, 24 June and 3 July 2023.
    assert table.rows[0][2] == "24 June 2023 (15 June to 3 July 2023)"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("deaths", "known", "alive"), [((4, 6), "were dead", 0.0), ((0, 0), "were alive", 100.0)]
)
def test_a_season_with_one_fate_for_all_says_what_is_known(tmp_path, deaths, known, alive) -> None:
    analysis = analysed(write(tmp_path, lambda s, p: (60, 200, 365), deaths=lambda m, p: deaths))
    headline = analysis.findings[0]
    assert headline.grade == "not answered"
    assert f"all 160 seedlings whose fate is known {known}" in headline.answer
    assert "did not differ" not in " ".join(finding.answer for finding in analysis.findings)
    report = ANNEX.of(analysis)
    assert f"all 160 seedlings whose fate is known {known}" in words(named(report, "comparison"))
    # Limits are those of Wilson on the effective number, never a point.
    told = analysis.survival.milestones
    assert list(told["estimate"]) == pytest.approx([alive, alive], abs=0.5)
    assert (told["upper"] - told["lower"] > 1).all()


def test_no_word_of_records_where_there_are_none() -> None:
    empty = SimpleNamespace(accounts=pd.DataFrame({"fate": []}), problems=pd.DataFrame({"severity": []}))
    assert records_words(empty) == ""
