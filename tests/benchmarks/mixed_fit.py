"""How long the mixed model takes on large plantings.

Run ``python -m tests.benchmarks.mixed_fit`` (2,400 plots, then 24,000 plots of a million seedlings).
"""

from __future__ import annotations

import time

import pandas as pd

from survivor.intervals import tally
from survivor.models.fit import fit
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals

EIGHT_VISITS = ((40, 100, 170, 260, 365, 480, 600, 730),)
WAYS = {
    "grouped": {"model": "grouped"},
    "mixed, plot, Laplace": {"model": "mixed", "points": 1},
    "mixed, plot, 7 points": {"model": "mixed", "points": 7},
    "mixed, plot, 7 points, restricted": {"model": "mixed", "points": 7, "restricted": True},
    "mixed, plot in site, Laplace": {"model": "mixed", "points": 1, "strata": None, "random": "site/plot"},
}


def cohort(sites: int) -> Cohort:
    """Eight plots of 42 seedlings of four species at each site."""
    return Cohort(
        sites=sites,
        blocks=4,
        seedlings=42,
        methods=(("usual practice", 0.0), ("alternative", -0.5)),
        species=(("first", 0.0), ("second", 0.3), ("third", -0.2), ("fourth", 0.1)),
        plot_sd=0.5,
        visit_days=EIGHT_VISITS,
    )


def run(sites: int) -> pd.DataFrame:
    """Seconds of each fit of one drawn planting."""
    frame = draw_intervals(cohort(sites), 3)
    numbers = tally(frame)
    lines = []
    for name, arguments in WAYS.items():
        start = time.perf_counter()
        found = fit(frame, "method + species", **arguments)
        seconds = time.perf_counter() - start
        row = found.table.iloc[0]
        lines.append((name, seconds, row["estimate"], row["std_error"], found.log_likelihood))
        print(name, round(seconds, 1), flush=True)
    columns = ["fit", "seconds", "log_hazard_ratio", "std_error", "log_likelihood"]
    return pd.DataFrame(lines, columns=columns).assign(rows=len(frame), **numbers)


if __name__ == "__main__":
    for many in (300, 3000):
        print(run(many).to_string(index=False))
