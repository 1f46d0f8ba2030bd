import pytest
from scipy import stats

from tests.calibration.stopping_point import coverage


@pytest.mark.slow
@pytest.mark.parametrize("bend", [3.0, 6.0])
def test_limits_of_the_stopping_point_hold_the_truth_in_95_of_100(bend):
    """Not fewer than a binomial of 95 in 100 would give once in a thousand."""
    told, right = coverage(60, bend, 0.15, 200)
    assert told >= 30
    assert right >= stats.binom.ppf(0.001, told, 0.95)
