"""Cost per established plant in a dry and in a wet season, from how rain went with survival.

On the log(-log) scale of survival a term of the hazard model is a shift (proportional
hazards): rain of x mm in place of the mean of the records shifts it by the slope times
the difference. Nothing is told of more or less rain than the records hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.costs.draws import (
    Costed,
    alive_at,
    chance_error,
    chance_of_lowest,
    limits_of,
    loglog,
    per_established,
)
from survivor.limits import with_level
from survivor.shown import Shown

DRY, WET = "a dry season", "a wet season"


@dataclass(frozen=True)
class RainSlope:
    """How rain goes with the log hazard of each method, per mm.

    Attributes
    ----------
    estimate, std_error, df
        Shape (methods,).
    mean_mm, driest_mm, wettest_mm
        Of the first dry seasons in the records; the mean is over the plants.
    """

    estimate: Floats
    std_error: Floats
    df: Floats
    mean_mm: float
    driest_mm: float
    wettest_mm: float


@dataclass(frozen=True, repr=False)
class Scenarios(Shown):
    """Cost per established plant as dry, and as wet, as the driest and wettest season in the records.

    Attributes
    ----------
    table
        ``scenario, rain_mm, <by>, survival, survival_lower, survival_upper`` (per 100 planted),
        ``cost_per_established, lower, upper, lower_error, upper_error, probability_lowest,
        probability_error, currency, at_day``.
    checks
        Plain sentences.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    checks: tuple[str, ...]


def under_rain(costed: Costed, rain: RainSlope) -> Scenarios:
    """Cost per established plant in a dry and a wet season.

    The slope and the survival at the mean rain are drawn apart: at the mean they carry
    little of each other.

    Parameters
    ----------
    costed
        The methods, with draws of survival and cost.
    rain
        The slope of each, and the rain of the records.
    """
    draws, size = costed.paid.shape
    usable = np.where(np.isfinite(rain.df) & (rain.df > 0), rain.df, 1.0)
    # Where all methods share one slope it is drawn once.
    shared = np.ptp(rain.estimate) == 0 and np.ptp(rain.std_error) == 0
    rank = costed.random("rain").random((draws, 1 if shared else size))
    t = np.where(np.isposinf(rain.df), stats.norm.ppf(rank), stats.t.ppf(rank, usable))
    slope = rain.estimate + rain.std_error * t
    parts = []
    for name, amount in ((DRY, rain.driest_mm), (WET, rain.wettest_mm)):
        shift = amount - rain.mean_mm
        best = alive_at(loglog(costed.survival) + rain.estimate * shift)
        alive = alive_at(loglog(costed.alive) + slope * shift)
        cost = per_established(costed.paid, alive)
        ends, lowest = limits_of(alive, costed.level), chance_of_lowest(cost)
        parts.append(
            pd.DataFrame(
                {
                    "scenario": name,
                    "rain_mm": amount,
                    costed.by: list(costed.methods),
                    "survival": 100 * best,
                    "survival_lower": 100 * ends["lower"],
                    "survival_upper": 100 * ends["upper"],
                    "cost_per_established": per_established(costed.per_plant, best),
                    **limits_of(cost, costed.level),
                    "probability_lowest": lowest,
                    "probability_error": chance_error(lowest, draws),
                    "currency": costed.currency,
                    "at_day": costed.at_day,
                }
            )
        )
    checks = (
        "Rain is compared between gauges and seasons, so what else differed between them is part of it.",
        f"Dry is {rain.driest_mm:,.0f} mm and wet {rain.wettest_mm:,.0f} mm in the first dry season, the "
        "least and the most in these records; nothing is told of less or more.",
    )
    table = with_level(pd.concat(parts, ignore_index=True), costed.level)
    return Scenarios(costed.by, costed.at_day, table, checks)
