"""Infill to reach what was promised, or the stems wanted, and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.costs.draws import draw_share, random_of
from survivor.costs.stocking import InfillLives, ends_of

COLUMNS: Final = (
    *("goal", "wanted", "alive", "alive_lower", "alive_upper", "infill_alive"),
    *("infill", "lower", "upper", "lives", "cost_low", "cost_high"),
)

_DRAWS: Final = 10_000


@dataclass(frozen=True)
class Goal:
    """So many plants wanted alive, and for what: ``70 of 100 as promised``."""

    name: str
    plants: float


@dataclass(frozen=True)
class Alive:
    """Plants of the first planting that are alive, with limits, of so many put in; and infill that stands."""

    estimate: float
    lower: float
    upper: float
    put_in: float
    infill: float = 0.0


def shortfall(
    goals: Sequence[Goal],
    alive: Alive,
    infill: InfillLives | None,
    price: tuple[float, float] | None,
    *,
    seed: int = 1,
) -> pd.DataFrame:
    """Infill plants to plant so that each goal is reached.

    What is wanted less what is alive and the infill that stands, over the share of infill that lives.

    Parameters
    ----------
    goals
        Plants wanted alive, each for something.
    alive
        Plants that are alive.
    infill
        How many infill plants live; None: all are taken to live (``lives`` is then 1).
    price
        Lowest and highest cost of an infill plant, or None.
    seed
        Seed of the simulation.

    Returns
    -------
    DataFrame
        One row a goal: ``goal, wanted, alive, alive_lower, alive_upper, infill_alive, infill, lower,
        upper`` (plants; none is needed where ``infill`` is 0), ``lives`` (share of infill plants
        alive), ``cost_low, cost_high`` (the fewest plants at the lowest price, the most at the highest).
    """
    shares = (alive.estimate / alive.put_in, alive.lower / alive.put_in, alive.upper / alive.put_in)
    standing = alive.put_in * draw_share(*shares, _DRAWS, random_of(seed, "alive"))
    lives = 1.0 if infill is None else infill.survival
    living = np.ones(_DRAWS) if infill is None else infill.drawn(_DRAWS, random_of(seed, "infill"))
    rows: list[dict[str, Any]] = []
    for goal in goals:
        needed = max(goal.plants - alive.estimate - alive.infill, 0.0) / lives
        drawn = np.maximum(goal.plants - standing - alive.infill, 0.0) / living
        low, high = ends_of(drawn)
        rows.append(
            {
                "goal": goal.name,
                "wanted": goal.plants,
                "alive": alive.estimate,
                "alive_lower": alive.lower,
                "alive_upper": alive.upper,
                "infill_alive": alive.infill,
                "infill": needed,
                "lower": low,
                "upper": high,
                "lives": lives,
                "cost_low": np.nan if price is None else low * price[0],
                "cost_high": np.nan if price is None else high * price[1],
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))
