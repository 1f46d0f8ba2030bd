"""Power by simulation: the truth asked for, and agreement with the formulas where these hold."""

import math

import numpy as np
import pytest

from survivor.planning.closed_form import power_of_events, power_of_proportions
from survivor.planning.quick import Told, analysed_quickly
from survivor.planning.simulated import analysed_whole, cohort_of, draw_season, simulate_power, watch_season
from survivor.planning.variation import arms_of, spread_of
from survivor.simulate.cohort import true_effects
from tests.planning.making import small_plan
from tests.slow import some_slow

HERE = "."


def settled(**changed):
    plan = small_plan(**changed)
    from pathlib import Path

    return plan, spread_of(plan, Path(HERE))


@pytest.mark.parametrize("site_sd", [0.0, 0.5])
def test_seasons_are_drawn_with_just_the_difference_asked_for(site_sd):
    plan, found = settled(variation={"plot_sd": 0.5, "site_sd": site_sd})
    cohort = cohort_of(plan, found, 8, 20)
    truth = true_effects(cohort, (365.0,)).at(365).loc["alternative"]
    # Numerical integration over plots, sites and planting days: no simulation error.
    assert truth["survival"] - truth["difference"] == pytest.approx(60, abs=0.3)
    assert truth["difference"] == pytest.approx(15, abs=0.2)


@pytest.mark.parametrize("plots", [4, 5, 6, 9, 13])
def test_a_season_has_as_many_plots_as_asked(plots):
    plan, found = settled()
    cohort = cohort_of(plan, found, plots, 3)
    drawn = draw_season(cohort, plots, np.random.default_rng(1))
    counts = (
        drawn[["site", "block", "plot", "method"]].drop_duplicates().groupby("method", observed=True).size()
    )
    assert counts.tolist() == [plots, plots]
    blocks = drawn[["site", "block"]].drop_duplicates().groupby("site", observed=True).size()
    assert blocks.max() - blocks.min() <= 1


@pytest.mark.parametrize("day", [1, 2, 20, 365, 900])
def test_a_milestone_on_any_day_has_visits_up_to_it(day):
    plan, found = settled(question={"day": day})
    visits = cohort_of(plan, found, 4, 5).visit_days[0]
    assert visits[-1] == day
    assert list(visits) == sorted(set(visits))


def test_the_same_seed_gives_the_same_seasons():
    plan, found = settled()
    counted = []
    first, second = (simulate_power(plan, found, 4, 5, 25, counted.append) for _ in range(2))
    assert first == second
    assert sum(counted) == 50
    other, spread = settled(plan={"seed": 6})
    assert simulate_power(other, spread, 4, 5, 25).difference != first.difference


@pytest.mark.parametrize(
    "case",
    some_slow(
        [
            ({}, 9, 10),  # a block too many at some sites
            ({"sites": [{"name": "Tarn Hollow", "planted": "2022-06-07"}]}, 4, 6),  # pieces are the visits
            (
                {"question": {"survival_per_100": 93, "smallest_difference": 5}},
                5,
                8,
            ),  # blocks where nobody died
            ({"question": {"survival_per_100": 12, "smallest_difference": 6}}, 5, 4),  # and where all did
            ({"question": {"day": 2}}, 6, 10),
            ({"variation": {"plot_sd": 1.2, "site_sd": 1.0}}, 8, 10),
        ],
        2,
    ),
)
def test_the_short_way_gives_the_numbers_of_the_whole_way(case):
    """The whole way is the report's: a table of intervals, the grouped model, its contrasts."""
    changed, plots, seedlings = case
    plan, found = settled(**changed)
    cohort = cohort_of(plan, found, plots, seedlings)
    settled_here = 0
    for seed in range(6):
        quick = analysed_quickly(
            cohort, watch_season(cohort, plots, np.random.default_rng(seed)), plan.question.day
        )
        whole = analysed_whole(draw_season(cohort, plots, np.random.default_rng(seed)), plan.question.day)
        if quick is not None:
            assert quick.p_value == pytest.approx(whole.p_value, rel=1e-9, nan_ok=True)
            assert quick.difference == pytest.approx(whole.difference, rel=1e-9, nan_ok=True)
            settled_here += math.isfinite(quick.p_value)
    assert settled_here or plan.question.day == 2


def test_seasons_that_the_short_way_does_not_settle_go_the_whole_way(monkeypatch):
    from survivor.planning import simulated

    plan, found = settled()
    alone = simulate_power(plan, found, 4, 5, 12)
    gone = []

    def whole(intervals, day) -> Told:
        gone.append(len(intervals))
        return analysed_whole(intervals, day)

    monkeypatch.setattr(simulated, "analysed_quickly", lambda *season: None)
    monkeypatch.setattr(simulated, "analysed_whole", whole)
    again = simulate_power(plan, found, 4, 5, 12)
    assert len(gone) == 12
    assert (again.shown, again.unanswered) == (alone.shown, alone.unanswered)
    assert again.difference == pytest.approx(alone.difference, rel=1e-9)


def agrees(plan, found, plots, seedlings, studies):
    """Simulated power less each formula's, in errors of the simulation."""
    arms = arms_of(plan, found)
    drawn = simulate_power(plan, found, plots, seedlings, studies)
    return [
        (drawn.power - formula) / math.sqrt(formula * (1 - formula) / studies)
        for formula in (
            power_of_proportions(arms, plots, seedlings),
            power_of_events(arms, plots, seedlings),
        )
    ]


@pytest.mark.slow
# Where the formulas hold: plots of one size in blocks, sites alike, hazards less than 1.7 times apart.
def test_simulation_agrees_with_the_formulas_where_they_hold():
    plan, found = settled(question={"survival_per_100": 60, "smallest_difference": 12})
    for errors in agrees(plan, found, 16, 20, 150):
        assert abs(errors) < 3


@pytest.mark.slow
@pytest.mark.parametrize(
    ("plot_sd", "site_sd", "plots", "seedlings", "difference"),
    [(0.0, 0.0, 20, 20, 10), (0.4, 0.0, 24, 16, 10), (0.5, 0.0, 12, 20, 15), (0.4, 0.5, 24, 20, 10)],
)
def test_many_seasons_agree_with_two_proportions(plot_sd, site_sd, plots, seedlings, difference):
    plan, found = settled(
        question={"survival_per_100": 62, "smallest_difference": difference},
        variation={"plot_sd": plot_sd, "site_sd": site_sd},
    )
    drawn = simulate_power(plan, found, plots, seedlings, 1500)
    formula = power_of_proportions(arms_of(plan, found), plots, seedlings)
    # Within the simulation's error (three of them) and three more of 100: formulas are approximations.
    assert abs(drawn.power - formula) < 3 * math.sqrt(formula * (1 - formula) / 1500) + 0.03
    assert drawn.unanswered == 0


def test_plots_that_share_nothing_cost_power():
    # A test that could not see plots would find the same power whatever their spread.
    plan, narrow = settled(variation={"plot_sd": 0.0})
    other, wide = settled(variation={"plot_sd": 1.0})
    alike = simulate_power(plan, narrow, 8, 20, 60).power
    apart = simulate_power(other, wide, 8, 20, 60).power
    assert alike - apart > 0.25
