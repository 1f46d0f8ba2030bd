"""A season to misuse, and to give in tables of other kinds."""

from __future__ import annotations

import numpy as np
import pandas as pd

METHODS = ("usual", "auger", "rip")


def plain() -> pd.DataFrame:
    """24 plots of 20 at 4 sites, two visits, and a covariate of the plot."""
    rng = np.random.default_rng(7)
    rows = []
    for plot in range(24):
        alive, method = 20, METHODS[plot % 3]
        for start, stop in ((0, 180), (180, 365)):
            died = int(rng.binomial(alive, {"usual": 0.3, "auger": 0.22, "rip": 0.12}[method]))
            rows.append((f"S{plot // 6}", f"p{plot}", method, start, stop, alive, died, plot % 5 / 2))
            alive -= died
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died", "z"]
    return pd.DataFrame(rows, columns=names).assign(
        method=lambda table: pd.Categorical(table["method"], METHODS)
    )


F = plain()
