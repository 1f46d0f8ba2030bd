"""Increments, dominance, break-even and best value against what can be reckoned by hand."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.costs.breakeven import break_even
from survivor.costs.differences import draw_gaps, gaps
from survivor.costs.fieller import fieller
from survivor.costs.increments import increments, stand
from survivor.costs.prices import Price, draw_prices
from survivor.costs.value import best_value, worth_range
from survivor.models.result import Estimates
from survivor.settings import Cost
from tests.effects.fakes import FakeFit, planting

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


def made(fit, prices, draws=20_000, seed=2, base=0):
    names = fit.data["method"].cat.categories.tolist()
    found = gaps(fit, "method", 365, names)
    rng = np.random.default_rng(seed)
    return found, draw_prices(prices, draws, rng), draw_gaps(found, base, draws, rng), rng


def test_a_dearer_method_with_no_more_alive_is_dominated():
    steps = stand([3.0, 5.0, 4.0], [0.6, 0.55, 0.7])
    assert [step.state for step in steps] == ["cheapest", "dominated", "next"]
    assert steps[1].against == 2


def test_a_mix_of_neighbours_dominates_what_lies_above_their_line():
    # Half the ground at 3.0 with 60 alive and half at 5.0 with 80: 4.0 with 70, less than 4.5 with 70.
    steps = stand([3.0, 4.5, 5.0], [0.6, 0.7, 0.8])
    assert [step.state for step in steps] == ["cheapest", "dominated by a mix", "next"]
    assert steps[1].beaten_by == (0, 2)
    assert steps[2].against == 0
    assert [step.state for step in stand([3.0, 3.9, 5.0], [0.6, 0.7, 0.8])] == ["cheapest", "next", "next"]


def test_left_on_the_line_is_the_lower_edge_of_all_mixes():
    rng = np.random.default_rng(11)
    for _ in range(200):
        cost, alive = rng.uniform(2, 8, 7), rng.uniform(0.3, 0.95, 7)
        steps = stand(cost.tolist(), alive.tolist())
        kept = [place for place, step in enumerate(steps) if not step.state.startswith("dominated")]
        # By definition: a method is best at some worth of a plant from nought up, or it is not on the line.
        worth = np.concatenate([[0.0], 10 ** np.linspace(-3, 6, 20_001)])
        best = {int(place) for place in np.unique((worth[:, None] * alive - cost).argmax(axis=1))}
        assert best <= set(kept)
        ratios = [
            (cost[b] - cost[a]) / (alive[b] - alive[a])
            for a, b in zip(
                sorted(kept, key=cost.__getitem__), sorted(kept, key=cost.__getitem__)[1:], strict=False
            )
        ]
        assert ratios == sorted(ratios)


def test_methods_alike_in_both_are_said_to_be():
    steps = stand([3.0, 3.0], [0.6, 0.6])
    assert [step.state for step in steps] == ["cheapest", "dominated"]


def test_increments_are_told_in_order_of_cost_per_100_planted():
    prices = priced(usual=3.0, spot=5.0, rip=3.9)
    found, drawn, _, _ = made(fit_of(), prices)
    result = increments(found, prices, drawn, 0, "method", 365, "$")
    table = result.table.set_index("method")
    assert table.index.tolist() == ["usual", "rip", "spot"]
    assert table.loc["rip", ["extra_cost", "extra_alive", "cost_per_extra"]].tolist() == pytest.approx(
        [90.0, 10.0, 9.0]
    )
    assert table.loc["spot", "against"] == "rip"
    assert table.loc["spot", ["extra_cost", "extra_alive"]].tolist() == pytest.approx([110.0, 10.0])
    # Costs without a range have no spread: limits of the ratio are those of the difference turned over.
    half = stats.norm.ppf(0.975) * math.sqrt(2) * 0.03
    assert table.loc["rip", "cost_per_extra_upper"] == pytest.approx(0.9 / (0.1 - half))
    assert table.loc["rip", "cost_per_extra_lower"] == pytest.approx(0.9 / (0.1 + half))
    assert result.plane["against"].eq("usual").all()
    assert "From usual to rip, 100 plants cost $90.00 more and 10.0 more were alive" in result.statement


def test_limits_of_increments_have_the_degrees_of_freedom_of_the_difference():
    prices = priced(usual=3.0, spot=Cost(per_plant=5.0, low=4.0, high=6.0))
    fit = fit_of({"usual": 0.6, "spot": 0.8}, kind=ByDifference)
    found, drawn, gap, _ = made(fit, prices, draws=200_000)
    line = increments(found, prices, drawn, 0, "method", 365).table.iloc[1]
    half = 100 * stats.t.ppf(0.975, 6.0) * math.sqrt(2) * 0.03
    assert (line["lower"], line["upper"]) == pytest.approx((20 - half, 20 + half))
    variance = stats.triang(0.5, 4.0, 2.0).var()
    by_hand = fieller(2.0, 0.2, variance, 2 * 0.03**2, 0.0, 6.0)
    assert line["cost_per_extra_upper"] == pytest.approx(by_hand.upper)
    # The draws have them too: t on 6, not on the 40 of either survival.
    ends = np.quantile(gap[:, 1], [0.025, 0.975])
    assert 100 * ends == pytest.approx([20 - half, 20 + half], abs=0.1)


def test_without_a_clear_difference_there_is_a_sentence_in_place_of_limits():
    prices = priced(usual=3.0, spot=5.0)
    found, drawn, _, _ = made(fit_of({"usual": 0.6, "spot": 0.62}), prices)
    result = increments(found, prices, drawn, 0, "method", 365)
    line = result.table.iloc[1]
    assert line["state"] == "next"
    assert math.isnan(line["cost_per_extra_lower"])
    assert "not clear from 0" in line["note"]
    assert "not clear from 0" in result.statement


def test_draws_with_one_number_of_degrees_of_freedom_are_a_multivariate_t():
    fit = fit_of(kind=ByDifference)
    _, _, gap, _ = made(fit, priced(usual=3.0, spot=5.0, rip=4.0), draws=200_000)
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
    found, drawn, gap, _ = made(fit, prices, draws=100_000)
    result = best_value(
        found.methods, found.survival, gap, prices, drawn, (0.0, 30.0), by="method", at=365, currency="$"
    )
    spot = result.table[result.table["method"] == "spot"].set_index("worth")
    for worth in (3.0, 9.0, 10.5, 15.0, 30.0):
        benefit = worth * 0.2 - 2.0
        by_hand = law.cdf(benefit / (worth * math.sqrt(2) * 0.03))
        row = spot.loc[worth]
        assert row["probability"] == pytest.approx(by_hand, abs=4 * row["probability_error"] + 1e-4)
        assert row["best"] == (benefit > 0)
    assert result.table.groupby("worth")["probability"].sum().to_numpy() == pytest.approx(1.0)
    # 2.0 more for each plant put in, 0.2 more alive: 10 for each extra one.
    assert "usual from $0.00 to about $10.00" in result.statement
    assert "spot from about $10.00 to $30.00" in result.statement
    assert result.table["probability_error"].max() == pytest.approx(math.sqrt(0.25 / 100_000), rel=0.05)


def test_what_a_plant_is_worth_changes_places_at_the_cost_of_an_extra_one():
    prices = priced(usual=3.0, spot=5.0, rip=3.9)
    found, drawn, gap, _ = made(fit_of(), prices)
    result = best_value(found.methods, found.survival, gap, prices, drawn, (0.0, 20.0), by="method", at=365)
    lead = result.table[result.table["best"]].set_index("worth")["method"]
    # From usual to rip 9 for each extra plant, from rip to spot 11.
    assert lead.loc[[8.5, 9.5, 10.5, 11.5]].tolist() == ["usual", "rip", "rip", "spot"]


def test_the_range_of_worth_is_round_and_over_twice_the_dearest():
    assert worth_range(7.1, None, None) == (0.0, 20.0)
    assert worth_range(4.9, None, None) == (0.0, 10.0)
    assert worth_range(5.1, 2.0, 12.0) == (2.0, 12.0)
    assert worth_range(math.inf, None, None) == (0.0, 1.0)


def test_break_even_is_cost_by_the_ratio_of_survivals_with_limits_of_the_log_ratio():
    prices = priced(usual=3.0, spot=5.0)
    fit = fit_of({"usual": 0.6, "spot": 0.8}, kind=ByDifference)
    found, drawn, _, rng = made(fit, prices, draws=200_000)
    row = break_even(found, prices, drawn, 0, rng, by="method", at=365, currency="$").table.iloc[0]
    assert row["break_even"] == pytest.approx(4.0)
    error = 0.03 * math.hypot(1 / 0.6, 1 / 0.8)
    half = stats.t.ppf(0.975, 6.0) * error
    assert row["lower"] == pytest.approx(4.0 * math.exp(-half), abs=4 * row["lower_error"])
    assert row["upper"] == pytest.approx(4.0 * math.exp(half), abs=4 * row["upper_error"])
    assert row["probability_pays"] == pytest.approx(
        stats.t.sf(math.log(5.0 / 4.0) / error, 6.0), abs=4 * row["probability_error"]
    )


def test_two_methods_that_no_site_holds_together_are_said_to_be_between_sites():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}, "Wenlow Rise": {"usual": 3, "rip": 3}})
    fit = FakeFit(frame, lambda cell: ALIVE[cell["method"]])
    found = gaps(fit, "method", 365, ["usual", "spot", "rip"])
    assert found.basis[0, 1] == found.basis[0, 2] == "within sites"
    assert found.basis[1, 2] == "between sites only"


def test_a_method_with_nobody_alive_has_no_break_even_and_no_limits():
    prices = priced(usual=3.0, spot=5.0)

    class Lost(FakeFit):
        def average_survival(self, cells, weights, at):
            found = super().average_survival(cells, weights, at)
            return Estimates(found.estimate, 0 * found.covariance, np.full(len(weights), np.nan))

    fit = fit_of({"usual": 0.6, "spot": 0.0}, kind=Lost)
    found, drawn, gap, rng = made(fit, prices)
    line = increments(found, prices, drawn, 0, "method", 365).table.iloc[1]
    assert line["state"] == "dominated"
    assert pd.isna(line["lower"])
    assert break_even(found, prices, drawn, 0, rng, by="method", at=365).table["break_even"].isna().all()
    result = best_value(found.methods, found.survival, gap, prices, drawn, (0.0, 9.0), by="method", at=365)
    assert result.checks == (
        "spot is not among the best value: its difference in plants alive has no limits.",
    )
