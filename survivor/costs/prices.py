"""What a plant put in costs: cost lines of any unit brought to one plant and added up.

Stems per hectare are 10,000 over row by in-row spacing in metres; a rip line of a
kilometre serves 1,000 over the in-row spacing.

Costs by method, from a mapping or from a table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arrays import Floats
from survivor.errors import PayoffError
from survivor.settings import Cost, CostLine, Settings, Spacing

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

    def drawn(self, rank: Floats) -> Floats:
        """Quantiles of that triangle at uniform draws ``rank``."""
        width = self.high - self.low
        if not width > 0:
            return np.full(len(rank), self.per_plant)
        drawn: Floats = stats.triang.ppf(rank, (self.per_plant - self.low) / width, self.low, width)
        return drawn


@dataclass(frozen=True)
class Price:
    """What a plant put in costs under one method; the parts add up."""

    parts: tuple[Part, ...]

    @property
    def per_plant(self) -> float:
        """Estimate, in money per plant."""
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
    prices = {}
    for method in settings.methods:
        if not method.costed:
            continue
        spacing = method.spacing or settings.spacing
        parts = tuple(part_of(line, spacing) for line in (*shared, *method.costs))
        whole = Price.of(method.name, method.cost).parts if method.cost is not None else ()
        prices[method.name] = Price((*whole, *parts))
    return prices


def spacing_of(settings: Settings, method: str) -> Spacing | None:
    """Spacing of a method: its own, else that of the study; None where the file does not tell."""
    own = next((method_row.spacing for method_row in settings.methods if method_row.name == method), None)
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
    shared, year = ((), None) if settings.costs is None else (settings.costs.lines, settings.costs.year)
    lines: list[tuple[str, str, float, str, int, Part, int | None]] = []
    for method in settings.methods:
        if method.cost is not None:
            whole = Price.of(method.name, method.cost).parts[0]
            lines.append((method.name, "all in one", whole.per_plant, "plant", 1, whole, year))
        if method.costed:
            for line in (*shared, *method.costs):
                part = part_of(line, method.spacing or settings.spacing)
                own = (line.name, line.amount, line.per, line.times)
                lines.append((method.name, *own, part, line.year or year))
    rows = [(*named, part.per_plant, part.low, part.high, when) for *named, part, when in lines]
    columns = ["method", "line", "amount", "per", "times", "per_plant", "low", "high", "year"]
    return pd.DataFrame(rows, columns=columns)


def draw_prices(prices: Sequence[Price], draws: int, rng: np.random.Generator) -> Floats:
    """Draws of the price of a plant, shape (draws, methods).

    Each price is drawn once from a triangle over its range, with its peak at the estimate,
    whatever the number of methods that pay it.
    """
    ranks: dict[tuple[Any, ...], Floats] = {}
    drawn = np.zeros((draws, len(prices)))
    for column, price in enumerate(prices):
        for part in price.parts:
            if part.price not in ranks:
                ranks[part.price] = rng.random(draws)
            drawn[:, column] += part.drawn(ranks[part.price])
    return drawn


def covariance_of_prices(prices: Sequence[Price]) -> Floats:
    """Covariance of the prices of a plant, shape (methods, methods): shared prices move together."""
    spreads: dict[tuple[Any, ...], Floats] = {}
    for column, price in enumerate(prices):
        for part in price.parts:
            own = spreads.setdefault(part.price, np.zeros(len(prices)))
            own[column] += np.sqrt(part.variance)
    covariance = np.zeros((len(prices), len(prices)))
    for own in spreads.values():
        covariance += np.outer(own, own)
    return covariance


Costs = Mapping[Any, "float | Cost | Price"]


def read_costs(costs: Costs | pd.DataFrame, by: str, currency: str) -> tuple[dict[Any, Price], str]:
    """Read what a plant costs under each method, and in which currency.

    Parameters
    ----------
    costs
        A mapping of methods to a number, a ``Cost`` or a ``Price``; or a table with
        ``<by>, per_plant`` and, where known, ``low, high, currency``.
    by
        Column of methods.
    currency
        As given by the caller; it wins over that of a table.

    Raises
    ------
    PayoffError
        When a cost is no number, is below zero or outside its range, a method has two costs, or a
        table has two currencies.
    """
    if isinstance(costs, pd.DataFrame):
        absent = [name for name in (by, "per_plant") if name not in costs.columns]
        if absent:
            raise PayoffError(
                f"the table of costs has no column {', '.join(absent)}",
                where="costs",
                mend=f"give {by} and per_plant, and low and high where known",
            )
        if costs[by].isna().any():
            row = costs.index[costs[by].isna()][0]
            raise PayoffError(
                f"row {row} of the table of costs names no {by}",
                where=f"costs, column {by}",
                mend="name it as in the records, or leave the row out",
            )
        if costs[by].duplicated().any():
            raise PayoffError(
                f"{costs.loc[costs[by].duplicated(), by].iloc[0]} has two costs",
                where="costs",
                mend="keep one",
            )
        currency = _one_currency(costs, currency)
        # A blank cost is a method without a cost, not a cost of zero.
        lines = costs.dropna(subset=["per_plant"]).to_dict("records")
        return {
            line[by]: _price(line[by], line["per_plant"], line.get("low"), line.get("high")) for line in lines
        }, currency
    if not isinstance(costs, Mapping):
        raise PayoffError(
            f"costs are a dict or a table, not {type(costs).__name__}",
            where="costs",
            mend='give for example {"rip": 4.4, "auger": 4.9}, a cost of a plant put in',
        )
    prices: dict[Any, Price] = {}
    for method, cost in costs.items():
        if isinstance(cost, Price):
            prices[method] = cost
        elif isinstance(cost, Cost):
            prices[method] = Price.of(method, cost)
        else:
            prices[method] = _price(method, cost, None, None)
    return prices, currency


def _one_currency(costs: pd.DataFrame, currency: str) -> str:
    if currency or "currency" not in costs.columns:
        return currency
    named = costs["currency"].dropna().unique()
    if len(named) > 1:
        raise PayoffError(
            f"costs are in {len(named)} currencies: {', '.join(map(str, named))}",
            where="costs, column currency",
            mend="bring them to one currency and one year",
        )
    return str(named[0]) if len(named) else ""


def _price(method: Any, per_plant: Any, low: Any, high: Any) -> Price:
    try:
        if isinstance(per_plant, bool):
            raise TypeError("True and False are no costs")
        value = float(per_plant)
        ends = [value if end is None or pd.isna(end) else float(end) for end in (low, high)]
    except (TypeError, ValueError) as problem:
        raise PayoffError(
            f"the cost {per_plant!r} is not a number", where=str(method), mend="give a number"
        ) from problem
    if not (0 <= ends[0] <= value <= ends[1] < np.inf):
        raise PayoffError(
            f"the cost {value:g} with the range {ends[0]:g} to {ends[1]:g} cannot be used",
            where=str(method),
            mend="0 <= low <= per_plant <= high must hold",
        )
    return Price.of(method, Cost(per_plant=value, low=ends[0], high=ends[1]))
