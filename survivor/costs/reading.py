"""Costs by method, from a mapping or from a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from survivor.costs.prices import Price
from survivor.errors import PayoffError
from survivor.settings import Cost

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
        When a cost is no number, is below nought or outside its range, a method has two costs, or a
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
        if costs[by].duplicated().any():
            raise PayoffError(
                f"{costs.loc[costs[by].duplicated(), by].iloc[0]} has two costs",
                where="costs",
                mend="keep one",
            )
        currency = _one_currency(costs, currency)
        # A blank cost is a method without a cost, not a cost of nought.
        lines = costs.dropna(subset=["per_plant"]).to_dict("records")
        return {
            line[by]: _price(line[by], line["per_plant"], line.get("low"), line.get("high")) for line in lines
        }, currency
    found: dict[Any, Price] = {}
    for method, cost in costs.items():
        if isinstance(cost, Price):
            found[method] = cost
        elif isinstance(cost, Cost):
            found[method] = Price.of(method, cost)
        else:
            found[method] = _price(method, cost, None, None)
    return found, currency


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
