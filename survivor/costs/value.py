"""Which preparation is the best value, by what an established plant is worth.

Net benefit is worth times plants alive, less cost. The chance that a method has the
highest, drawn over a range of worth, is its acceptability curve (van Hout, Al, Gordon and
Rutten 1994, Health Economics 3, 309-319; Fenwick, Claxton and Sculpher 2001, Health
Economics 10, 779-787).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.costs.prices import Price
from survivor.effects.limits import Floats
from survivor.figures.words import money, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NO_CURRENCY = " (no currency named)"
_STEPS = 41  # values of worth on the curve
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, repr=False)
class BestValue:
    """Chance of the highest net benefit, by what an established plant is worth.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    table
        One row a worth and method: ``worth`` (money per established plant), ``<by>``,
        ``net_benefit`` (money per 100 planted, at the best figures), ``best`` (whether that is
        the highest), ``probability`` and its Monte Carlo error ``probability_error``, ``currency,
        at_day``.
    statement
        In words.
    draws, seed
        Size and seed of the simulation.
    checks
        Plain sentences.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    statement: str
    draws: int
    seed: int
    checks: tuple[str, ...] = ()

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of the best value against what a plant is worth."""
        from survivor.figures.value import draw_value

        return draw_value(self.table.rename(columns={self.by: "method"}), ax)

    def __repr__(self) -> str:
        return f"{self.statement}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def worth_range(dearest: float, low: float | None, high: float | None) -> tuple[float, float]:
    """Return the range of worth shown: as given, else from nought to a round figure over twice the dearest.

    Parameters
    ----------
    dearest
        Highest cost per established plant.
    low, high
        As given, or None.
    """
    least = 0.0 if low is None else low
    if high is not None:
        return least, high
    wanted = max(2 * dearest, 1.25 * least)
    if not math.isfinite(wanted) or wanted <= 0:
        return least, least + 1.0
    size = 10.0 ** math.floor(math.log10(wanted))
    return least, next(step * size for step in _ROUND if step * size >= wanted)


def best_value(
    methods: Sequence[Any],
    survival: Floats,
    drawn_gaps: Floats,
    prices: Sequence[Price],
    drawn_prices: Floats,
    worth: tuple[float, float],
    *,
    by: str,
    at: float,
    currency: str = "",
    seed: int = 1,
) -> BestValue:
    """Chance of the best value across a range of worth.

    Parameters
    ----------
    methods, survival, prices
        The methods, the share of plants alive under each, and what a plant costs.
    drawn_gaps
        Draws of each method's survival less that of one of them, as shares, shape (draws,
        methods); see ``survivor.costs.differences.draw_gaps``. Only differences matter: what is
        common to all methods cancels in the comparison.
    drawn_prices
        Draws of the prices, same shape.
    worth
        Lowest and highest worth of an established plant.
    by, at, currency, seed
        For the table.
    """
    draws = len(drawn_gaps)
    told = np.asarray(~np.isnan(drawn_gaps).any(axis=0), dtype=bool)
    places = np.flatnonzero(told).tolist()
    gap, paid = drawn_gaps[:, told], drawn_prices[:, told]
    best_figures = np.array([price.per_plant for price in prices])
    rows = []
    for value in np.linspace(*worth, _STEPS):
        lead = (value * gap - paid).argmax(axis=1)
        chance = np.bincount(lead, minlength=len(places)) / draws
        benefit = 100 * (value * survival[told] - best_figures[told])
        ahead = int(benefit.argmax())
        rows += [
            {
                "worth": float(value),
                by: methods[place],
                "net_benefit": float(benefit[number]),
                "best": number == ahead,
                "probability": float(chance[number]),
                "probability_error": float(np.sqrt(chance[number] * (1 - chance[number]) / draws)),
            }
            for number, place in enumerate(places)
        ]
    table = pd.DataFrame(rows).assign(currency=currency, at_day=float(at))
    with np.errstate(divide="ignore"):
        lowest = float((best_figures[told] / survival[told]).min())
    left = [str(method) for method, known in zip(methods, told, strict=True) if not known]
    checks = tuple(
        f"{name} is not among the best value: its difference in plants alive has no limits." for name in left
    )
    return BestValue(by, float(at), table, _statement(table, by, currency, lowest), draws, seed, checks)


def _statement(table: pd.DataFrame, by: str, currency: str, lowest: float) -> str:
    """Say which method leads over which range of worth, with the least and greatest chance there.

    ``lowest``: cost per established plant of the cheapest. Below it the leader is only the one
    that loses least, which is said.
    """
    lead = table[table["best"]].reset_index(drop=True)
    run = (lead[by].astype(str) != lead[by].astype(str).shift()).cumsum()
    groups = [part for _, part in lead.groupby(run)]
    turns = [_turn(table, by, *pair) for pair in pairwise(groups)]
    starts = [float(lead["worth"].iloc[0]), *turns]
    ends = [*turns, float(lead["worth"].iloc[-1])]
    parts = []
    for place, (part, start, end) in enumerate(zip(groups, starts, ends, strict=True)):
        name, chance = str(part[by].iloc[0]), 100 * part["probability"]
        low, high = math.floor(chance.min() + 0.5), math.floor(chance.max() + 0.5)
        told = f"{number(low)} in 100" if low == high else f"{number(low)} to {number(high)} in 100"
        first, last = ("about " if place else ""), ("about " if place < len(groups) - 1 else "")
        parts.append(
            f"{name} from {first}{money(start, currency)} to {last}{money(end, currency)} (chance {told})"
        )
    return (
        "By the best figures of cost and survival, the best value by what an established plant is worth"
        f"{'' if currency else NO_CURRENCY} is {'; '.join(parts)}.{_not_worth_it(table, currency, lowest)}"
    )


def _not_worth_it(table: pd.DataFrame, currency: str, lowest: float) -> str:
    if not math.isfinite(lowest):
        return " At any worth shown, none is worth its cost."
    if lowest <= float(table["worth"].min()):
        return ""
    return (
        f" Below {money(lowest, currency)}, the lowest cost of an established plant, none is worth its cost."
    )


def _turn(table: pd.DataFrame, by: str, before: pd.DataFrame, after: pd.DataFrame) -> float:
    """Worth at which one leader gives way to the next: net benefit is a line in worth."""
    names = str(before[by].iloc[0]), str(after[by].iloc[0])
    ends = float(before["worth"].iloc[-1]), float(after["worth"].iloc[0])
    method = table[by].astype(str)
    lead = []
    for worth in ends:
        one, other = (
            float(table.loc[(method == name) & (table["worth"] == worth), "net_benefit"].iloc[0])
            for name in names
        )
        lead.append(one - other)
    return ends[0] + (ends[1] - ends[0]) * lead[0] / (lead[0] - lead[1])
