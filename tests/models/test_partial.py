"""Efron's partial likelihood on counts against its definition, seedling by seedling."""

import numpy as np
import pytest
from statsmodels.duration.hazard_regression import PHReg

from survivor.intervals import group_codes
from survivor.models.partial import evaluate, maximise, residuals, risk_sets
from tests.models.cohorts import counts, single, split_rows
from tests.models.lifelines_refits import seedlings
from tests.peers import CoxPHFitter

BETA = np.array([0.3, -0.4, 0.2])


def _columns(frame):
    kinds = frame["species"] == "callitris"
    return np.column_stack([frame["method"] == "auger", frame["method"] == "rip", kinds]).astype(float)


def _sets(frame):
    site = group_codes(frame, ["site"])[0]
    plot = group_codes(frame, ["site", "plot"])[0]
    return risk_sets(_columns(frame), site, plot, frame)


def _frame(**changes):
    return counts(species=("acacia", "callitris"), planted=6, **changes)


def _by_definition(frame, beta):
    """Log-likelihood, score residual of each row, and information, by Efron's sums over single seedlings."""
    rows = single(frame)
    x, start, stop = _columns(rows), rows["start_day"].to_numpy(), rows["stop_day"].to_numpy()
    died, site = rows["died"].to_numpy() == 1, rows["site"].to_numpy()
    relative = np.exp(x @ beta)
    value, residual, information = 0.0, np.zeros_like(x), np.zeros((3, 3))
    for place in np.unique(site):
        for day in np.unique(stop[died & (site == place)]):
            risk = (site == place) & (start < day) & (day <= stop)
            dead = risk & died & (stop == day)
            number = int(dead.sum())
            value += x[dead].sum(axis=0) @ beta
            means = []
            for k in range(number):
                weight = relative * (risk - k / number * dead)
                mean = weight @ x / weight.sum()
                means.append(mean)
                value -= np.log(weight.sum())
                centred = x - mean
                information += (weight[:, None] * centred).T @ centred / weight.sum()
                residual -= weight[:, None] * centred / weight.sum()
            residual[dead] += x[dead] - np.mean(means, axis=0)
    return value, residual, information, rows


def same_as_by_definition(frame, information_within, atol=1e-9):
    """Return the risk sets of a frame whose value, score, information and residuals are those of the sums."""
    sets = _sets(frame)
    found = evaluate(sets, BETA)
    value, residual, information, rows = _by_definition(frame, BETA)
    # The core centres the columns, which shifts nothing but rounding.
    assert found.log_likelihood == pytest.approx(value, rel=1e-12, abs=1e-9)
    np.testing.assert_allclose(found.gradient, residual.sum(axis=0), atol=atol)
    np.testing.assert_allclose(found.information, information, **information_within)
    codes = group_codes(rows, ["site", "plot"])[0]
    ours = np.zeros((sets.cluster.max() + 1, 3))
    np.add.at(ours, sets.cluster, residuals(sets, BETA))
    expected = np.array([residual[codes == code].sum(axis=0) for code in range(len(ours))])
    np.testing.assert_allclose(ours, expected, atol=atol)
    return sets


def test_value_score_information_and_residuals():
    # Source: Efron (1977), JASA 72, 557-565; residuals as Therneau and Grambsch (2000), sections 3.3, 4.2.
    same_as_by_definition(_frame(), {"atol": 1e-9})


def test_days_of_many_deaths():
    # Source: the same sums over k, seedling by seedling; here they are made by the gamma function.
    frame = counts(species=("acacia", "callitris"), planted=45, sites=2)
    sets = same_as_by_definition(frame, {"rtol": 1e-9}, atol=1e-8)
    deaths = np.bincount(sets.last - 1, weights=sets.died)
    assert deaths.max() > 64
    assert deaths.min() < 64


def test_derivatives_by_differences():
    sets = _sets(_frame())
    found = evaluate(sets, BETA)
    step = 1e-6
    for place, pick in enumerate(np.eye(3)):
        up, down = evaluate(sets, BETA + step * pick), evaluate(sets, BETA - step * pick)
        slope = (up.log_likelihood - down.log_likelihood) / (2 * step)
        assert found.gradient[place] == pytest.approx(slope, abs=1e-6)
        curve = (up.gradient - down.gradient) / (2 * step)
        np.testing.assert_allclose(found.information[place], -curve, atol=1e-6)
        np.testing.assert_allclose(
            found.step_slopes[:, place], (up.steps - down.steps) / (2 * step), atol=1e-6
        )


@pytest.mark.parametrize("change", [single, lambda frame: split_rows(frame, 60)], ids=["single", "split"])
def test_counts_single_seedlings_and_split_rows_are_one(change):
    frame = _frame()
    found, other = evaluate(_sets(frame), BETA), evaluate(_sets(change(frame)), BETA)
    assert found.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-9)
    np.testing.assert_allclose(found.gradient, other.gradient, atol=1e-9)
    np.testing.assert_allclose(found.information, other.information, atol=1e-9)
    np.testing.assert_allclose(found.steps, other.steps, rtol=1e-9)


def test_spelt_out_seedlings_have_the_same_risk_sets():
    frame = _frame()
    sets = _sets(frame)
    spelt = seedlings(sets)
    planted = frame.loc[frame["start_day"] == 0, "at_risk"].sum()
    assert len(spelt) == planted  # one row a seedling, not one a stretch
    assert spelt["died"].sum() == frame["died"].sum()
    again = risk_sets(
        spelt.filter(like="column").to_numpy() + sets.centre[spelt["stratum"]],
        spelt["stratum"].to_numpy(),
        np.zeros(len(spelt), dtype=np.intp),
        spelt.rename(columns={"start": "start_day", "stop": "stop_day"}).assign(at_risk=1),
    )
    first, second = evaluate(sets, BETA), evaluate(again, BETA)
    assert first.log_likelihood == pytest.approx(second.log_likelihood, abs=1e-9)
    np.testing.assert_allclose(first.information, second.information, atol=1e-9)


def test_late_tagging_enters_late():
    # At risk on (start, stop]: seedlings first seen on the day of a death are not at risk of it.
    frame = _frame()
    late = frame[(frame["start_day"] == 40) & (frame["plot"] == "rip 0")]
    rest = frame[~((frame["start_day"] == 0) & (frame["plot"] == "rip 0"))]
    assert len(late)
    value, residual, information, _ = _by_definition(rest, BETA)
    found = evaluate(_sets(rest), BETA)
    assert found.log_likelihood == pytest.approx(value, abs=1e-9)
    np.testing.assert_allclose(found.gradient, residual.sum(axis=0), atol=1e-9)
    np.testing.assert_allclose(found.information, information, atol=1e-9)
    assert (
        len(seedlings(_sets(rest)))
        == rest.loc[rest["start_day"] == 0, "at_risk"].sum() + late["at_risk"].sum()
    )


def test_maximum_equals_lifelines_and_phreg():
    # Source: lifelines CoxPHFitter and statsmodels PHReg with Efron's ties on single seedlings.
    frame = _frame()
    found = maximise(_sets(frame), np.zeros(3))
    rows = single(frame)
    table = rows[["site", "start_day", "stop_day", "died"]].assign(
        **{f"x{place}": column for place, column in enumerate(_columns(rows).T)}
    )
    peer = CoxPHFitter().fit(
        table, "stop_day", "died", strata=["site"], entry_col="start_day", fit_options={"precision": 1e-10}
    )
    np.testing.assert_allclose(found.beta, peer.params_, atol=2e-6)  # it stops on the likelihood
    assert found.at.log_likelihood == pytest.approx(peer.log_likelihood_, abs=1e-6)
    error = np.sqrt(np.diag(np.linalg.inv(found.at.information)))
    np.testing.assert_allclose(error, peer.standard_errors_, atol=2e-6)
    # PHReg counts those who enter on a day of death as at risk of it: give it seedlings, not stretches.
    spelt = seedlings(_sets(frame))
    other = PHReg(
        spelt["stop"], spelt.filter(like="column"), spelt["died"], strata=spelt["stratum"], ties="efron"
    ).fit()
    np.testing.assert_allclose(found.beta, other.params, atol=1e-6)
    np.testing.assert_allclose(error, other.bse, atol=1e-6)


def test_lifelines_weights_are_not_repeated_rows():
    # Why counts are spelt out: under ties lifelines counts rows, not their weights.
    frame = _frame().query("start_day == 0")
    rows = single(frame)
    expanded = rows[["stop_day", "died"]].assign(x=rows["method"].eq("rip").astype(float))
    weighted = expanded.groupby(["stop_day", "died", "x"]).size().rename("weight").reset_index()
    repeated = CoxPHFitter().fit(expanded, "stop_day", "died").params_.iloc[0]
    collapsed = CoxPHFitter().fit(weighted, "stop_day", "died", weights_col="weight").params_.iloc[0]
    assert abs(repeated - collapsed) > 1e-3


def test_nothing_known_of_a_column_is_said():
    frame = _frame()
    gone = frame[frame["method"] != "rip"]
    found = maximise(_sets(gone), np.zeros(3))
    np.testing.assert_array_equal(found.known, [True, False, True])
    whole = maximise(_sets(frame).without(0), np.zeros(3))
    assert whole.known.all()
