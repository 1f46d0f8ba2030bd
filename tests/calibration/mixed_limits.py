"""Limits of the mixed model: false alarms, and the spread that it finds between plots.

Run ``python -m tests.calibration.mixed_limits 400`` for the table. Few plots at each
site: a level for each site takes much of what the plots tell, and maximum likelihood
does not allow for it.
"""

from __future__ import annotations

import sys
from unittest import mock

import numpy as np
import pandas as pd

from survivor.models import variance_components
from survivor.models.mixed import fit_mixed
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals

SPREAD = 0.5
NULL = Cohort(
    methods=(("usual practice", 0.0), ("alternative", 0.0)),
    sites=8,
    blocks=2,
    seedlings=25,
    plot_sd=SPREAD,
    site_sd=0.4,
)
WAYS = {
    "level for each site, maximum likelihood": {"strata": "site"},
    "level for each site, restricted": {"strata": "site", "restricted": True},
    "random sites, maximum likelihood (Laplace)": {"strata": None, "random": "site/plot", "points": 1},
}


def run(
    studies: int, seed: int = 5, cohort: Cohort = NULL, ways: dict[str, dict[str, object]] = WAYS
) -> pd.DataFrame:
    """Per analysis: p < 0.05 per 100 studies without an effect, and the mean plot SD found.

    Limits of the plot SD, of which nothing is told here, are not made: they are four tenths of the work.
    """
    rng = np.random.default_rng(seed)
    found = {name: np.empty((studies, 2)) for name in ways}
    for study in range(studies):
        frame = draw_intervals(cohort, rng)
        for name, arguments in ways.items():
            with mock.patch.object(variance_components, "_limits", return_value=(np.nan, np.nan, "")):
                fitted = fit_mixed(frame, "method", cluster="plot", **{"points": 5, **arguments})
            spread = fitted.variance_components["sd"].iloc[-1]
            found[name][study] = fitted.table["p_value"].iloc[0] < 0.05, spread
    share = np.array([each[:, 0].mean() for each in found.values()])
    return pd.DataFrame(
        {
            "analysis": list(found),
            "studies": studies,
            "p_under_0.05_per_100": 100 * share,
            "simulation_error": 100 * np.sqrt(share * (1 - share) / studies),
            "mean_plot_sd": [each[:, 1].mean() for each in found.values()],
            "true_plot_sd": cohort.plot_sd,
        }
    )


if __name__ == "__main__":
    print(run(int(sys.argv[1]) if len(sys.argv) > 1 else 400).to_string(index=False))
