"""Coverage on the tagged demo cohort: how often the reported limits hold the truth.

The target is the model's own: survival per 100 planted at 12 months at these sites,
averaged over plot effects, species and radii, and differences of it. Run
``python -m tests.calibration.coverage 200`` for the table.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd

from survivor.demo.tagged import COHORT
from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.models.fit import fit
from survivor.simulate.cohort import true_effects
from survivor.simulate.drawing import draw_intervals

AT = 365.0


def one_study(seed: int) -> pd.DataFrame:
    """Estimate, limits and truth of every survival and difference in one drawn season."""
    intervals = draw_intervals(COHORT, seed)
    truth = true_effects(COHORT, (AT,)).at(AT)
    fitted = fit(intervals, "method + species", strata="site")
    alive = survival(fitted, at=AT).table.assign(what="survival")
    alive["truth"] = alive["method"].astype(str).map(truth["survival"])
    differ = contrasts(fitted, at=AT).table.assign(what="difference")
    differ["truth"] = differ["method"].astype(str).map(truth["difference"])
    kept = ["what", "method", "estimate", "lower", "upper", "df", "truth"]
    return pd.concat([alive[kept], differ[kept]], ignore_index=True)


def run(seeds: int, first: int = 1, workers: int = 2) -> pd.DataFrame:
    """Coverage per 100 studies by what is estimated, with its simulation error."""
    with ProcessPoolExecutor(workers) as pool:
        drawn = pd.concat(list(pool.map(one_study, range(first, first + seeds), chunksize=5)))
    drawn["method"] = drawn["method"].astype(str)
    drawn["held"] = (drawn["lower"] <= drawn["truth"]) & (drawn["truth"] <= drawn["upper"])
    drawn["error"] = drawn["estimate"] - drawn["truth"]
    by = drawn.groupby(["what", "method"], sort=False)
    table = by.agg(
        truth=("truth", "first"),
        mean_error=("error", "mean"),
        df=("df", "median"),
        coverage_per_100=("held", lambda held: 100 * held.mean()),
    )
    share = table["coverage_per_100"] / 100
    table["simulation_error"] = 100 * np.sqrt(share * (1 - share) / seeds)
    return table.reset_index()


def overall(table: pd.DataFrame) -> pd.Series:
    """Mean coverage per 100 over methods, for survival and for differences."""
    return table.groupby("what", sort=False)["coverage_per_100"].mean()


if __name__ == "__main__":
    result = run(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    print(result.to_string(index=False, float_format="{:.2f}".format))
    print(overall(result).to_string())
