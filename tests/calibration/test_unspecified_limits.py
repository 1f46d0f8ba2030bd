"""How wide the limits of the unspecified baseline are: the variance reported against the variance seen."""

import numpy as np
import pytest

from survivor.models.fit import fit
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals


@pytest.mark.slow
def test_the_jackknife_is_near_the_variance_seen():
    # Source: our own simulation, no method effect, plots apart by 0.5 on the log hazard, visits on each
    # site's own days of which 15 in 100 are skipped; of 200 studies 1.15 times the variance seen, p under
    # 0.05 in 4 of 100, and estimates that follow those of the pieces (correlation over 0.99).
    cohort = Cohort(
        methods=(("usual practice", 0.0), ("alternative", 0.0)),
        sites=3,
        blocks=2,
        plot_sd=0.5,
        visit_days=((40, 150, 300, 365),),
        visit_spread_days=25,
        p_skip=0.15,
    )
    rng = np.random.default_rng(20240611)
    found = []
    for _ in range(80):
        frame = draw_intervals(cohort, rng)
        row = fit(frame, "method", baseline="unspecified").table.iloc[0]
        pieces = fit(frame, "method").table.iloc[0]
        found.append((row["estimate"], row["std_error"] ** 2, row["p_value"], pieces["estimate"]))
    estimate, variance, p_value, pieces = np.array(found).T
    assert 0.7 < variance.mean() / estimate.var() < 1.9
    assert np.mean(p_value < 0.05) < 0.12
    assert np.corrcoef(estimate, pieces)[0, 1] > 0.98
