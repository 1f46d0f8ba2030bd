"""What a plant put in costs: cost lines of any unit brought to one plant and added up.

Stems per hectare are 10,000 over row by in-row spacing in metres; a rip line of a
kilometre serves 1,000 over the in-row spacing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.effects.limits import Floats
from survivor.errors import PayoffError
from survivor.settings import Cost, CostLine, Method, Settings, Spacing

METRES = 1000.0  # of a kilometre


@dataclass(frozen=True)
class Part:
    """One price within what a plant costs.

    Attributes
    ----------
    price
        What makes it one price: parts of equal ``price`` in several methods move together.
    per_plant, low, high
        In money per plant.
    """

    price: tuple[Any, ...]
    per_plant: float
    low: float
    high: float

    @property
    def variance(self) -> float:
        """Variance of a triangle from ``low`` to ``high`` with its peak at ``per_plant``."""
        a, b, c = self.low, self.high, self.per_plant
        return max((a * a + b * b + c * c - a * b - a * c - b * c) / 18, 0.0)


@dataclass(frozen=True)
class Price:
    """What a plant put in costs under one method; the parts add up."""

    parts: tuple[Part, ...]

    @property
    def per_plant(self) -> float:
        """Best figure, in money per plant."""
        return sum(part.per_plant for part in self.parts)

    @property
    def low(self) -> float:
        """All parts at the low end of their range."""
        return sum(part.low for part in self.parts)

    @property
    def high(self) -> float:
        """All parts at the high end of their range."""
        return sum(part.high for part in self.parts)

    @classmethod
    def of(cls, name: Any, cost: Cost) -> Price:
        """Return the price of a method whose cost is told all in one."""
        low = cost.per_plant if cost.low is None else cost.low
        high = cost.per_plant if cost.high is None else cost.high
        return cls((Part(("method", name), cost.per_plant, low, high),))


def plants_per_unit(line: CostLine, spacing: Spacing | None) -> float:
    """Plants among which the amount of a line is shared.

    Raises
    ------
    PayoffError
        When the spacing does not tell, or the line does not say how many plants share it.
    """
    if line.per == "plant":
        return 1.0
    if line.per == "hectare" and spacing is not None:
        return spacing.plants_per_hectare
    if line.per == "km" and spacing is not None and spacing.metres_per_plant is not None:
        return METRES / spacing.metres_per_plant
    if line.per in ("plot", "site") and line.plants is not None:
        return float(line.plants)
    needs = {
        "hectare": "row and in-row spacing in m, or stems per hectare",
        "km": "the spacing in the row in m",
    }.get(line.per, f"the number of plants at a {line.per}")
    raise PayoffError(
        f'"{line.name}" is paid per {line.per} and cannot be brought to a plant',
        where="costs",
        mend=f"give {needs}",
    )


def part_of(line: CostLine, spacing: Spacing | None) -> Part:
    """Bring one cost line to a plant."""
    share = line.times / plants_per_unit(line, spacing)
    low = line.amount if line.low is None else line.low
    high = line.amount if line.high is None else line.high
    price = (line.name, line.per, line.amount, low, high, line.year)
    return Part(price, share * line.amount, share * low, share * high)


def price_of(lines: Sequence[CostLine], spacing: Spacing | None = None) -> Price:
    """Add up cost lines, each brought to a plant.

    Parameters
    ----------
    lines
        At least one.
    spacing
        Needed by lines per hectare and per km.

    Raises
    ------
    PayoffError
        When there is no line, or one cannot be brought to a plant.
    """
    if not lines:
        raise PayoffError("there is no cost line", where="costs", mend="give at least one")
    return Price(tuple(part_of(line, spacing) for line in lines))


def prices_of(settings: Settings) -> dict[str, Price]:
    """Price of a plant under every method that the study file costs."""
    shared = settings.costs.lines if settings.costs is not None else ()
    found = {}
    for method in settings.methods:
        if not method.costed:
            continue
        spacing = method.spacing or settings.spacing
        parts = tuple(part_of(line, spacing) for line in (*shared, *method.costs))
        whole = Price.of(method.name, method.cost).parts if method.cost is not None else ()
        found[method.name] = Price((*whole, *parts))
    return found


def spacing_of(settings: Settings, method: str) -> Spacing | None:
    """Spacing of a method: its own, else that of the study; None where the file does not tell."""
    own = next((each.spacing for each in settings.methods if each.name == method), None)
    return own or settings.spacing


def lines_table(settings: Settings) -> pd.DataFrame:
    """Every cost line brought to a plant.

    Returns
    -------
    DataFrame
        ``method, line, amount, per, times, per_plant, low, high`` (money per plant), ``year``;
        the last three in the currency of the study file. A method without lines has one,
        "all in one".
    """
    shared = settings.costs.lines if settings.costs is not None else ()
    year = settings.costs.year if settings.costs is not None else None
    rows: list[dict[str, Any]] = []
    for method in settings.methods:
        if method.cost is not None:
            part = Price.of(method.name, method.cost).parts[0]
            rows.append(_row(method, "all in one", part, method.cost.per_plant, "plant", 1, year))
        if method.costed:
            for line in (*shared, *method.costs):
                part = part_of(line, method.spacing or settings.spacing)
                rows.append(
                    _row(method, line.name, part, line.amount, line.per, line.times, line.year or year)
                )
    columns = ["method", "line", "amount", "per", "times", "per_plant", "low", "high", "year"]
    return pd.DataFrame(rows, columns=columns)


def _row(
    method: Method, line: str, part: Part, amount: float, per: str, times: int, year: int | None
) -> dict[str, Any]:
    return {
        "method": method.name,
        "line": line,
        "amount": amount,
        "per": per,
        "times": times,
        "per_plant": part.per_plant,
        "low": part.low,
        "high": part.high,
        "year": year,
    }


def draw_prices(prices: Sequence[Price], draws: int, rng: np.random.Generator) -> Floats:
    """Draws of the price of a plant, shape (draws, methods).

    Each price is drawn once from a triangle over its range, with its peak at the best figure,
    whatever the number of methods that pay it.
    """
    ranks: dict[tuple[Any, ...], Floats] = {}
    found = np.zeros((draws, len(prices)))
    for column, price in enumerate(prices):
        for part in price.parts:
            if part.price not in ranks:
                ranks[part.price] = rng.random(draws)
            found[:, column] += _triangle(part, ranks[part.price])
    return found


def _triangle(part: Part, rank: Floats) -> Floats:
    width = part.high - part.low
    if not width > 0:
        return np.full(len(rank), part.per_plant)
    drawn: Floats = stats.triang.ppf(rank, (part.per_plant - part.low) / width, part.low, width)
    return drawn


def covariance_of_prices(prices: Sequence[Price]) -> Floats:
    """Covariance of the prices of a plant, shape (methods, methods): shared prices move together."""
    spreads: dict[tuple[Any, ...], Floats] = {}
    for column, price in enumerate(prices):
        for part in price.parts:
            own = spreads.setdefault(part.price, np.zeros(len(prices)))
            own[column] += np.sqrt(part.variance)
    found = np.zeros((len(prices), len(prices)))
    for own in spreads.values():
        found += np.outer(own, own)
    return found
