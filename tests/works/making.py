"""Small seasons of works with known truth, as risk intervals with the columns of works."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd

from survivor.works.columns import NO, PATTERN, YES
from survivor.works.parts import Question

WORKS = ("pre-emergent", "rip", "mulch mat")
COLUMNS = {"pre-emergent": "work_pre_emergent", "rip": "work_rip", "mulch mat": "work_mulch_mat"}
VISITS = (40, 150, 300, 365, 455, 600, 730)
PLOTS = ("site", "block", "plot")


def question(*strata: str, at: float = 365.0, cluster: tuple[str, ...] = PLOTS) -> Question:
    return Question(strata or ("site", "block"), cluster, at)


def factorial(
    rng: np.random.Generator,
    effects: dict[str, float],
    *,
    blocks: int = 12,
    plants: int = 25,
    plot_sd: float = 0.0,
    visits: tuple[int, ...] = VISITS,
    hazard: float = 0.0012,
    follow: tuple[float, float] | None = None,
) -> pd.DataFrame:
    """Risk intervals of every combination of works in every block; ``follow``: day and log ratio of half."""
    rows = []
    for block, got in product(range(blocks), product((0, 1), repeat=len(effects))):
        log_ratio = sum(own * effect for own, effect in zip(got, effects.values(), strict=True))
        pace = hazard * np.exp(log_ratio + rng.normal(0.0, plot_sd))
        day = np.nan
        if follow is not None and rng.random() < 0.5:
            day = follow[0]
        alive, begins = plants, 0
        for visit in visits:
            before = min(max(day - begins, 0.0), visit - begins) if np.isfinite(day) else visit - begins
            after = visit - begins - before
            cumulative = pace * (before + after * (np.exp(follow[1]) if follow else 1.0))
            died = int(rng.binomial(alive, 1 - np.exp(-cumulative)))
            if alive:
                names = [work for work, own in zip(effects, got, strict=True) if own]
                rows.append(
                    (
                        f"S{block // 4}", f"B{block % 4}", "".join(map(str, got)), begins, visit, alive, died,
                        day, " + ".join(sorted(names)) or "none", *got,
                    )
                )  # fmt: skip
            alive, begins = alive - died, visit
    columns = [COLUMNS.get(work, f"work_{work}") for work in effects]
    head = [*PLOTS, "start_day", "stop_day", "at_risk", "died", "day", PATTERN]
    frame = pd.DataFrame(rows, columns=[*head, *columns])
    for column in columns:
        frame[column] = pd.Categorical(np.where(frame[column] == 1, YES, NO), categories=[NO, YES])
    return frame
