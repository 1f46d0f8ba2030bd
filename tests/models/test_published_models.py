"""Published cases for the models.

Data sets are published and named; where a source says "computed", the numbers were
worked out on them with R 4.2.2 (survival 3.5-3), and statsmodels or lifelines besides.
"""

import numpy as np
import pytest
from scipy.special import comb
from scipy.stats import binom, chi2

from survivor.models.fit import fit
from survivor.models.partial import evaluate
from tests.models import published


def _estimates(found, column="estimate"):
    return found.table[column].to_numpy()


# Freireich et al. (1963): Cox regression with Efron's ties.


def test_freireich_cox():
    # Source: computed with R survival coxph(ties = "efron"), lifelines and statsmodels PHReg alike;
    # printed as -1.57 in textbooks that analyse Freireich et al. (1963).
    found = fit(published.freireich(), "treatment", model="cox", cluster=None, strata=None)
    assert _estimates(found)[0] == pytest.approx(-1.572125, abs=1e-6)
    assert _estimates(found, "std_error")[0] == pytest.approx(0.412397, abs=1e-6)
    assert _estimates(found, "hazard_ratio")[0] == pytest.approx(0.207604, abs=1e-6)
    assert found.log_likelihood == pytest.approx(-85.008425, abs=1e-6)
    assert found.variance == "model"
    assert np.isinf(_estimates(found, "df")[0])


def test_freireich_cox_stratified_by_pair():
    # Source: computed with R survival; exactly -log 6, since 18 of 21 pairs decide 18 to 3.
    found = fit(published.freireich(), "treatment", model="cox", cluster=None, strata="pair")
    assert _estimates(found)[0] == pytest.approx(-np.log(6), abs=1e-9)
    assert _estimates(found)[0] == pytest.approx(-1.791759, abs=1e-6)
    assert _estimates(found, "std_error")[0] == pytest.approx(0.623610, abs=1e-6)


def test_freireich_null_likelihood():
    # Source: computed with R survival: -93.184270 for Efron's ties at a coefficient of zero.
    found = fit(published.freireich(), "treatment", model="cox", cluster=None, strata=None)
    null = evaluate(found.engine.sets, np.zeros(1))
    assert null.log_likelihood == pytest.approx(-93.184270, abs=1e-6)


# Freireich at shared visits: grouped proportional hazards.


@pytest.mark.parametrize("as_counts", [False, True])
def test_freireich_grouped(as_counts):
    # Source: Prentice and Gloeckler (1978), Biometrics 34, 57-67 (the identity); numbers computed with
    # R glm(binomial("cloglog")), statsmodels and the interval likelihood, expected information.
    frame = published.freireich_at_visits()
    constant = 0.0
    assert (len(frame), frame["died"].sum()) == (114, 30)
    if as_counts:
        keys = ["treatment", "start_day", "stop_day"]
        frame = frame.groupby(keys, observed=True, as_index=False)[["at_risk", "died"]].sum()
        assert frame["died"].tolist() == [9, 4, 5, 1, 2, 0, 5, 1, 1, 2]
        assert frame["at_risk"].tolist() == [21, 12, 8, 3, 2, 21, 19, 12, 9, 7]
        constant = np.log(comb(frame["at_risk"], frame["died"])).sum()
    found = fit(frame, "treatment", cluster=None, strata=None)
    assert _estimates(found)[0] == pytest.approx(-1.673574, abs=1e-6)
    assert _estimates(found, "std_error")[0] == pytest.approx(0.425535, abs=1e-6)
    assert found.log_likelihood == pytest.approx(-55.532077 + constant, abs=1e-6)


def test_freireich_grouped_baseline():
    # Source: computed with R glm: cloglog intercepts of the five visits; S of the control children is
    # the product of exp(-exp(intercept)).
    intercepts = np.array([-0.803717, -0.356369, -0.198414, -0.706058, 0.819302])
    found = fit(published.freireich_at_visits(), "treatment", cluster=None, strata=None)
    cells = published.freireich()[["treatment"]].drop_duplicates("treatment").sort_values("treatment")
    for number, week in enumerate(published.VISITS[1:], start=1):
        control = found.average_survival(cells, np.array([[1.0, 0.0]]), week).estimate[0]
        assert control == pytest.approx(np.exp(-np.exp(intercepts[:number]).sum()), abs=1e-6)


# Crowder (1978): logistic regression on plates.


def test_orobanche_logistic():
    # Source: Crowder (1978), data; estimates computed with R glm(binomial), statsmodels alike.
    found = fit(published.orobanche(), "seed * root", model="logistic", cluster=None, strata=None, at=365)
    np.testing.assert_allclose(_estimates(found), [0.145927, 1.318182, -0.778104], atol=1e-6)
    np.testing.assert_allclose(_estimates(found, "std_error"), [0.223166, 0.177468, 0.306433], atol=1e-6)
    assert found.log_likelihood == pytest.approx(-54.937020, abs=1e-6)
    plates = found.data[["at_risk", "died"]].to_numpy()
    saturated = binom.logpmf(plates[:, 1], plates[:, 0], plates[:, 1] / plates[:, 0]).sum()
    assert 2 * (saturated - found.log_likelihood) == pytest.approx(33.277786, abs=1e-6)
    cells = published.orobanche().query("seed == 'O75' and root == 'BEAN'").head(1)
    share = found.average_survival(cells, np.ones((1, 1)), 365)
    assert share.estimate[0] == pytest.approx(1 / (1 + np.exp(0.558172)), abs=1e-6)
    assert share.std_error[0] == pytest.approx(
        0.126021 * share.estimate[0] * (1 - share.estimate[0]), abs=1e-6
    )
    assert (found.n_seedlings, found.n_died) == (831, 831 - 424)


def test_orobanche_by_plate_is_wider():
    # Source: Crowder (1978): germination varies between plates beyond chance (quasi-binomial standard
    # errors .304508 .242153 .418125 computed with R), so limits by plate are wider than the model's.
    found = fit(published.orobanche(), "seed * root", model="logistic", cluster="plate", strata=None, at=365)
    np.testing.assert_allclose(_estimates(found), [0.145927, 1.318182, -0.778104], atol=1e-6)
    assert (_estimates(found, "std_error") > [0.223166, 0.177468, 0.306433]).all()
    assert found.variance == "CR2"
    assert (_estimates(found, "df") < 21 - 4).all()


# White pine seedlings, planted 1990.


def test_white_pine_counts():
    # Source: Kenyon College data (Stat2Data): alive 1997 of planted, by fertiliser and spacing.
    frame = published.white_pine()
    assert frame["at_risk"].tolist() == [285, 208, 301, 206]
    assert (frame["at_risk"] - frame["died"]).tolist() == [266, 182, 247, 170]


@pytest.mark.parametrize(
    ("formula", "estimates", "errors", "deviance"),
    [
        ("fertiliser + spacing", [-0.769597, -0.229001], [0.195037, 0.187670], 773.877090),
        (
            "fertiliser * spacing",
            [-1.118653, -0.693147, 0.725022],
            [0.280994, 0.316775, 0.395694],
            770.478916,
        ),
    ],
)
def test_white_pine_logistic(formula, estimates, errors, deviance):
    # Source: computed with R glm on one row a seedling, whose deviance is -2 log-likelihood.
    frame = published.white_pine()
    found = fit(frame, formula, model="logistic", cluster=None, strata=None, at=365)
    np.testing.assert_allclose(_estimates(found), estimates, atol=1e-6)
    np.testing.assert_allclose(_estimates(found, "std_error"), errors, atol=1e-6)
    constant = np.log(comb(frame["at_risk"], frame["died"])).sum()
    assert -2 * (found.log_likelihood - constant) == pytest.approx(deviance, abs=1e-5)


def test_white_pine_intercepts():
    # Source: computed with R glm: log odds of the unfertilised, 10 ft apart: 2.639057 saturated,
    # with standard error .237467, 2.400008 with main effects.
    frame = published.white_pine()
    for formula, intercept in (("fertiliser * spacing", 2.639057), ("fertiliser + spacing", 2.400008)):
        found = fit(frame, formula, model="logistic", cluster=None, strata=None, at=365)
        told = found.average_survival(frame.head(1), np.ones((1, 1)), 365)
        share = told.estimate[0]
        assert np.log(share / (1 - share)) == pytest.approx(intercept, abs=1e-6)
        if "*" in formula:
            assert told.std_error[0] / (share * (1 - share)) == pytest.approx(0.237467, abs=1e-6)


# Plum root cuttings.


def test_plum_cuttings_logistic():
    # Source: Bartlett (1935), counts; a saturated logistic model has closed forms.
    frame = published.plum_cuttings()
    alive = frame.set_index(["time", "length"])["Alive"]
    assert (alive["Now", "Long"], alive["Spring", "Short"]) == (156, 31)
    found = fit(frame, "time * length", model="logistic", cluster=None, strata=None, at=365)
    now = np.log(107 * 209 / (133 * 31))
    long = np.log(84 * 209 / (156 * 31))
    both = np.log(156 * 133 / (84 * 107)) - np.log(84 * 209 / (156 * 31))
    np.testing.assert_allclose(_estimates(found), [now, long, both], atol=1e-9)
    error = np.sqrt(1 / 107 + 1 / 133 + 1 / 31 + 1 / 209)
    assert _estimates(found, "std_error")[0] == pytest.approx(error, abs=1e-9)
    shares = found.average_survival(frame, np.eye(4), 365)
    np.testing.assert_allclose(shares.estimate, frame["Alive"] / 240, atol=1e-12)
    np.testing.assert_allclose(
        shares.std_error, np.sqrt(shares.estimate * (1 - shares.estimate) / 240), atol=1e-9
    )


def test_plum_cuttings_no_interaction():
    # Source: Bartlett (1935) tests the three-factor interaction of this table; his chi-square is commonly
    # quoted as 2.27, and the likelihood-ratio and Wald forms of the same hypothesis are close to it.
    frame = published.plum_cuttings()
    both = fit(frame, "time * length", model="logistic", cluster=None, strata=None, at=365)
    main = fit(frame, "time + length", model="logistic", cluster=None, strata=None, at=365)
    ratio = 2 * (both.log_likelihood - main.log_likelihood)
    wald = both.test([both.table["term"].iloc[2]])
    assert ratio == pytest.approx(2.27, abs=0.05)
    assert wald.statistic == pytest.approx(2.27, abs=0.05)
    assert wald.p_value == pytest.approx(chi2.sf(wald.statistic, 1))
