"""Limits that respect plots: by hand, at the edges, and how often they hold the truth."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.curves import curve
from survivor.proportions import effective_number, plot_correlation, wilson
from tests.curves.making import plots


def holding(seasons: list[pd.DataFrame], truth: float, **options: Any) -> int:
    """Count the seasons (told apart by ``run``) whose limits at a year hold the truth."""
    curves = curve(pd.concat(seasons, ignore_index=True), by="run", **options)
    limits = [curves[run].limits(365) for run in range(len(seasons))]
    return sum(lower <= truth <= upper for lower, upper in limits)


def test_jackknife_by_hand_with_one_interval():
    """With one visit survival is alive over planted, and leaving out a plot is a subtraction."""
    died, size = np.array([3, 6, 5, 9]), np.array([20, 25, 15, 20])
    frame = pd.DataFrame(
        {"plot": list("ABCD"), "start_day": 0, "stop_day": 90, "at_risk": size, "died": died}
    )
    alive = size - died
    survival = alive.sum() / size.sum()
    without = (alive.sum() - alive) / (size.sum() - size)
    theta, each = np.log(-np.log(survival)), np.log(-np.log(without))
    error = np.sqrt(3 / 4 * ((each - theta) ** 2).sum())
    half = stats.t.ppf(0.975, 3) * error
    expected = (survival ** np.exp(half), survival ** np.exp(-half))
    assert curve(frame)["all"].limits(90) == pytest.approx(expected, abs=1e-12)


def test_strata_take_differences_between_sites_out():
    """Two sites far apart, plots within a site nearer each other: degrees of freedom plots less strata.

    Plots are large, so that what they differ by is more than chance.
    """
    died = np.array([20, 30, 20, 120, 130, 120])
    frame = pd.DataFrame(
        {
            "site": list("NNNSSS"),
            "plot": list("ABCABC"),
            "start_day": 0,
            "stop_day": 90,
            "at_risk": 200,
            "died": died,
        }
    )
    survival = 1 - died.sum() / 1200
    theta = np.log(-np.log(survival))
    squares = 0.0
    for plot in range(6):
        weight = np.where(frame["site"] == frame["site"][plot], 1.5, 1.0)
        weight[plot] = 0
        squares += 2 / 3 * (np.log(-np.log(1 - (weight * died).sum() / (weight * 200).sum())) - theta) ** 2
    half = stats.t.ppf(0.975, 4) * np.sqrt(squares)
    within = curve(frame, strata="site")["all"].limits(90)
    assert within == pytest.approx((survival ** np.exp(half), survival ** np.exp(-half)), abs=1e-12)
    across = curve(frame)["all"].limits(90)
    assert across[1] - across[0] > 3 * (within[1] - within[0])


@pytest.mark.parametrize("died", [(10, 10, 2, 2, 5, 6), (10, 10, 2, 2, 5, 5)])
def test_plots_alike_by_luck_have_no_limits_narrower_than_independent_seedlings(died):
    """Without the floor the first gives 0.68 to 0.73; 120 independent seedlings alone +-0.08 (binomial)."""
    frame = pd.DataFrame(
        {"site": list("aabbcc"), "plot": list("121212"), "start_day": 0, "stop_day": 365, "at_risk": 20}
    ).assign(died=died)
    lower, upper = curve(frame, strata="site")["all"].limits(365)
    alone = curve(frame, cluster=None)["all"].limits(365)
    share = 1 - sum(died) / 120
    assert alone[1] - alone[0] == pytest.approx(2 * 1.96 * np.sqrt(share * (1 - share) / 120), rel=0.03)
    assert lower <= alone[0]
    assert upper >= alone[1]
    assert upper - lower < 0.3  # and near each other: one more death of 120 tells little


def test_few_deaths_alike_in_the_plots_that_had_them():
    """2 of 685 dead, one in each plot of a site: Greenwood's log-log limits are 98.8 to 99.9."""
    died = np.zeros(24, dtype=int)
    died[:2] = 1
    frame = pd.DataFrame(
        {"site": np.repeat(np.arange(12), 2), "plot": np.tile([1, 2], 12), "start_day": 0, "stop_day": 24}
    ).assign(at_risk=28, died=died)
    lower, upper = curve(frame, strata="site")["all"].limits(24)
    survival = 1 - 2 / (24 * 28)
    half = 1.96 * np.sqrt(2 / (672 * 670)) / -np.log(survival)
    assert lower <= survival ** np.exp(half) + 1e-6
    assert upper >= survival ** np.exp(-half) - 1e-6


@pytest.mark.slow
@pytest.mark.parametrize(
    ("alive", "per_site", "icc"),
    [((0.7,), 4, 0.0), ((0.99,), 12, 0.0), ((0.5, 0.9, 0.7), 2, 0.0), ((0.9,) * 5, 2, 0.05)],
)
def test_limits_hold_the_truth_with_few_deaths_few_plots_and_strata(alive, per_site, icc):
    """Plots of 25, beta-distributed between plots of a site; 94 of 100, less 2.5 Monte Carlo errors."""
    rng, runs = np.random.default_rng(31), 300
    share = np.repeat(alive, per_site)
    frame = pd.DataFrame(
        {
            "site": np.repeat(np.arange(len(alive)), per_site),
            "plot": np.arange(len(share)),
            "start_day": 0,
            "stop_day": 365,
            "at_risk": 25,
        }
    )
    seasons = []
    for run in range(runs):
        chance = rng.beta(share * (1 / icc - 1), (1 - share) * (1 / icc - 1)) if icc else share
        seasons.append(frame.assign(died=rng.binomial(25, 1 - chance), run=run))
    held = holding(seasons, share.mean(), strata="site")
    assert held / runs >= 0.94 - 2.5 * np.sqrt(0.06 * 0.94 / runs)


def test_labels_that_repeat_across_sites_are_different_plots():
    frame = plots(np.random.default_rng(5), number=8, plot_sd=0.6, sites=2)
    renamed = frame.assign(plot=frame["plot"].map(lambda p: f"P{int(p[1:]) // 2}"))
    pd.testing.assert_frame_equal(curve(frame).table, curve(renamed).table)


def test_strata_of_one_plot_are_put_together():
    frame = plots(np.random.default_rng(6), number=5, plot_sd=0.5).assign(site=lambda f: f["plot"])
    alone = curve(frame, strata="site")
    pd.testing.assert_frame_equal(alone.table, curve(frame).table)
    assert "5 strata hold one plot each and were put together with others" in alone.notes


def test_everything_alive_has_limits_on_the_effective_number():
    frame = pd.DataFrame(
        {
            "method": ["A"] * 4 + ["B"] * 4,
            "plot": list("abcdefgh"),
            "start_day": 0,
            "stop_day": 90,
            "at_risk": 20,
            "died": [0, 0, 0, 0, 1, 9, 2, 6],
        }
    )
    curves = curve(frame, by="method")
    icc = plot_correlation(20 - frame["died"], np.full(8, 20), [0] * 4 + [1] * 4).icc
    worth = effective_number(80, 1 + 19 * icc, df=3)
    assert curves["A"].limits(90) == pytest.approx(tuple(float(x) for x in wilson(worth, worth)))
    assert curves["A"].limits(90)[0] < 0.9  # 80 of 80 seedlings alone would claim 0.95
    assert f"correlation of seedlings within a plot of {icc:.2f}" in curves.limits


def test_nobody_died_anywhere_takes_a_stated_correlation():
    frame = pd.DataFrame({"plot": list("abcd"), "start_day": 0, "stop_day": 90, "at_risk": 20, "died": 0})
    curves = curve(frame)
    worth = effective_number(80, 1 + 19 * 0.2, df=3)
    assert curves["all"].limits(90) == pytest.approx(tuple(float(x) for x in wilson(worth, worth)))
    assert "correlation of seedlings within a plot of 0.20" in curves.limits


def test_plots_exactly_alike_are_not_certainty():
    frame = pd.DataFrame({"plot": list("abc"), "start_day": 0, "stop_day": 90, "at_risk": 10, "died": 2})
    lower, upper = curve(frame)["all"].limits(90)
    assert lower < 0.65
    assert upper > 0.9


def test_one_plot_has_a_curve_and_no_limits():
    frame = pd.DataFrame({"plot": ["a"], "start_day": 0, "stop_day": 90, "at_risk": 10, "died": 2})
    curves = curve(frame)
    assert curves.at(90) == pytest.approx(0.8)
    assert np.isnan(curves["all"].limits(90)).all()
    assert "one plot only, so no limits can be given" in curves.notes


def test_no_limits_after_the_last_day_with_two_plots():
    frame = pd.DataFrame(
        {
            "plot": list("abca"),
            "start_day": [0, 0, 0, 90],
            "stop_day": [90, 90, 90, 200],
            "at_risk": [10, 10, 10, 8],
            "died": [2, 1, 3, 2],
        }
    )
    curves = curve(frame)
    assert np.isfinite(curves["all"].limits(90)).all()
    assert np.isnan(curves["all"].limits(200)).all()
    assert "no limits after day 90, the last on which two plots were watched" in curves.notes


@pytest.mark.parametrize("estimator", ["kaplan-meier", "turnbull"])
def test_many_plots_left_out_in_blocks_or_groups_agree(estimator, monkeypatch):
    """Cutting the work into blocks changes nothing; dealing plots into groups changes little."""
    frame = plots(np.random.default_rng(7), number=240, size=10, plot_sd=0.5, sites=4)
    plain = curve(frame, strata="site")
    if estimator == "kaplan-meier":
        monkeypatch.setattr("survivor.curves.limits._CELLS_AT_ONCE", 50)
        pd.testing.assert_frame_equal(curve(frame, strata="site").table, plain.table)
    else:
        dealt = curve(frame, strata="site", estimator="turnbull")
        width = plain["all"].limits(365)[1] - plain["all"].limits(365)[0]
        found = dealt["all"].limits(365)[1] - dealt["all"].limits(365)[0]
        assert found == pytest.approx(width, rel=0.25)


def test_restricted_mean_by_plots_by_hand():
    frame = plots(np.random.default_rng(8), number=5, plot_sd=0.5)
    curves = curve(frame)
    found = curves.restricted_mean(300).iloc[0]
    left_out = [frame[frame["plot"] != plot] for plot in frame["plot"].unique()]
    without = [curve(rest).restricted_mean(300)["estimate"].iloc[0] for rest in left_out]
    error = np.sqrt(4 / 5 * ((np.array(without) - found["estimate"]) ** 2).sum())
    assert found["std_error"] == pytest.approx(error)
    half = stats.t.ppf(0.975, 4) * error
    assert (found["lower"], found["upper"]) == pytest.approx(
        (found["estimate"] - half, found["estimate"] + half)
    )


@pytest.mark.slow
def test_limits_by_plot_hold_the_truth_where_greenwoods_do_not():
    """8 plots of 25, plot SD 0.6 on the log-hazard scale: seedlings of a plot live and die together."""
    rng = np.random.default_rng(20)
    hazards, runs = (0.05, 0.3, 0.1, 0.1), 250
    factor = np.exp(np.random.default_rng(1).normal(0, 0.6, 400_000))
    truth = np.exp(-sum(hazards) * factor).mean()
    seasons = [plots(rng, hazards, number=8, plot_sd=0.6).assign(run=run) for run in range(runs)]
    assert 0.91 <= holding(seasons, truth, cluster="plot") / runs <= 0.985
    assert holding(seasons, truth, cluster=None) / runs < 0.75
