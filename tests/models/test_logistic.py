"""The logistic model at a milestone against statsmodels; strata without a contrast; refusals."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm

from survivor.errors import ModelError
from survivor.models import logistic
from survivor.models.fit import fit
from survivor.models.logistic import fit_logistic
from tests.models.cohorts import counts, single, tagged

SPECIES = ("acacia", "callitris")


def _states(frame):
    """Alive and dead at the last visit for each plot (and species)."""
    keys = [name for name in ("site", "plot", "method", "species") if name in frame.columns]
    grouped = frame.groupby(keys, observed=True)
    table = grouped.agg(planted=("at_risk", "max"), dead=("died", "sum")).reset_index()
    return table.assign(alive=table["planted"] - table["dead"])


def _matrix(states):
    parts = [states["site"] == name for name in sorted(states["site"].unique())]
    parts += [states["method"] == name for name in ("auger", "rip")]
    if "species" in states.columns:
        parts.append(states["species"] == "callitris")
    return np.column_stack(parts).astype(float)


def _glm(states):
    outcome = states[["alive", "dead"]].to_numpy()
    return sm.GLM(outcome, _matrix(states), family=sm.families.Binomial())


def _values(found, column):
    return found.table[column].to_numpy()


def test_equals_statsmodels():
    # Source: statsmodels GLM, binomial, alive against dead, a level for each site.
    frame = counts(species=SPECIES)
    found = fit(frame, "method + species", model="logistic", cluster=None, at=365)
    peer = _glm(_states(frame)).fit(tol=1e-14)
    np.testing.assert_allclose(_values(found, "estimate"), peer.params[-3:], atol=1e-8)
    np.testing.assert_allclose(_values(found, "std_error"), peer.bse[-3:], atol=1e-8)
    np.testing.assert_allclose(_values(found, "odds_ratio"), np.exp(peer.params[-3:]), atol=1e-7)
    assert found.log_likelihood == pytest.approx(peer.llf, abs=1e-8)
    assert found.at == 365
    assert any("above 1 is better survival" in check for check in found.checks)


def test_cr0_equals_statsmodels_by_cluster():
    # Source: statsmodels GLM cov_type="cluster" without correction; with the canonical link expected and
    # observed information are one, so the bread is the same.
    frame = counts(species=SPECIES)
    states = _states(frame)
    groups = states.groupby(["site", "plot"]).ngroup().to_numpy()
    peer = _glm(states).fit(
        tol=1e-14, cov_type="cluster", cov_kwds={"groups": groups, "use_correction": False}
    )
    found = fit_logistic(
        frame, "method + species", cluster="plot", strata="site", at=365, window=30, variance="CR0"
    )
    np.testing.assert_allclose(_values(found, "std_error"), peer.bse[-3:], rtol=1e-6)


def test_cr2_by_full_matrices():
    # Source: Bell and McCaffrey (2002) with weights n p (1 - p), one row a plot and species.
    frame = counts(species=SPECIES)
    states = _states(frame)
    groups = states.groupby(["site", "plot"]).ngroup().to_numpy()
    design = _matrix(states)
    share = _glm(states).fit(tol=1e-14).fittedvalues
    weight = states["planted"].to_numpy() * share * (1 - share)
    rows = np.sqrt(weight)[:, None] * design
    residual = (states["alive"].to_numpy() - states["planted"].to_numpy() * share) / np.sqrt(weight)
    bread = np.linalg.inv(rows.T @ rows)
    meat = np.zeros_like(bread)
    for group in np.unique(groups):
        mine = groups == group
        values, vectors = np.linalg.eigh(np.eye(mine.sum()) - rows[mine] @ bread @ rows[mine].T)
        score = rows[mine].T @ (vectors / np.sqrt(values)) @ vectors.T @ residual[mine]
        meat += np.outer(score, score)
    expected = np.sqrt(np.diag(bread @ meat @ bread))[-3:]
    found = fit(frame, "method + species", model="logistic", at=365)
    np.testing.assert_allclose(_values(found, "std_error"), expected, rtol=1e-8)
    assert found.variance == "CR2"
    assert found.n_clusters == 18


@pytest.mark.parametrize("change", [single, tagged], ids=["single", "tagged"])
def test_counts_and_tags_are_the_same_answer(change):
    frame = counts(species=SPECIES)
    found = fit(frame, "method + species", model="logistic", at=365)
    other = fit(change(frame), "method + species", model="logistic", at=365)
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(other, column), _values(found, column), rtol=1e-8)
    assert (found.n_seedlings, found.n_died) == (other.n_seedlings, other.n_died)


def test_average_survival_by_the_delta_method():
    # Source: statsmodels GLM: p and its covariance through p (1 - p) x.
    frame = counts()
    found = fit(frame, "method", model="logistic", cluster=None, at=365)
    states = _states(frame)
    peer = _glm(states).fit(tol=1e-14)
    cells = states[["site", "method"]].drop_duplicates()
    weights = np.vstack([np.full(len(cells), 1 / len(cells)), np.where(cells["method"] == "rip", 1, -1)])
    design = _matrix(cells)
    share = 1 / (1 + np.exp(-design @ peer.params))
    gradient = weights @ (design * (share * (1 - share))[:, None])
    estimates = found.average_survival(cells, weights, 365)
    np.testing.assert_allclose(estimates.estimate, weights @ share, atol=1e-8)
    np.testing.assert_allclose(estimates.covariance, gradient @ peer.cov_params() @ gradient.T, atol=1e-8)


def test_another_day_is_refused():
    found = fit(counts(), "method", model="logistic", at=365)
    cells = pd.DataFrame({"site": ["site 0"], "method": ["rip"]})
    with pytest.raises(ModelError, match="day 365 only, not of day 150"):
        found.average_survival(cells, np.ones((1, 1)), 150)


def test_strata_without_a_contrast_are_named_and_stand_at_0_or_1():
    frame = counts(sites=4)
    frame.loc[frame["site"] == "site 1", "died"] = 0
    gone = (frame["site"] == "site 2") & (frame["start_day"] == 0)
    frame.loc[gone, "died"] = frame.loc[gone, "at_risk"]
    frame = frame[(frame["site"] != "site 2") | gone]
    found = fit(frame, "method", model="logistic", at=365)
    assert any("everybody was alive at site 1" in check for check in found.checks)
    assert any("everybody was dead at site 2" in check for check in found.checks)
    rest = fit(frame[frame["site"].isin(["site 0", "site 3"])], "method", model="logistic", at=365)
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(found, column), _values(rest, column), rtol=1e-8)
    cells = pd.DataFrame({"site": ["site 1", "site 2"], "method": ["rip", "auger"]})
    estimates = found.average_survival(cells, np.eye(2), 365)
    assert estimates.estimate.tolist() == [1.0, 0.0]


def test_a_site_not_visited_in_the_window_is_left_out_and_named():
    frame = counts(sites=4)
    early = (frame["site"] == "site 3") & (frame["stop_day"] > 40)
    found = fit(frame[~early], "method", model="logistic", at=365)
    assert any("72 seedlings of 6 plots without a visit in that window" in check for check in found.checks)
    rest = fit(frame[frame["site"] != "site 3"], "method", model="logistic", at=365)
    np.testing.assert_allclose(_values(found, "estimate"), _values(rest, "estimate"), rtol=1e-10)
    assert set(found.data["site"]) == {"site 0", "site 1", "site 2"}
    assert found.n_sites == 3


def test_unknown_states_are_counted_not_dropped_in_silence():
    frame = tagged(counts())
    alive = frame[(frame["stop_day"] == 365) & (frame["died"] == 0)]
    lost = alive.groupby(["site", "plot"]).head(1)  # one tag a plot not found at the last visit
    found = fit(frame.drop(lost.index), "method", model="logistic", at=365)
    assert len(lost) > 10
    assert any(f"is unknown for {len(lost)} of 216 seedlings" in check for check in found.checks)
    assert found.n_seedlings == 216 - len(lost)


def test_many_strata_do_without_dense_columns(monkeypatch):
    frame = counts(species=SPECIES)
    found = fit(frame, "method + species", model="logistic", at=365)
    monkeypatch.setattr(logistic, "_MOST_DENSE", 0)
    other = fit(frame, "method + species", model="logistic", at=365)
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(_values(other, column), _values(found, column), rtol=1e-8)


def test_clusters_across_strata():
    # A site as cluster, species as strata: every cluster touches every level.
    frame = counts(sites=6, plots=1, species=SPECIES)
    found = fit(frame, "method", model="logistic", cluster="site", strata="species", at=365)
    assert found.n_clusters == 6
    assert (_values(found, "df") <= 5 * (1 + 1e-12)).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frame: frame.assign(died=0), "everybody is alive"),
        (lambda frame: frame.assign(site=frame["method"].astype(str)), "cannot be distinguished from site"),
    ],
)
def test_what_cannot_be_fitted_is_refused_by_name(change, words):
    with pytest.raises(ModelError, match=words):
        fit(change(counts()), "method", model="logistic", at=365)


def test_a_day_without_visits_is_refused():
    with pytest.raises(ModelError, match="no visit within 30 days of day 1000"):
        fit(counts(), "method", model="logistic", at=1000)


def test_a_day_is_needed():
    with pytest.raises(ModelError, match="needs a day"):
        fit(counts(), "method", model="logistic")
