"""A short form of the run, with a fixed seed."""

import pytest

from tests.calibration import mixed_limits


@pytest.mark.slow
def test_restricted_likelihood_finds_the_spread_between_plots_and_keeps_false_alarms():
    # Random sites cost as much as these two together; the command of the module has them too.
    # The plot SD of one study has a standard deviation of about 0.1: 100 studies tell 0.38 from the bound of
    # 0.42 by four errors. Of false alarms 300 are needed: their error is 1.3 per 100.
    full, restricted = (
        mixed_limits.run(number, ways={name: mixed_limits.WAYS[name]}).iloc[0]
        for number, name in (
            (100, "level for each site, maximum likelihood"),
            (300, "level for each site, restricted"),
        )
    )
    assert abs(restricted["mean_plot_sd"] - mixed_limits.SPREAD) < 0.03
    assert full["mean_plot_sd"] < mixed_limits.SPREAD - 0.08
    assert abs(restricted["p_under_0.05_per_100"] - 5) < 3 * 1.3
