"""The grouped likelihood on arrays: columns that vary between the pieces of a row."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm
from scipy.optimize import minimize

from survivor.errors import ModelError
from survivor.models import likelihood
from survivor.models.fit import fit
from survivor.models.grouped import arranged
from survivor.models.likelihood import solve
from tests.models.cohorts import VISITS, counts


def _interaction(frame):
    """Rows of the fit with an effect of each method in each piece, reference method left out."""
    found = arranged(fit(frame, "method"))
    data = found.data
    methods = data.columns  # two, after the reference
    pieces = data.lengths.shape[1]
    effect = np.where(
        methods.any(axis=1)[:, None], methods.argmax(axis=1)[:, None] + 2 * np.arange(pieces), -1
    )
    return replace(data, columns=methods[:, :0], effect=effect, effects=2 * pieces)


def test_columns_by_piece_equal_an_interaction_of_visits_and_methods():
    # Source: Prentice and Gloeckler (1978): with visits as pieces each row lies in one piece, and the model
    # is a cloglog GLM with method by visit; statsmodels GLM with CLogLog.
    frame = counts(planted=30)
    found = solve(_interaction(frame))
    parts = [frame["stop_day"] == day for day in VISITS]
    parts += [frame["site"] == name for name in sorted(frame["site"].unique())[1:]]
    parts += [
        (frame["stop_day"] == day) & (frame["method"] == name) for day in VISITS for name in ("auger", "rip")
    ]
    outcome = np.column_stack([frame["died"], frame["at_risk"] - frame["died"]])
    family = sm.families.Binomial(link=sm.families.links.CLogLog())
    peer = sm.GLM(outcome, np.column_stack(parts).astype(float), family=family).fit(tol=1e-14)
    np.testing.assert_allclose(found.beta, peer.params[-6:], atol=1e-6)
    assert found.log_likelihood == pytest.approx(peer.llf, abs=1e-6)


def test_columns_alike_in_every_piece_are_ordinary_columns():
    frame = counts()
    found = arranged(fit(frame, "method"))
    data, pieces = found.data, found.data.lengths.shape[1]
    repeated = np.where(data.columns.any(axis=1), data.columns.argmax(axis=1), -1)
    effect = np.repeat(repeated[:, None], pieces, axis=1)
    other = solve(replace(data, columns=data.columns[:, :0], effect=effect, effects=2))
    np.testing.assert_allclose(other.beta, found.solution.beta, rtol=1e-8)
    np.testing.assert_allclose(other.rows, found.solution.rows, rtol=1e-7, atol=1e-12)
    assert other.log_likelihood == pytest.approx(found.solution.log_likelihood, abs=1e-9)


def test_rows_across_pieces_reach_the_maximum_of_the_likelihood_written_out():
    # Source: scipy's own search on the likelihood as the docstring writes it, row by row.
    frame = counts(planted=40, sites=2)
    skips = frame.groupby(["site", "plot"]).ngroup() % 3 == 0
    early = frame[skips & (frame["stop_day"] == 40)].set_index(["site", "plot"])
    late = frame[skips & (frame["stop_day"] == 150)].set_index(["site", "plot"])
    joined = early.assign(stop_day=150, died=early["died"] + late["died"]).reset_index()
    rows = arranged(
        fit(pd.concat([frame[~skips | (frame["stop_day"] > 150)], joined]), "method", pieces=(40, 150))
    ).data
    assert ((rows.lengths > 0).sum(axis=1) > 1).any()
    effect = np.full(rows.lengths.shape, -1)
    effect[rows.columns[:, 1] == 1, 1] = 0  # ripping acts otherwise in the second piece
    found = solve(replace(rows, effect=effect, effects=1))

    def loss(parameters):
        level, alpha, beta, other = np.split(parameters, [2, 4, 6])
        hazard = np.zeros(len(rows.died))
        for piece in range(3):
            pace = np.concatenate([[0.0], alpha])[piece] + (effect[:, piece] == 0) * other[0]
            hazard += rows.lengths[:, piece] / 100 * np.exp(level[rows.stratum] + pace + rows.columns @ beta)
        return -np.sum(rows.died * np.log1p(-np.exp(-hazard)) - (rows.at_risk - rows.died) * hazard)

    peer = minimize(loss, np.concatenate([[-2, -2], np.zeros(5)]), method="BFGS", options={"gtol": 1e-7})
    np.testing.assert_allclose(found.alpha, peer.x[2:4], atol=1e-4)
    np.testing.assert_allclose(found.beta, peer.x[4:], atol=1e-4)


def test_an_empty_piece_of_one_method_has_no_finite_estimate():
    frame = counts(planted=30)
    frame.loc[(frame["method"] == "rip") & (frame["stop_day"] == 40), "died"] = 0
    with pytest.raises(ModelError, match="no finite estimate"):
        solve(_interaction(frame))


@pytest.mark.parametrize("effects", [False, True])
def test_sums_by_what_rows_share_lead_where_those_of_single_rows_do(monkeypatch, effects):
    frame = counts(sites=4, planted=25, species=("acacia", "callitris"))
    data = _interaction(frame) if effects else arranged(fit(frame, "method + species")).data
    one = solve(data)  # so few rows that each counts as a kind of its own
    monkeypatch.setattr(likelihood, "_FEW", 0)
    shared = solve(data)
    assert len(likelihood._kinds(data)[1]) < len(data.died)
    np.testing.assert_allclose(shared.parameters, one.parameters, rtol=1e-10, atol=1e-12)
    np.testing.assert_allclose(shared.rows, one.rows, rtol=1e-10, atol=1e-14)
    assert shared.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-9)
