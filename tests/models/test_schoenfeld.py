"""Schoenfeld residuals against lifelines where no deaths are tied, and by hand where they are."""

import numpy as np
import pandas as pd
import pytest

from survivor.errors import ModelError
from survivor.models.cox import scaled_residuals
from survivor.models.fit import fit
from tests.models.cohorts import counts
from tests.peers import CoxPHFitter


def _untied(seed=4, plots=24):
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame(
        {
            "plot": np.repeat(np.arange(plots).astype(str), 3),
            "method": np.repeat(np.where(np.arange(plots) % 2, "rip", "auger"), 3),
            "slope": rng.normal(size=3 * plots).round(2),
            "start_day": 0,
            "stop_day": rng.permutation(np.arange(1, 3 * plots + 1)) * 3,
            "at_risk": 1,
        }
    )
    return frame.assign(died=(rng.random(len(frame)) < 0.7).astype(int))


def test_untied_deaths_equal_lifelines():
    # Source: lifelines 0.30.3, compute_residuals(kind="schoenfeld") and "scaled_schoenfeld".
    frame = _untied()
    found = scaled_residuals(fit(frame, "method + slope", model="cox", strata=None))
    wide = frame.assign(rip=(frame["method"] == "rip").astype(float))[["stop_day", "died", "rip", "slope"]]
    peer = CoxPHFitter().fit(wide, "stop_day", "died")
    days = wide.loc[wide["died"] == 1, "stop_day"].sort_values()
    for kind, name in (("schoenfeld", "residual"), ("scaled_schoenfeld", "scaled")):
        expected = peer.compute_residuals(wide, kind).loc[days.index]
        for term, column in (("method[T.rip]", "rip"), ("slope", "slope")):
            ours = found[found["term"] == term].set_index("day").loc[days, name]
            shift = 0.0 if kind == "schoenfeld" else float(peer.params_[column])
            np.testing.assert_allclose(ours, expected[column] + shift, atol=2e-5)


def test_tied_deaths_by_hand():
    # Source: Therneau and Grambsch (2000), section 4.2: under Efron's ties the expected covariate of the
    # k-th of d deaths is that of the risk set with k/d of the dead taken out.
    frame = pd.DataFrame(
        {
            "plot": list("aabbcc"),
            "method": ["auger", "auger", "rip", "rip", "rip", "auger"],
            "start_day": 0,
            "stop_day": [10, 20, 10, 30, 20, 30],
            "at_risk": [1, 2, 2, 3, 2, 4],
            "died": [1, 1, 1, 0, 2, 2],
        }
    )
    model = fit(frame, "method", model="cox", strata=None, cluster=None)
    ratio = float(np.exp(model.table["estimate"].iloc[0]))
    found = scaled_residuals(model).set_index("day")
    # Day 10: 7 of each method at risk; one dead of each.
    first = 7 * ratio / (7 + 7 * ratio) + (7 - 0.5) * ratio / ((7 - 0.5) + (7 - 0.5) * ratio)
    assert found.loc[10, "residual"] == pytest.approx(1 - first)
    # Day 20: 6 at risk under auger, 5 under rip; one and two dead.
    parts = [(5 - 2 * k / 3) * ratio / ((6 - k / 3) + (5 - 2 * k / 3) * ratio) for k in range(3)]
    assert found.loc[20, "residual"] == pytest.approx(2 - sum(parts))
    assert found["deaths"].tolist() == [2, 3, 2]


def test_residuals_sum_to_nought_and_scaled_ones_average_to_the_coefficient():
    model = fit(counts(), "method", model="cox")
    for term, rows in scaled_residuals(model).groupby("term"):
        assert rows["residual"].sum() == pytest.approx(0, abs=1e-8)
        expected = model.table.set_index("term").loc[term, "estimate"]
        assert np.average(rows["scaled"], weights=rows["deaths"]) == pytest.approx(expected)
    assert {"site", "day"} <= set(scaled_residuals(model).columns)


def test_another_model_is_refused():
    with pytest.raises(ModelError, match="of a Cox fit"):
        scaled_residuals(fit(counts(), "method"))
