"""Simulated cohorts: the draw agrees with the truth that it is kept beside.

Sources: Prentice and Gloeckler 1978, Biometrics 34:57-67 (hazard, interval and
binomial likelihood); Gauss-Hermite averages are checked against plain Monte Carlo.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import FrozenInstanceError, replace

import numpy as np
import pandas as pd
import pytest

from survivor.errors import SimulationError
from survivor.intervals import check_intervals, tally
from survivor.simulate.cohort import (
    Cohort,
    average_survival,
    hazard_knots,
    season_cuts,
    true_dose,
    true_effects,
)
from survivor.simulate.drawing import draw_intervals, draw_records

FULL = Cohort(
    methods=(("usual", 0.0), ("rip", -0.5), ("scalp", 0.3)),
    species=(("a", 0.0), ("b", 0.4)),
    planted=(dt.date(2022, 6, 7), dt.date(2022, 8, 9)),
    visit_spread_days=9,
    radius_m=((0.25, 0.75), (0.3, 0.6), (0.4, 0.4)),
    radius_log_hazard=-1.2,
    radius_plateau_m=0.6,
    method_by_site_sd=0.2,
    p_skip=0.1,
    p_lost=0.02,
)


def test_season_cuts_follow_the_calendar_over_new_year() -> None:
    planted = dt.date(2022, 6, 15)
    cuts = season_cuts(planted, ("12-01", "03-31"), 800.0)
    expected = [dt.date(2022, 12, 1), dt.date(2023, 4, 1), dt.date(2023, 12, 1), dt.date(2024, 4, 1)]
    assert cuts.tolist() == [(day - planted).days for day in expected]


def test_a_planting_in_the_dry_season_has_an_empty_first_piece() -> None:
    cuts = season_cuts(dt.date(2023, 1, 10), ("12-01", "03-31"), 400.0)
    assert cuts.tolist() == [0.0, 81.0, 325.0]
    assert np.interp(10.0, *hazard_knots(cuts, (9.0, 0.01))) == pytest.approx(0.1)


def test_dry_season_within_one_year() -> None:
    cuts = season_cuts(dt.date(2022, 3, 1), ("06-01", "08-31"), 300.0)
    assert cuts.tolist() == [92.0, 184.0]


def test_cumulative_hazard_is_piecewise_linear_and_its_last_piece_runs_on() -> None:
    days, cumulative = hazard_knots(np.array([100.0, 200.0]), (0.001, 0.004))
    at = np.interp([50.0, 150.0, 1000.0], days, cumulative)
    assert at == pytest.approx([0.05, 0.1 + 0.2, 0.1 + 900 * 0.004])


def test_average_over_a_normal_effect_matches_monte_carlo() -> None:
    effect = np.random.default_rng(4).normal(0.0, 0.8, 400_000)
    monte_carlo = np.exp(-0.5 * np.exp(0.2 + effect)).mean()
    ours = average_survival(np.array([0.5]), np.array([0.2]), np.ones(1), 0.8)
    assert ours == pytest.approx(monte_carlo, abs=0.002)


def test_average_without_spread_is_the_plain_formula() -> None:
    got = average_survival(np.array([0.3, 0.6]), np.array([0.0, -0.5]), np.array([1.0, 3.0]), 0.0)
    assert got == pytest.approx((np.exp(-0.3) + 3 * np.exp(-0.6 * np.exp(-0.5))) / 4)


def test_simulated_survival_matches_the_truth_in_every_cell() -> None:
    cohort = replace(FULL, sites=3000, blocks=1, seedlings=8, p_skip=0.0, p_lost=0.0)
    seedlings = draw_records(cohort, 7).seedlings
    truth = true_effects(cohort, (150.0, 365.0, 730.0))
    for (day, method), row in truth.table.set_index(["at_day", "method"]).iterrows():
        lived = seedlings.loc[seedlings["method"] == method].assign(y=lambda d, at=day: d["death_day"] > at)
        by_site = lived.groupby("site")["y"].mean()
        error = 100 * by_site.std(ddof=1) / np.sqrt(len(by_site))
        assert abs(100 * by_site.mean() - row["survival"]) < 4 * error, (day, method)


def test_truth_at_given_sites_matches_simulation() -> None:
    cohort = Cohort(site_effects=(-0.8, 0.0, 0.6), sites=3, blocks=800, seedlings=6, plot_sd=0.5)
    lived = draw_records(cohort, 11).seedlings.assign(y=lambda d: d["death_day"] > 365)
    for method, row in true_effects(cohort).at(365.0).iterrows():
        plots = lived[lived["method"] == method].groupby(["site", "block", "plot"])["y"].mean()
        error = 100 * plots.groupby("site").std(ddof=1).pow(2).mean() ** 0.5 / np.sqrt(len(plots))
        assert abs(100 * plots.mean() - row["survival"]) < 4 * error


def summed(frame: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    grouped = frame.groupby(keys, sort=True, dropna=False, observed=True)
    return grouped[["at_risk", "died"]].sum().reset_index()


def test_hazard_ratio_of_the_draw_is_the_conditional_one() -> None:
    cohort = Cohort(plot_sd=0.0, site_sd=0.0, sites=400, blocks=2)
    table = summed(draw_intervals(cohort, 3), ["method", "start_day", "stop_day"])
    table["rate"] = -np.log1p(-table["died"] / table["at_risk"])
    rates = table.pivot_table(index="start_day", columns="method", values="rate", observed=True)
    log_ratio = np.log(rates["alternative"].sum() / rates["usual practice"].sum())
    deaths = table.groupby("method", observed=True)["died"].sum()
    assert abs(log_ratio + 0.5) < 4 * np.sqrt((1 / deaths).sum())


def test_averaging_draws_the_log_hazard_ratio_towards_zero() -> None:
    truth = true_effects(Cohort(plot_sd=0.8, site_sd=0.6)).at(365.0)
    assert truth.loc["alternative", "log_hazard_ratio"] == -0.5
    assert -0.5 < truth.loc["alternative", "averaged_log_hazard_ratio"] < -0.3
    held = true_effects(Cohort(plot_sd=0.0, site_sd=0.0)).at(365.0)
    assert held.loc["alternative", "averaged_log_hazard_ratio"] == pytest.approx(-0.5)


def test_truth_counts_differences_from_the_first_method() -> None:
    truth = true_effects(FULL, (365.0,)).at(365.0)
    assert truth.loc["usual", "difference"] == 0.0
    assert truth.loc["rip", "difference"] == pytest.approx(
        truth.loc["rip", "survival"] - truth.loc["usual", "survival"]
    )


def test_dose_rises_with_the_radius_and_stops_at_the_plateau() -> None:
    dose = true_dose(FULL, (0.3, 0.45, 0.6, 0.75), 365.0)["survival"].to_numpy()
    assert dose[0] < dose[1] < dose[2]
    assert dose[3] == dose[2]


@pytest.mark.parametrize("collapsed", [True, False])
def test_intervals_are_valid_and_sized(collapsed: bool) -> None:
    frame = draw_intervals(FULL, 5, collapsed=collapsed)
    check_intervals(frame)
    counted = tally(frame)
    assert counted["plots"] == FULL.n_plots == 48
    assert counted["sites"] == 8
    assert frame["method"].cat.categories.tolist() == ["usual", "rip", "scalp"]
    assert (frame["dry_season"] == "12-01 to 03-31").all()
    watched = replace(FULL, p_skip=0.0, p_lost=0.0)
    assert tally(draw_intervals(watched, 5, collapsed=collapsed))["seedlings"] == 48 * 20


def test_collapsing_loses_no_seedling() -> None:
    keys = ["site", "block", "plot", "species", "start_day", "stop_day"]
    alone, together = (draw_intervals(FULL, 5, collapsed=flag) for flag in (False, True))
    pd.testing.assert_frame_equal(summed(alone, keys), summed(together, keys))


def test_records_and_intervals_of_one_seed_tell_the_same_story() -> None:
    visits = draw_records(FULL, 5).visits
    told = visits[visits["state"].isin(["alive", "dead"])]
    deaths = told[told["state"] == "dead"].groupby(["site", "block", "plot", "tag"], sort=True)["day"].min()
    rows = draw_intervals(FULL, 5, collapsed=False)
    died = rows[rows["died"] == 1].set_index(["site", "block", "plot", "tag"])["stop_day"].sort_index()
    assert died.index.equals(deaths.index)
    assert (died == deaths).all()


def test_dead_on_the_day_of_a_visit_is_in_the_interval_that_stops_there() -> None:
    drawn = draw_records(replace(FULL, p_skip=0.0, p_lost=0.0), 9)
    day_of = drawn.seedlings.set_index(["plot", "block", "site", "tag"])["death_day"]
    seen = drawn.visits.set_index(["plot", "block", "site", "tag"])
    death = day_of.reindex(seen.index)
    assert ((seen["state"] == "dead") == (death <= seen["day"])).all()


def test_visit_days_stay_in_order_under_a_wide_spread() -> None:
    cohort = Cohort(visit_days=((5, 10, 15, 20),), visit_spread_days=12, sites=60)
    days = (
        draw_records(cohort, 2).visits.drop_duplicates(["site", "visit"]).pivot(index="site", columns="visit")
    )
    assert (np.diff(days["day"].to_numpy(), axis=1) > 0).all()
    assert (days["day"].to_numpy() > 0).all()


def test_the_seed_decides_everything() -> None:
    pd.testing.assert_frame_equal(draw_intervals(FULL, 1), draw_intervals(FULL, 1))
    assert not draw_intervals(FULL, 1)["died"].equals(draw_intervals(FULL, 2)["died"])
    rng = np.random.default_rng(1)
    first, second = draw_intervals(FULL, rng), draw_intervals(FULL, rng)
    pd.testing.assert_frame_equal(first, draw_intervals(FULL, 1))
    assert not first["died"].equals(second["died"])


def test_parameters_are_frozen() -> None:
    name = "sites"
    with pytest.raises(FrozenInstanceError):
        setattr(FULL, name, 3)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("sites", 0),
        ("seedlings", 0),
        ("plot_sd", -0.1),
        ("p_lost", 1.0),
        ("methods", (("a", 0.0), ("a", 1.0))),
        ("planted", ()),
        ("hazards", ()),
        ("visit_days", ((10, 20), (10,))),
        ("visit_days", ((10, 10),)),
        ("visit_days", ((0, 10),)),
        ("site_effects", (0.1,)),
        ("radius_m", ((0.5, 0.2),)),
    ],
)
def test_refuses_parameters_that_no_cohort_can_have(name: str, value: object) -> None:
    with pytest.raises(SimulationError, match=f"parameter {name}"):
        replace(Cohort(), **{name: value})
