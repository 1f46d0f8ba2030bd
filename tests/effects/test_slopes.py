import numpy as np
import pandas as pd
import pytest

from survivor.effects.slopes import radius_by_method
from survivor.errors import EffectError
from survivor.models.fit import fit
from tests.effects.making import RADII, planted_by_radius


def uneven(site, method, radius):
    """The radius acts under one method only."""
    return 0.5 * np.exp(-1.2 * radius * (method == "spot") + 0.3 * (site == "Snarrow Rise"))


@pytest.fixture(scope="module")
def frame():
    found = planted_by_radius(uneven, plants=300)
    found["died"] += np.tile([3, -2, 1, 0, -3, 2, -4, 1, 2, 3, 0, -2], 2)
    return found


@pytest.fixture(scope="module")
def told(frame):
    return radius_by_method(frame)


@pytest.mark.parametrize("place", [0, 1])
def test_each_slope_is_that_of_the_method_fitted_alone(frame, told, place):
    """With one interval and a level for each site and method nothing is shared between methods."""
    line = told.table.iloc[place]
    own = frame[frame["method"] == line["method"]].assign(method=str(line["method"]))
    alone = fit(own, "weed_free_radius_m").table.iloc[0]
    assert line["estimate"] == pytest.approx(0.1 * alone["estimate"], abs=1e-6)
    assert line["ratio"] == pytest.approx(np.exp(0.1 * alone["estimate"]), abs=1e-6)


def test_ratios_are_for_10_cm_and_hold_the_truth(told):
    truth = {"usual": 1.0, "spot": np.exp(-0.12)}
    for line in told.table.to_dict("records"):
        assert line["ratio_lower"] < truth[line["method"]] < line["ratio_upper"]
        assert line["n_plots"] == 12


def test_with_two_methods_f_is_the_square_of_t(frame, told):
    """The test is of the difference between two slopes: an interaction with one degree of freedom."""
    crossed = (
        fit(
            frame.assign(spot=(frame["method"] == "spot") * frame["weed_free_radius_m"]),
            "weed_free_radius_m + spot",
            strata=["site", "method"],
        )
        .table.set_index("term")
        .loc["spot"]
    )
    assert told.test.statistic == pytest.approx((crossed["estimate"] / crossed["std_error"]) ** 2, rel=1e-5)
    assert told.test.df1 == 1
    assert told.test.df2 == pytest.approx(crossed["df"], rel=1e-4)
    assert told.test.p_value < 0.001


def test_a_method_of_one_radius_is_named_and_the_others_told(frame):
    third = frame[frame["method"] == "usual"].assign(
        method="mat", weed_free_radius_m=0.5, plot=lambda rows: "mat" + rows["plot"]
    )
    found = radius_by_method(pd.concat([frame.astype({"method": str}), third], ignore_index=True))
    line = found.table.set_index("method").loc["mat"]
    assert np.isnan(line["ratio"])
    assert line["reason"] == "its plots at one site are of one radius"
    assert found.table["ratio"].notna().sum() == 2


def test_one_method_alone_is_refused(frame):
    with pytest.raises(EffectError, match="fewer than two preparations"):
        radius_by_method(frame[frame["method"] == "usual"])


@pytest.mark.slow
def test_false_alarms_are_near_5_in_100():
    """Alike slopes, plots that differ: 120 plantings, binomial bounds of 5 in 100 at 1 in 1000."""
    rng = np.random.default_rng(5)
    alarms = 0
    for _ in range(120):
        found = planted_by_radius(lambda *_: 0.5, radii=RADII, plants=40)
        hazard = 0.5 * np.exp(-0.5 * found["weed_free_radius_m"] + rng.normal(0, 0.4, len(found)))
        found["died"] = rng.binomial(40, 1 - np.exp(-hazard))
        alarms += radius_by_method(found).test.p_value < 0.05
    assert alarms <= 15
