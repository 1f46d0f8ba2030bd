"""Sample sizes against published numbers and another library."""

import dataclasses
import math

import pytest
from statsmodels.stats.power import TTestPower, normal_power_het

from survivor.planning.closed_form import (
    half_width,
    plots_needed,
    power_of_events,
    power_of_proportions,
    standard_error,
)
from survivor.proportions import design_effect_from_icc
from tests.planning.making import (
    alike_sites,
    cheapest_seedlings,
    events_needed,
    proportions_needed,
    seedlings_for_events,
)

ROUNDED = (1.96 + 0.84) ** 2  # the quantiles of the MRC CBU page


def test_the_published_case_of_the_events_formula():
    # MRC Cognition and Brain Sciences Unit, statistics FAQ: survival .75 against .37, 5 % two-sided,
    # 80 % power: 20.39 events and 47 subjects, with rounded quantiles.
    ratio = math.log(0.37) / math.log(0.75)
    exact = events_needed(ratio)
    assert exact == pytest.approx(20.414076, abs=1e-6)  # scipy's quantiles
    quantiles = events_needed(ratio) * math.log(ratio) ** 2 / 4
    assert exact * ROUNDED / quantiles == pytest.approx(20.39, abs=0.005)
    assert math.ceil(seedlings_for_events(exact, 0.75, 0.37)) == 47


@pytest.mark.parametrize(
    ("ratio", "power", "share", "events"),
    [
        # Collett, Modelling Survival Data in Medical Research, ch. 10 prints 133 (from memory).
        (math.exp(-0.5621), 0.9, 0.5, 133.0237),
        # Schoenfeld's formula with scipy 1.17 quantiles.
        (0.5, 0.8, 0.5, 65.345659),
        (0.5, 0.9, 0.5, 87.479298),
        (1.5, 0.8, 0.5, 190.968040),
        (0.5, 0.8, 2 / 3, 73.513867),
        (2.0, 0.8, 0.5, 65.345659),
    ],
)
def test_events(ratio, power, share, events):
    assert events_needed(ratio, power, share) == pytest.approx(events, rel=1e-6)


@pytest.mark.parametrize(
    ("size", "icc", "variation", "effect"),
    [(50, 0.05, 0.0, 3.45), (20, 0.01, 0.0, 1.19), (20, 0.05, 0.4, 2.11), (20, 0.15, 0.0, 3.85)],
)
def test_the_design_effect_widens_the_error_by_its_root(size, icc, variation, effect):
    # 1 + ((1 + cv^2) m - 1) rho: Donner and Klar 2000; unequal sizes by hand.
    assert design_effect_from_icc(size, icc, variation) == pytest.approx(effect, abs=1e-9)
    alone = dataclasses.replace(alike_sites(0.6, 0.7, 0.0), unequal=variation)
    plots = dataclasses.replace(alone, correlation=icc)
    widened = standard_error(plots, 10, size) / standard_error(alone, 10, size)
    assert widened**2 == pytest.approx(effect, abs=1e-9)


def test_two_proportions_agree_with_statsmodels():
    number = proportions_needed(0.6, 0.7)
    spread = math.sqrt((0.24 + 0.21) / 2)
    power = normal_power_het(0.1, number, 0.05, spread * math.sqrt(2), spread * math.sqrt(2))
    assert power == pytest.approx(0.8, abs=1e-6)


@pytest.mark.parametrize(("plots", "difference"), [(3, 0.4), (8, 0.15), (24, 0.1), (60, 0.08)])
def test_power_in_blocks_is_that_of_a_paired_t_test(plots, difference):
    # statsmodels' non-central t: a difference a block, blocks less one degrees of freedom.
    arms = alike_sites(0.5, 0.5 + difference, 0.12)
    of_block = standard_error(arms, 1, 20)
    oracle = TTestPower().power(difference / of_block, nobs=plots, alpha=0.05)
    assert power_of_proportions(arms, plots, 20) == pytest.approx(float(oracle), abs=2e-5)


def test_power_is_a_number_however_large_the_difference():
    arms = alike_sites(0.1, 0.99, 0.0)
    assert power_of_proportions(arms, 500, 50) == pytest.approx(1.0)
    assert power_of_events(arms, 500, 50) == pytest.approx(1.0)
    assert power_of_proportions(arms, 1, 50) == 0.0  # one block has no degrees of freedom


def test_the_two_formulas_meet_where_hazards_are_near():
    # Both describe one test; they part only as the hazards move apart.
    arms = alike_sites(0.60, 0.65, 0.1)
    assert power_of_events(arms, 80, 20) == pytest.approx(power_of_proportions(arms, 80, 20), abs=0.01)


def test_plots_needed_is_the_first_that_is_enough():
    arms = alike_sites(0.6, 0.7, 0.1)
    plots = plots_needed(lambda number: power_of_proportions(arms, number, 20))
    assert plots is not None
    assert power_of_proportions(arms, plots, 20) >= 0.8 > power_of_proportions(arms, plots - 1, 20)
    # Many plots: the normal formula with the design effect, two or so plots short of the t test.
    normal = proportions_needed(0.6, 0.7) * design_effect_from_icc(20, 0.1) / 20
    assert normal < plots < normal + 3


def test_no_number_of_plots_shows_nothing():
    assert plots_needed(lambda number: 0.05) is None


def test_limits_of_few_plots_are_wide():
    arms = alike_sites(0.6, 0.7, 0.1)
    # t on one degree of freedom is 12.7 errors.
    assert half_width(arms, 2, 20) == pytest.approx(12.7062 * standard_error(arms, 2, 20), rel=1e-4)
    assert half_width(arms, 1, 20) == math.inf


def test_the_cheapest_split_has_the_smallest_error():
    # Cochran 1977, Sampling Techniques, ch. 10: the root's whole neighbours are the best whole numbers.
    arms = alike_sites(0.6, 0.7, 0.1)
    best = cheapest_seedlings(100, 4, 0.1)
    assert best == pytest.approx(15.0)
    errors = {m: standard_error(arms, 10_000 / (100 + 4 * m), m) for m in range(2, 60)}
    assert min(errors, key=errors.get) == 15
    assert cheapest_seedlings(100, 4, 0.0) == math.inf
