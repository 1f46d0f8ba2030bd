"""What a plan says of its verdict, its cost and its days."""

import dataclasses
import datetime as dt
import math
import re
from pathlib import Path

import pandas as pd
import pytest

from survivor.planning.calendar import timetable, visit_calendar
from survivor.planning.page import report_of_plan
from survivor.planning.run import plan as plan_season
from survivor.planning.size import shown_by_formula
from survivor.planning.size import usual_sizes as usual_table
from survivor.planning.variation import arms_of, spread_of
from survivor.planning.words import (
    asked_about,
    cost,
    late_works,
    past_by_today,
    precision,
    reached,
    size,
    summary,
    usual_sizes,
    verdict,
)
from tests.planning.making import COSTS, raw_plan, small_plan
from tests.report.reading import faults, texts_of


@pytest.fixture(scope="module")
def season():
    return plan_season(
        small_plan(costs=COSTS, sizes={"plots_per_method": 4, "seedlings_per_plot": 5}), studies=20
    )


def simulated(season, studies, shown, lower, upper):
    table = season.table.copy()
    row = table["plots"] == season.plots
    table[["simulated", "lower", "upper"]] = table[["simulated", "lower", "upper"]].astype(float)
    table.loc[row, ["studies", "simulated", "lower", "upper"]] = [studies, shown, lower, upper]
    return dataclasses.replace(season, table=table)


@pytest.mark.parametrize(
    ("shown", "lower", "upper", "said"),
    [
        (80, 75, 84, "can just about answer the question: 80 (75 to 84) of 100"),
        (78, 73, 82, "falls just short of what answers the question: 78 (73 to 82) of 100"),
        (90, 86, 93, "can answer the question: 90 of 100"),
        (50, 44, 56, "cannot be counted on to answer the question: 50 of 100"),
    ],
)
def test_the_verdict_says_one_thing(season, shown, lower, upper, said):
    assert said in verdict(simulated(season, 300, shown, lower, upper))


def test_few_simulated_seasons_leave_the_verdict_to_the_formula(season):
    told = simulated(season, 20, 100, 84, 100)
    by_formula = float(told.power["two_proportions"])
    assert by_formula < 80
    assert not told.answers
    assert f"by formula {round(by_formula)} of 100" in verdict(told)
    assert "20 simulated seasons are too few to go by" in verdict(told)
    assert simulated(season, 200, 100, 98, 100).answers


@pytest.mark.parametrize(
    ("shown", "lower", "upper"), [(81, 75, 84), (78, 73, 82), (90, 86, 93), (50, 44, 56)]
)
def test_the_summary_says_each_thing_once(season, shown, lower, upper):
    told = simulated(season, 300, shown, lower, upper)
    lines = summary(told)
    assert len(lines) == len(set(lines))
    # Asked for in one line, answered in the next; how it was worked out is on the page alone.
    assert "in 80 of 100 seasons" in lines[1]
    assert lines[2] == size(told)
    assert re.search(rf"question: {shown} (\({lower} to {upper}\) )?of 100 such seasons", lines[3])
    assert sum(f"{shown} " in line for line in lines) == 1
    assert not any("two proportions" in line or "are wanted" in line for line in lines)
    assert sum(line.startswith("Size: ") for line in lines) == 1
    page = " ".join(block.text for block in report_of_plan(told).answer.blocks if hasattr(block, "text"))
    assert "from two proportions" in page


def test_the_page_leads_with_plots_and_seedlings_and_then_says_what_they_show(season):
    told = simulated(season, 300, 81, 75, 84)
    first, second = report_of_plan(told).answer.blocks[:2]
    # By hand: 4 plots of each of 2 methods, 5 seedlings a plot.
    assert first.text.startswith("Size: 8 plots and 40 seedlings, 4 plots of each of 2 methods")
    assert first.kind == "lead"
    assert second.text == verdict(told)


@pytest.mark.slow
def test_plots_needed_are_said_apart_only_where_the_size_is_another():
    enough = plan_season(small_plan(), studies=20)
    assert "the fewest plots that are enough by formula" in size(enough)
    assert reached(enough) not in summary(enough)
    settled = plan_season(small_plan(sizes={"plots_per_method": 4}), studies=20)
    assert reached(settled) in summary(settled)
    poor = plan_season(small_plan(costs={**COSTS, "budget": 500}), studies=20)
    (why,) = (line for line in summary(poor) if poor.why_size in line)
    assert why.startswith("This season cannot answer the question")


def test_later_visits_are_priced_beside_the_size(season):
    # Two visits of the usual calendar come after 12 months: 8 plots at 10 + 5 seedlings at 0.5.
    assert "later visits (2) cost a further 200 dollars" in cost(season)
    assert f"Cost: {8 * (90 + 5 * 10 + 5 * (4 + 5 * 0.5)):,.0f} dollars" in cost(season)
    assert cost(season) in summary(season)


def test_limits_wider_than_the_scale_tell_nothing(season):
    assert "wider than the whole scale: it would tell nothing" in precision(
        dataclasses.replace(season, half_width=224.0)
    )
    assert "about 24 per 100" in precision(dataclasses.replace(season, half_width=24.0))


def test_days_left_open_are_asked_about():
    sites = raw_plan()["sites"]
    assert asked_about(small_plan()) == []
    assert asked_about(small_plan(plan={"as_of": None})) == []  # what is late is a matter of the timetable
    mistyped = [{**sites[0], "planted": "2025-06-07"}, *sites[1:]]
    (said,) = asked_about(small_plan(sites=mistyped))
    assert "over a year apart" in said
    assert "Tarn Hollow" in said


def test_rows_without_a_day_have_no_column_of_where_they_stand(season):
    def columns(plan):
        told = dataclasses.replace(
            season, plan=plan, timetable=timetable(plan), calendar=visit_calendar(plan)
        )
        section = next(section for section in report_of_plan(told).sections if section.key == "when")
        table = section.blocks[0]
        return [column.heading for column in table.columns], table.note

    headings, note = columns(small_plan(plan={"as_of": None}, costs=COSTS))
    assert "Where it stands" not in headings
    assert "as_of" in note
    assert "Where it stands" in columns(small_plan(costs=COSTS))[0]


def test_the_answer_is_for_a_season_in_which_nothing_is_lost_and_says_what_a_loss_costs(season):
    told = simulated(season, 300, 81, 75, 84)
    assert verdict(told).startswith("If nothing is lost, this season ")
    # Nine of ten plots, by two proportions.
    by_hand = shown_by_formula(told.plan, told.spread, int(0.9 * told.plots), told.seedlings)
    assert told.lost == pytest.approx(by_hand)
    assert f"With one plot of ten lost {by_hand:.0f} of 100 would, by formula." in verdict(told)
    assert by_hand < float(told.power["two_proportions"])


def test_a_season_far_larger_than_usual_says_what_a_usual_one_would_show(season):
    assert usual_sizes(season) == ""
    table = usual_table(season.plan, season.spread, 62, season.seedlings)
    assert table["plots"].tolist() == [20, 25]
    assert table["power"].is_monotonic_increasing
    assert table["seen"].is_monotonic_decreasing
    said = usual_sizes(dataclasses.replace(season, plots=62, usual=table))
    assert "62 blocks" in said
    for row in table.to_dict("records"):
        assert f"with {row['plots']:.0f} plots of each method {row['power']:.0f} of 100 would show it" in said
        assert f"a difference of {math.ceil(row['seen'])} per 100" in said


def test_works_past_their_day_after_planting_are_asked_about():
    said = late_works(timetable(small_plan(plan={"as_of": "2023-06-01"})))
    assert any(
        line.startswith("Last day past: rip line at") and line.endswith("was it done?") for line in said
    )
    assert not any(line.startswith("Late") for line in said)


def test_a_plan_without_its_day_says_which_days_are_past_by_the_calendar():
    plan = small_plan(plan={"as_of": None})
    before, after = (past_by_today(plan, dt.date(year, 6, 1)) for year in (2022, 2023))
    assert before[0] == "Past today, 1 June 2022 (the plan file gives no as_of under [plan]):"
    assert any("Late: spot spray at Tarn Hollow (by 31 May 2022)" in line for line in before)
    assert any("rip line" in line and line.endswith("was it done?") for line in after)
    assert past_by_today(plan, dt.date(2020, 1, 1)) == []
    assert past_by_today(small_plan(plan={"as_of": "2022-06-01"}), dt.date(2023, 6, 1)) == []


@pytest.mark.parametrize("as_of", [None, "2022-06-01"])
def test_a_page_without_its_day_says_that_days_may_be_past(season, as_of):
    plan = small_plan(plan={"as_of": as_of}, costs=COSTS)
    page = report_of_plan(dataclasses.replace(season, plan=plan, timetable=timetable(plan)))
    said = " ".join(getattr(block, "text", "") for block in page.answer.blocks)
    assert "Do not dig until" in said
    assert ("Some of these days may be past already" in said) is (as_of is None)


def test_sites_with_days_of_their_own_are_said_each_with_its_day():
    said = "\n".join(late_works(timetable(small_plan(plan={"as_of": "2022-06-01"}))))
    assert "spot spray at Tarn Hollow (until 31 May 2022)" not in said
    assert "spot spray at Tarn Hollow (by 31 May 2022)" in said


def test_a_budget_that_buys_nothing_draws_nothing_and_says_what_would_do():
    poor = plan_season(small_plan(costs={**COSTS, "budget": 500}), studies=20)
    assert poor.table.empty
    assert "The smallest season that could answer it costs about" in "\n".join(summary(poor))
    from survivor.document.elements import Figure

    report = report_of_plan(poor)
    assert not any(isinstance(block, Figure) for block in report.answer.blocks)


def test_why_more_spread_of_sites_needs_fewer_plots_is_told_and_true(season):
    text = " ".join(
        block.text for section in report_of_plan(season).sections if section.key == "workings"
        for block in section.blocks
    )  # fmt: skip
    assert "more spread of sites needs fewer plots" in text

    def variance(site_sd):
        plan = small_plan(variation={"site_sd": site_sd})
        return arms_of(plan, spread_of(plan, Path())).variance

    assert variance(0.0) == pytest.approx(0.24)  # p (1 - p)
    assert variance(1.0) < variance(0.5) < variance(0.0)


def test_an_empty_table_has_the_columns_of_a_full_one(season):
    poor = plan_season(small_plan(costs={**COSTS, "budget": 500}), studies=20)
    pd.testing.assert_index_equal(poor.table.columns, season.table.columns)


def test_sentences_of_the_plan_are_short(season):
    names = {one.name for one in (*season.plan.methods, *season.plan.sites)}
    assert faults(texts_of(report_of_plan(season)), names) == []
    assert faults((("summary", line) for line in summary(season)), names) == []
