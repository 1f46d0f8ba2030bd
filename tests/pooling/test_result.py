"""Units that stand apart, against the model in which one unit has a mean of its own."""

import numpy as np
import pytest

import survivor
from survivor.pooling.result import standing_apart

EFFECT = np.array([9.0, 14.0, 6.0, 11.0, 8.0, 40.0])
ERROR = np.array([3.0, 4.0, 3.5, 2.5, 5.0, 3.0])


@pytest.mark.parametrize("place", range(6))
def test_a_unit_is_held_against_the_others_as_by_a_model_that_gives_it_a_mean_of_its_own(place):
    # The mean-shift model (Viechtbauer and Cheung 2010, section 2): a trait that this unit alone has.
    alone = (np.arange(6) == place).astype(float)
    trend = survivor.pool_by(EFFECT, ERROR, {"alone": alone}, "reml", "normal").table.iloc[1]
    found = standing_apart(survivor.pool(EFFECT, ERROR)).iloc[place]
    assert found["estimate"] - found["expected"] == pytest.approx(trend["estimate"], abs=1e-6)
    assert found["residual"] == pytest.approx(trend["estimate"] / trend["std_error"], abs=1e-6)
    assert found["p_value"] == pytest.approx(trend["p_value"], abs=1e-9)


def test_the_one_unlike_the_others_stands_furthest_apart():
    found = standing_apart(survivor.pool(EFFECT, ERROR))
    assert found["residual"].abs().idxmax() == 5
    assert found.loc[5, "p_value"] < 0.001
    assert (found.loc[:4, "p_value"] > 0.05).all()


def test_three_units_say_nothing_of_which_one_stands_apart():
    assert standing_apart(survivor.pool(EFFECT[:3], ERROR[:3])).empty
