"""The unit and origin of a covariate change nothing; steep effects are fitted; what runs away is refused."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm

from survivor.effects.contrasts import contrasts
from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.separation import diverges, errors_from, errors_of, range_within
from tests.models.cohorts import counts
from tests.peers import CoxPHFitter
from tests.slow import some_slow

MODELS = {
    "pieces": {},
    "unspecified": {"baseline": "unspecified"},
    "cox": {"model": "cox"},
    "logistic": {"model": "logistic", "at": 365.0},
    "mixed": {"model": "mixed"},
}


def study(slope=1.0, reach=2.0, seed=1):
    """24 plots at 3 sites with a covariate each, visited three times; ``slope`` on the log hazard."""
    random, rows = np.random.default_rng(seed), []
    for plot in range(24):
        site, method, x, alive = plot % 3, plot // 3 % 2, random.uniform(0, reach), 12
        for start, stop in ((0, 40), (40, 170), (170, 365)):
            hazard = 0.5 * np.exp(slope * (x - reach / 2) - 0.4 * method) * (stop - start) / 365
            died = random.binomial(alive, 1 - np.exp(-hazard))
            rows.append((f"s{site}", f"p{plot}", "ab"[method], start, stop, alive, died, x))
            alive -= died
            if not alive:
                break
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died", "x"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(block="B1", planted_date=pd.Timestamp("2023-06-01"))


def numbers(frame, model):
    found = fit(frame, "method + x", **MODELS[model])
    pair = contrasts(found, at=365).table[["estimate", "std_error", "df", "p_value"]]
    return found.table.set_index("term"), pair.to_numpy(float)


@pytest.mark.parametrize(
    "unit", some_slow([1e-9, 1000.0, 365.25], 1)
)  # a billionth, mm for m, days for years
@pytest.mark.parametrize("model", MODELS)
def test_the_unit_of_a_covariate_only_scales_its_coefficient(model, unit):
    frame = study()
    (table, pair), (other, again) = numbers(frame, model), numbers(frame.assign(x=frame["x"] * unit), model)
    for column in ("estimate", "std_error"):
        assert other.loc["x", column] * unit == pytest.approx(table.loc["x", column], rel=1e-6)
        assert other.loc["method[T.b]", column] == pytest.approx(table.loc["method[T.b]", column], rel=1e-6)
    np.testing.assert_allclose(other[["df", "p_value"]], table[["df", "p_value"]], rtol=1e-5)
    np.testing.assert_allclose(again, pair, rtol=1e-5)


@pytest.mark.parametrize("moved", some_slow(["each site", "all"], 1))
@pytest.mark.parametrize("model", MODELS)
def test_where_a_covariate_is_counted_from_changes_nothing(model, moved):
    # A date in days, and a height above the sea that differs much more between sites than within.
    frame = study()
    site = frame["site"].str[1:].astype(float)
    other = frame.assign(x=frame["x"] + (738_000 if moved == "all" else 400 * site))
    (table, pair), (again, moved_pair) = numbers(frame, model), numbers(other, model)
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(again[column], table[column], rtol=1e-5)
    np.testing.assert_allclose(moved_pair, pair, rtol=1e-5)


def singles(reach):
    """300 seedlings in the order in which they died, a log hazard of 1 a unit over ``reach``."""
    random = np.random.default_rng(3)
    x = random.uniform(0, reach, 300)
    order = 1.0 + np.argsort(np.argsort(random.exponential(np.exp(reach / 2 - x))))
    stop = np.minimum(order, 285)
    return pd.DataFrame(
        {
            "site": np.array(["north", "middle", "south"])[np.arange(300) % 3],
            "plot": [f"p{place}" for place in range(300)],
            "start_day": 0.0,
            "stop_day": stop,
            "at_risk": 1,
            "died": (order <= 285).astype(int),
            "x": x,
        }
    ).assign(block="B1")


@pytest.mark.parametrize("reach", [5, 20, 40, 80])
def test_steep_cox_fits_are_those_of_lifelines(reach):
    # Over 40 units the hazard rises e^40-fold; lifelines works on scaled columns.
    frame = singles(reach)
    other = CoxPHFitter().fit(
        frame[["site", "stop_day", "died", "x"]],
        "stop_day",
        "died",
        strata=["site"],
        fit_options={"precision": 1e-12},
    )
    row = fit(frame, "x", model="cox", cluster=None, strata="site").table.iloc[0]
    assert row["estimate"] == pytest.approx(other.params_["x"], rel=1e-8)
    assert row["std_error"] == pytest.approx(other.standard_errors_["x"], rel=1e-7)


@pytest.mark.parametrize(("slope", "gone"), [(-0.8, 12), (-1.5, 18), (-2.2, 22)])
def test_steep_terms_under_an_unspecified_baseline_are_those_of_pieces(slope, gone):
    # The two are one model where visits are shared by all.
    frame = study(slope, 20.0)
    found, pieces = (
        fit(frame, "method + x", cluster=None, **MODELS[model]) for model in ("unspecified", "pieces")
    )
    estimate = pieces.table.set_index("term").loc["x", "estimate"]
    assert abs(estimate) * np.ptp(frame["x"]) > gone
    np.testing.assert_allclose(found.table["estimate"], pieces.table["estimate"], rtol=1e-6)
    assert np.isfinite(found.table["std_error"]).all()


def test_a_steep_logistic_fit_is_that_of_statsmodels():
    frame = study(-2.2, 20.0)
    found = fit(frame, "method + x", model="logistic", at=365.0, cluster=None)
    planted = frame[frame["start_day"] == 0].set_index("plot")
    alive = planted["at_risk"] - frame.groupby("plot")["died"].sum()
    columns = pd.get_dummies(planted["site"], dtype=float).assign(
        b=(planted["method"] == "b").astype(float), x=planted["x"]
    )
    outcome = np.column_stack([alive.loc[planted.index], planted["at_risk"] - alive.loc[planted.index]])
    other = sm.GLM(outcome, columns, family=sm.families.Binomial()).fit(tol=1e-12, maxiter=200)
    np.testing.assert_allclose(found.table["estimate"], other.params[["b", "x"]], rtol=1e-6)
    np.testing.assert_allclose(found.table["std_error"], other.bse[["b", "x"]], rtol=1e-5)
    assert other.params["x"] * np.ptp(planted["x"]) > 30


def split_by_number():
    """Everybody with a small x died at the first visit, nobody with a large one."""
    frame = study()
    frame = frame[frame["start_day"] == 0]
    return frame.assign(died=np.where(frame["x"] < 1, frame["at_risk"], 0))


@pytest.mark.parametrize("unit", [1.0, 1e-6, 1e6])
@pytest.mark.parametrize("model", ["unspecified", "mixed"])
def test_a_number_that_parts_the_dead_from_the_living_is_refused_by_name(model, unit):
    frame = split_by_number()
    with pytest.raises(ModelError, match="x has no finite estimate"):
        fit(frame.assign(x=frame["x"] * unit), "x", strata=None, **MODELS[model])


@pytest.mark.parametrize("unit", [1.0, 1e-6, 1e6])
def test_deaths_in_the_order_of_a_number_are_refused_by_name(unit):
    frame = singles(5)
    with pytest.raises(ModelError, match="x has no finite estimate"):
        fit(frame.assign(x=frame["stop_day"] * unit), "x", model="cox", cluster=None, strata="site")


@pytest.mark.parametrize("seedlings", [20, 20_000])
def test_a_level_without_deaths_is_refused_however_many_stand_in_it(seedlings):
    # With many at risk the estimate has to go further before little enough is known of it.
    frame = counts()
    rip = frame["method"] == "rip"
    frame = frame.assign(died=frame["died"].where(~rip, 0), at_risk=frame["at_risk"].where(~rip, seedlings))
    with pytest.raises(ModelError, match="rip has no finite estimate"):
        fit(frame, "method", model="cox")


def test_averages_without_the_only_plot_of_a_method_are_those_of_a_fit_without_it():
    frame = counts(sites=4)
    frame = frame[(frame["method"] != "rip") | ((frame["site"] == "site 1") & (frame["plot"] == "rip 0"))]
    cells = pd.DataFrame({"site": ["site 1", "site 0"], "method": ["auger", "auger"]})
    engine = fit(frame, "method", baseline="unspecified").engine
    read = engine._read(cells, np.eye(2), 365)
    each = np.array([read.averages(base) for base in engine.refits.each])
    rest = fit(frame[frame["plot"] != "rip 0"], "method", baseline="unspecified")
    alone = rest.average_survival(cells, np.eye(2), 365).estimate
    assert np.abs(each - alone).max(axis=1).min() < 1e-7


def test_running_away_is_told_by_what_is_known_where_the_estimate_stands():
    spread = np.array([1.0, 1.0, 0.5])
    gone = diverges(np.array([40.0, -40.0, 40.0]), spread, np.array([41.0, 39.0, 1e9]))
    assert gone.tolist() == [True, False, False]
    assert diverges(np.array([31.0]), np.ones(1), errors_of(np.array([[-1.0]]))).all()
    assert diverges(np.array([31.0]), np.ones(1), errors_from(np.array([[-1.0]]))).all()
    information = np.array([[4.0, 1.0], [1.0, 2.0]])
    np.testing.assert_allclose(errors_of(information), np.sqrt(np.diag(np.linalg.inv(information))))


def test_the_range_is_the_largest_within_a_stratum():
    columns = np.array([[0.0, 5.0], [10.0, 5.0], [3.0, 7.0], [1.0, 9.0]])
    assert range_within(columns, np.array([0, 1, 0, 1])).tolist() == [9.0, 4.0]
    assert range_within(columns[:, :0], np.array([0, 1, 0, 1])).shape == (0,)
