"""False alarms: no method effect, yet p < 0.05.

Run ``python -m tests.calibration.false_alarms 10000`` for the table; the default
tests run a short form with a fixed seed.
"""

from __future__ import annotations

import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd
from scipy import stats

from survivor.models.grouped import arranged, fit_grouped
from survivor.models.likelihood import covariance_by
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals

# 24 plots at 6 sites, method within sites (in blocks), plot SD 0.5 on the log hazard, no effect.
NULL = Cohort(
    sites=6,
    blocks=2,
    methods=(("usual practice", 0.0), ("alternative", 0.0)),
    plot_sd=0.5,
    visit_days=((40, 170, 300, 365),),
)
#: Name and variance; one fit serves all, since only its limits differ.
ANALYSES = (
    ("by plot, CR2 with Satterthwaite degrees of freedom (reported)", "CR2"),
    ("by plot, CR1 with t on plots less one", "CR1"),
    ("by plot, CR0 with t on plots less one", "CR0"),
    ("each seedling its own unit", "model"),
)


def p_values(seed: int, studies: int, cohort: Cohort = NULL) -> np.ndarray:
    """P-values of the method in simulated studies, shape (studies, analyses)."""
    rng = np.random.default_rng(seed)
    found = np.empty((studies, len(ANALYSES)))
    for study in range(studies):
        found[study] = p_of_one(draw_intervals(cohort, rng))
    return found


def p_of_one(intervals: pd.DataFrame) -> np.ndarray:
    """P-values of the method in one study: the reported one, and those by other variances."""
    fitted = fit_grouped(intervals, "method", cluster="plot", strata="site", pieces=None)
    row = fitted.table.iloc[0]
    found, fit = [row["p_value"]], arranged(fitted)
    pick = np.eye(len(fit.solution.parameters))[-1:]
    for _, kind in ANALYSES[1:]:
        limits = covariance_by(fit.codes, fit.clusters, fit.data, fit.solution, kind)
        size = abs(row["estimate"]) / np.sqrt(limits.covariance_of(pick)[0, 0])
        found.append(2 * stats.t.sf(size, limits.degrees(pick)[0]))
    return np.array(found)


def table(p: np.ndarray) -> pd.DataFrame:
    """Share of p < 0.05 (per 100 studies) with its simulation error."""
    share = (p < 0.05).mean(axis=0)
    return pd.DataFrame(
        {
            "analysis": [name for name, _ in ANALYSES],
            "studies": len(p),
            "p_under_0.05_per_100": 100 * share,
            "simulation_error": 100 * np.sqrt(share * (1 - share) / len(p)),
        }
    )


def run(studies: int, seed: int = 20260, workers: int = 2) -> pd.DataFrame:
    """Simulate on several cores; the same studies and seed give the same table whatever the cores."""
    parts = 20
    with ProcessPoolExecutor(workers) as pool:
        found = list(pool.map(p_values, [seed + part for part in range(parts)], [studies // parts] * parts))
    return table(np.concatenate(found))


if __name__ == "__main__":
    began = time.perf_counter()
    result = run(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
    print(result.to_string(index=False, float_format=lambda value: f"{value:.2f}"))
    print(f"{time.perf_counter() - began:.0f} s")
