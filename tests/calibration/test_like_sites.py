"""Short form of the coverage of limits expected at similar sites."""

import pytest

from tests.calibration.like_sites import run


@pytest.mark.slow
def test_limits_hold_the_average_over_sites_and_those_by_plot_do_not():
    # 80 seasons of 8 sites where methods differ from site to site: standard error of 95 per 100 is 2.4.
    table = run((8, 0.4, 0.5), 80).set_index("limits")
    assert table.loc["like sites", "held"] > 95 - 3 * 2.4
    assert table.loc["by plot", "held"] < table.loc["like sites", "held"]
