"""Limits of a ratio against those reckoned from the figures of a book, and by how often they hold it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from survivor.costs.breakeven import fieller

# Glick, Doshi, Sonnad and Polsky, Economic Evaluation in Clinical Trials, experiment 1: the inputs are
# from memory (rounded), the limits were computed from these inputs by the quadratic of the formula.
COST, COST_SE = 1000.0, 324.0
EFFECT, EFFECT_SE = 0.01, 0.001925
TOGETHER = -0.71004 * COST_SE * EFFECT_SE


def test_limits_of_a_published_experiment():
    found = fieller(COST, EFFECT, COST_SE**2, EFFECT_SE**2, TOGETHER)
    assert found.bounded
    assert (found.lower, found.upper) == (pytest.approx(28_468, abs=3), pytest.approx(244_401, abs=12))
    # As remembered from the book, whose own inputs had more figures.
    assert found.lower == pytest.approx(28_200, rel=0.02)
    assert found.upper == pytest.approx(245_200, rel=0.02)


def test_limits_of_a_published_experiment_by_t():
    df = optimize.brentq(lambda df: stats.t.ppf(0.975, df) - 1.965, 50, 5000)
    found = fieller(COST, EFFECT, COST_SE**2, EFFECT_SE**2, TOGETHER, df)
    assert (found.lower, found.upper) == (pytest.approx(28_327, abs=3), pytest.approx(244_977, abs=12))


def test_limits_are_the_ratios_that_are_not_clear():
    found = fieller(3.0, 0.2, 0.5, 0.05**2, 0.001, 12.0)
    for ratio in (found.lower, found.upper):
        spread = math.sqrt(0.5 - 2 * ratio * 0.001 + ratio**2 * 0.05**2)
        assert abs(3.0 - ratio * 0.2) / spread == pytest.approx(stats.t.ppf(0.975, 12.0))


@pytest.mark.parametrize("df", [0.0, math.nan])
def test_without_degrees_of_freedom_there_are_no_limits(df):
    assert not fieller(3.0, 0.2, 0.5, 0.05**2, 0.0, df).bounded


def test_a_difference_that_is_not_clear_has_no_interval():
    clear = stats.t.ppf(0.975, 8.0) * 0.05
    assert fieller(1.0, 1.001 * clear, 0.1, 0.05**2, 0.0, 8.0).bounded
    none = fieller(1.0, 0.999 * clear, 0.1, 0.05**2, 0.0, 8.0)
    assert not none.bounded
    assert math.isnan(none.lower)
    assert math.isnan(none.upper)


def test_limits_hold_the_ratio_in_95_of_100():
    rng = np.random.default_rng(5)
    truth, held, clear = 20.0, 0, 0
    for effect, cost in zip(rng.normal(0.1, 0.02, 4000), rng.normal(2.0, 0.3, 4000), strict=True):
        found = fieller(cost, effect, 0.3**2, 0.02**2)
        clear += found.bounded
        held += found.lower <= truth <= found.upper if found.bounded else True
    assert clear > 3900
    assert held / 4000 == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 4000))
