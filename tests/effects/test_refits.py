"""Comparisons without a site on arrays, against the model fitted from the records of the others."""

import numpy as np
import pandas as pd
import pytest

from survivor.effects import sites
from survivor.effects.contrasts import contrasts
from survivor.effects.refits import refits
from survivor.models.by_period import fit_varying
from survivor.models.fit import fit
from tests.models.cohorts import counts

AT = 300
NUMBERS = ["estimate", "lower", "upper"]


def _planting(**changes):
    return counts(seed=5, sites=8, planted=30, species=("acacia", "callitris"), **changes)


def _model(frame, varying=False):
    found = fit(frame, "method + species")
    return fit_varying(found, "method") if varying else found


@pytest.mark.parametrize("varying", [False, True])
def test_the_same_as_fitting_the_other_sites(varying):
    frame = _planting()
    left = sites.leave_one_site_out(_model(frame, varying), AT).set_index(["site_left_out", "method"])
    for site in frame["site"].unique():
        rest = contrasts(_model(frame[frame["site"] != site], varying), at=AT).table.set_index("method")
        own = left.loc[site]
        # The pieces are those of the whole, which here are those of the rest too.
        np.testing.assert_allclose(own[NUMBERS].astype(float), rest[NUMBERS], atol=1e-5)
        np.testing.assert_allclose(own["p_adjusted"].astype(float), rest["p_adjusted"], atol=1e-7)


def test_planted_numbers_leave_with_their_site():
    frame = _planting()
    population = pd.DataFrame({"site": frame["site"].unique(), "plants": np.arange(1, 9) ** 2})
    own = sites.leave_one_site_out(_model(frame), AT, population).set_index("site_left_out").loc["site 7"]
    rest = contrasts(_model(frame[frame["site"] != "site 7"]), at=AT, population=population[:7]).table
    np.testing.assert_allclose(own["estimate"].astype(float), rest["estimate"], atol=1e-5)


def test_one_step_tells_which_sites_move_the_answer():
    frame = _planting()
    model = _model(frame)
    again = refits(model, "method", AT, None, None)
    whole = contrasts(model, at=AT).table["estimate"].to_numpy()
    moved = np.array([100 * again.without([place]).estimate - whole for place in range(8)])
    np.testing.assert_allclose(100 * again.moves(), moved, atol=0.15 * np.abs(moved).max())


def test_of_many_sites_those_that_move_the_answer_are_left_out(monkeypatch):
    model = _model(_planting())
    every = sites.leave_one_site_out(model, AT)
    monkeypatch.setattr(sites, "MOST_SITES", 7)
    monkeypatch.setattr(sites, "FURTHEST", 3)
    few = sites.leave_one_site_out(model, AT)
    assert few["site_left_out"].nunique() == 3
    whole = contrasts(model, at=AT).table.set_index("method")["estimate"]
    away = (every["estimate"] - every["method"].map(whole).astype(float)).abs()
    both = few.merge(every, on=["site_left_out", "method"])
    np.testing.assert_allclose(both["estimate_x"].astype(float), both["estimate_y"].astype(float), atol=1e-7)
    wide = [(both[f"upper_{own}"] - both[f"lower_{own}"]).astype(float) for own in "xy"]
    np.testing.assert_allclose(wide[0], wide[1], rtol=0.25)  # with 1 of 8 sites gone; of 61 an eighth of that
    furthest = every.loc[away.idxmax(), "site_left_out"]
    assert furthest in set(few["site_left_out"])


def test_groups_by_one_step_are_near_to_groups_fitted_again():
    model = _model(counts(seed=8, sites=24, planted=30, species=("acacia", "callitris")))
    again = refits(model, "method", AT, None, None)
    part = np.arange(24) % 12
    whole = contrasts(model, at=AT).table["estimate"].to_numpy()
    moved = np.array([100 * again.without(np.flatnonzero(part == one)).estimate - whole for one in range(12)])
    step = 100 * again.moves(part)
    # The jackknife's squares, which are all that is made of them.
    np.testing.assert_allclose((step**2).sum(axis=0), (moved**2).sum(axis=0), rtol=0.1)


def test_a_preparation_that_leaves_with_its_site_is_fitted_from_the_records():
    frame = _planting()
    only = (frame["method"] == "rip") & (frame["site"] != "site 2")
    model = _model(frame[~only])
    assert refits(model, "method", AT, None, None).without([2]) is None
    left = sites.leave_one_site_out(model, AT)
    assert left.loc[left["site_left_out"] == "site 2", "method"].tolist() == ["auger"]
    assert left.loc[left["site_left_out"] == "site 0", "method"].tolist() == ["auger", "rip"]
