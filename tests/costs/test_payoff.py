import numpy as np
import pandas as pd
import pytest
from scipy import stats

from survivor.costs.infill import InfillPlants
from survivor.costs.payoff import PayoffOptions, payoff
from survivor.errors import PayoffError
from survivor.limits import survival_limits
from survivor.settings import Cost, Infill
from tests.effects.making import FakeFit, planting

ALIVE = {"usual": 0.6, "spot": 0.8}


@pytest.fixture
def fit():
    frame = planting({"Oddle Flat": {"usual": 5, "spot": 5}})
    return FakeFit(frame, lambda cell: ALIVE[cell["method"]], std_error=0.04, df=np.inf)


def test_cost_per_established_plant_is_cost_over_survival(fit):
    table = payoff(fit, {"usual": 3.0, "spot": 4.4}).table.set_index("method")
    assert table["cost_per_established"].to_dict() == pytest.approx({"usual": 5.0, "spot": 5.5})
    assert table["survival"].to_dict() == pytest.approx({"usual": 60.0, "spot": 80.0})


def test_with_a_certain_cost_the_limits_are_those_of_survival(fit):
    # Cost over survival falls as survival rises, so the quantiles carry over.
    row = payoff(fit, {"usual": 3.0}, draws=100_000).table.iloc[0]
    alive = survival_limits(np.array([0.6]), np.array([0.04]), np.array([np.inf]), np.array([5.0]))
    assert row["lower"] == pytest.approx(3.0 / alive.upper[0], abs=4 * row["lower_error"])
    assert row["upper"] == pytest.approx(3.0 / alive.lower[0], abs=4 * row["upper_error"])
    assert 0 < row["lower_error"] < 0.01


def test_few_degrees_of_freedom_widen_the_limits(fit):
    few = FakeFit(fit.data, fit.alive, std_error=0.04, df=5.0)
    row = payoff(few, {"usual": 3.0}, draws=100_000).table.iloc[0]
    alive = survival_limits(np.array([0.6]), np.array([0.04]), np.array([5.0]), np.array([5.0]))
    assert row["upper"] == pytest.approx(3.0 / alive.lower[0], abs=4 * row["upper_error"])


def test_probability_of_the_lowest_with_equal_costs(fit):
    close = FakeFit(
        fit.data, lambda cell: {"usual": 0.7, "spot": 0.74}[cell["method"]], std_error=0.04, df=np.inf
    )
    table = payoff(close, {"usual": 3.0, "spot": 3.0}, draws=40_000).table.set_index("method")
    # Equal costs: the cheapest is the one with more alive; normal on the log(-log) scale.
    share = np.array([0.7, 0.74])
    place = np.log(-np.log(share))
    spread = 0.04 / np.abs(share * np.log(share))
    by_hand = stats.norm.cdf((place[0] - place[1]) / np.hypot(*spread))
    assert table.loc["spot", "probability_lowest"] == pytest.approx(
        by_hand, abs=4 * table.loc["spot", "probability_error"]
    )
    assert table["probability_lowest"].sum() == pytest.approx(1.0)


def test_correlated_estimates_share_their_draws(fit):
    class Together(FakeFit):
        def average_survival(self, cells, weights, at):
            found = super().average_survival(cells, weights, at)
            return type(found)(found.estimate, np.full_like(found.covariance, 0.04**2), found.df)

    alike = Together(fit.data, lambda cell: {"usual": 0.7, "spot": 0.71}[cell["method"]], df=np.inf)
    table = payoff(alike, {"usual": 3.0, "spot": 3.0}).table.set_index("method")
    assert table.loc["spot", "probability_lowest"] > 0.99


def test_a_range_of_costs_is_a_triangle(fit):
    sure = FakeFit(fit.data, fit.alive, std_error=1e-6, df=np.inf)
    row = payoff(sure, {"usual": Cost(per_plant=3.0, low=2.0, high=6.0)}, draws=100_000).table.iloc[0]
    triangle = stats.triang(0.25, 2.0, 4.0)
    assert row["lower"] == pytest.approx(triangle.ppf(0.025) / 0.6, abs=4 * row["lower_error"])
    assert row["upper"] == pytest.approx(triangle.ppf(0.975) / 0.6, abs=4 * row["upper_error"])


def test_one_is_called_the_cheapest_only_when_it_is_clear(fit):
    clear = payoff(fit, {"usual": 9.0, "spot": 4.0}, currency="$")
    assert clear.cheapest == "spot"
    assert clear.statement.startswith("At these sites “spot” cost least: $5.00 per established plant")
    close = payoff(fit, {"usual": 3.0, "spot": 4.1}, currency="$")
    assert close.cheapest is None
    assert "none of the preparations is clearly the cheapest" in close.statement


def test_methods_without_a_cost_are_listed_and_the_others_answered(fit):
    found = payoff(fit, {"spot": 4.0, "auger": 9.0})
    assert found.table["method"].tolist() == ["spot"]
    assert found.not_costed == ("usual",)
    assert any("No cost per plant is given for “usual”" in sentence for sentence in found.checks)
    assert any(
        "A cost is given for what is in no plot of the records: “auger”" in sentence
        for sentence in found.checks
    )
    assert found.cheapest is None


def test_without_any_cost_it_is_refused(fit):
    with pytest.raises(PayoffError, match="no method has a cost: usual, spot"):
        payoff(fit, {"Spot": 4.0})


def test_costs_from_a_table(fit):
    costs = pd.DataFrame(
        {
            "method": ["usual", "spot"],
            "per_plant": [3.0, np.nan],
            "low": [2.5, np.nan],
            "currency": ["EUR", "EUR"],
        }
    )
    found = payoff(fit, costs)
    assert found.not_costed == ("spot",)
    assert found.table[["cost_low", "cost_high", "currency"]].values.tolist() == [[2.5, 3.0, "EUR"]]


@pytest.mark.parametrize(
    ("costs", "words"),
    [
        ({"usual": "dear"}, "not a number"),
        ({"usual": -1.0}, "cannot be used"),
        ({"usual": float("inf")}, "cannot be used"),
        (pd.DataFrame({"method": ["usual"]}), "no column per_plant"),
        (pd.DataFrame({"method": ["usual", "usual"], "per_plant": [1.0, 2.0]}), "two costs"),
        (
            pd.DataFrame({"method": ["usual", "spot"], "per_plant": [1.0, 2.0], "currency": ["EUR", "$"]}),
            "2 currencies",
        ),
    ],
)
def test_costs_that_cannot_be_used_are_refused(fit, costs, words):
    with pytest.raises(PayoffError, match=words):
        payoff(fit, costs)


def test_the_same_seed_gives_the_same_numbers(fit):
    first, second = (payoff(fit, {"usual": 3.0, "spot": 4.0}, seed=7).table for _ in range(2))
    pd.testing.assert_frame_equal(first, second)


def test_what_one_part_draws_does_not_move_the_others(fit):
    costs = {"usual": Cost(per_plant=3.0, low=2.0, high=6.0), "spot": 4.0, "mound": 5.0}
    plants = InfillPlants({"usual": 0.4}, 0.5, 0.4, 0.6)
    plain = payoff(fit, costs)
    more = payoff(fit, costs, infill=Infill(times_first=1.5), infill_plants=plants)
    assert more.with_infill is not None
    for name in ("break_even", "best_value", "increments"):
        pd.testing.assert_frame_equal(getattr(plain, name).table, getattr(more, name).table)
    # Options may be given by name or in one.
    again = payoff(fit, costs, options=PayoffOptions(infill=Infill(times_first=1.5), infill_plants=plants))
    pd.testing.assert_frame_equal(more.with_infill.table, again.with_infill.table)
    with pytest.raises(TypeError, match="curency"):
        payoff(fit, costs, curency="$")


def test_all_alive_still_has_limits():
    frame = planting({"Oddle Flat": {"usual": 10}})
    found = payoff(FakeFit(frame, lambda _: 1.0, std_error=0.0), {"usual": 3.0})
    row, alive = found.table.iloc[0], found.survival.table.iloc[0]
    assert row["cost_per_established"] == 3.0
    # All that is not certain is survival, which is not above 100: the dearest is at its lower limit.
    assert alive["lower"] < 100
    assert row["upper"] == pytest.approx(3.0 / (alive["lower"] / 100), abs=4 * row["upper_error"])


def test_a_method_that_the_model_leaves_out_is_named_with_the_reason(fit):
    why = "no site joins it to the others"
    found = payoff(fit, {"usual": 3.0, "spot": 4.0, "mound": 5.0}, left_out={"mound": why})
    assert found.left_out == {"mound": why}
    assert f"There is no cost per established plant for “mound”: {why}." in found.checks
    assert not any("in no plot of the records" in check for check in found.checks)
    assert "of the preparations that can be costed" in found.statement


def test_without_a_currency_no_blank_stands_in_its_place(fit):
    said = payoff(fit, {"usual": 9.0, "spot": 4.0}).statement
    assert "5.00 (no currency named) per established plant" in said
    assert "  " not in said
    axes = payoff(fit, {"usual": 9.0, "spot": 4.0}).plot()
    assert axes.get_xlabel() == "Cost per living plant"


def test_draws_on_one_degree_of_freedom_do_not_overflow():
    """Warnings are errors here: t draws on 1 df lie beyond what exp can hold."""
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}})
    alive = {"usual": 0.6, "spot": 0.8}
    model = FakeFit(frame, lambda cell: alive[cell["method"]], std_error=0.2, df=1.0)
    found = payoff(model, {"usual": 3.0, "spot": 4.0})
    assert (found.table["upper"] > found.table["cost_per_established"]).all()


def test_a_cost_without_a_range_is_named_as_resting_on_survival_alone(fit):
    ranged = Cost(per_plant=4.0, low=3.0, high=6.0)
    said = payoff(fit, {"usual": Cost(per_plant=3.0), "spot": ranged}).checks
    assert "No range was given for the cost under “usual”, so limits there rest on survival alone." in said
    assert not any("No range" in each for each in payoff(fit, {"usual": ranged, "spot": ranged}).checks)


def test_the_one_with_the_highest_chance_is_named_where_another_has_the_lowest_cost(fit):
    # About 5.00 an established plant each; a range that leans to cheap prices is the likelier to be lowest.
    ranged = Cost(per_plant=3.95, low=1.0, high=4.1)
    found = payoff(fit, {"usual": 2.95, "spot": ranged}, currency="$")
    table = found.table.set_index("method")
    assert table["cost_per_established"].idxmin() == "usual"
    assert table["probability_lowest"].idxmax() == "spot"
    assert (
        f"“spot” has the highest chance, {100 * table['probability_lowest'].max():.0f} in 100."
        in found.statement
    )
    plain = payoff(fit, {"usual": 3.0, "spot": 4.1}, currency="$")
    assert "highest chance" not in plain.statement


def test_amounts_without_a_currency_say_so_and_ask_for_it(fit):
    bare = payoff(fit, {"usual": 9.0, "spot": 4.0})
    assert "5.00 (no currency named) per established plant" in bare.statement
    assert "(no currency named) for a living plant none repays its cost" in bare.best_value.statement
    assert any("No currency is named" in each for each in bare.checks)
    named = payoff(fit, {"usual": 9.0, "spot": 4.0}, currency="$")
    assert "no currency" not in " ".join([named.statement, named.best_value.statement, *named.checks])


def test_below_the_lowest_cost_of_an_established_plant_none_is_worth_its_cost(fit):
    found = payoff(fit, {"usual": 9.0, "spot": 4.0}, currency="$")
    assert found.best_value.statement.startswith("Below $5.00 for a living plant none repays its cost.")
    table = found.best_value.table
    assert not table.loc[table["worth"] < 5.0, "best"].any()
    worth_it = table.loc[table["net_benefit"] > 0, "worth"].min()
    assert worth_it > 5.0 > table.loc[table["worth"] < worth_it, "worth"].max() - 0.01
    dear = payoff(fit, {"usual": 9.0, "spot": 4.0}, currency="$", worth=(6.0, 20.0))
    assert "none repays" not in dear.best_value.statement


def test_a_range_from_prices_is_named_so(fit):
    costs = {"usual": Cost(per_plant=3.0, low=2.0, high=6.0), "spot": 4.0}
    table = payoff(fit, costs).table.set_index("method")["range_from"]
    assert table.to_dict() == {"usual": "survival and prices", "spot": "survival"}
