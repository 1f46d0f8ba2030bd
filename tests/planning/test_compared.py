"""What no size answers is refused by the plan as by the layout; blocks that really compare are counted."""

from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import PlanError
from survivor.planning.calendar import visits_until
from survivor.planning.closed_form import power_of_proportions
from survivor.planning.folder import blank_files
from survivor.planning.layout import (
    compared,
    draw_layout,
    fewest_plots,
    plots_in_all,
    refuse_unanswerable,
)
from survivor.planning.run import plan as plan_season
from survivor.planning.size import size_of
from survivor.planning.split import cost_of_plot, splits
from survivor.planning.variation import arms_of, spread_of
from survivor.planning.words import cost, size, summary
from survivor.words import number
from tests.planning.making import (
    COSTS,
    METHODS,
    SITES,
    fewest_side_by_side,
    raw_plan,
    small_plan,
    write_toml,
)

YEAR_AWAY = [{"name": "first weeks", "day": 35}]
NONE_LEFT = [{**raw_plan()["sites"][0], "cannot": ["spot spray"]}, *raw_plan()["sites"][1:]]
THREE = [*raw_plan()["methods"], {"name": "spray and auger", "works": ["spot spray", "auger hole"]}]


def said_by(tmp_path, verb, **changed):
    """What stops the command; the text with its lines joined."""
    file = write_toml(raw_plan(**changed), tmp_path / "plan.toml")
    said = CliRunner().invoke(app, [verb, str(file), "--out", str(tmp_path / "out")])
    assert isinstance(said.exception, PlanError), said.output
    assert said.exception.exit_status == 2
    return str(said.exception)


@pytest.mark.parametrize("verb", ["plan", "layout"])
@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {"visits": YEAR_AWAY},
            ("no visit falls within the window of 12 months (day 365", "the question cannot be answered",
             "instead of all the usual ones"),
        ),
        ({"sites": NONE_LEFT}, ("Tarn Hollow can take fewer than two of the methods",)),
        ({"sizes": {"plots_per_method": 2}}, ("2 plots of each method cannot be shared out over 4 sites",)),
        ({"costs": {**COSTS, "budget": 500}, "visits": YEAR_AWAY}, ("no visit falls within the window",)),
    ],
)  # fmt: skip
def test_the_plan_refuses_what_the_layout_refuses(tmp_path, verb, changed, words):
    said = said_by(tmp_path, verb, **changed)
    for word in words:
        assert word in said
    assert not (tmp_path / "out").exists()


def test_a_visit_within_the_window_is_enough():
    refuse_unanswerable(small_plan(visits=[{"name": "a year or so", "day": 390}]))
    with pytest.raises(PlanError, match="no visit falls"):
        refuse_unanswerable(small_plan(visits=[{"name": "too late", "day": 396}]))


def test_a_visit_tied_to_the_dry_season_counts_by_its_day_at_each_site():
    # Planted on 7 and 14 June 2022 and 2 and 9 August: the dry season ends on 31 March, so a visit 75 days
    # after it, on 14 June 2023, is within 30 days of a year at the first two sites alone.
    visits = [{"name": "after", "dry_season": "after", "margin_days": 75}]
    with pytest.raises(PlanError, match="at Vossel Flat and Ombry Rise"):
        refuse_unanswerable(small_plan(visits=visits))


def test_the_plan_to_start_from_warns_of_the_visits_it_replaces():
    assert "one [[visits]] replaces ALL the usual ones" in blank_files()["plan.toml"].decode()


def some_sites_cannot(*names, **changed):
    sites = [
        {**site, "cannot": ["auger hole"]} if site["name"] in names else site for site in raw_plan()["sites"]
    ]
    return small_plan(methods=THREE, sites=sites, **changed)


@pytest.mark.parametrize("plots", [4, 7, 10])
@pytest.mark.parametrize("names", [(), SITES[:1], SITES[1:3]])
def test_blocks_compared_are_those_of_the_layout(plots, names):
    plan = some_sites_cannot(*names)
    _, drawn = fewest_side_by_side(draw_layout(plan, plots, 3), METHODS[0])
    assert compared(plan, plots)[1] == drawn


@pytest.mark.parametrize("names", [(), SITES[:1], SITES[1:3]])
def test_size_and_cost_are_those_of_the_layout(names):
    plan = some_sites_cannot(*names, costs=COSTS)
    drawn = len(draw_layout(plan, 8, 5).plots)
    assert plots_in_all(plan, 8) == drawn
    season = SimpleNamespace(plan=plan, plots=8, seedlings=5, why_size="as the plan says")
    assert f"{drawn} plots and {5 * drawn} seedlings" in size(season)
    assert ("some sites do not take every method" in size(season)) == bool(names)
    whole = drawn * cost_of_plot(plan.costs, 5, visits_until(plan, plan.question.day))
    assert f"Cost: {number(whole)} " in cost(season)


@pytest.mark.slow
def test_power_is_that_of_the_blocks_that_compare_and_their_number_is_said():
    plan = some_sites_cannot(*SITES[:2], sizes={"plots_per_method": 8, "seedlings_per_plot": 5})
    season = plan_season(plan, studies=20)
    assert season.compared == ("spray and auger", 4)
    assert season.power["two_proportions"] == pytest.approx(
        100 * power_of_proportions(arms_of(plan, season.spread), 4, 5)
    )
    said = "\n".join(summary(season))
    assert "spray and auger stands beside the usual practice in 4 blocks, not 8" in said


def test_blocks_lost_to_a_comparison_are_made_up_for(tmp_path):
    plots, _, _ = size_of(some_sites_cannot(*SITES[:2]), tmp_path)
    everywhere, _, _ = size_of(some_sites_cannot(), tmp_path)
    assert compared(some_sites_cannot(*SITES[:2]), plots)[1] >= everywhere
    assert compared(some_sites_cannot(*SITES[:2]), plots - 1)[1] < everywhere


def test_a_budget_buys_a_block_at_every_site_or_nothing(tmp_path):
    plan = small_plan(costs={**COSTS, "budget": 12_000})
    assert splits(plan, spread_of(plan, tmp_path), 5)["plots"].min() >= fewest_plots(plan) == 4
    few, _, why = size_of(small_plan(costs={**COSTS, "budget": 1200}), tmp_path)
    assert few == 0
    assert "does not buy 4 plots" in why


def test_blocks_that_the_sites_give_are_the_size(tmp_path):
    sites = [{**site, "blocks": 3} for site in raw_plan()["sites"]]
    assert size_of(small_plan(sites=sites), tmp_path)[0] == 12
    with pytest.raises(PlanError, match="make 12 plots of each method, not 10"):
        size_of(small_plan(sites=sites, sizes={"plots_per_method": 10}), tmp_path)


def test_a_layout_that_the_budget_does_not_buy_says_so(tmp_path):
    said = said_by(tmp_path, "layout", costs={**COSTS, "budget": 500})
    assert "there is nothing to lay out: the budget does not buy" in said
    assert "raise the budget (a season that could answer costs about" in said
