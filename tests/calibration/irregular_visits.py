"""Irregular visits: one method is visited seldom, and the truth is known.

Cox regression at the visit days then credits the seldom visited method with later
deaths; the interval likelihood does not. Run
``python -m tests.calibration.irregular_visits 400`` for the table.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

from survivor.models.fit import fit

TRUTH = -0.7
OFTEN = np.array([30, 60, 90, 120, 150, 180, 240, 300, 365], dtype=float)
SELDOM = np.array([120, 365], dtype=float)
DAILY_HAZARD = 0.004


def draw_study(rng: np.random.Generator, seedlings: int = 1000) -> pd.DataFrame:
    """Risk intervals of seedlings without plot effects; half by each method.

    The usual practice is looked at nine times in the year, the other twice; every
    seedling's visits shift by up to ten days.
    """
    parts = []
    for method, days, effect in (("usual", OFTEN, 0.0), ("other", SELDOM, TRUTH)):
        count = seedlings // 2
        death = rng.exponential(1 / (DAILY_HAZARD * np.exp(effect)), size=count)
        visits = days[None, :] + rng.integers(-10, 11, size=(count, 1))
        edges = np.hstack([np.zeros((count, 1)), visits])
        alive = death[:, None] > edges[:, :-1]
        row, visit = np.nonzero(alive)
        parts.append(
            pd.DataFrame(
                {
                    "method": method,
                    "start_day": edges[row, visit],
                    "stop_day": edges[row, visit + 1],
                    "at_risk": 1,
                    "died": (death[row] <= edges[row, visit + 1]).astype(int),
                    "tag": [f"{method} {number}" for number in row],
                }
            )
        )
    frame = pd.concat(parts, ignore_index=True)
    frame["method"] = pd.Categorical(frame["method"], categories=["usual", "other"])
    return frame


def run(studies: int, seed: int = 7, seedlings: int = 1000) -> pd.DataFrame:
    """Mean log hazard ratio over studies for both models, with its simulation error."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[float]] = {"grouped": [], "cox": []}
    for _ in range(studies):
        frame = draw_study(rng, seedlings)
        cuts = [60.0, 120.0, 180.0, 270.0]
        found["grouped"].append(
            fit(frame, "method", cluster=None, strata=None, pieces=cuts).table["estimate"].iloc[0]
        )
        found["cox"].append(fit(frame, "method", "cox", cluster=None, strata=None).table["estimate"].iloc[0])
    return pd.DataFrame(
        {
            "model": list(found),
            "truth": TRUTH,
            "mean_estimate": [np.mean(values) for values in found.values()],
            "simulation_error": [np.std(values, ddof=1) / np.sqrt(studies) for values in found.values()],
        }
    )


if __name__ == "__main__":
    print(
        run(int(sys.argv[1]) if len(sys.argv) > 1 else 400).to_string(
            index=False, float_format="{:.4f}".format
        )
    )
