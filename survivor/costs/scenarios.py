"""Cost per established plant in a dry and in a wet season, from how rain went with survival.

On the log(-log) scale of survival a term of the hazard model is a shift (proportional
hazards): rain of x mm in place of the mean of the records shifts it by the slope times
the difference. Nothing is told of more or less rain than the records hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.costs.draws import alive_at, loglog
from survivor.costs.prices import Price
from survivor.costs.quantiles import TAILS, quantile
from survivor.effects.limits import Floats

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
class Scenarios:
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

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def under_rain(
    methods: Sequence[Any],
    survival: Floats,
    drawn_survival: Floats,
    prices: Sequence[Price],
    drawn_prices: Floats,
    rain: RainSlope,
    rng: np.random.Generator,
    *,
    by: str,
    at: float,
    currency: str = "",
) -> Scenarios:
    """Cost per established plant in a dry and a wet season.

    The slope and the survival at the mean rain are drawn apart: at the mean they carry
    little of each other.

    Parameters
    ----------
    methods, survival, prices
        The methods, the share alive, and what a plant costs.
    drawn_survival, drawn_prices
        Draws of these, shape (draws, methods).
    rain
        The slopes, and the rain of the records.
    rng
        Of the draws.
    by, at, currency
        For the table.
    """
    draws, size = drawn_prices.shape
    known = rain.df > 0
    finite = np.where(np.isfinite(rain.df) & known, rain.df, 1.0)
    rank = rng.random((draws, 1 if _one_slope(rain) else size))
    t = np.where(np.isposinf(rain.df), stats.norm.ppf(rank), stats.t.ppf(rank, finite))
    slope = rain.estimate + rain.std_error * t
    paid = np.array([price.per_plant for price in prices])
    rows: list[dict[str, Any]] = []
    for name, amount in ((DRY, rain.driest_mm), (WET, rain.wettest_mm)):
        shift = amount - rain.mean_mm
        best = alive_at(loglog(survival) + rain.estimate * shift)
        alive = alive_at(loglog(drawn_survival) + slope * shift)
        with np.errstate(divide="ignore", over="ignore"):
            each, middle = drawn_prices / alive, paid / best
        lowest = np.bincount(each.argmin(axis=1), minlength=size) / draws
        ordered, sorted_alive = np.sort(each, axis=0), np.sort(alive, axis=0)
        (low, low_error), (high, high_error) = (quantile(ordered, tail) for tail in TAILS)
        (least, _), (most, _) = (quantile(sorted_alive, tail) for tail in TAILS)
        rows += [
            {
                "scenario": name,
                "rain_mm": amount,
                by: method,
                "survival": 100 * best[place],
                "survival_lower": 100 * least[place],
                "survival_upper": 100 * most[place],
                "cost_per_established": middle[place],
                "lower": low[place],
                "upper": high[place],
                "lower_error": low_error[place],
                "upper_error": high_error[place],
                "probability_lowest": lowest[place],
                "probability_error": np.sqrt(lowest[place] * (1 - lowest[place]) / draws),
                "currency": currency,
                "at_day": float(at),
            }
            for place, method in enumerate(methods)
        ]
    checks = (
        "Rain is compared between gauges and seasons, so what else differed between them is part of it.",
        f"Dry is {rain.driest_mm:,.0f} mm and wet {rain.wettest_mm:,.0f} mm in the first dry season, the "
        "least and the most in these records; nothing is told of less or more.",
    )
    return Scenarios(by, float(at), pd.DataFrame(rows), checks)


def _one_slope(rain: RainSlope) -> bool:
    """Tell whether all methods share one slope, so that it is drawn once."""
    return bool(np.ptp(rain.estimate) == 0 and np.ptp(rain.std_error) == 0)
