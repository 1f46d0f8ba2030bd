"""Survival from the Cox model, and its limits."""

import numpy as np
import pandas as pd
import pytest

from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.partial import evaluate
from tests.models.cohorts import counts, single
from tests.models.lifelines_refits import METHOD, METHODS, coefficients
from tests.peers import KaplanMeierFitter


def _values(found, column):
    return found.table[column].to_numpy()


def test_survival_without_covariates_is_near_the_product_limit():
    # Efron's steps sum 1 / (n - k) over the dead of a day; log S of the product limit is log(1 - d / n).
    frame = counts(sites=1, planted=40)
    frame["half"] = (frame["plot"].str[-1] == "0").astype(float)
    found = fit(frame, "half", model="cox", strata=None)
    null = evaluate(found.engine.sets, np.zeros(1)).steps
    risk = frame.groupby("stop_day")[["at_risk", "died"]].sum()
    steps = [sum(1 / (n - k) for k in range(d)) for n, d in risk.itertuples(index=False)]
    np.testing.assert_allclose(null, steps, rtol=1e-9)
    rows = single(frame)
    product = KaplanMeierFitter().fit(rows["stop_day"], rows["died"], entry=rows["start_day"])
    np.testing.assert_allclose(np.exp(-np.cumsum(null)), product.predict([40, 150, 365]), atol=0.005)


@pytest.mark.slow
def test_average_survival_and_its_jackknife_by_hand():
    frame = counts(planted=8)
    found = fit(frame, "method", model="cox")
    cells = frame[["site", "method"]].drop_duplicates().reset_index(drop=True)
    weights = np.vstack(
        [
            (cells["method"] == "rip") / 3,
            (cells["method"] == "rip") / 3 - (cells["method"] == "spot spray") / 3,
        ]
    ).astype(float)

    def by_hand(rows):
        """S of each cell from coefficients of lifelines and Efron's steps, seedling by seedling."""
        beta = coefficients(rows, METHOD)
        one = single(rows)
        relative = np.exp(sum(b * (one["method"] == name) for b, name in zip(beta, METHODS, strict=True)))
        hazard = {}
        for site in cells["site"].unique():
            here, total = one["site"] == site, 0.0
            for day in (40, 150):
                risk = here & (one["start_day"] < day) & (one["stop_day"] >= day)
                dead = risk & (one["stop_day"] == day) & (one["died"] == 1)
                s0, d0, number = relative[risk].sum(), relative[dead].sum(), int(dead.sum())
                total += sum(1 / (s0 - k / number * d0) for k in range(number))
            hazard[site] = total
        linear = sum(b * (cells["method"] == name) for b, name in zip(beta, METHODS, strict=True))
        return weights @ np.exp(-cells["site"].map(hazard) * np.exp(linear))

    whole = by_hand(frame)
    estimates = found.average_survival(cells, weights, 200)  # between visits: that of day 150
    np.testing.assert_allclose(estimates.estimate, whole, atol=1e-6)
    changes = []
    for site, plot in frame[["site", "plot"]].drop_duplicates().itertuples(index=False):
        changes.append(by_hand(frame[~((frame["site"] == site) & (frame["plot"] == plot))]) - whole)
    changes = np.array(changes)
    np.testing.assert_allclose(estimates.covariance, 5 / 6 * changes.T @ changes, atol=1e-6)
    np.testing.assert_array_equal(estimates.df, 18 - 3 - 2)


def test_survival_with_independent_rows_by_the_delta_method():
    # Coefficients by differences; given them, each step of Efron's baseline has variance sum 1 / risk^2.
    frame = counts()
    found = fit(frame, "method", model="cox", cluster=None)
    engine = found.engine
    cells = pd.DataFrame({"site": ["site 0", "site 0", "site 2"], "method": ["rip", "auger", "rip"]})
    weights = np.array([[1.0, 0, 0], [0.5, -0.5, 1]])
    estimates = found.average_survival(cells, weights, 365)
    place = np.array([0, 0, 2])
    columns = engine.design.columns_for(cells) - engine.sets.centre[place]

    def survival(beta):
        now = evaluate(engine.sets, beta)
        hazard = np.bincount(engine.sets.day_strata, weights=now.steps)
        return np.exp(-hazard[place] * np.exp(columns @ beta)), now

    beta, step = engine.estimate.beta, 1e-6
    now = survival(beta)
    slope = np.column_stack(
        [
            (survival(beta + step * pick)[0] - survival(beta - step * pick)[0]) / (2 * step)
            for pick in np.eye(2)
        ]
    )
    variance = np.bincount(engine.sets.day_strata, weights=now[1].step_variances)
    own = np.zeros((3, 3))
    own[np.arange(3), place] = -now[0] * np.exp(columns @ beta)
    middle = slope @ np.linalg.inv(engine.estimate.at.information) @ slope.T + (own * variance) @ own.T
    np.testing.assert_allclose(estimates.covariance, weights @ middle @ weights.T, rtol=1e-5)
    assert np.isinf(estimates.df).all()


def test_a_site_without_deaths_is_named_and_stays_alive():
    frame = counts()
    frame.loc[frame["site"] == "site 1", "died"] = 0
    found = fit(frame, "method", model="cox")
    assert any("nobody died at site 1" in check for check in found.checks)
    rest = fit(frame[frame["site"] != "site 1"], "method", model="cox")
    np.testing.assert_allclose(_values(found, "estimate"), _values(rest, "estimate"), rtol=1e-9)
    np.testing.assert_array_equal(_values(found, "df"), 12 - 2 - 2)
    cells = pd.DataFrame({"site": ["site 1"], "method": ["rip"]})
    estimate = found.average_survival(cells, np.ones((1, 1)), 365)
    assert (estimate.estimate[0], estimate.std_error[0]) == (1.0, 0.0)


def test_a_site_of_one_plot_has_no_limits_alone_and_widens_the_average():
    frame = counts(sites=4)
    frame = frame[(frame["site"] != "site 3") | (frame["plot"] == "auger 0")]
    found = fit(frame, "method", model="cox")
    cells = pd.DataFrame({"site": ["site 3", "site 0"], "method": ["auger", "auger"]})
    estimates = found.average_survival(cells, np.vstack([np.eye(2), [0.5, 0.5]]), 365)
    assert np.isnan(estimates.std_error[0])
    assert np.isnan(estimates.df[0])
    # Half the weight stands on a plot that tells nothing of its own variation.
    assert estimates.std_error[2] > estimates.std_error[1] / 2
    np.testing.assert_array_equal(_values(found, "df"), 18 - 3 - 2)  # site 3 compares nothing


def test_a_site_last_visited_long_before_is_refused():
    frame = counts()
    frame = frame[(frame["site"] != "site 2") | (frame["stop_day"] < 365)]
    found = fit(frame, "method", model="cox")
    cells = pd.DataFrame({"site": ["site 0", "site 2"], "method": ["rip", "rip"]})
    with pytest.raises(ModelError, match="site 2 day 150"):
        found.average_survival(cells, np.array([[0.5, 0.5]]), 365)
    last = found.average_survival(cells, np.eye(2), 180)
    np.testing.assert_allclose(last.estimate, found.average_survival(cells, np.eye(2), 150).estimate)


def test_a_site_where_all_had_died_needs_no_later_visit():
    frame = counts()
    here = frame["site"] == "site 2"
    frame.loc[here & (frame["stop_day"] == 150), "died"] = frame["at_risk"]
    frame = frame[~here | (frame["stop_day"] <= 150)]
    found = fit(frame, "method", model="cox")
    cells = pd.DataFrame({"site": ["site 2"], "method": ["spot spray"]})
    assert found.average_survival(cells, np.ones((1, 1)), 365).estimate[0] < 0.05
