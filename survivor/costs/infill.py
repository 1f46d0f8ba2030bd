"""Cost per established plant with infill counted in: its plants, what they cost, and those of them alive."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.costs.draws import Costed, limits_of, per_established
from survivor.costs.prices import Part
from survivor.costs.stocking import InfillLives
from survivor.errors import PayoffError
from survivor.limits import with_level
from survivor.settings import Infill
from survivor.shown import Shown

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

    @property
    def lives(self) -> InfillLives:
        """How many of them live."""
        return InfillLives(self.survival, self.lower, self.upper)

    def any_of(self, methods: Sequence[Any]) -> bool:
        """Whether any of some methods has infill."""
        return any(self.per_plant.get(method, 0.0) > 0 for method in methods)


@dataclass(frozen=True, repr=False)
class WithInfill(Shown):
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


def with_infill(costed: Costed, cost: Infill, plants: InfillPlants) -> WithInfill:
    """Cost per established plant with infill: all that was paid over all that are alive.

    For each first plant, its price and that of its infill plants, over the share of first
    plants alive and the infill plants alive on their own clock.

    Parameters
    ----------
    costed
        The methods, with draws of survival and cost.
    cost
        What an infill plant costs: a price, or times that of a first one.
    plants
        How many there are, and how many live; where that is not known they are taken to live as
        first plants do, which is said.

    Raises
    ------
    PayoffError
        When no method has infill.
    """
    if not plants.any_of(costed.methods):
        raise PayoffError(
            "no preparation has infill",
            where="infill",
            mend="give plants_per_100 under [infill], or record infill with its own cohort",
        )
    rng = costed.random("infill")
    middle = cost.times_first if cost.times_first is not None else float(cost.per_plant or 0.0)
    low, high = (middle if end is None else end for end in (cost.low, cost.high))
    factor = Part(("infill",), middle, low, high).drawn(rng.random(costed.draws))
    finite = bool(np.isfinite(plants.survival))
    share = np.array([float(plants.per_plant.get(method, 0.0)) for method in costed.methods])
    first, best = costed.per_plant, costed.survival
    price, drawn_price = (
        (middle * first, factor[:, None] * costed.paid)
        if cost.times_first is not None
        else (np.full(len(first), middle), factor[:, None])
    )
    expected = np.full(len(best), plants.survival) if finite else best
    living = plants.lives.drawn(costed.draws, rng)[:, None] if finite else costed.alive
    drawn = per_established(costed.paid + share * drawn_price, costed.alive + share * living)
    table = pd.DataFrame(
        {
            costed.by: list(costed.methods),
            "without": per_established(first, best),
            "with_infill": (first + share * price) / np.maximum(best + share * expected, 1e-12),
            **limits_of(drawn, costed.level),
            "infill_per_100": 100 * share,
            "infill_cost": price,
            "infill_survival": 100 * expected,
            "currency": costed.currency,
            "at_day": costed.at_day,
        }
    )
    checks = [plants.note] if plants.note else []
    if not finite:
        checks.append("How many infill plants live is not known, so they are taken to live as first plants.")
    elif not np.isfinite([plants.lower, plants.upper]).all():
        checks.append("How many infill plants live is as stated, so no uncertainty of it is in the limits.")
    return WithInfill(costed.by, costed.at_day, with_level(table, costed.level), tuple(checks))
