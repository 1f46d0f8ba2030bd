"""Columns of offsets and of weights: against statsmodels, and rows written out as often as they count."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm
from statsmodels.tools.tools import add_constant

import survivor
from survivor.errors import ModelError
from survivor.models.grouped import fit_grouped
from survivor.models.logistic import fit_logistic
from tests.public.making import F

G = F.assign(tilt=lambda rows: np.log(1 + rows["z"]), sampled=lambda rows: 1.0 + rows["z"])


def glm(rows, **options):
    """statsmodels on person-intervals: cloglog with a level for each site and visit."""
    marks = pd.get_dummies(rows[["method", "site"]].astype(str).assign(stop=rows["stop_day"].astype(str)))
    kept = ["method_auger", "method_rip", "site_S1", "site_S2", "site_S3", "stop_365"]
    columns = add_constant(marks[kept].astype(float))
    counts = np.column_stack([rows["died"], rows["at_risk"] - rows["died"]])
    return sm.GLM(counts, columns, family=sm.families.Binomial(sm.families.links.CLogLog()), **options).fit()


def test_an_offset_is_that_of_a_glm():
    found = survivor.fit(G, "method", pieces=[180], cluster=None, offset="tilt").table
    peer = glm(G, offset=G["tilt"].to_numpy())
    names = ["method_auger", "method_rip"]
    np.testing.assert_allclose(found["estimate"], peer.params[names], atol=1e-6)
    np.testing.assert_allclose(found["std_error"], peer.bse[names], rtol=1e-5)
    without = survivor.fit(G, "method", pieces=[180], cluster=None).table
    assert np.abs(found["estimate"] - without["estimate"]).max() > 0.005


def test_survival_is_told_at_the_offset_of_each_plant():
    fit = survivor.fit(G, "method", pieces=[180], offset="tilt")
    row = G.iloc[[0]]
    at, half = (fit.predict(row.assign(tilt=tilt), 365)["estimate"].iloc[0] / 100 for tilt in (0.0, 0.5))
    assert np.log(-np.log(half)) - np.log(-np.log(at)) == pytest.approx(0.5)
    # Standardised over the plants as they stand, each at its own offset.
    planted = G[G["start_day"] == 0].assign(method="rip")
    each = fit.predict(planted, 365)["estimate"]
    expected = np.average(each, weights=planted["at_risk"])
    rip = survivor.survival(fit, by="method", at=365).table.set_index("method").loc["rip", "estimate"]
    assert rip == pytest.approx(expected, abs=1e-8)
    shifted = survivor.fit(G.assign(tilt=G["tilt"] + 3), "method", pieces=[180], offset="tilt")
    np.testing.assert_allclose(shifted.table["estimate"], fit.table["estimate"], atol=1e-8)


def test_weights_are_rows_written_out():
    """A row of weight two is the same row twice in its plot: estimates and CR0 alike."""
    double = G.assign(twice=np.where(G["plot"].isin(["p0", "p7", "p11"]), 2.0, 1.0))
    out = pd.concat([G, G[G["plot"].isin(["p0", "p7", "p11"])]], ignore_index=True)
    how = {"cluster": "plot", "strata": "site", "pieces": [180], "variance": "CR0"}
    found, expected = fit_grouped(double, "method", weights="twice", **how), fit_grouped(out, "method", **how)
    np.testing.assert_allclose(found.table["estimate"], expected.table["estimate"], atol=1e-7)
    np.testing.assert_allclose(found.table["std_error"], expected.table["std_error"], rtol=1e-6)
    peer = glm(double, freq_weights=double["twice"].to_numpy())
    np.testing.assert_allclose(
        found.table["estimate"], peer.params[["method_auger", "method_rip"]], atol=1e-6
    )


def test_weights_of_odds_are_rows_written_out():
    whole = G.groupby(["site", "plot", "method", "z"], observed=True, as_index=False).agg(
        at_risk=("at_risk", "max"), died=("died", "sum")
    )
    rows = whole.assign(start_day=0, stop_day=365, twice=np.where(whole["z"] > 1, 3.0, 1.0))
    how = {"cluster": "plot", "strata": "site", "at": 365, "window": 5}
    found = fit_logistic(rows, "method", weights="twice", **how)
    peer = glm_of_odds(rows)
    np.testing.assert_allclose(found.table["estimate"], peer, atol=1e-6)


def glm_of_odds(rows):
    marks = pd.get_dummies(rows[["method", "site"]].astype(str))
    columns = add_constant(
        marks[["method_auger", "method_rip", "site_S1", "site_S2", "site_S3"]].astype(float)
    )
    counts = np.column_stack([rows["at_risk"] - rows["died"], rows["died"]])
    peer = sm.GLM(counts, columns, family=sm.families.Binomial(), freq_weights=rows["twice"].to_numpy())
    return peer.fit().params[["method_auger", "method_rip"]]


def test_the_unit_of_weights_says_nothing():
    one, ten = (
        survivor.fit(G.assign(w=G["sampled"] * times), "method", weights="w").table for times in (1, 10)
    )
    for name in ("estimate", "std_error", "lower", "upper"):
        np.testing.assert_allclose(one[name], ten[name], rtol=1e-9)
    fit = survivor.fit(G, "method", weights="sampled")
    assert any("rows count by sampled" in said for said in fit.checks)
    assert "rows weighted" in fit.glance()["likelihood"].iloc[0]
    assert np.isnan(fit.glance()["aic"].iloc[0])


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"offset": "slope"}, "no column 'slope' to use as offset"),
        ({"offset": "method"}, "method is no column of numbers"),
        ({"offset": "tilt", "model": "cox"}, "cox takes no offset"),
        ({"offset": "tilt", "model": "logistic", "at": 365}, "logistic takes no offset"),
        ({"offset": "tilt", "baseline": "unspecified"}, "takes no offset"),
        ({"weights": "w"}, "no column 'w' to use as weights"),
        ({"weights": "nought"}, "row 0 has nought 0, and a weight is above 0"),
        ({"weights": "blank"}, "48 of 48 rows have no blank"),
        ({"weights": "sampled", "cluster": None}, "weights would count as seedlings"),
        ({"weights": "sampled", "model": "mixed"}, "mixed does not weight rows"),
    ],
)
def test_what_is_no_offset_or_weight_is_refused(options, words):
    rows = G.assign(nought=0.0, blank=np.nan)
    with pytest.raises(ModelError, match=words) as fault:
        survivor.fit(rows, "method", **options)
    assert fault.value.mend
