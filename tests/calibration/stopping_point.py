"""Coverage of the limits of where more of the weed-free patch stops paying.

    python -m tests.calibration.stopping_point 400

Six sites, three methods with four plots each at every site, radii drawn between 0.3
and 1 m, plots that differ (standard deviation of the log hazard ``plot_sd``), and a
hazard that falls with the radius and levels off. The truth is the radius from which
10 cm more gains less than 1.5 per 100 planted, averaged over sites and plots.
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pandas as pd

from survivor.effects.dose import dose
from survivor.effects.plateau import Plateau

SITES = tuple(f"S{number}" for number in range(6))
METHODS = ("usual", "spot", "rip")
SITE_SD, WORTH, LOW, HIGH = 0.3, 1.5, 0.3, 1.0


def hazard(radius: np.ndarray, bend: float) -> np.ndarray:
    """Cumulative hazard of a year: the larger ``bend``, the sooner it levels off."""
    return 0.75 * np.exp(-2.2 * (1 - np.exp(-bend * (radius - LOW))))


def truth(bend: float, plot_sd: float) -> float:
    """The radius from which the gain stays under ``WORTH``."""
    shift = np.exp(np.random.default_rng(0).normal(0, math.hypot(SITE_SD, plot_sd), 20_000))
    radius = np.linspace(LOW, HIGH, 141)
    alive = np.array([100 * np.mean(np.exp(-each * shift)) for each in hazard(radius, bend)])
    gain = np.diff(alive) / np.diff(radius) / 10
    middle = (radius[1:] + radius[:-1]) / 2
    return float(middle[np.flatnonzero(gain >= WORTH)[-1]])


def draw(rng: np.random.Generator, bend: float, plot_sd: float, plants: int) -> pd.DataFrame:
    """One study."""
    rows = []
    for site in SITES:
        level = rng.normal(0, SITE_SD)
        for method in METHODS:
            for place in range(4):
                radius = rng.uniform(LOW, HIGH)
                risk = float(hazard(np.array(radius), bend)) * math.exp(level + rng.normal(0, plot_sd))
                died = rng.binomial(plants, 1 - math.exp(-risk))
                rows.append((site, f"{method}{place}", method, radius, 0, 365, plants, died))
    names = ["site", "plot", "method", "weed_free_radius_m", "start_day", "stop_day", "at_risk", "died"]
    return pd.DataFrame(rows, columns=names)


def covered(stops: Plateau, point: float, edge: float) -> bool:
    """Whether the limits hold the truth; a limit beyond the data holds all beyond it."""
    lower = -math.inf if stops.lower is None else stops.lower
    upper = math.inf if stops.upper is None else stops.upper
    return (lower <= point or lower <= edge) and point <= upper


def coverage(studies: int, bend: float, plot_sd: float, plants: int, seed: int = 1) -> tuple[int, int]:
    """How many studies told where more stops paying (or that it is not reached), and how many were right."""
    rng, point = np.random.default_rng(seed), truth(bend, plot_sd)
    told = right = 0
    for _ in range(studies):
        found = dose(draw(rng, bend, plot_sd, plants), gain=WORTH)
        if found.stops_paying is None or found.stops_paying.state == "not shown":
            continue
        told += 1
        right += covered(found.stops_paying, point, float(found.table["weed_free_radius_m"].iloc[0]))
    return told, right


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    for shape in (3.0, 6.0):
        for spread, size in ((0.3, 30), (0.15, 200)):
            told, right = coverage(number, shape, spread, size)
            share = 100 * right / max(told, 1)
            print(
                f"bend {shape:g}, plots {spread:g}, {size} plants a plot,",
                f"truth {truth(shape, spread):.2f} m:",
                f"told in {told} of {number}, limits right in {share:.0f} of 100 of these",
            )
