"""What a table may mean in two ways is refused or said, not decided in silence."""

import numpy as np
import pytest

import survivor
from survivor.errors import ModelError
from tests.models.cohorts import counts


def _paddocks():
    """Plots of the same labels in each of three paddocks; and the same with sites for the paddocks."""
    frame = counts(sites=3, plots=3)
    return frame.rename(columns={"site": "paddock"}), frame


@pytest.mark.parametrize("model", ["grouped", "cox", "mixed"])
def test_labels_that_repeat_over_strata_are_told(model):
    frame, sited = _paddocks()
    merged = survivor.fit(frame, "method", model, strata="paddock")
    assert merged.n_clusters == 9
    said = next(check for check in merged.checks if "stands in 3 levels of paddock" in check)
    assert said.endswith('where these are plots of their own, give cluster=["paddock", "plot"]')
    apart = survivor.fit(frame, "method", model, cluster=["paddock", "plot"], strata="paddock")
    assert apart.n_clusters == 27
    assert not any("counts as one plot" in check for check in apart.checks)
    usual = survivor.fit(sited, "method", model)
    np.testing.assert_allclose(apart.table["std_error"], usual.table["std_error"], rtol=1e-9)
    assert not any("counts as one plot" in check for check in usual.checks)


@pytest.mark.parametrize("model", ["grouped", "cox", "logistic", "mixed"])
def test_methods_coded_as_numbers_are_no_line(model):
    frame = counts()
    coded = frame.assign(method=frame["method"].cat.codes + 1)
    at = {"at": 365} if model == "logistic" else {}
    with pytest.raises(ModelError, match=r"method is a column of numbers.*\n.*write C\(method\)"):
        survivor.fit(coded, "method", model, **at)
    levels = survivor.fit(coded, "C(method)", model, **at)
    named = survivor.fit(frame, "method", model, **at)
    np.testing.assert_allclose(levels.table["estimate"], named.table["estimate"], rtol=1e-9)


def test_a_cox_fit_says_what_it_does_not_count_yet():
    # Sites visited around the milestone on days of their own: deaths found after it count for nothing by it.
    frame = counts(sites=4, plots=3, planted=40)
    shift = frame["site"].map({"site 0": -15, "site 1": -5, "site 2": 5, "site 3": 15})
    frame["stop_day"] = np.where(frame["stop_day"] == 365, 365 + shift, frame["stop_day"])
    fit = survivor.fit(frame, "method", "cox")
    late = frame[(frame["start_day"] < 365) & (frame["stop_day"] > 365)]["died"].sum()
    words = f"{late} of {frame['died'].sum()} deaths were found by day 380 in plants last seen alive before"
    for result in (survivor.survival(fit, at=365), survivor.contrasts(fit, at=365)):
        assert any(words in check for check in result.checks)
    # It is too high, as said: by the grouped model fewer are alive under every method.
    grouped = survivor.survival(survivor.fit(frame, "method"), at=365).table
    assert (survivor.survival(fit, at=365).table["estimate"] > grouped["estimate"]).all()
    # On a visit that all have shared nothing is left to be found.
    assert not any("counts none of them" in check for check in survivor.survival(fit, at=150).checks)
