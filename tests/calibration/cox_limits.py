"""How wide the Cox model's limits are: variance reported against variance seen, and false alarms.

Run ``python -m tests.calibration.cox_limits 2000`` for the table; the default tests run
a short form with a fixed seed. No method effect; plots differ (SD 0.5 on the log hazard).

Leaving out one of two plots of a site takes the site with it: with every squared change
counted (G - 1) / G, the plain jackknife, the variance of a method comes out up to twice
what it is. The stratified jackknife (reported) counts (n - 1) / n.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd
from scipy import stats

from survivor.models.fit import fit
from survivor.models.partial import residuals
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals

_METHODS = (("usual practice", 0.0), ("alternative", 0.0))
_SHAPE = {"methods": _METHODS, "plot_sd": 0.5, "visit_days": ((40, 170, 300, 365),)}
LAYOUTS = {
    "6 sites, 2 plots each": Cohort(sites=6, blocks=1, **_SHAPE),
    "3 sites, 4 plots each": Cohort(sites=3, blocks=2, **_SHAPE),
    "6 sites, 4 plots each": Cohort(sites=6, blocks=2, **_SHAPE),
}
VARIANCES = ("stratified jackknife (reported)", "plain jackknife", "sandwich of score residuals")


def studies(seed: int, number: int, cohort: Cohort) -> np.ndarray:
    """Estimate, degrees of freedom and the three variances of each study, shape (number, 5)."""
    rng = np.random.default_rng(seed)
    found = np.empty((number, 5))
    for study in range(number):
        fitted = fit(draw_intervals(cohort, rng), "method", model="cox")
        engine = fitted.engine
        estimate, groups = engine.estimate, engine.limits.groups
        change = engine.limits.beta[:, 0] - estimate.beta[0]
        scores = np.bincount(engine.sets.cluster, weights=residuals(engine.sets, estimate.beta)[:, 0])
        information = estimate.at.information[0, 0]
        found[study] = (
            estimate.beta[0],
            groups.df[0],
            groups.factor @ change**2,
            (1 - 1 / groups.count) * np.sum(change**2),
            np.sum(scores**2) / information**2,
        )
    return found


def table(seed: int, number: int) -> pd.DataFrame:
    """For each layout and variance: mean over the variance seen, and p under 0.05 per 100 studies."""
    rows = []
    for layout, cohort in LAYOUTS.items():
        found = studies(seed, number, cohort)
        estimate, df = found[:, 0], found[:, 1]
        for place, name in enumerate(VARIANCES):
            variance = found[:, 2 + place]
            p = 2 * stats.t.sf(np.abs(estimate) / np.sqrt(variance), df)
            rows.append((layout, name, variance.mean() / estimate.var(), 100 * np.mean(p < 0.05), number))
    return pd.DataFrame(
        rows, columns=["layout", "variance", "ratio_to_seen", "p_under_0.05_per_100", "studies"]
    )


if __name__ == "__main__":
    print(table(20240611, int(sys.argv[1]) if len(sys.argv) > 1 else 200).to_string(index=False))
