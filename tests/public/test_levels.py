"""Limits at 90 and 99 %: each against a reckoning of its own, and named wherever they stand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm
from scipy import optimize, stats

import survivor
from survivor.errors import ModelError, PayoffError, SurvivorError
from tests.public.fitted import WITH_Z as FIT
from tests.public.making import F

LEVELS = (0.9, 0.99)
COSTS = {"usual": 3.0, "auger": 4.0, "rip": 4.5}
NO_DEATHS = F.assign(died=np.where(F["method"] == "rip", 0, F["died"]))


def by_hand(table: pd.DataFrame, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Limits of survival by t on log(-log), Kalbfleisch and Prentice (1980), section 1.3."""
    alive, error = table["estimate"] / 100, table["std_error"] / 100
    half = stats.t.ppf(0.5 + level / 2, table["df"]) * error / (alive * np.abs(np.log(alive)))
    return np.asarray(alive ** np.exp(half)), np.asarray(alive ** np.exp(-half))


@pytest.mark.parametrize("level", LEVELS)
def test_coefficients_are_those_of_statsmodels(level):
    ours = survivor.fit(F, "method + z", cluster=None).summary(level).table
    dummies = pd.get_dummies(F["method"], drop_first=True, dtype=float)
    sites = pd.get_dummies(F["site"], dtype=float)
    columns = pd.concat([dummies, F[["z"]], sites, (F["start_day"] > 0).astype(float)], axis=1)
    counts = np.column_stack([F["died"], F["at_risk"] - F["died"]])
    cloglog = sm.families.Binomial(sm.families.links.CLogLog())
    lengths = np.log((F["stop_day"] - F["start_day"]).astype(float))
    theirs = sm.GLM(counts, columns, cloglog, offset=lengths).fit(tol=1e-12)
    # statsmodels has normal limits by the same expected information.
    ends = theirs.conf_int(1 - level).iloc[:3].to_numpy()
    np.testing.assert_allclose(ours[["lower", "upper"]], ends, atol=2e-4)


@pytest.mark.parametrize("level", LEVELS)
def test_a_profile_falls_by_the_quantile_of_its_level(level):
    # One visit, two arms, nobody died in the second: Firth's likelihood, the intercept profiled out.
    rows = pd.DataFrame(
        {"method": ["a", "b"], "start_day": 0, "stop_day": 100, "at_risk": 30, "died": [9, 0]}
    )
    fitted = survivor.fit(rows, "method", cluster=None, strata=None)
    assert fitted.variance == "penalised"

    def height(log_rate, died):
        """Penalised log-likelihood of one cell of 30: half the log of its weight is its part of |X'WX|."""
        rate = np.exp(log_rate)
        log_chance = np.log(-np.expm1(-rate))
        return died * log_chance - (30 - died) * rate + log_rate - rate / 2 - log_chance / 2

    def profile(beta):
        first = np.linspace(-12, 4, 40_001)
        return (height(first, 9) + height(first + beta, 0)).max()

    best = optimize.minimize_scalar(
        lambda beta: -profile(beta), bounds=(-15, 5), method="bounded", options={"xatol": 1e-10}
    )
    fall = stats.chi2.ppf(level, 1) / 2
    ends = [
        optimize.brentq(lambda beta: -best.fun - profile(beta) - fall, *bracket)
        for bracket in ((-25.0, best.x), (best.x, 10.0))
    ]
    ours = fitted.summary(level).table.iloc[0]
    assert ours["estimate"] == pytest.approx(best.x, abs=1e-4)
    assert ours["upper"] == pytest.approx(ends[1], abs=1e-3)
    assert ours["lower"] == pytest.approx(ends[0], abs=1e-3) if ends[0] > -15 else ours["lower"] == -np.inf
    told = fitted.contrast("method[b]", level=level).iloc[0]
    assert [told["lower"], told["upper"]] == pytest.approx([ours["lower"], ours["upper"]], abs=1e-3)
    assert ours["level"] == told["level"] == level
    # Survival of the arm without deaths rests on its own cell alone.
    rates = np.linspace(-30, 3, 400_001)
    inside = rates[height(rates, 0) > height(rates, 0).max() - fall]
    alive = survivor.survival(fitted, at=100, level=level).table.iloc[1]
    assert alive["lower"] == pytest.approx(100 * np.exp(-np.exp(inside.max())), abs=0.01)
    assert alive["upper"] == pytest.approx(100 * np.exp(-np.exp(inside.min())), abs=0.01)


def test_limits_of_a_penalised_fit_lie_within_each_other():
    fitted = survivor.fit(NO_DEATHS, "method")
    assert fitted.variance == "penalised"
    for ask in (
        lambda level: fitted.summary(level).table,
        lambda level: survivor.survival(fitted, level=level).table,
        lambda level: survivor.contrasts(fitted, level=level).table,
        lambda level: fitted.contrast("method[rip] - method[auger]", level=level),
        lambda level: fitted.predict(NO_DEATHS.head(3), 300, level=level),
        lambda level: survivor.limits_at(fitted, level),
    ):
        narrow, usual, wide = (ask(level) for level in (0.9, 0.95, 0.99))
        for column, sign in (("lower", -1), ("upper", 1)):
            ends = [sign * table[column].to_numpy(float) for table in (narrow, usual, wide)]
            assert (ends[0] <= ends[1]).all()
            assert (ends[1] <= ends[2]).all()
            assert not np.isnan(ends).any()
        assert set(narrow["level"]) == {0.9}
        assert "level" not in usual.columns
    # Where no difference is the limit, p is one less the level: the profile and its test are one.
    pick = survivor.contrasts(fitted).table.iloc[0]
    at_zero = survivor.contrasts(fitted, level=1 - pick["p_value"]).table.iloc[0]
    assert min(abs(at_zero["lower"]), abs(at_zero["upper"])) < 0.01


@pytest.mark.parametrize("level", LEVELS)
def test_costs_are_prices_over_the_limits_of_survival(level):
    paid = survivor.payoff(FIT, COSTS, currency="AUD", level=level)
    low, high = by_hand(paid.survival.table, level)
    price = np.array(list(COSTS.values()))
    table = paid.table
    assert (np.abs(table["lower"] - price / high) < 5 * table["lower_error"]).all()
    assert (np.abs(table["upper"] - price / low) < 5 * table["upper_error"]).all()
    own = survivor.contrasts(FIT, level=level).table
    extra = paid.increments.table.set_index("method").loc[own["method"]]
    np.testing.assert_allclose(extra["lower"], own["lower"])
    np.testing.assert_allclose(extra["upper"], own["upper"])
    rip = extra.loc["rip"]
    # Fieller (1954) at the level; prices without a range have no variance.
    ratio = survivor.fieller(
        1.5, rip["extra_alive"] / 100, 0, (rip["std_error"] / 100) ** 2, 0, rip["df"], level
    )
    assert [rip["cost_per_extra_lower"], rip["cost_per_extra_upper"]] == pytest.approx(
        [ratio.lower, ratio.upper]
    )
    # The chance of being the cheapest is no matter of the level, so its draws are the same.
    usual = survivor.payoff(FIT, COSTS, currency="AUD").table
    np.testing.assert_allclose(table["probability_lowest"], usual["probability_lowest"], atol=1e-9)
    assert f"{100 * level:g} % CI" in paid.statement
    assert "95 %" not in paid.statement
    named = (paid, paid.increments, paid.break_even)
    assert all(set(part.table["level"]) == {level} for part in named)
    assert f"limits at {100 * level:g} %" in repr(paid)
    assert f"limits at {100 * level:g} %" in paid._repr_html_()
    assert f"({100 * level:g} % range)" in texts_of(paid)


def texts_of(result: Any) -> str:
    """All that a drawing writes."""
    from matplotlib.text import Text

    return " ".join(text.get_text() for text in result.plot().figure.findobj(match=Text))


def test_ranges_of_prices_are_quantiles_of_the_level():
    ranged = {"usual": 3.0, "rip": survivor.settings.Cost(per_plant=4.5, low=4.0, high=6.0)}
    for level in LEVELS:
        extra = survivor.payoff(FIT, ranged, level=level, draws=20_000).increments.table.iloc[0]
        triangle = stats.triang(0.25, loc=4.0, scale=2.0)  # least 4, most 6, peak at 4.5
        ends = 100 * (triangle.ppf([0.5 - level / 2, 0.5 + level / 2]) - 3.0)
        assert [extra["extra_cost_lower"], extra["extra_cost_upper"]] == pytest.approx(ends, abs=1.5)


def test_parts_of_one_answer_are_at_one_level():
    pairs = survivor.contrasts(FIT, pairs="all", level=0.9)
    told = survivor.payoff(FIT, COSTS, contrasts=pairs, level=0.9).increments.table
    assert told["lower"].tolist() == pairs.table["lower"].tolist()[:2]
    with pytest.raises(PayoffError, match=r"limits of contrasts are at 0.9, those of costs at 0.95"):
        survivor.payoff(FIT, COSTS, contrasts=pairs)
    with pytest.raises(ModelError, match="95 is no confidence level"):
        survivor.payoff(FIT, COSTS, level=95)


@pytest.mark.parametrize("level", LEVELS)
def test_stems_are_the_target_over_the_limits_of_survival(level):
    alive = survivor.survival(FIT, level=level)
    found = survivor.stems_needed(alive, 1000, planted={"usual": 1200.0})
    low, high = by_hand(alive.table, level)
    np.testing.assert_allclose(found.table["lower"], 1000 / high)
    np.testing.assert_allclose(found.table["upper"], 1000 / low)
    assert set(found.table["level"]) == {level}
    assert found.level == level
    # Infill for the shortfall, over the same survival: the larger the lower both are.
    usual = found.table.iloc[0]
    ends = [max(1000 - 1200 * end, 0) / end for end in (high[0], low[0])]
    assert [usual["infill_lower"], usual["infill_upper"]] == pytest.approx(ends, rel=0.05)


@pytest.mark.parametrize("level", LEVELS)
def test_infill_to_order_has_the_limits_of_its_level(level):
    site = {"site": ["a"], "planted": [100], "survival": [70.0], "lower": [60.0], "upper": [78.0]}
    found = survivor.infill_order(pd.DataFrame(site), level=level, draws=100_000).table.iloc[0]
    # With limits at this level, and every infill plant alive, plants to order are those dead.
    assert [found["lower"], found["upper"]] == pytest.approx([22.0, 40.0], abs=0.5)
    assert found["level"] == level


@pytest.mark.parametrize("level", LEVELS)
@pytest.mark.parametrize("share", [0.4, 0.5])
def test_medians_are_those_of_lifelines(level, share):
    lifelines = pytest.importorskip("lifelines")
    rng = np.random.default_rng(3)
    days, dead = rng.integers(1, 400, 60).astype(float), rng.random(60) < 0.8
    rows = pd.DataFrame({"start_day": 0.0, "stop_day": days, "at_risk": 1, "died": dead.astype(int)})
    ours = survivor.median_days(survivor.curve(rows, cluster=None), share, level)
    fitter = lifelines.KaplanMeierFitter(alpha=1 - level).fit(days, dead)
    reached = lifelines.utils.qth_survival_times
    ends = [reached(1 - share, fitter.confidence_interval_.iloc[:, [place]]) for place in (0, 1)]
    theirs = [reached(1 - share, fitter.survival_function_), *ends]
    found = ours.table.iloc[0]
    assert [found["day"], found["lower"], found["upper"]] == pytest.approx(
        [float(np.squeeze(e)) for e in theirs]
    )
    assert found["level"] == ours.level == level
    assert f"limits at {100 * level:g} %" in repr(ours)


def test_medians_of_a_band_are_refused_at_another_level():
    band = survivor.curve(F, by="method").band()
    with pytest.raises(ModelError, match="cannot be had at another level"):
        survivor.median_days(band, level=0.9)
    assert set(survivor.curve(F).band(level=0.9).table["level"]) == {0.9}


@pytest.mark.parametrize("level", LEVELS)
def test_a_level_can_be_changed_again(level):
    alive = survivor.survival(FIT, level=level)
    pd.testing.assert_frame_equal(survivor.limits_at(alive, 0.95), survivor.survival(FIT).table)
    pd.testing.assert_frame_equal(survivor.limits_at(alive, 0.8), survivor.survival(FIT, level=0.8).table)
    assert set(alive.tidy()["level"]) == {level}
    assert set(survivor.survival(FIT).tidy()["level"]) == {0.95}
    assert survivor.log_rank(F).tidy()["level"].isna().all()
    one_sided = survivor.non_inferiority(survivor.contrasts(FIT), 5, level=level)
    assert set(one_sided.tidy()["level"]) == {level}


@pytest.mark.parametrize("level", LEVELS)
def test_where_all_live_the_number_behind_limits_goes_by_the_level(level):
    # Korn and Graubard (1998): the effective number is cut by (z / t) squared at the level asked.
    number = survivor.proportions.effective_number(100, 2, df=5, level=level)
    tail = 0.5 + level / 2
    assert float(number) == pytest.approx(50 * (stats.norm.ppf(tail) / stats.t.ppf(tail, 5)) ** 2)
    with pytest.raises(SurvivorError, match="level"):
        survivor.proportions.effective_number(100, 2, df=5, level=95)


def test_drawings_name_the_level():
    for result in (
        survivor.survival(FIT, level=0.9),
        survivor.contrasts(FIT, level=0.9),
        survivor.stems_needed(survivor.survival(FIT, level=0.9), 1000),
    ):
        texts = texts_of(result)
        assert "90 % CI" in texts
        assert "95 % CI" not in texts
