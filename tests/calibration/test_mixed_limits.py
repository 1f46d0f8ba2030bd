"""A short form of the run, with a fixed seed."""

import pytest

from tests.calibration import mixed_limits


@pytest.mark.slow
def test_restricted_likelihood_finds_the_spread_between_plots_and_keeps_false_alarms():
    # Random sites cost as much as these two together; the command of the module has them too.
    ways = {name: how for name, how in mixed_limits.WAYS.items() if how["strata"] == "site"}
    table = mixed_limits.run(300, ways=ways).set_index("analysis")
    full, restricted = (
        table.loc[f"level for each site, {how}"] for how in ("maximum likelihood", "restricted")
    )
    assert abs(restricted["mean_plot_sd"] - mixed_limits.SPREAD) < 0.03
    assert full["mean_plot_sd"] < mixed_limits.SPREAD - 0.08
    assert abs(restricted["p_under_0.05_per_100"] - 5) < 3 * 1.3
