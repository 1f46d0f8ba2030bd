import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import settings as settings_of
from hypothesis import strategies as st
from scipy import stats

import survivor
from survivor.curves import curve
from survivor.effects.contrasts import contrasts
from survivor.effects.hazards import hazards
from survivor.effects.standardise import survival
from survivor.errors import ModelError, SurvivorError
from survivor.limits import (
    floored,
    floored_f,
    half_width,
    no_less_than_independent,
    survival_limits,
    t_test,
    wilson,
)
from survivor.models.fit import fit
from tests.public.making import F

# Source: Freireich et al. 1963, 6-MP arm; log(-log) limits computed with R survival 3.5-3.
FREIREICH = {
    6: (0.857143, 0.0763604, 0.619718, 0.951552),
    10: (0.752941, 0.0963497, 0.503200, 0.889362),
    23: (0.448179, 0.1345915, 0.188052, 0.680143),
}


@pytest.mark.parametrize(("survival", "std_error", "lower", "upper"), FREIREICH.values())
def test_loglog_limits_with_infinite_df_are_those_of_a_normal(survival, std_error, lower, upper):
    found = survival_limits(np.array([survival]), np.array([std_error]), np.array([np.inf]), np.array([21.0]))
    assert found.lower[0] == pytest.approx(lower, abs=5e-6)
    assert found.upper[0] == pytest.approx(upper, abs=5e-6)
    assert not found.edge[0]


def test_fewer_degrees_of_freedom_widen_limits():
    wide = survival_limits(np.array([0.7]), np.array([0.05]), np.array([4.0]), np.array([12.0]))
    narrow = survival_limits(np.array([0.7]), np.array([0.05]), np.array([40.0]), np.array([12.0]))
    assert wide.lower[0] < narrow.lower[0] < 0.7 < narrow.upper[0] < wide.upper[0]


# Source: Newcombe 1998, Stat. Med. 17, 857-872, table I.
NEWCOMBE = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]


@pytest.mark.parametrize(("count", "number", "lower", "upper"), NEWCOMBE)
def test_wilson(count, number, lower, upper):
    found = wilson(np.array([count / number]), np.array([float(number)]))
    assert found[0][0] == pytest.approx(lower, abs=6e-5)
    assert found[1][0] == pytest.approx(upper, abs=6e-5)


def test_at_an_edge_the_limits_are_wilsons_on_the_number_given():
    found = survival_limits(np.array([1.0, 0.0]), np.zeros(2), np.array([5.0, 5.0]), np.array([20.0, 20.0]))
    assert found.edge.tolist() == [True, True]
    # Source: Newcombe 1998, table I: 0 of 20 has limits 0 to 0.1611.
    assert found.lower[0] == pytest.approx(1 - 0.1611, abs=6e-5)
    assert found.upper.tolist() == pytest.approx([1.0, 0.1611], abs=6e-5)


def test_no_honest_width_without_degrees_of_freedom():
    found = half_width(np.array([1.0, 1.0, 1.0]), np.array([np.nan, np.inf, 7.0]))
    assert np.isnan(found[0])
    assert found[1] == pytest.approx(stats.norm.ppf(0.975))
    assert found[2] == pytest.approx(stats.t.ppf(0.975, 7))


def test_t_test_matches_its_limits():
    # A limit that just touches 0 has p = 0.05.
    quantile = stats.t.ppf(0.975, 7)
    assert t_test(np.array([quantile]), np.array([1.0]), np.array([7.0]))[0] == pytest.approx(0.05)
    assert np.isnan(t_test(np.array([1.0]), np.array([0.0]), np.array([7.0])))[0]


def season(died, sites, plots, plants, visits=(200.0, 366.0)):
    """Risk intervals of ``plots`` plots of two methods at each site; ``died`` by plot and visit."""
    rows = []
    for place, found in enumerate(died):
        site, method = divmod(place // plots, 2)
        left, begin = plants, 0.0
        for day, dead in zip(visits, found, strict=True):
            if left:
                rows.append((site, place, ("usual", "other")[method], begin, day, left, min(dead, left)))
            left, begin = left - min(dead, left), day
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    assert frame["site"].nunique() == sites
    return frame.assign(method=pd.Categorical(frame["method"], categories=["usual", "other"]))


@pytest.fixture(scope="module", params=[20, 19])
def alike(request):
    """Four sites, two plots of each method at each, the same counts in all plots of a method."""
    usual, other = ((4, 6), (2, 4)) if request.param == 20 else ((4, 6), (2, 3))
    return season([*(2 * [usual]), *(2 * [other])] * 4, 4, 2, request.param)


def test_plots_that_came_out_alike_give_no_certainty(alike):
    fitted, alone = fit(alike, "method"), fit(alike, "method", cluster=None)
    ours = survival(fitted, at=366).table
    assert (ours["upper"] - ours["lower"] > 12).all()  # 160 seedlings a method: about 8 to either side
    curves = curve(alike, by="method", strata="site").read(366.0)
    assert 100 * curves["lower"].to_numpy() == pytest.approx(ours["lower"].to_numpy(), abs=5)
    assert 100 * curves["upper"].to_numpy() == pytest.approx(ours["upper"].to_numpy(), abs=5)
    found = contrasts(fitted, at=366)
    row, other = found.table.iloc[0], contrasts(alone, at=366).table.iloc[0]
    assert row["lower"] <= other["lower"] + 1e-9
    assert row["upper"] >= other["upper"] - 1e-9
    assert row["p_value"] >= other["p_value"] - 1e-12
    assert any("independent seedlings: other against usual" in check for check in found.checks)
    assert fitted.table["variance"].tolist() == ["independent seedlings"]
    assert fitted.table["std_error"].iloc[0] > 0.5 * alone.table["std_error"].iloc[0]
    assert any("independent seedlings: other" in check for check in fitted.checks)


def test_an_f_test_of_rounding_is_no_more_than_independent_seedlings_give(alike):
    fitted, alone = fit(alike, "method", pieces=[200]), fit(alike, "method", pieces=[200], cluster=None)
    ours, theirs = hazards(fitted).test, hazards(alone).test
    assert 0 < ours.statistic < 10  # the records speak against neither
    assert ours.p_value >= theirs.p_value
    test, least = fitted.test(["method[T.other]"]), alone.test(["method[T.other]"])
    assert test.p_value >= least.p_value
    assert test.p_value == pytest.approx(fitted.table["p_value"].iloc[0])


@given(data=st.data())
@settings_of(max_examples=25, derandomize=True)
def test_limits_are_never_narrower_than_those_of_independent_seedlings(data):
    sites, plots, plants = (data.draw(st.integers(*ends)) for ends in ((2, 3), (1, 3), (2, 25)))
    dead = st.tuples(st.integers(0, plants // 2), st.integers(0, plants // 2))
    died = data.draw(st.lists(dead, min_size=2 * sites * plots, max_size=2 * sites * plots))
    frame = season(died, sites, plots, plants)
    try:
        fitted, alone = fit(frame, "method"), fit(frame, "method", cluster=None)
    except SurvivorError:
        assume(False)
    pairs = [
        (fitted.table, alone.table),
        (survival(fitted, at=366).table, survival(alone, at=366).table),
        (contrasts(fitted, at=366).table, contrasts(alone, at=366).table),
    ]
    for ours, theirs in pairs:
        told = ours["lower"].notna().to_numpy() & theirs["lower"].notna().to_numpy()
        assert (ours["lower"] <= theirs["lower"] + 1e-6)[told].all()
        assert (ours["upper"] >= theirs["upper"] - 1e-6)[told].all()


def test_the_floor_is_one_rule_for_one_estimate_for_several_and_for_their_test():
    errors = no_less_than_independent(np.array([0.5, 0.1, 1e-12]), np.full(3, 4.0), np.full(3, 0.3))
    floor = 0.3 * stats.norm.ppf(0.975) / stats.t.ppf(0.975, 4)
    assert errors == pytest.approx([0.5, floor, 0.3])
    found = floored(np.diag([0.25, 0.01]), np.full(2, 4.0), np.diag([0.09, 0.09]))
    assert found.std_error == pytest.approx([0.5, floor])
    assert found.floored.tolist() == [False, True]
    # One term: the F statistic is the square of t, floored or not.
    for error, own in zip(errors, (0.5, 0.1, 1e-12), strict=True):
        assert floored_f(1 / own**2, 1, 4.0, 1 / 0.3**2) == pytest.approx(1 / error**2)


@pytest.mark.parametrize("level", [0.9, 0.99])
def test_limits_at_another_level_are_those_that_calls_give_at_it(level):
    fitted = survivor.fit(F, "method + z")
    for call in (survivor.survival, survivor.contrasts):
        found, own = survivor.limits_at(call(fitted), level), call(fitted, level=level).table
        pd.testing.assert_frame_equal(found, own)
    own = fitted.summary(level).table
    pd.testing.assert_frame_equal(survivor.limits_at(fitted, level), own)
    curves = survivor.limits_at(survivor.curve(F, by="method", cluster=None), level)
    # Kalbfleisch and Prentice (1980), section 1.3: S to the power exp(z s / (S log S)).
    usual = curves[curves["method"] == "usual"].iloc[-1]
    z = stats.norm.ppf(0.5 + level / 2) * usual["std_error"] / (usual["survival"] * np.log(usual["survival"]))
    assert usual["lower"] == pytest.approx(usual["survival"] ** np.exp(-z))
    assert usual["upper"] == pytest.approx(usual["survival"] ** np.exp(z))


def test_limits_at_another_level_where_all_live_are_wilsons():
    alive = F.assign(died=np.where(F["method"] == "rip", 0, F["died"]), at_risk=20)
    found = survivor.limits_at(survivor.curve(alive, by="method", cluster=None), 0.9)
    rip = found[found["method"] == "rip"].iloc[-1]
    # Wilson (1927), all of n alive: n / (n + z^2), with the 160 that were watched.
    assert rip["lower"] == pytest.approx(160 / (160 + stats.norm.ppf(0.95) ** 2), rel=1e-6)
    assert rip["upper"] == 1
    by_plot = survivor.curve(alive, by="method")
    usual, wide = by_plot.table.iloc[-1], survivor.limits_at(by_plot, 0.99).iloc[-1]
    assert wide["lower"] < usual["lower"]
    again = survivor.limits_at(by_plot, 0.95)
    np.testing.assert_allclose(again["lower"], by_plot.table["lower"])


def test_limits_made_otherwise_are_refused_at_another_level():
    fitted = survivor.fit(F, "method")
    none = F.assign(died=np.where(F["method"] == "rip", 0, F["died"]))
    for result in (
        survivor.payoff(fitted, {"usual": 3.0, "rip": 4.0}),
        survivor.survival(survivor.fit(none, "method")),  # penalised: by the profile
        survivor.curve(F).band(),
        survivor.median_days(survivor.curve(F)),
    ):
        with pytest.raises(ModelError, match="cannot be had at another level"):
            survivor.limits_at(result, 0.8)
    assert "e_value_limit" not in survivor.limits_at(survivor.sensitivity(fitted), 0.9)
    narrower = survivor.fieller(1000.0, 0.05, 324.0**2, 0.01**2, level=0.8)
    assert narrower.lower > survivor.fieller(1000.0, 0.05, 324.0**2, 0.01**2).lower
