"""Increments, dominance, break-even and best value against what can be reckoned by hand."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.costs.breakeven import break_even, fieller
from survivor.costs.differences import draw_gaps, gaps
from survivor.costs.draws import Costed
from survivor.costs.increments import increments
from survivor.costs.prices import Price
from survivor.costs.value import best_value, worth_range
from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.models.fitted import Estimates
from survivor.settings import Cost
from tests.effects.making import FakeFit, planting

ALIVE = {"usual": 0.6, "spot": 0.8, "rip": 0.7}


class ByDifference(FakeFit):
    """A stand-in whose differences have other degrees of freedom than its survivals."""

    def average_survival(self, cells, weights, at):
        found = super().average_survival(cells, weights, at)
        differs = (np.asarray(weights) < 0).any(axis=1)
        return Estimates(found.estimate, found.covariance, np.where(differs, 6.0, 40.0))


def fit_of(alive=ALIVE, std_error=0.03, kind=FakeFit, df=np.inf):
    frame = planting({"Oddle Flat": dict.fromkeys(alive, 5)})
    return kind(frame, lambda cell: alive[cell["method"]], std_error=std_error, df=df)


def priced(**cost):
    return [
        Price.of(name, each if isinstance(each, Cost) else Cost(per_plant=each))
        for name, each in cost.items()
    ]


def made(fit, prices, draws=20_000, seed=2):
    """Differences between all methods of a fit, and the methods with their costs."""
    names = fit.data["method"].cat.categories.tolist()
    costed = Costed.of(survival(fit, at=365), dict(zip(names, prices, strict=True)), "$", draws, seed)
    return gaps(fit, "method", 365, names), costed


def drawn(found, costed):
    return draw_gaps(found, 0, costed.draws, costed.random("differences"))


def test_increments_are_against_the_usual_practice_in_order_of_cost_per_100_planted():
    prices = priced(usual=3.0, spot=5.0, rip=3.9)
    found, costed = made(fit_of(), prices)
    result = increments(found, costed, 0)
    table = result.table.set_index("method")
    assert table.index.tolist() == ["rip", "spot"]
    assert table["against"].eq("usual").all()
    columns = ["extra_cost", "extra_alive", "cost_per_extra"]
    for name, numbers in {"rip": [90.0, 10.0, 9.0], "spot": [200.0, 20.0, 10.0]}.items():
        assert table.loc[name, columns].tolist() == pytest.approx(numbers)
    # Costs without a range have no spread: limits of the ratio are those of the difference turned over.
    half = stats.norm.ppf(0.975) * math.sqrt(2) * 0.03
    assert table.loc["rip", "cost_per_extra_upper"] == pytest.approx(0.9 / (0.1 - half))
    assert table.loc["rip", "cost_per_extra_lower"] == pytest.approx(0.9 / (0.1 + half))
    assert "Against “usual”, 100 plants of “rip” cost $90.00 more and 10 more were alive" in result.statement


@pytest.mark.parametrize(
    ("spot", "alive", "dominated"),
    [
        (Cost(per_plant=5.0, low=4.0, high=6.0), 0.4, True),
        (Cost(per_plant=3.0), 0.4, True),  # as dear, and fewer alive
        (Cost(per_plant=3.5, low=2.0, high=6.0), 0.4, False),  # it may be the cheaper one
        (Cost(per_plant=5.0, low=4.0, high=6.0), 0.58, False),  # fewer alive are not shown
        (Cost(per_plant=2.0), 0.4, False),
    ],
)
def test_a_method_is_called_dominated_only_where_both_are_shown(spot, alive, dominated):
    prices = priced(usual=Cost(per_plant=3.0), spot=spot)
    found, costed = made(fit_of({"usual": 0.6, "spot": alive}), prices)
    result = increments(found, costed, 0)
    assert bool(result.table["dominated"].iloc[0]) is dominated
    assert ("costs no less than “usual” and had fewer alive" in result.statement) is dominated
    assert math.isnan(result.table["cost_per_extra"].iloc[0])


def test_a_difference_has_the_number_that_the_contrasts_have():
    """At one site all three, at the other two of them, which live less there: 100 planted are not alike."""
    frame = planting({"Oddle Flat": {"usual": 5, "spot": 5, "rip": 2}, "Wenlow Rise": {"usual": 5, "rip": 5}})
    fit = FakeFit(frame, lambda cell: ALIVE[cell["method"]] * (1.0 if cell["site"] == "Oddle Flat" else 0.5))
    told = contrasts(fit, pairs="all").table
    found = gaps(fit, "method", 365, ["usual", "spot", "rip"])
    for line in told.to_dict("records"):
        first, second = (found.methods.index(line[name]) for name in ("method", "against"))
        for name in ("estimate", "lower", "upper"):
            assert 100 * getattr(found, name)[first, second] == pytest.approx(line[name])
        assert 100 * found.lower[second, first] == pytest.approx(-line["upper"])
    assert found.estimate[1, 0] == pytest.approx(0.2)
    assert found.survival[1] - found.survival[0] < 0.16  # over the whole planting it would be less
    assert found.ratio[1, 0] == pytest.approx(0.8 / 0.6)


@pytest.mark.slow
def test_limits_of_increments_have_the_degrees_of_freedom_of_the_difference():
    prices = priced(usual=3.0, spot=Cost(per_plant=5.0, low=4.0, high=6.0))
    fit = fit_of({"usual": 0.6, "spot": 0.8}, kind=ByDifference)
    found, costed = made(fit, prices, draws=200_000)
    line = increments(found, costed, 0).table.iloc[0]
    half = 100 * stats.t.ppf(0.975, 6.0) * math.sqrt(2) * 0.03
    assert (line["lower"], line["upper"]) == pytest.approx((20 - half, 20 + half))
    variance = stats.triang(0.5, 4.0, 2.0).var()
    by_hand = fieller(2.0, 0.2, variance, 2 * 0.03**2, 0.0, 6.0)
    assert line["cost_per_extra_upper"] == pytest.approx(by_hand.upper)
    # The draws have them too: t on 6, not on the 40 of either survival.
    ends = np.quantile(drawn(found, costed)[:, 1], [0.025, 0.975])
    assert 100 * ends == pytest.approx([20 - half, 20 + half], abs=0.1)


def test_without_a_clear_difference_an_extra_plant_has_no_price():
    prices = priced(usual=3.0, spot=5.0)
    found, costed = made(fit_of({"usual": 0.6, "spot": 0.62}), prices)
    result = increments(found, costed, 0)
    line = result.table.iloc[0]
    assert (line["cost_reads"], line["alive_reads"]) == ("more", "not enough evidence to say")
    assert math.isnan(line["cost_per_extra"])
    assert result.statement == (
        "There is not enough evidence that more were alive under “spot”, "
        "so an extra plant has no price there."
    )


@pytest.mark.slow
def test_draws_with_one_number_of_degrees_of_freedom_are_a_multivariate_t():
    fit = fit_of(kind=ByDifference)
    gap = drawn(*made(fit, priced(usual=3.0, spot=5.0, rip=4.0), draws=200_000))
    # spot less rip, though drawn through usual, is t on the same 6 with its own spread.
    scaled = (gap[:, 1] - gap[:, 2] - 0.1) / (math.sqrt(2) * 0.03)
    assert np.quantile(scaled, [0.025, 0.25, 0.975]) == pytest.approx(
        stats.t.ppf([0.025, 0.25, 0.975], 6.0), abs=0.06
    )


@pytest.mark.parametrize(("kind", "law"), [(FakeFit, stats.norm), (ByDifference, stats.t(6.0))])
def test_chance_of_the_best_value_of_two_is_that_of_the_net_benefit(kind, law):
    """Acceptability is the law of net benefit over its standard error (SEEN, net-benefit appendix)."""
    prices = priced(usual=3.0, spot=5.0)
    fit = fit_of({"usual": 0.6, "spot": 0.8}, kind=kind)
    found, costed = made(fit, prices, draws=100_000)
    result = best_value(found, costed, 0, (0.0, 30.0))
    spot = result.table[result.table["method"] == "spot"].set_index("worth")
    for worth in (3.0, 9.0, 10.5, 15.0, 30.0):
        benefit = worth * 0.2 - 2.0
        by_hand = law.cdf(benefit / (worth * math.sqrt(2) * 0.03))
        row = spot.loc[worth]
        assert row["probability"] == pytest.approx(by_hand, abs=4 * row["probability_error"] + 1e-4)
        # Under 5 for a living plant neither repays its cost: nobody is the best value there.
        assert row["best"] == (benefit > 0 and worth > 5.0)
    assert result.table.groupby("worth")["probability"].sum().to_numpy() == pytest.approx(1.0)
    # An established plant costs 3.0 / 0.6; 2.0 more for each plant put in, 0.2 more alive: 10 for each extra.
    assert result.lowest == pytest.approx(5.0)
    ranges = result.ranges.set_index("method")[["worth_from", "worth_to"]]
    assert ranges.loc["usual"].tolist() == pytest.approx([5.0, 10.0])
    assert ranges.loc["spot"].tolist() == pytest.approx([10.0, 30.0])
    assert result.statement.startswith("Below $5.00 for a living plant none repays its cost. ")
    # The chances told of a range are those of rows of the table, its ends among them.
    for line in result.ranges.to_dict("records"):
        own = result.table[result.table["method"] == line["method"]].set_index("worth")["probability"]
        assert {line["chance_low"], line["chance_high"]} <= set(own)
        assert {line["worth_from"], line["worth_to"]} <= set(own.index)
    assert result.table["probability_error"].max() == pytest.approx(math.sqrt(0.25 / 100_000), rel=0.05)


def test_what_a_plant_is_worth_changes_places_at_the_cost_of_an_extra_one():
    prices = priced(usual=3.0, spot=5.0, rip=3.9)
    found, costed = made(fit_of(), prices)
    result = best_value(found, costed, 0, (0.0, 20.0))
    lead = result.table[result.table["best"]].set_index("worth")["method"]
    # From usual to rip 9 for each extra plant, from rip to spot 11.
    assert lead.loc[[8.5, 9.5, 10.5, 11.5]].tolist() == ["usual", "rip", "rip", "spot"]


def test_the_range_of_worth_is_round_and_over_twice_the_dearest():
    assert worth_range(7.1, None, None) == (0.0, 20.0)
    assert worth_range(4.9, None, None) == (0.0, 10.0)
    assert worth_range(5.1, 2.0, 12.0) == (2.0, 12.0)
    assert worth_range(math.inf, None, None) == (0.0, 1.0)


@pytest.mark.slow
def test_break_even_is_cost_by_the_ratio_of_survivals_with_limits_of_the_log_ratio():
    prices = priced(usual=3.0, spot=5.0)
    fit = fit_of({"usual": 0.6, "spot": 0.8}, kind=ByDifference)
    found, costed = made(fit, prices, draws=200_000)
    row = break_even(found, costed, 0).table.iloc[0]
    assert row["break_even"] == pytest.approx(4.0)
    error = 0.03 * math.hypot(1 / 0.6, 1 / 0.8)
    half = stats.t.ppf(0.975, 6.0) * error
    assert row["lower"] == pytest.approx(4.0 * math.exp(-half), abs=4 * row["lower_error"])
    assert row["upper"] == pytest.approx(4.0 * math.exp(half), abs=4 * row["upper_error"])
    assert row["probability_pays"] == pytest.approx(
        stats.t.sf(math.log(5.0 / 4.0) / error, 6.0), abs=4 * row["probability_error"]
    )


def test_two_methods_that_no_site_holds_together_have_no_difference_to_price():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}, "Wenlow Rise": {"usual": 3, "rip": 3}})
    fit = FakeFit(frame, lambda cell: ALIVE[cell["method"]])
    found = gaps(fit, "method", 365, ["usual", "spot", "rip"])
    assert found.basis[0, 1] == found.basis[0, 2] == "within sites"
    assert found.between == (("spot", "rip"),)
    assert math.isnan(found.estimate[1, 2])
    assert not found.known(1, 2)


def test_a_method_with_nobody_alive_has_no_break_even_and_no_limits():
    prices = priced(usual=3.0, spot=5.0)

    class Lost(FakeFit):
        def average_survival(self, cells, weights, at):
            found = super().average_survival(cells, weights, at)
            return Estimates(found.estimate, 0 * found.covariance, np.full(len(weights), np.nan))

    fit = fit_of({"usual": 0.6, "spot": 0.0}, kind=Lost)
    found, costed = made(fit, prices)
    line = increments(found, costed, 0).table.iloc[0]
    assert pd.isna(line["lower"])
    assert not line["dominated"]
    assert break_even(found, costed, 0).table["break_even"].isna().all()
    result = best_value(found, costed, 0, (0.0, 9.0))
    assert result.checks == (
        "“spot” is not among the best value: its difference in plants alive has no interval.",
    )


def test_an_extra_plant_has_a_price_only_where_more_are_shown_for_the_number_of_comparisons():
    """One interval leaves out zero; allowing for four comparisons it does not show that more were alive."""
    alive = {"usual": 0.6, "spot": 0.7, "rip": 0.6, "mat": 0.6, "auger": 0.6}
    found, costed = made(fit_of(alive), priced(usual=3.0, spot=5.0, rip=5.0, mat=5.0, auger=5.0))
    line = increments(found, costed, 0).table.set_index("method").loc["spot"]
    assert line["lower"] > 0
    assert 0.05 < line["p_adjusted"] == pytest.approx(4 * line["p_value"])
    assert line["alive_reads"] == "not enough evidence to say"
    assert math.isnan(line["cost_per_extra"])
    # The comparisons that were made decide, where they are known.
    told = increments(found, costed, 0, {"spot": 0.01}).table.set_index("method").loc["spot"]
    assert told["cost_per_extra"] == pytest.approx(2.0 / 0.1)
