"""The first screen and the tables that stand by it: one horizon, one population, each named."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.evidence import Finding
from survivor.report.content import report_of
from survivor.report.content.answer import records_words, sure_of
from survivor.report.content.elements import Paragraph, Table
from survivor.settings import Planted, Settings
from tests.analysis.seasons import analysed, write
from tests.report.conftest import METHODS, SITES, build
from tests.report.test_content import figures, named, words


def first_table(analysis: SimpleNamespace) -> Table:
    return next(figure.table for figure in figures(report_of(analysis)) if figure.key == "survival")


def test_deaths_beside_survival_are_those_to_the_milestone() -> None:
    table = first_table(build())
    headings = [column.heading for column in table.columns]
    place = headings.index("Died by 12 months")
    died = {row[0]: row[place] for row in table.rows}
    assert died == dict(zip(METHODS, ("101", "60", "78", "31"), strict=True))


def test_the_column_of_deaths_names_the_day_where_the_milestone_is_not_reached() -> None:
    table = first_table(build(milestone_day=200.0))
    assert "Died by day 200" in [column.heading for column in table.columns]


def test_what_survival_is_averaged_over_is_said_where_it_first_stands() -> None:
    figure = next(figure for figure in figures(report_of(build())) if figure.key == "survival")
    assert "had every plant watched in these records had that preparation" in figure.caption
    given = build()
    lines = tuple(
        Planted(site=site, plants=plants) for site, plants in zip(SITES, (1000, 500, 60), strict=True)
    )
    whole: Settings = given.settings.model_copy(update={"planted": lines})
    figure = next(f for f in figures(report_of(build(settings=whole))) if f.key == "survival")
    assert "put in over the whole planting (1,560 by the study file)" in figure.caption
    assert "put in over the whole planting (1,560 by the study file)" in figure.table.note


def test_the_plain_count_stands_beside_the_average_with_the_reason_why_they_differ() -> None:
    note = first_table(build()).note
    assert "640 of 960 planted in the plots were seen alive then or later (67 in 100)" in note
    assert "no site or species is evened out" in note
    assert "not averaged over sites and species as the answer is" in words(
        named(report_of(build()), "workings")
    )


def test_records_not_used_are_counted_on_the_first_screen_with_a_link() -> None:
    answer = report_of(build()).answer
    line = next(b for b in answer.blocks if isinstance(b, Paragraph) and b.label == "Records")
    assert line.see == "problems"
    assert line.text == (
        "3 records were read: 2 used and 1 set aside. "
        "3 problems were found: 2 to look at and 1 worth knowing."
    )


def test_the_terminal_counts_them_too(tmp_path) -> None:
    folder = write(tmp_path / "season", lambda s, p: (60, 200, 365))
    said = CliRunner().invoke(app, ["report", str(folder), "--out", str(tmp_path / "out")])
    assert said.exit_code == 0, said.output
    assert "480 records were read: 480 used." in said.output


def test_differences_that_dots_do_not_show_are_explained_under_the_picture() -> None:
    given = build()
    some = given.contrasts.table.assign(n_sites=2)
    contrasts = SimpleNamespace(table=some, checks=(), limits_note="")
    picture = next(f for f in figures(report_of(build(contrasts=contrasts))) if f.key == "survival")
    assert "need not equal the difference of two dots" in picture.caption
    alike = next(f for f in figures(report_of(given)) if f.key == "survival")
    assert "difference of two dots" not in alike.caption


def test_curves_are_named_in_the_order_of_the_answer() -> None:
    report = report_of(build())
    by_key = {figure.key: figure for figure in figures(report)}
    assert [row[0] for row in by_key["curves"].table.rows] == [
        row[0] for row in by_key["survival"].table.rows
    ]


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
        build().sites.drop(columns="alive", errors="ignore").assign(planted=planted, watched=[310, 310, 260])
    )
    figure = next(f for f in figures(report_of(build(sites=sites))) if f.key == "sites")
    headings = [column.heading for column in figure.table.columns]
    assert [name for name in headings if name in ("Planted", "Watched")] == heading
    assert said in figure.table.note


def test_without_numbers_planted_the_head_says_how_many_were_watched() -> None:
    given = build()
    plots = given.records.plots.assign(planted=float("nan"))
    records = SimpleNamespace(**{**vars(given.records), "plots": plots})
    about = report_of(build(records=records)).about
    # The counted table of the made-up season: four preparations of 270.
    assert about[1] == "1,080 seedlings watched, 30 plots, 3 sites"


def test_milestones_out_of_reach_and_infill_have_a_place() -> None:
    said = words(named(report_of(build()), "milestones"))
    assert "24 months (day 730) is not reached: the last visit was on day 365." in said
    assert "40 infill plants in 8 plots, counted apart: 71 per 100 were alive 200 days" in said
    assert "12 months after their own planting is not reached" in said
    without = words(named(report_of(build(infill=build().infill.iloc[:0])), "milestones"))
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
    confounding = SimpleNamespace(**{**vars(given.confounding), "balance": balance})
    report = report_of(build(confounding=confounding))
    table = next(
        b for b in named(report, "ground").blocks if isinstance(b, Table) and b.key == "balance-table"
    )
    # Three plots a site, planted on 15 June, 24 June and 3 July 2023.
    assert table.rows[0][2] == "24 June 2023 (15 June to 3 July 2023)"


@pytest.mark.parametrize(
    ("deaths", "known", "alive"), [((4, 6), "were dead", 0.0), ((0, 0), "were alive", 100.0)]
)
def test_a_season_with_one_fate_for_all_says_what_is_known(tmp_path, deaths, known, alive) -> None:
    analysis = analysed(write(tmp_path, lambda s, p: (60, 200, 365), deaths=lambda m, p: deaths))
    headline = analysis.findings[0]
    assert headline.grade == "unanswered"
    assert f"all 160 seedlings whose fate is known {known}" in headline.answer
    assert "did not differ" not in " ".join(finding.answer for finding in analysis.findings)
    report = report_of(analysis)
    assert f"all 160 seedlings whose fate is known {known}" in words(named(report, "comparison"))
    # Limits are those of Wilson on the effective number, never a point.
    told = analysis.milestones
    assert list(told["estimate"]) == pytest.approx([alive, alive], abs=0.5)
    assert (told["upper"] - told["lower"] > 1).all()


def test_no_word_of_records_where_there_are_none() -> None:
    empty = SimpleNamespace(accounts=pd.DataFrame({"fate": []}), problems=pd.DataFrame({"severity": []}))
    assert records_words(empty) == ""


def test_what_a_grade_is_of_is_said_where_the_answer_holds_more_than_one() -> None:
    first = _compared("rip", "firm", "Rip kept 21 more.")
    other = _compared("scalp", "slight", "Scalp kept 17 fewer.")
    head = replace(first, key="headline", answer=f"{first.answer} Came out worse: scalp.")
    assert sure_of(head, (head, first, other)) == "How sure of the first of these"
    assert sure_of(other, (head, first, other)) == "How sure"
    alike = replace(other, grade="firm")
    assert sure_of(head, (head, first, alike)) == "How sure"
    # Without a clear gain the grade is of all together.
    none = replace(head, answer="No preparation is shown to be better than usual.")
    assert sure_of(none, (none, first, other)) == "How sure"


def _compared(method: str, grade: Any, answer: str) -> Finding:
    return Finding(
        key=f"{method} against usual",
        question="",
        answer=answer,
        estimate=21.0,
        lower=10.0,
        upper=32.0,
        unit="per 100 planted",
        milestone="12 months",
        at_day=365.0,
        methods=(method, "usual"),
        grade=grade,
    )
