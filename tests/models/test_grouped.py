"""The grouped model against statsmodels on person-intervals, and what must not change it."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm

from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.grouped import fit_grouped
from tests.models.cohorts import VISITS, counts, single, split_rows, tagged

METHODS = ["auger", "rip"]


def _matrix(frame):
    """Dense columns of the same model: visits, sites after the first, methods after the first."""
    parts = [frame["stop_day"] == day for day in VISITS]
    parts += [frame["site"] == name for name in sorted(frame["site"].unique())[1:]]
    parts += [frame["method"] == name for name in METHODS]
    return np.column_stack(parts).astype(float)


def _family():
    return sm.families.Binomial(link=sm.families.links.CLogLog())


def _glm(frame):
    outcome = np.column_stack([frame["died"], frame["at_risk"] - frame["died"]])
    return sm.GLM(outcome, _matrix(frame), family=_family())


def _codes(frame):
    return frame.groupby(["site", "plot"]).ngroup().to_numpy()


def _values(found, column):
    return found.table[column].to_numpy()


def _same(found, other, tolerance=1e-9):
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(found, column), _values(other, column), rtol=tolerance)
    assert (found.n_seedlings, found.n_died, found.n_plots) == (
        other.n_seedlings,
        other.n_died,
        other.n_plots,
    )


def test_equals_glm_on_person_intervals():
    # Source: Prentice and Gloeckler (1978): the same likelihood; statsmodels GLM with CLogLog, whose
    # default standard error uses the expected information, as ours.
    frame = counts()
    found = fit(frame, "method", cluster=None)
    peer = _glm(single(frame)).fit(tol=1e-14)
    np.testing.assert_allclose(_values(found, "estimate"), peer.params[-2:], atol=1e-6)
    np.testing.assert_allclose(_values(found, "std_error"), peer.bse[-2:], atol=1e-6)
    assert fit(single(frame), "method", cluster=None).log_likelihood == pytest.approx(peer.llf, abs=1e-6)
    assert found.log_likelihood == pytest.approx(_glm(frame).fit(tol=1e-14).llf, abs=1e-6)


def test_cr0_equals_independence_gee():
    # Source: Liang and Zeger (1986); statsmodels GEE with independence: bread of expected information and
    # no small-sample factor, which is our CR0.
    frame = counts()
    found = fit_grouped(frame, "method", cluster="plot", strata="site", pieces=None, variance="CR0")
    rows = single(frame)
    peer = sm.GEE(rows["died"], _matrix(rows), groups=_codes(rows), family=_family()).fit(
        ctol=1e-12, maxiter=300
    )
    np.testing.assert_allclose(_values(found, "estimate"), peer.params[-2:], atol=1e-6)
    np.testing.assert_allclose(_values(found, "std_error"), peer.bse[-2:], atol=1e-6)


def test_cr0_with_observed_bread_equals_glm():
    # Source: statsmodels GLM, cov_type="cluster" without correction: its bread is the observed information,
    # so its number is not ours; with that bread around the same scores it is.
    frame = counts()
    glm = _glm(frame)
    peer = glm.fit(tol=1e-14, cov_type="cluster", cov_kwds={"groups": _codes(frame), "use_correction": False})
    scores = glm.score_obs(peer.params)
    summed = np.array([scores[_codes(frame) == code].sum(axis=0) for code in range(18)])
    meat = summed.T @ summed
    observed = np.linalg.inv(-glm.hessian(peer.params, observed=True))
    expected = np.linalg.inv(-glm.hessian(peer.params, observed=False))
    np.testing.assert_allclose(peer.bse, np.sqrt(np.diag(observed @ meat @ observed)), rtol=1e-6)
    found = fit_grouped(frame, "method", cluster="plot", strata="site", pieces=None, variance="CR0")
    ours = np.sqrt(np.diag(expected @ meat @ expected))[-2:]
    np.testing.assert_allclose(_values(found, "std_error"), ours, rtol=1e-6)


def test_cr2_lies_between_cr0_and_mancl_derouen():
    # Source: the bias-reduced GEE covariance of Mancl and DeRouen (2001) in statsmodels is the delete-one
    # kind (CR3), which overstates; CR0 understates.
    frame = counts()
    rows = single(frame)
    peer = sm.GEE(rows["died"], _matrix(rows), groups=_codes(rows), family=_family()).fit(
        ctol=1e-12, maxiter=300, cov_type="bias_reduced"
    )
    least = fit_grouped(frame, "method", cluster="plot", strata="site", pieces=None, variance="CR0")
    found = fit(frame, "method")
    assert found.variance == "CR2"
    assert (_values(least, "std_error") < _values(found, "std_error")).all()
    assert (_values(found, "std_error") < peer.bse[-2:]).all()


def test_counts_and_tags_are_the_same_answer():
    frame = counts(species=("acacia", "callitris"))
    _same(fit(frame, "method + species"), fit(tagged(frame), "method + species"))


def test_cutting_survivors_rows_keeps_the_estimate():
    # exp(-H) over a stretch is the product over its parts: the likelihood is the same. The expected
    # information is not quite: it counts on deaths being seen at the cut.
    frame = counts()
    found = fit(frame, "method", pieces=(40, 150))
    survivors = frame.assign(at_risk=frame["at_risk"] - frame["died"], died=0).query("at_risk > 0")
    dead = frame.assign(at_risk=frame["died"]).query("died > 0")
    parts = pd.concat([split_rows(survivors, 100), dead], ignore_index=True)
    other = fit(parts, "method", pieces=(40, 150))
    np.testing.assert_allclose(_values(other, "estimate"), _values(found, "estimate"), rtol=1e-8)
    np.testing.assert_allclose(_values(other, "std_error"), _values(found, "std_error"), rtol=0.05)


def test_copying_rows_as_single_seedlings_changes_nothing():
    frame = counts()
    found, other = fit(frame, "method"), fit(single(frame), "method")
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(other, column), _values(found, column), rtol=1e-9)


def test_order_of_rows_changes_nothing():
    frame = counts()
    _same(fit(frame, "method"), fit(frame.sample(frac=1, random_state=4), "method"))


@pytest.mark.parametrize("scale", [1 / 365.25, 24.0])
def test_the_unit_of_time_changes_nothing(scale):
    frame = counts()
    other = frame.assign(start_day=frame["start_day"] * scale, stop_day=frame["stop_day"] * scale)
    found, scaled = fit(frame, "method"), fit(other, "method")
    _same(found, scaled, 1e-8)
    assert found.log_likelihood == pytest.approx(scaled.log_likelihood, abs=1e-8)
    cells = frame[["site", "method"]].drop_duplicates()
    weights = np.full((1, len(cells)), 1 / len(cells))
    first, second = (
        model.average_survival(cells, weights, day) for model, day in ((found, 365), (scaled, 365 * scale))
    )
    np.testing.assert_allclose(first.estimate, second.estimate, rtol=1e-8)
    np.testing.assert_allclose(first.std_error, second.std_error, rtol=1e-8)
    np.testing.assert_allclose(first.df, second.df, rtol=1e-6)


def test_skipped_visits_still_find_the_truth():
    # A stretch across a skipped visit is one interval over two pieces. With many seedlings and no plot
    # effects the hazards that made the table must come back.
    frame = counts(planted=4000, plot_sd=0.0, sites=4, plots=2)
    skips = frame.groupby(["site", "plot"]).ngroup() % 3 == 0
    first = frame[skips & (frame["stop_day"] == 40)].set_index(["site", "plot"])
    second = frame[skips & (frame["stop_day"] == 150)].set_index(["site", "plot"])
    joined = first.assign(stop_day=150, died=first["died"] + second["died"]).reset_index()
    rows = pd.concat([frame[~(skips & (frame["stop_day"] <= 150))], joined], ignore_index=True)
    found = fit(rows, "method", pieces=(40, 150))
    np.testing.assert_allclose(_values(found, "estimate"), [-0.3, -0.6], atol=0.05)
    assert (_values(found, "std_error") < 0.05).all()
    cells = pd.DataFrame({"site": ["site 0"] * 3, "method": ["spot spray"] * 3})
    for day, hazard in ((40, 0.1), (150, 0.5), (365, 0.7)):
        estimate = found.average_survival(cells, np.full((1, 3), 1 / 3), day).estimate[0]
        assert estimate == pytest.approx(np.exp(-hazard), abs=0.01)


def test_average_survival_equals_glm_by_the_delta_method():
    # Source: statsmodels GLM on the same counts: S = exp(-sum exp(linear)), its covariance by hand.
    frame = counts()
    found = fit(frame, "method", cluster=None)
    peer = _glm(frame).fit(tol=1e-14)
    cells = pd.DataFrame({"site": ["site 0", "site 2"], "method": ["spot spray", "rip"]})
    estimates = found.average_survival(cells, np.array([[0.5, 0.5], [1, -1]]), 365)
    fixed = np.array([[0, 0, 0, 0], [0, 1, 0, 1]])
    values, slopes = [], []
    for row in fixed:
        design = np.column_stack([np.eye(3), np.tile(row, (3, 1))])
        hazard = np.exp(design @ peer.params)
        values.append(np.exp(-hazard.sum()))
        slopes.append(-np.exp(-hazard.sum()) * hazard @ design)
    weights = np.array([[0.5, 0.5], [1, -1]])
    np.testing.assert_allclose(estimates.estimate, weights @ values, atol=1e-8)
    gradient = weights @ np.array(slopes)
    np.testing.assert_allclose(estimates.covariance, gradient @ peer.cov_params() @ gradient.T, atol=1e-8)


def test_a_site_without_deaths_is_named_and_stays_alive():
    frame = counts()
    frame.loc[frame["site"] == "site 1", "died"] = 0
    found = fit(frame, "method")
    assert any("nobody died at site 1" in check for check in found.checks)
    cells = pd.DataFrame({"site": ["site 1"], "method": ["rip"]})
    estimate = found.average_survival(cells, np.ones((1, 1)), 365)
    assert estimate.estimate[0] == 1.0
    rest = fit(frame[frame["site"] != "site 1"], "method")
    np.testing.assert_allclose(_values(found, "estimate"), _values(rest, "estimate"), rtol=1e-9)


def test_an_unseen_site_is_refused():
    found = fit(counts(), "method")
    cells = pd.DataFrame({"site": ["site 9"], "method": ["rip"]})
    with pytest.raises(ModelError, match="site 9"):
        found.average_survival(cells, np.ones((1, 1)), 365)


def test_a_level_that_no_row_has_is_left_out():
    frame = counts()
    frame["method"] = frame["method"].cat.add_categories(["mulch"])
    _same(fit(frame, "method"), fit(counts(), "method"))


def test_a_method_on_one_plot_has_wide_limits_or_none():
    frame = counts(sites=4)
    frame = frame[(frame["method"] != "rip") | ((frame["site"] == "site 1") & (frame["plot"] == "rip 0"))]
    found = fit(frame, "method").table.set_index("term")
    spread = found.loc["method[T.rip]", "std_error"]
    assert np.isnan(spread) or spread > found.loc["method[T.auger]", "std_error"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frame: frame.assign(died=0), "nobody died"),
        (lambda frame: frame.assign(method=frame["method"].where(frame["plot"] != "rip 0")), "no method"),
        (lambda frame: frame.assign(method="rip"), "same method"),
        (lambda frame: frame.assign(site=frame["method"].astype(str)), "cannot be distinguished from site"),
    ],
)
def test_what_cannot_be_fitted_is_refused_by_name(change, words):
    with pytest.raises(ModelError, match=words):
        fit(change(counts()), "method")


def test_limits_by_plot_need_a_plot():
    # Falling back on the site in silence would be another question.
    with pytest.raises(ModelError, match="no column 'plot'"):
        fit(counts().drop(columns="plot"), "method")


def test_a_term_that_follows_the_pieces_is_refused_by_name():
    frame = counts()
    frame["rain"] = frame["stop_day"] / 100 + frame["site"].str[-1].astype(int)
    with pytest.raises(ModelError, match="rain cannot be distinguished from the pieces"):
        fit(frame, "method + rain")


def test_no_term_at_all_gives_the_average():
    frame = counts()
    found = fit(frame, "1")
    assert found.table.empty
    cells = pd.DataFrame({"site": ["site 0"]})
    one = fit(frame[frame["site"] == "site 0"], "1", strata=None)
    first, second = (model.average_survival(cells, np.ones((1, 1)), 40) for model in (found, one))
    assert first.estimate[0] == pytest.approx(second.estimate[0], abs=0.1)
    assert first.std_error[0] > 0
