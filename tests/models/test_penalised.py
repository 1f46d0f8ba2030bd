"""Penalised fits: closed forms, another library, the definition maximised numerically; what is said."""

import warnings

import numpy as np
import pandas as pd
import pytest
from firthmodels import FirthLogisticRegression
from scipy import stats
from scipy.optimize import minimize

from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.grouped import arranged
from survivor.models.jeffreys import Jeffreys
from survivor.models.likelihood import Rows
from survivor.models.penalised import Profile, coefficient, maximise
from survivor.models.working import INDEPENDENT, design_effect
from survivor.proportions import design_effect as rao_scott
from tests.models.cohorts import VISITS, counts, tagged
from tests.models.making import dense_objective
from tests.models.published import freireich_at_visits

CHI2 = stats.chi2.ppf(0.95, 1)


def odds(columns, strata, counted, number):
    return Jeffreys(Rows(columns, np.ones((len(columns), 1)), strata, number, counted, link="logit"))


def without_deaths(frame, method="rip"):
    return frame.assign(died=frame["died"].where(frame["method"] != method, 0))


def two_groups(alive, planted):
    return pd.DataFrame(
        {
            "group": pd.Categorical(["first", "second"], ["second", "first"]),
            "start_day": 0,
            "stop_day": 365,
            "at_risk": planted,
            "died": np.subtract(planted, alive),
        }
    )


# --- logistic ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("alive", "planted", "log_odds", "limits", "ratio"),
    [
        ((20, 14), (20, 20), 2.911226, (0.650894, 7.811233), 7.135269),
        ((10, 6), (10, 10), 2.676798, (0.207721, 7.625858), 4.630701),
    ],
)
def test_two_groups_have_a_closed_form(alive, planted, log_odds, limits, ratio):
    # Source: Firth (1993): in a saturated table the penalty adds a half to every cell. Limits and ratio
    # computed with our own profile of that closed form.
    found = fit(two_groups(alive, planted), "group", model="logistic", cluster=None, strata=None, at=365)
    row = found.table.iloc[0]
    assert found.variance == "penalised"
    assert row["estimate"] == pytest.approx(log_odds, abs=1e-6)
    assert (row["lower"], row["upper"]) == pytest.approx(limits, abs=2e-6)
    assert stats.chi2.isf(row["p_value"], 1) == pytest.approx(ratio, abs=1e-6)
    halves = (np.array(alive) + 0.5) / (np.array(planted) + 1)
    at = found.average_survival(pd.DataFrame({"group": ["first", "second"]}), np.eye(2), 365)
    np.testing.assert_allclose(at.estimate, halves, atol=1e-8)


def _separated(seed):
    rng = np.random.default_rng(seed)
    columns = np.column_stack([rng.normal(size=(60, 2)), rng.random(60) < 0.3])
    alive = (rng.random(60) < 1 / (1 + np.exp(-columns[:, 0]))).astype(int)
    alive[columns[:, 2] == 1] = 1
    return columns, alive


def test_equals_firthmodels():
    # Source: firthmodels, a library for Firth's logistic regression with profile limits.
    columns, alive = _separated(1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it goes on stepping at full precision
        peer = FirthLogisticRegression(max_iter=500, gtol=1e-10, xtol=1e-10).fit(columns, alive)
        limits = peer.conf_int(method="pl")
    frame = pd.DataFrame(columns, columns=["a", "b", "c"]).assign(
        start_day=0, stop_day=365, at_risk=1, died=1 - alive
    )
    found = fit(frame, "a + b + c", model="logistic", cluster=None, strata=None, at=365)
    np.testing.assert_allclose(found.table["estimate"], peer.coef_, atol=1e-7)
    # Its standard errors come from the augmented table; ours from the information itself (Firth 1993).
    design = np.column_stack([columns, np.ones(60)])
    share = 1 / (1 + np.exp(-design @ np.append(peer.coef_, peer.intercept_)))
    spread = np.linalg.inv(design.T @ ((share * (1 - share))[:, None] * design))
    np.testing.assert_allclose(found.table["std_error"], np.sqrt(np.diag(spread))[:3], atol=1e-6)
    np.testing.assert_allclose(found.table[["lower", "upper"]], limits[:3], atol=1e-5)


def test_a_milestone_by_plot():
    frame = without_deaths(counts())
    found = fit(frame, "method", model="logistic", at=365)
    assert found.variance == "penalised"
    assert any("nobody died with method rip" in check for check in found.checks)
    assert any("design effect of the other arms" in check for check in found.checks)
    table = contrasts(found, at=365).table.set_index("method")
    assert table.loc["rip", "lower"] > 0
    dead = counts().assign(died=lambda rows: rows["at_risk"].where(rows["method"] == "rip", rows["died"]))
    dead = dead[(dead["method"] != "rip") | (dead["start_day"] == 0)]
    everybody = fit(dead, "method", model="logistic", at=365)
    assert any("everybody died with method rip" in check for check in everybody.checks)
    assert everybody.table["estimate"].iloc[1] < -2


# --- grouped -------------------------------------------------------------------------------------------


def _arrays(frame):
    edges = np.array([0, *VISITS])
    start, stop = frame["start_day"].to_numpy(float), frame["stop_day"].to_numpy(float)
    lengths = np.clip(np.minimum(stop[:, None], edges[1:]) - np.maximum(start[:, None], edges[:-1]), 0, None)
    columns = np.column_stack([frame["method"] == name for name in ("auger", "rip")]).astype(float)
    strata = frame.groupby("site").ngroup().to_numpy().astype(np.intp)
    return columns, lengths, strata, frame["at_risk"].to_numpy(float), frame["died"].to_numpy(float)


def _skipping(frame):
    """The first visit skipped in every third plot, so that intervals cover two pieces."""
    skips = frame.groupby(["site", "plot"]).ngroup() % 3 == 0
    first = frame[skips & (frame["stop_day"] == 40)].set_index(["site", "plot"])
    second = frame[skips & (frame["stop_day"] == 150)].set_index(["site", "plot"])
    joined = first.assign(stop_day=150, died=first["died"] + second["died"].reindex(first.index).fillna(0))
    return pd.concat([frame[~(skips & (frame["stop_day"] <= 150))], joined.reset_index()], ignore_index=True)


@pytest.mark.parametrize("shape", [lambda frame: frame, _skipping], ids=["shared visits", "skipped visits"])
def test_grouped_is_the_definition_maximised(shape):
    # Source: Firth (1993), Kosmidis and Firth (2021): the log-likelihood plus half the log determinant of
    # the expected information, maximised numerically from its written-out form.
    frame = shape(without_deaths(counts()))
    found = fit(frame, "method", cluster=None, pieces=VISITS[:2])
    arrays = _arrays(frame)
    start = np.concatenate([np.full(3, -6.0), np.zeros(4)])
    peer = minimize(lambda at: -dense_objective(at, *arrays), start, method="BFGS", options={"gtol": 1e-7})
    np.testing.assert_allclose(found.table["estimate"], peer.x[-2:], atol=2e-5)
    best = found.engine.profile.best
    assert best.point.value == pytest.approx(-peer.fun, abs=1e-8)
    np.testing.assert_allclose(best.parameters, peer.x, atol=5e-5)


def test_grouped_limits_are_those_of_the_profile():
    # Source: the definition: at each limit the profile lies half the chi-square quantile below.
    frame = without_deaths(counts())
    found = fit(frame, "method", cluster=None, pieces=VISITS[:2])
    arrays, best = _arrays(frame), found.engine.profile.best
    for end in ("lower", "upper"):
        held = found.table[end].iloc[1]
        peer = minimize(
            lambda at, held=held: -dense_objective(np.append(at, held), *arrays),
            best.parameters[:-1],
            method="BFGS",
            options={"gtol": 1e-6},
        )
        assert 2 * (best.point.value + peer.fun) == pytest.approx(CHI2, abs=1e-5)


def test_two_groups_of_the_grouped_model():
    # Source: one interval, two groups: the model is saturated, and the penalised hazards of the groups
    # part; each maximises d log(1 - exp(-H)) - (n - d) H + half the log of H^2 n / (exp(H) - 1).
    found = fit(two_groups((20, 14), (20, 20)), "group", cluster=None, strata=None)
    alive = found.average_survival(pd.DataFrame({"group": ["first", "second"]}), np.eye(2), 365).estimate

    def height(log_hazard, number, died):
        hazard = np.exp(log_hazard)
        information = np.log(number / np.expm1(hazard)) / 2 + log_hazard
        return -(died * np.log(-np.expm1(-hazard)) - (number - died) * hazard + information)

    for share, died in zip(alive, (0, 6), strict=True):
        peer = minimize(lambda at, died=died: height(at[0], 20, died), [-2.0], options={"gtol": 1e-9})
        assert share == pytest.approx(np.exp(-np.exp(peer.x[0])), abs=1e-6)


def test_the_gradient_is_the_derivative():
    rng = np.random.default_rng(0)
    columns, strata = rng.normal(size=(50, 2)), rng.integers(0, 3, 50)
    lengths = rng.uniform(0.1, 1, (50, 3)) * (rng.random((50, 3)) < 0.6)
    lengths[:, 0] += 0.1
    number = rng.integers(3, 10, 50)
    died = rng.binomial(number, 0.3)
    for likelihood in (
        Jeffreys(Rows(columns, lengths, strata, number.astype(float), died.astype(float))),
        odds(columns, strata, died.astype(float), number.astype(float)),
    ):
        at = likelihood.data.start() + 0.3 * rng.normal(size=len(likelihood.data.start()))
        steps = 1e-5 * np.eye(len(at))
        slope = [(likelihood.at(at + step).value - likelihood.at(at - step).value) / 2e-5 for step in steps]
        np.testing.assert_allclose(likelihood.at(at).gradient, slope, atol=1e-6)


def test_used_only_when_needed():
    assert fit(counts(), "method").variance == "CR2"
    found = fit(without_deaths(counts()), "method")
    assert found.variance == "penalised"
    assert (found.table["variance"] == "penalised").all()
    assert sum("penalised" in check for check in found.checks) == 2
    # A site without deaths does not call for it.
    frame = counts()
    frame.loc[frame["site"] == "site 1", "died"] = 0
    assert fit(frame, "method").variance == "CR2"


def test_freireich_first_visit_only():
    # Source: Freireich et al. (1963), grouped at 5 weeks: nobody relapsed on 6-MP, 9 of 21 did without.
    frame = freireich_at_visits()
    found = fit(frame[frame["stop_day"] == 5], "treatment", cluster=None, strata=None)
    assert found.variance == "penalised"
    assert found.table["upper"].iloc[0] < 0
    assert np.isfinite(found.table["estimate"].iloc[0])


def test_nobody_died_at_all_is_still_refused():
    with pytest.raises(ModelError, match="nobody died"):
        fit(counts().assign(died=0), "method")


def test_everybody_died_with_one_method():
    frame = counts()
    frame["died"] = frame["at_risk"].where(frame["method"] == "rip", frame["died"])
    frame = frame[(frame["method"] != "rip") | (frame["start_day"] == 0)]
    found = fit(frame, "method")
    assert any("everybody died with method rip" in check for check in found.checks)
    alive = survival(found, at=365).table.set_index("method")
    assert alive.loc["rip", "estimate"] < 5
    assert 0 <= alive.loc["rip", "lower"] < alive.loc["rip", "upper"] < 40


def test_order_and_cutting_into_tags_change_nothing():
    frame = without_deaths(counts())
    found = fit(frame, "method")
    for other in (frame.sample(frac=1, random_state=2), tagged(frame)):
        again = fit(other, "method")
        for column in ("estimate", "std_error", "df", "lower", "upper", "p_value"):
            np.testing.assert_allclose(again.table[column], found.table[column], rtol=1e-5)


def test_a_piece_without_deaths_is_left_out_here_too():
    frame = without_deaths(counts())
    frame.loc[frame["stop_day"] == 40, "died"] = 0
    found = fit(frame, "method")
    assert any("nobody died in these pieces" in check for check in found.checks)
    assert np.isfinite(found.table[["estimate", "upper"]]).all(axis=None)


# --- plots ---------------------------------------------------------------------------------------------


def test_limits_widen_with_the_design_effect():
    frame = without_deaths(counts(plot_sd=1.0))
    by_plot, alone = fit(frame, "method"), fit(frame, "method", cluster=None)
    np.testing.assert_allclose(by_plot.table["estimate"], alone.table["estimate"])
    assert (by_plot.table["lower"] < alone.table["lower"]).all()
    assert (by_plot.table["upper"] > alone.table["upper"]).all()
    engine = by_plot.engine
    # At each limit the fall is the design effect times the F quantile on its degrees of freedom.
    allowed = engine.spread.effect * stats.f.ppf(0.95, 1, engine.spread.df) / 2
    size = len(engine.profile.best.parameters)
    for end in ("lower", "upper"):
        held = coefficient(size - 2, size)
        assert engine.profile.fall([held], [by_plot.table[end].iloc[0]]) == pytest.approx(allowed, rel=1e-5)


def test_the_design_effect_is_that_of_plot_totals():
    # Source: Rao and Scott (1992) for a proportion: with one interval, one stratum and equal plots the
    # residuals of clusters are those of the plots' counts.
    rng = np.random.default_rng(5)
    died = rng.binomial(20, rng.beta(2, 4, 8))
    likelihood = odds(np.empty((8, 0)), np.zeros(8, dtype=np.intp), died.astype(float), np.full(8, 20.0))
    found = design_effect(likelihood, np.arange(8), np.arange(8), 20.0)
    # A half is added to each of two cells, which moves the share a little.
    assert found.effect == pytest.approx(rao_scott(died, np.full(8, 20)).design_effect, rel=0.02)
    assert found.df == pytest.approx(7)
    assert (found.how, found.clusters) == ("within", 8)


def test_plots_more_alike_than_chance_count_as_independent_seedlings():
    # Eight plots with 6 of 20 dead each: no spread at all, an effect of 0 by Rao and Scott, and 1 is taken.
    plots = np.arange(8)
    even = odds(np.empty((8, 0)), np.zeros(8, dtype=np.intp), np.full(8, 6.0), np.full(8, 20.0))
    found = design_effect(even, plots, plots, 20.0)
    assert (found.effect, found.how) == (1.0, "within")


def test_sites_are_counted_in_only_where_plots_within_them_are_too_few():
    # Two sites of four plots leave 6 degrees of freedom within sites: enough. Without sites there are 7.
    died, plots = np.array([2.0, 5, 8, 9, 1, 4, 9, 12]), np.arange(8)
    found = design_effect(odds(np.empty((8, 0)), plots // 4, died, np.full(8, 20.0)), plots, plots, 20.0)
    assert (found.how, found.clusters) == ("within", 8)
    assert found.df == pytest.approx(6)
    pairs = design_effect(odds(np.empty((8, 0)), plots // 6, died, np.full(8, 20.0)), plots[5:], plots, 20.0)
    assert (pairs.how, pairs.clusters) == ("between", 3)


def test_a_plot_of_each_method_at_each_site_counts_sites_in():
    frame = without_deaths(counts(sites=6, plots=1, methods=("spot spray", "rip")))
    found = fit(frame, "method")
    assert found.engine.spread.how == "between"
    assert found.engine.spread.df == pytest.approx(5, abs=0.1)
    assert any("differences between strata are counted in" in check for check in found.checks)


def test_where_nothing_tells_a_plot_counts_as_one_plant():
    frame = counts(methods=("spot spray", "rip"))
    frame = frame[frame["start_day"] == 0]
    frame["died"] = frame["at_risk"].where(frame["method"] == "spot spray", 0)
    found = fit(frame, "method")
    assert found.engine.spread.how == "one plant"
    assert found.engine.spread.effect == pytest.approx(12)
    assert any("counts as one plant" in check for check in found.checks)


def test_averages_have_profile_limits_within_0_and_100():
    found = fit(without_deaths(counts()), "method")
    alive = survival(found, at=365).table.set_index("method")
    assert alive.loc["rip", "lower"] < alive.loc["rip", "estimate"] < alive.loc["rip", "upper"] <= 100
    # Nought of 72 in six plots: a standard error on the log(-log) scale would reach far lower.
    assert alive.loc["rip", "lower"] > 85
    differ = contrasts(found, at=365).table.set_index("method")
    row, term = differ.loc["auger"], found.table.set_index("term").loc["method[T.auger]"]
    # No difference of survival at any site is no difference of hazard: one profile, one p-value.
    assert row["p_value"] == pytest.approx(term["p_value"], abs=1e-6)
    assert (row["lower"] < 0) == (term["lower"] < 0)
    assert differ.loc["rip", "p_adjusted"] >= differ.loc["rip", "p_value"]


def test_the_average_falls_where_the_profile_does():
    # Source: the definition, checked by holding the average at its limit with another optimiser.
    frame = without_deaths(counts())
    found = fit(frame, "method", cluster=None)
    engine = found.engine
    cells = pd.DataFrame({"site": [f"site {place}" for place in range(3)], "method": ["rip"] * 3})
    weights = np.full((1, 3), 1 / 3)
    limits = found.average_survival(cells, weights, 365)
    read, profile = engine.read(cells, 365), engine.profile

    def alive(at):
        return float(weights[0] @ read.shares(weights[0], at)[0])

    peer = minimize(
        lambda at: -profile.likelihood.at(at).value,
        profile.best.parameters,
        jac=lambda at: -profile.likelihood.at(at).gradient,
        constraints={"type": "eq", "fun": lambda at: 1e3 * (alive(at) - limits.lower[0])},
        method="SLSQP",
        options={"ftol": 1e-12, "maxiter": 500},
    )
    assert 2 * (profile.best.point.value + peer.fun) == pytest.approx(CHI2, abs=1e-4)


def test_cells_without_a_level_stay_as_they_were():
    frame = without_deaths(counts())
    frame.loc[frame["site"] == "site 1", "died"] = 0
    found = fit(frame, "method")
    cells = pd.DataFrame({"site": ["site 1", "site 0"], "method": ["rip", "rip"]})
    whole = found.average_survival(cells, np.array([[1.0, 0.0], [0.5, 0.5], [0.0, 1.0]]), 365)
    assert whole.estimate[0] == 1
    assert np.isnan(whole.lower[0])
    assert whole.lower[1] == pytest.approx((1 + whole.lower[2]) / 2, abs=1e-6)
    assert whole.estimate[1] == pytest.approx((1 + whole.estimate[2]) / 2)


def test_tests_are_by_the_likelihood_ratio():
    found = fit(without_deaths(counts()), "method")
    one = found.test(["method[T.auger]"])
    assert one.p_value == pytest.approx(found.table["p_value"].iloc[0], abs=1e-9)
    both = found.test(list(found.table["term"]))
    assert both.df1 == 2
    assert both.p_value < 0.01


def test_labels_of_rows_are_of_no_account():
    frame = without_deaths(counts()).set_index(pd.Index([0] * len(counts())))
    for model, at in (("grouped", None), ("logistic", 365)):
        assert fit(frame, "method", model=model, at=at).variance == "penalised"


def test_a_penalised_fit_is_not_taken_apart():
    with pytest.raises(ModelError, match="penalised"):
        arranged(fit(without_deaths(counts()), "method"))


def test_a_limit_that_is_never_reached_is_infinite():
    likelihood = odds(
        np.array([[1.0], [0.0]]), np.zeros(2, dtype=np.intp), np.array([20.0, 14.0]), np.array([20.0, 20.0])
    )
    profile = Profile(likelihood, maximise(likelihood, likelihood.data.start()), 15.0)
    lower, upper = profile.limits(coefficient(1, 2))
    assert upper == np.inf
    assert np.isfinite(lower)
    assert INDEPENDENT.allowed == pytest.approx(CHI2 / 2)
