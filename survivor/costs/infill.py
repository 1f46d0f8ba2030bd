"""Cost per established plant with infill counted in: its plants, what they cost, and those of them alive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.costs.draws import draw_share
from survivor.costs.prices import Price
from survivor.costs.quantiles import TAILS, quantile
from survivor.effects.limits import Floats
from survivor.errors import PayoffError
from survivor.settings import Infill

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class InfillPlants:
    """Infill plants and how many of them live.

    Attributes
    ----------
    per_plant
        Infill plants for each first plant, by method; a method without any is not in it.
    survival, lower, upper
        Share of infill plants alive on their own clock, 0 to 1, with limits; NaN: not known.
    note
        How these are known.
    """

    per_plant: Mapping[Any, float]
    survival: float
    lower: float
    upper: float
    note: str = ""


@dataclass(frozen=True, repr=False)
class WithInfill:
    """Cost per established plant, infill out and in.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    table
        ``<by>, without`` and ``with_infill, lower, upper, lower_error, upper_error`` (money per
        established plant), ``infill_per_100`` (infill plants per 100 first plants),
        ``infill_cost`` (money per infill plant), ``infill_survival`` (per 100 infill plants),
        ``currency, at_day``.
    checks
        Plain sentences.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    checks: tuple[str, ...]

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw cost per established plant with infill, lowest first."""
        from survivor.figures.payoff import draw_payoff

        renamed = {self.by: "method", "with_infill": "cost_per_established"}
        return draw_payoff(self.table.rename(columns=renamed), ax)

    def __repr__(self) -> str:
        return self.table.to_string(index=False)

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def with_infill(
    methods: Sequence[Any],
    survival: Floats,
    drawn_survival: Floats,
    prices: Sequence[Price],
    drawn_prices: Floats,
    cost: Infill,
    plants: InfillPlants,
    rng: np.random.Generator,
    *,
    by: str,
    at: float,
    currency: str = "",
) -> WithInfill:
    """Cost per established plant with infill: all that was paid over all that are alive.

    For each first plant, its price and that of its infill plants, over the share of first
    plants alive and the infill plants alive on their own clock.

    Parameters
    ----------
    methods, survival, prices
        The methods, the share of first plants alive, and what a first plant costs.
    drawn_survival, drawn_prices
        Draws of these, shape (draws, methods).
    cost
        What an infill plant costs: a price, or times that of a first one.
    plants
        How many there are, and how many live; where that is not known they are taken to live as
        first plants do, which is said.
    rng
        Of the draws.
    by, at, currency
        For the table.

    Raises
    ------
    PayoffError
        When no method has infill.
    """
    if not any(plants.per_plant.get(method, 0.0) > 0 for method in methods):
        raise PayoffError(
            "no preparation has infill",
            where="infill",
            mend="give plants_per_100 under [infill], or record infill with its own cohort",
        )
    draws = len(drawn_prices)
    factor = _drawn_cost(cost, draws, rng)
    own_alive = draw_share(plants.survival, plants.lower, plants.upper, draws, rng)
    known = bool(np.isfinite(plants.survival))
    if known and not np.isfinite(own_alive).all():
        own_alive = np.full(draws, plants.survival)  # stated without a range
    rows = []
    for place, method in enumerate(methods):
        share = float(plants.per_plant.get(method, 0.0))
        paid, alive = drawn_prices[:, place], drawn_survival[:, place]
        extra = factor * paid if cost.times_first is not None else factor
        living = own_alive if known else alive
        with np.errstate(divide="ignore", over="ignore"):
            drawn = (paid + share * extra) / (alive + share * living)
        first, best = prices[place].per_plant, float(survival[place])
        price = cost.times_first * first if cost.times_first is not None else float(cost.per_plant or 0.0)
        expected = plants.survival if known else best
        ordered = np.sort(drawn)[:, None]
        (lower, lower_error), (upper, upper_error) = (quantile(ordered, tail) for tail in TAILS)
        rows.append(
            {
                by: method,
                "without": first / best if best > 0 else np.inf,
                "with_infill": (first + share * price) / max(best + share * expected, 1e-12),
                "lower": lower[0],
                "upper": upper[0],
                "lower_error": lower_error[0],
                "upper_error": upper_error[0],
                "infill_per_100": 100 * share,
                "infill_cost": price,
                "infill_survival": 100 * expected,
                "currency": currency,
                "at_day": float(at),
            }
        )
    checks = [plants.note] if plants.note else []
    if not known:
        checks.append("How many infill plants live is not known, so they are taken to live as first plants.")
    elif not np.isfinite([plants.lower, plants.upper]).all():
        checks.append("How many infill plants live is as stated, so no uncertainty of it is in the limits.")
    return WithInfill(by, float(at), pd.DataFrame(rows), tuple(checks))


def _drawn_cost(cost: Infill, draws: int, rng: np.random.Generator) -> Floats:
    middle = cost.times_first if cost.times_first is not None else float(cost.per_plant or 0.0)
    low = middle if cost.low is None else cost.low
    high = middle if cost.high is None else cost.high
    if not high > low:
        return np.full(draws, middle)
    drawn: Floats = stats.triang.ppf(rng.random(draws), (middle - low) / (high - low), low, high - low)
    return drawn
