"""The Cox model: limits against refits by lifelines and the definition; survival; refusals."""

import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.duration.hazard_regression import PHReg

from survivor.effects.contrasts import contrasts
from survivor.errors import IntervalsError, ModelError
from survivor.models import cox, jackknife
from survivor.models.cox import fit_cox
from survivor.models.fit import fit
from survivor.models.jackknife import delete_each
from tests.models.cohorts import counts, single, split_rows, tagged
from tests.models.lifelines_refits import BOTH, METHOD, coefficients, without_each_plot
from tests.peers import CoxPHFitter


def _values(found, column):
    return found.table[column].to_numpy()


# The jackknife.


@pytest.mark.slow
def test_jackknife_equals_refits_bycoefficients():
    # Source: the stratified delete-one jackknife, Shao and Tu (1995), section 6.2: squares count (n - 1) / n
    # with n the plots of the stratum, for columns constant within plots.
    frame = counts(planted=8)
    found = fit(frame, "method", model="cox")
    beta, size = without_each_plot(frame, METHOD)
    np.testing.assert_allclose(_values(found, "estimate"), coefficients(frame, METHOD), atol=1e-6)
    change = beta - _values(found, "estimate")
    expected = np.sqrt(((size - 1) / size) @ change**2)
    np.testing.assert_allclose(_values(found, "std_error"), expected, atol=1e-5)
    assert found.variance == "jackknife"
    assert found.n_clusters == 18
    np.testing.assert_array_equal(_values(found, "df"), 18 - 3 - 2)
    limits = _values(found, "estimate") - stats.t.ppf(0.975, 13) * _values(found, "std_error")
    np.testing.assert_allclose(_values(found, "lower"), limits)
    assert any("18 plots less 3 site baselines less 2 columns" in check for check in found.checks)


def test_jackknife_without_strata_is_the_plain_one():
    # Source: Lipsitz, Dear and Zhao (1994), Biometrics 50, 842-846: (G - 1) / G times the sum of squares.
    frame = counts(planted=8, sites=2)
    found = fit(frame, "method", model="cox", strata=None)
    beta, _ = without_each_plot(frame, METHOD, ())
    expected = np.sqrt(11 / 12 * np.sum((beta - _values(found, "estimate")) ** 2, axis=0))
    np.testing.assert_allclose(_values(found, "std_error"), expected, atol=1e-5)
    np.testing.assert_array_equal(_values(found, "df"), 12 - 1 - 2)


def test_a_column_within_plots_counts_in_full():
    # Leaving out a plot takes nothing from the stratum of a comparison inside plots: (G - 1) / G.
    frame = counts(planted=6, sites=2, species=("acacia", "callitris"))
    found = fit(frame, "method + species", model="cox")
    beta, size = without_each_plot(frame, BOTH)
    squares = (beta - _values(found, "estimate")) ** 2
    expected = np.sqrt([*(((size - 1) / size) @ squares[:, :2]), 11 / 12 * squares[:, 2].sum()])
    # As plots have it, before limits are held to those of independent seedlings.
    by_plots = found.engine.limits.covariance(found.engine.estimate.beta)
    np.testing.assert_allclose(np.sqrt(np.diag(by_plots)), expected, atol=1e-5)
    np.testing.assert_array_equal(_values(found, "df"), [12 - 2 - 2, 12 - 2 - 2, 12 - 1])


def test_jackknife_by_site_has_sites_as_clusters():
    frame = counts(planted=8, sites=6, plots=1)
    found = fit(frame, "method", model="cox", cluster="site", strata=None)
    assert found.n_clusters == 6
    np.testing.assert_array_equal(_values(found, "df"), 5)  # method varies within sites


def test_ninety_six_plots_take_less_than_two_seconds():
    frame = counts(sites=8, plots=4, planted=20)
    fit(frame.head(200), "method", model="cox")  # lifelines is imported
    began = time.process_time()
    found = fit(frame, "method", model="cox")
    assert found.n_clusters == 96
    assert time.process_time() - began < 2


@pytest.mark.slow
def test_one_step_a_round_is_one_step_a_plot(monkeypatch):
    # One plot of every site at a time, or each for itself: sites do not know of each other.
    frame = counts(sites=5, plots=4, species=("acacia", "callitris"))
    for module in (jackknife, cox):
        found = []
        for together in (True, False):
            if not together:
                monkeypatch.setattr(module, "apart", lambda *_: False)
            model = fit(frame, "method + species", model="cox")
            limits = delete_each(model.engine.sets, model.engine.estimate, full_refits=0)
            found.append(contrasts(replace(model, engine=replace(model.engine, limits=limits)), at=300).table)
        for name in ("estimate", "std_error"):
            np.testing.assert_allclose(found[0][name], found[1][name], rtol=1e-9)


def test_one_step_for_large_tables_is_near_the_full_refits():
    frame = counts(sites=5, plots=4, species=("acacia", "callitris"))
    found = fit(frame, "method + species", model="cox")
    engine = found.engine
    quick = delete_each(engine.sets, engine.estimate, full_refits=0)
    assert not quick.full
    full = engine.limits.covariance(engine.estimate.beta)
    np.testing.assert_allclose(quick.covariance(engine.estimate.beta), full, rtol=0.15, atol=1e-4)
    cells = frame[["site", "method", "species"]].drop_duplicates()
    weights = np.vstack([np.full(len(cells), 1 / len(cells)), (cells["site"] == "site 1") / 6])
    other = replace(engine, limits=quick).average(cells, weights, 365)
    whole = found.average_survival(cells, weights, 365)
    np.testing.assert_allclose(other.estimate, whole.estimate)
    np.testing.assert_allclose(other.std_error, whole.std_error, rtol=0.05)


def test_one_step_does_for_plots_of_many_seedlings():
    # Of 5,000 seedlings a plot moves a ratio by more than its error were they independent, and yet by little.
    engine = fit(counts(sites=30, plots=4, planted=5000), "method", model="cox").engine
    quick = delete_each(engine.sets, engine.estimate, full_refits=0)
    full = delete_each(engine.sets, engine.estimate, full_refits=np.inf)
    moved = np.abs(full.beta - engine.estimate.beta).max(axis=0)
    assert (moved > np.sqrt(np.diag(engine.estimate.independent))).all()
    errors = (np.sqrt(np.diag(found.covariance(engine.estimate.beta))) for found in (quick, full))
    np.testing.assert_allclose(*errors, rtol=2e-3)


def test_a_term_that_stands_on_one_plot_is_refitted_in_large_tables_too():
    frame = counts(sites=4)
    frame = frame[(frame["method"] != "rip") | ((frame["site"] == "site 1") & (frame["plot"] == "rip 0"))]
    engine = fit(frame, "method", model="cox").engine
    quick = delete_each(engine.sets, engine.estimate, full_refits=0)
    found = quick.covariance(engine.estimate.beta)
    np.testing.assert_array_equal(np.isnan(np.diag(found)), [False, True])
    cells = pd.DataFrame({"site": ["site 1", "site 1"], "method": ["rip", "auger"]})
    estimates = replace(engine, limits=quick).average(cells, np.eye(2), 365)
    np.testing.assert_array_equal(np.isnan(estimates.std_error), [True, False])


# The sandwich of Efron's score residuals.


def test_sandwich_on_untied_times_equals_lifelines_and_phreg():
    # Source: Lin and Wei (1989), JASA 84, 1074-1078, as in lifelines (cluster_col) and statsmodels PHReg
    # (groups); both are right where no two deaths share a day.
    rng = np.random.default_rng(8)
    rows = pd.DataFrame({"plot": np.repeat(np.arange(12), 8)})
    effect = rng.normal(0, 0.6, 12)[rows["plot"]]
    rows["x"] = (rows["plot"] % 2).astype(float)
    time_to = rng.exponential(100 * np.exp(-effect - 0.5 * rows["x"]))
    rows = rows.assign(start_day=0.0, stop_day=np.minimum(time_to, 150), at_risk=1)
    rows["died"] = (time_to < 150).astype(int)
    found = fit_cox(rows, "x", cluster="plot", strata=None, variance="CR0")
    peer = CoxPHFitter().fit(rows[["stop_day", "died", "x", "plot"]], "stop_day", "died", cluster_col="plot")
    assert _values(found, "std_error")[0] == pytest.approx(peer.standard_errors_.iloc[0], abs=1e-6)
    other = PHReg(rows["stop_day"], rows[["x"]], rows["died"], ties="efron").fit(groups=rows["plot"])
    assert _values(found, "std_error")[0] == pytest.approx(other.bse[0], abs=1e-6)
    assert found.variance == "CR0"


def test_lifelines_clusters_are_too_narrow_under_ties():
    # Why lifelines is given no clusters: on visit days its robust error leaves the ties out.
    frame = counts(planted=20, sites=4)
    ours = fit_cox(frame, "method", cluster="plot", strata=None, variance="CR0")
    rows = single(frame)
    rows = rows.assign(rip=(rows["method"] == "rip") * 1.0, auger=(rows["method"] == "auger") * 1.0)
    rows["cluster"] = rows["site"] + rows["plot"]
    peer = CoxPHFitter().fit(
        rows[["start_day", "stop_day", "died", "auger", "rip", "cluster"]],
        "stop_day",
        "died",
        entry_col="start_day",
        cluster_col="cluster",
    )
    assert (peer.standard_errors_.to_numpy() < 0.95 * _values(ours, "std_error")).all()


def test_sandwich_has_no_limits_for_survival():
    frame = counts()
    found = fit_cox(frame, "method", cluster="plot", strata="site", variance="CR0")
    with pytest.raises(ModelError, match="jackknife"):
        found.average_survival(frame[["site", "method"]], np.ones((1, len(frame))), 365)


# What must not change the answer.


@pytest.mark.parametrize(
    "change", [single, tagged, lambda frame: split_rows(frame, 60)], ids=["single", "tagged", "split"]
)
def test_counts_tags_and_split_rows_are_the_same_answer(change):
    frame = counts(planted=6, species=("acacia", "callitris"))
    found = fit(frame, "method + species", model="cox")
    other = fit(change(frame), "method + species", model="cox")
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(other, column), _values(found, column), rtol=1e-8)
    assert found.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-8)


def test_the_unit_of_time_changes_nothing():
    frame = counts()
    years = frame.assign(start_day=frame["start_day"] / 365.25, stop_day=frame["stop_day"] / 365.25)
    found, other = fit(frame, "method", model="cox"), fit(years, "method", model="cox")
    np.testing.assert_allclose(_values(found, "estimate"), _values(other, "estimate"), rtol=1e-10)
    np.testing.assert_allclose(_values(found, "std_error"), _values(other, "std_error"), rtol=1e-10)


def test_without_lifelines_the_maximum_is_the_same(monkeypatch):
    frame = counts()
    found = fit(frame, "method", model="cox")
    monkeypatch.setitem(sys.modules, "lifelines", None)  # as where it is not installed
    other = fit(frame, "method", model="cox")
    np.testing.assert_allclose(_values(found, "estimate"), _values(other, "estimate"), rtol=1e-9)


@pytest.mark.slow
def test_threads_let_no_warning_of_lifelines_out():
    """Where a term nearly separates lifelines warns; what is an error here stays silent in every thread."""
    frame = counts(planted=6, sites=3)
    frame = frame.assign(died=np.where(frame["method"] == "rip", np.minimum(frame["died"], 1), frame["died"]))
    with ThreadPoolExecutor(6) as threads:
        fits = list(threads.map(lambda _: fit(frame, "method", model="cox").table, range(24)))
    for table in fits[1:]:
        pd.testing.assert_frame_equal(table, fits[0])


def test_irregular_visits_followcoefficients():
    rng = np.random.default_rng(2)
    frame = counts(planted=8)
    shift = rng.integers(-9, 10, 18)[frame.groupby(["site", "plot"]).ngroup()]
    frame["stop_day"] = frame["stop_day"] + shift
    frame["start_day"] = np.where(frame["start_day"] > 0, frame["start_day"] + shift, 0)
    found = fit(frame, "method", model="cox")
    np.testing.assert_allclose(_values(found, "estimate"), coefficients(frame, METHOD), atol=1e-6)


# What is refused, and what has no limits.


def test_a_method_on_one_plot_has_no_limits():
    frame = counts(sites=4)
    frame = frame[(frame["method"] != "rip") | ((frame["site"] == "site 1") & (frame["plot"] == "rip 0"))]
    found = fit(frame, "method", model="cox")
    table = found.table.set_index("term")
    assert np.isfinite(table.loc["method[T.rip]", "estimate"])
    assert np.isnan(
        table.loc["method[T.rip]", ["std_error", "lower", "upper", "p_value"]].astype(float)
    ).all()
    assert np.isfinite(table.loc["method[T.auger]", "std_error"])
    assert any("no limits for rip" in check for check in found.checks)
    cells = pd.DataFrame({"site": ["site 1", "site 1"], "method": ["rip", "auger"]})
    estimates = found.average_survival(cells, np.eye(2), 365)
    np.testing.assert_array_equal(np.isnan(estimates.std_error), [True, False])
    with pytest.raises(ModelError, match="no variance that a test"):
        found.test(["method[T.rip]"])


def test_too_few_plots_give_an_estimate_without_limits():
    frame = counts(sites=2, plots=1, methods=("spot spray", "rip"), planted=30, plot_sd=0.1)
    found = fit(frame[frame["site"] == "site 0"], "method", model="cox", strata=None)
    assert np.isfinite(_values(found, "estimate")).all()
    assert np.isnan(_values(found, "lower")).all()
    assert any("no degree of freedom is left" in check for check in found.checks)


def test_several_terms_by_hotelling():
    found = fit(counts(), "method", model="cox")
    test = found.test(list(found.table["term"]))
    covariance = found.engine.limits.covariance(_values(found, "estimate"))
    value = _values(found, "estimate")
    quadratic = value @ np.linalg.solve(covariance, value)
    assert (test.df1, test.df2) == (2, 13 - 2 + 1)
    assert test.statistic == pytest.approx(quadratic * 12 / (13 * 2))
    one = found.test(["method[T.rip]"])
    assert one.p_value == pytest.approx(_values(found, "p_value")[1])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frame: frame.assign(died=0), "nobody died"),
        (lambda frame: frame.assign(died=frame["died"].where(frame["method"] != "rip", 0)), r"rip"),
        (lambda frame: frame.assign(at_risk=frame["at_risk"] + 0.5), "whole seedlings"),
        (lambda frame: frame.assign(site=frame["method"].astype(str)), "cannot be distinguished from site"),
    ],
)
def test_what_cannot_be_fitted_is_refused_by_name(change, words):
    with pytest.raises((IntervalsError, ModelError), match=words):
        fit(change(counts()), "method", model="cox")


def test_an_unseen_site_is_refused():
    found = fit(counts(), "method", model="cox")
    with pytest.raises(ModelError, match="site 9"):
        found.average_survival(pd.DataFrame({"site": ["site 9"], "method": ["rip"]}), np.ones((1, 1)), 365)
