"""Seconds and memory of the grouped model with a level for each of many sites, limits by plot and by site.

``python -m tests.benchmarks.many_sites [SITES ...]`` draws 20 plots of 40 seedlings at each of so many sites
(1,000, 10,000 and 100,000 where none is named), three preparations and three visits, and fits each in a
process of its own. The figures are printed, not tested.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
from typing import Final

import numpy as np
import pandas as pd

import survivor

SITES: Final = (1_000, 10_000, 100_000)
PLOTS: Final = 20
_DAYS: Final = (0, 100, 280, 365)
_HAZARDS: Final = (0.08, 0.15, 0.05)
_MEASURED: Final = "from tests.benchmarks.many_sites import measured; import sys; measured(*sys.argv[1:])"
_COLUMNS: Final = (
    "sites", "plots", "rows", "limits by", "clock, s", "processor, s", "peak memory, MB",
    "of it the table, MB", "log hazard ratio (error, df)", "load",
)  # fmt: skip


def table_of(sites: int) -> pd.DataFrame:
    """Draw counted plots of so many sites as risk intervals, names as categories."""
    rng = np.random.default_rng(20260101)
    site, plot = np.repeat(np.arange(sites), PLOTS), np.tile(np.arange(PLOTS), sites)
    method, alive = plot % 3, np.full(sites * PLOTS, 40)
    unlike = rng.normal(0.0, 0.5, sites)[site] + rng.normal(0.0, 0.3, len(plot)) - 0.3 * method
    rounds = []
    for start, stop, hazard in zip(_DAYS, _DAYS[1:], _HAZARDS, strict=False):
        died = rng.binomial(alive, 1 - np.exp(-hazard * np.exp(unlike)))
        rounds.append(pd.DataFrame({"start_day": start, "stop_day": stop, "at_risk": alive, "died": died}))
        alive = alive - died
    names = {
        "site": pd.Categorical.from_codes(site, [f"S{number:06d}" for number in range(sites)]),
        "plot": pd.Categorical.from_codes(plot, [f"P{number:02d}" for number in range(PLOTS)]),
        "method": pd.Categorical.from_codes(method, ["spray", "auger", "rip"]),
    }
    whole = pd.concat([one.assign(**names) for one in rounds], ignore_index=True)
    kept = whole[whole["at_risk"] > 0]
    return kept.sort_values(["site", "plot", "start_day"], ignore_index=True)


def measured(sites: str, cluster: str) -> None:
    """Fit the model once, and print a line of the table."""
    table = table_of(int(sites))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    clock, spent = time.perf_counter(), time.process_time()
    last = survivor.fit(table, "method", cluster=cluster).table.iloc[-1]
    clock, spent = time.perf_counter() - clock, time.process_time() - spent
    cells = (
        f"{int(sites):,}", f"{int(sites) * PLOTS:,}", f"{len(table):,}", cluster,
        f"{clock:.1f}", f"{spent:.1f}",
        f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f}", f"{before:.0f}",
        f"{last['estimate']:.4f} ({last['std_error']:.4f}, {last['df']:.0f})", f"{os.getloadavg()[0]:.0f}",
    )  # fmt: skip
    print(f"| {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    print(f"| {' | '.join(_COLUMNS)} |", "|---" * len(_COLUMNS) + "|", sep="\n", flush=True)
    for number in sys.argv[1:] or map(str, SITES):
        for unit in ("plot", "site"):
            subprocess.run([sys.executable, "-c", _MEASURED, number, unit], check=True)
