"""Spread of plots on two scales, and as a past study tells it."""

import math
from pathlib import Path

import numpy as np
import pytest

from survivor.errors import PlanError
from survivor.planning.variation import (
    cumulative_for,
    moments,
    of_study,
    sd_from_correlation,
    spread,
    spread_of,
    wider,
)
from survivor.proportions import plot_correlation
from tests.planning.making import small_plan

DATASETS = Path(__file__).parent.parent.parent / "datasets"


@pytest.mark.parametrize("correlation", [0.02, 0.1, 0.3])
@pytest.mark.parametrize("site_sd", [0.0, 0.6])
def test_a_correlation_and_its_spread_are_one_thing(correlation, site_sd):
    sd = sd_from_correlation(0.62, correlation, site_sd)
    back = moments(cumulative_for(0.62, math.hypot(sd, site_sd)), sd, site_sd)[1]
    assert back == pytest.approx(correlation, abs=1e-6)


def test_the_correlation_is_that_of_drawn_plots():
    # Analysis of variance of 40,000 drawn plots (Donner and Klar 2000, ch. 1) against the integral.
    rng = np.random.default_rng(3)
    found = spread(0.6, 0.7, 0.6)
    chance = np.exp(-found.cumulative * np.exp(rng.normal(0, 0.6, 40_000)))
    alive = rng.binomial(20, chance)
    assert alive.mean() / 20 == pytest.approx(0.6, abs=0.003)
    assert plot_correlation(alive, np.full(40_000, 20)).icc == pytest.approx(found.correlation, abs=0.004)


def test_sites_alike_leave_the_variance_of_the_books():
    whole, correlation = moments(cumulative_for(0.7, 0.0), 0.0, 0.0)
    assert whole == pytest.approx(0.21)
    assert correlation == pytest.approx(0.0, abs=1e-12)


def test_no_spread_makes_plots_as_alike_as_that():
    with pytest.raises(PlanError, match="alike"):
        sd_from_correlation(0.6, 0.98)


@pytest.mark.slow
def test_a_past_study_tells_the_spread_it_was_drawn_with():
    # The demo cohort was drawn with a plot SD of 0.5 and site effects whose SD is 0.35 (truth.json).
    plot_sd, upper, site_sd, source = of_study(DATASETS / "tagged")
    assert plot_sd < upper
    assert plot_sd == pytest.approx(0.5, abs=0.12)
    assert site_sd == pytest.approx(0.35, abs=0.2)
    assert "96 plots, 8 sites" in source


def test_plots_at_the_upper_limit_keep_the_survival_expected():
    plan = small_plan()
    found = spread(0.6, 0.75, 0.4, plot_sd_upper=0.7)
    wide = wider(plan, found)
    assert wide is not None
    assert wide.plot_sd == 0.7
    assert wide.correlation > found.correlation
    assert wider(plan, spread_of(plan, Path())) is None


def test_a_study_that_is_not_there_is_said():
    plan = small_plan(variation={"plot_sd": None, "from_study": "nowhere"})
    with pytest.raises(PlanError, match="past study") as fault:
        spread_of(plan, DATASETS)
    assert "plot_correlation" in str(fault.value)
