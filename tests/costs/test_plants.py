"""Infill, stocking and seasons against what can be reckoned by hand."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.costs.draws import Costed, at_the_end, draw_share, draw_survival
from survivor.costs.infill import InfillPlants, with_infill
from survivor.costs.prices import Price, draw_prices
from survivor.costs.scenarios import DRY, WET, RainSlope, under_rain
from survivor.costs.stocking import ALL_SITES, InfillLives, infill_order, stems_needed
from survivor.effects.standardise import survival
from survivor.errors import PayoffError
from survivor.limits import survival_limits
from survivor.settings import Cost, Infill
from tests.effects.making import FakeFit, planting

ALIVE = {"usual": 0.6, "spot": 0.8}
DRAWS = 100_000


def standard(std_error=0.04, df=np.inf):
    frame = planting({"Oddle Flat": {"usual": 5, "spot": 5}})
    return survival(FakeFit(frame, lambda cell: ALIVE[cell["method"]], std_error=std_error, df=df), at=365)


def rng():
    return np.random.default_rng(4)


def test_draws_of_a_survival_have_its_limits():
    limits = survival_limits(np.array([0.7]), np.array([0.05]), np.array([8.0]), np.array([20.0]))
    drawn = draw_share(0.7, limits.lower[0], limits.upper[0], DRAWS, rng())
    assert np.quantile(drawn, [0.025, 0.5, 0.975]) == pytest.approx(
        [limits.lower[0], 0.7, limits.upper[0]], abs=0.003
    )


@pytest.mark.parametrize("plots", [3, 12])
@pytest.mark.parametrize("alive", [0.0, 1.0])
def test_draws_at_the_edge_end_at_the_printed_limit(alive, plots):
    # Score limits at the edge, from the formula of Wilson (1927): z² / (n + z²) from the end.
    reach = 1.96**2 / (plots + 1.96**2)
    lower, upper = (1 - reach, 1.0) if alive else (0.0, reach)
    drawn = draw_share(alive, lower, upper, DRAWS, rng())
    assert ((drawn >= 0) & (drawn <= 1)).all()
    tail = np.quantile(drawn, 0.025 if alive else 0.975)
    assert tail == pytest.approx(lower if alive else upper, abs=0.01)
    table = pd.DataFrame(
        {
            "method": ["a", "b"],
            "estimate": [100 * alive, 60.0],
            "lower": [100 * lower, 40.0],
            "upper": [100 * upper, 75.0],
            "df": [np.inf, 8.0],
            "n_plots": 200,
            "n_seedlings": 4000,
        }
    )
    standard = SimpleNamespace(table=table, covariance=np.diag([0.0, 0.007]), level=0.95)
    both = draw_survival(standard, [0, 1], DRAWS, rng())
    assert np.quantile(both[:, 0], 0.025 if alive else 0.975) == pytest.approx(
        lower if alive else upper, abs=0.01
    )


# Jeffreys limits of x in 10: Brown, Cai and DasGupta (2001), Statistical Science 16, 101-133, table 5 (from
# memory; so by scipy).
JEFFREYS = {2: (0.044, 0.503), 3: (0.093, 0.606), 4: (0.153, 0.696), 5: (0.224, 0.776)}


@pytest.mark.parametrize("alive", JEFFREYS)
def test_draws_without_limits_are_those_of_jeffreys_with_a_plot_as_one_plant(alive):
    table = pd.DataFrame({"estimate": [10.0 * alive], "lower": math.nan, "upper": math.nan, "df": math.nan})
    standard = SimpleNamespace(
        table=table.assign(method="a", n_plots=10, n_seedlings=400), covariance=np.zeros((1, 1)), level=0.95
    )
    drawn = draw_survival(standard, [0], DRAWS, rng())
    assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx(JEFFREYS[alive], abs=0.005)


def test_draws_at_the_edge_have_jeffreys_half_on_the_other_side():
    # With the lower limit that Jeffreys' prior gives 10 of 10, beta (10.5, 0.5), the draws are that beta.
    ranks = np.array([0.025, 0.1, 0.5, 0.9])
    jeffreys = stats.beta(10.5, 0.5)
    np.testing.assert_allclose(at_the_end(ranks, True, jeffreys.ppf(0.025), 1.0), jeffreys.ppf(ranks))
    np.testing.assert_allclose(
        at_the_end(1 - ranks, False, 0.0, 1 - jeffreys.ppf(0.025)), 1 - jeffreys.ppf(ranks)
    )


def test_without_limits_there_are_no_draws():
    assert np.isnan(draw_share(0.7, math.nan, math.nan, 10, rng())).all()


def costed(infill, plants, spread=0.0):
    prices = [Price.of("usual", Cost(per_plant=3.0)), Price.of("spot", Cost(per_plant=4.0))]
    alive = np.array([0.6, 0.8])
    drawn = np.clip(alive + spread * rng().standard_normal((DRAWS, 2)), 0.01, 1)
    return with_infill(two_methods(alive, drawn, prices), infill, plants)


def two_methods(alive, drawn, prices):
    paid = draw_prices(prices, DRAWS, rng())
    return Costed("method", 365.0, "", ("usual", "spot"), alive, tuple(prices), drawn, paid, 4)


def test_infill_is_counted_in_what_is_paid_and_in_what_lives():
    found = costed(
        Infill(times_first=1.5), InfillPlants({"usual": 0.4, "spot": 0.0}, 0.5, math.nan, math.nan)
    )
    table = found.table.set_index("method")
    # 100 plants at 3.0 and 40 at 4.5: 480 paid; 60 and 20 alive: 6.0 for each.
    assert table.loc["usual", "with_infill"] == pytest.approx(6.0)
    assert table.loc["usual", "without"] == pytest.approx(5.0)
    assert table.loc["usual", ["infill_per_100", "infill_cost", "infill_survival"]].tolist() == [40, 4.5, 50]
    assert table.loc["spot", "with_infill"] == table.loc["spot", "without"] == pytest.approx(5.0)
    assert any("as stated" in check for check in found.checks)


def test_infill_that_lives_as_first_plants_do_at_their_price_changes_nothing():
    found = costed(Infill(per_plant=3.0), InfillPlants({"usual": 0.4}, math.nan, math.nan, math.nan))
    assert found.table.loc[0, "with_infill"] == pytest.approx(found.table.loc[0, "without"])
    assert any("taken to live as first plants" in check for check in found.checks)


def test_limits_with_infill_hold_the_range_of_its_cost():
    found = costed(
        Infill(times_first=1.5, low=1.0, high=2.0), InfillPlants({"usual": 0.4}, 0.5, math.nan, math.nan)
    )
    factor = stats.triang(0.5, 1.0, 1.0).ppf([0.025, 0.975])
    row = found.table.iloc[0]
    by_hand = (3.0 + 0.4 * 3.0 * factor) / 0.8
    assert row["lower"] == pytest.approx(by_hand[0], abs=4 * row["lower_error"])
    assert row["upper"] == pytest.approx(by_hand[1], abs=4 * row["upper_error"])


def test_without_infill_it_is_refused():
    with pytest.raises(PayoffError, match="no preparation has infill"):
        costed(Infill(per_plant=3.0), InfillPlants({}, 0.5, 0.4, 0.6))


def test_plants_needed_are_stems_over_survival_and_so_are_their_limits():
    alive = standard()
    found = stems_needed(alive, 1000.0)
    table = found.table.set_index("method")
    assert table.loc["spot", "plants_needed"] == pytest.approx(1250.0)
    lines = alive.table.set_index("method")
    assert table.loc["spot", "upper"] == pytest.approx(1e5 / lines.loc["spot", "lower"])
    assert table.loc["spot", "lower"] == pytest.approx(1e5 / lines.loc["spot", "upper"])
    assert table["standing"].isna().all()
    with pytest.raises(PayoffError, match="cannot be used"):
        stems_needed(alive, 0.0)


def test_infill_for_a_stocking_is_what_is_short_over_what_lives():
    found = stems_needed(
        standard(),
        1000.0,
        {"usual": 1250.0, "spot": 1600.0},
        InfillLives(0.5, math.nan, math.nan),
        draws=DRAWS,
    )
    table = found.table.set_index("method")
    # usual: 750 of 1,250 stand, 250 are short, 500 must go in; spot: 1,280 stand.
    assert table.loc["usual", ["standing", "short", "infill_needed"]].tolist() == pytest.approx(
        [750, 250, 500]
    )
    low, high = (
        survival_limits(np.array([0.6]), np.array([0.04]), np.array([np.inf]), np.array([5.0])).lower[0],
        survival_limits(np.array([0.6]), np.array([0.04]), np.array([np.inf]), np.array([5.0])).upper[0],
    )
    assert table.loc["usual", "infill_upper"] == pytest.approx((1000 - 1250 * low) / 0.5, rel=0.01)
    assert table.loc["usual", "infill_lower"] == pytest.approx((1000 - 1250 * high) / 0.5, rel=0.02)
    assert table.loc["spot", "infill_needed"] == 0


def test_infill_to_order_is_the_dead_less_what_stands_over_what_lives():
    sites = pd.DataFrame(
        {
            "site": ["Oddle Flat", "Wenlow Rise", "Pim Gully"],
            "planted": [1000, 400, 50],
            "survival": [70.0, 60.0, 50.0],
            "lower": [60.0, 45.0, math.nan],
            "upper": [78.0, 72.0, math.nan],
            "at_day": [700, 690, 700],
            "n_plots": [6, 4, 1],
            "infill_alive": [60.0, 0.0, 0.0],
        }
    )
    found = infill_order(sites, InfillLives(0.8, 0.6, 0.9), draws=DRAWS)
    table = found.table.set_index("site")
    assert table.loc["Oddle Flat", ["dead", "to_order"]].tolist() == pytest.approx(
        [300, 300]
    )  # (300 - 60) / 0.8
    assert table.loc[ALL_SITES, ["planted", "dead", "to_order"]].tolist() == pytest.approx([1400, 460, 500])
    assert "not in the total" in table.loc["Pim Gully", "note"]
    # Sites are independent: the limits of the sum are narrower than the sum of the limits.
    alone = table.loc[["Oddle Flat", "Wenlow Rise"]]
    whole = table.loc[ALL_SITES]
    assert alone["dead_lower"].sum() < whole["dead_lower"] < whole["dead"] < whole["dead_upper"]
    assert whole["dead_upper"] < alone["dead_upper"].sum()
    assert whole["lower"] < whole["to_order"] < whole["upper"]


def test_one_is_ordered_for_each_dead_where_it_is_not_known_how_many_live():
    sites = pd.DataFrame(
        [{"site": "Oddle Flat", "planted": 100, "survival": 70.0, "lower": 60.0, "upper": 78.0, "n_plots": 3}]
    )
    found = infill_order(sites)
    assert found.table.iloc[0][["to_order", "dead_lower", "dead_upper"]].tolist() == pytest.approx(
        [30, 22, 40]
    )
    assert found.table.iloc[0][["lower", "upper"]].tolist() == pytest.approx([22, 40], abs=0.4)
    assert any("one is ordered for each dead plant" in check for check in found.checks)


def test_a_dry_season_shifts_survival_by_the_slope():
    prices = [Price.of("usual", Cost(per_plant=3.0)), Price.of("spot", Cost(per_plant=4.0))]
    alive = np.array([0.6, 0.8])
    rain = RainSlope(
        np.array([-0.01, -0.01]), np.array([0.002, 0.002]), np.array([8.0, 8.0]), 100.0, 40.0, 130.0
    )
    found = under_rain(two_methods(alive, np.tile(alive, (DRAWS, 1)), prices), rain)
    table = found.table.set_index(["scenario", "method"])
    # Proportional hazards: survival to the power of the ratio of hazards, exp(-0.01 x -60) = 1.822.
    dry = 0.6 ** math.exp(0.6)
    row = table.loc[(DRY, "usual")]
    assert row["survival"] == pytest.approx(100 * dry)
    assert row["cost_per_established"] == pytest.approx(3.0 / dry)
    steep = 0.01 + stats.t.ppf(0.975, 8.0) * 0.002
    assert row["upper"] == pytest.approx(3.0 / 0.6 ** math.exp(60 * steep), abs=4 * row["upper_error"])
    assert table.loc[(WET, "usual"), "survival"] == pytest.approx(100 * 0.6 ** math.exp(-0.3))
    assert table.loc[DRY, "probability_lowest"].sum() == pytest.approx(1.0)
