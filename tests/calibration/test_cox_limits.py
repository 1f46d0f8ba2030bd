"""Short form of the calibration of the Cox model's limits, with a fixed seed."""

import numpy as np
import pytest

from tests.calibration.cox_limits import LAYOUTS, studies


@pytest.mark.slow
def test_stratified_jackknife_is_near_the_variance_seen_and_the_plain_one_is_twice_it():
    # Source: our own simulation; of 400 studies 1.26 and 2.31 times the variance seen.
    found = studies(20240611, 150, LAYOUTS["6 sites, 2 plots each"])
    seen = found[:, 0].var()
    reported, plain, sandwich = found[:, 2:].mean(axis=0) / seen
    assert 0.9 < reported < 1.7
    assert plain == pytest.approx(2 * 11 / 12 * reported, rel=1e-9)  # (G - 1) / G against (n - 1) / n
    assert sandwich < 0.7
    assert np.mean(found[:, 1]) == 5
