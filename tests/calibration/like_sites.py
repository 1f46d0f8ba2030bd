"""Coverage of limits expected at similar sites: how often they hold the average over all such sites.

Sites are drawn anew for each season. Beside the limits that are reported stand those by
plot, which speak of the sites drawn, and CR2 by site, which takes the sites averaged
over as given. Run ``python -m tests.calibration.like_sites 200`` for the table.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pandas as pd

from survivor.effects.contrasts import contrasts
from survivor.effects.prediction import like_sites
from survivor.models.fit import fit
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import draw_intervals

AT = 365.0
#: Sites, standard deviation of sites, and of methods from site to site.
CASES = (
    (5, 0.4, 0.0),
    (5, 1.0, 0.0),
    (5, 0.7, 0.5),
    (8, 0.4, 0.5),
    (8, 1.0, 0.5),
    (12, 1.0, 0.0),
    (12, 1.0, 0.5),
)


def cohort(sites: int, site_sd: float, method_by_site_sd: float) -> Cohort:
    """Two plots of two methods at each site, visited three times."""
    return Cohort(
        methods=(("usual practice", 0.0), ("alternative", -0.6)),
        sites=sites,
        blocks=2,
        site_sd=site_sd,
        method_by_site_sd=method_by_site_sd,
        plot_sd=0.4,
        visit_days=((150, 300, 365),),
    )


def one_study(asked: tuple[tuple[int, float, float], int]) -> list[tuple[str, float, float, float]]:
    """Limits of one drawn season by three ways, with the estimate."""
    case, seed = asked
    intervals = draw_intervals(cohort(*case), seed)
    plots = fit(intervals, "method", strata="site")
    sites = fit(intervals, "method", strata="site", cluster="site")
    tables = {
        "by plot": contrasts(plots, at=AT).table,
        "CR2 by site": contrasts(sites, at=AT).table,
        "like sites": like_sites(plots, at=AT).table,
    }
    return [
        (name, *(float(table[column].iloc[0]) for column in ("estimate", "lower", "upper")))
        for name, table in tables.items()
    ]


def run(case: tuple[int, float, float], seeds: int, workers: int = 2) -> pd.DataFrame:
    """Coverage per 100 seasons and mean width, one row a way."""
    truth = float(true_effects(cohort(*case), (AT,)).at(AT)["difference"].iloc[1])
    asked = [(case, seed) for seed in range(1, seeds + 1)]
    with ProcessPoolExecutor(workers) as pool:
        drawn = [line for lines in pool.map(one_study, asked, chunksize=5) for line in lines]
    frame = pd.DataFrame(drawn, columns=["limits", "estimate", "lower", "upper"])
    frame["held"] = 100.0 * ((frame["lower"] <= truth) & (truth <= frame["upper"]))
    frame["width"] = frame["upper"] - frame["lower"]
    table = frame.groupby("limits", sort=False)[["held", "width"]].mean().reset_index()
    error = np.sqrt(table["held"] * (100 - table["held"]) / seeds)
    named = dict(zip(("sites", "site_sd", "method_by_site_sd"), case, strict=True))
    return table.assign(simulation_error=error, **named)


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for place, case in enumerate(CASES):
        text = run(case, number).to_string(index=False, header=not place, float_format="{:.1f}".format)
        print(text, flush=True)
