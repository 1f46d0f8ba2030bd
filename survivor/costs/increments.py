"""What the next dearer preparation costs for each extra plant alive, and which ones another makes idle.

Methods stand in order of cost. One is dominated where another costs no more and has no
fewer alive; it is dominated by a mix (extendedly dominated) where part of the ground
under a cheaper and part under a dearer method would have as many alive for less
(Johannesson and Weinstein 1993, Journal of Health Economics 12, 459-467). Both are told
from the best figures; limits stand beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
import pandas as pd

from survivor.costs.differences import Gaps
from survivor.costs.fieller import fieller
from survivor.costs.prices import Price, covariance_of_prices
from survivor.effects.limits import Floats
from survivor.figures.words import limits, money
from survivor.vocabulary import CONFIDENCE, PER_100

if TYPE_CHECKING:
    from matplotlib.axes import Axes

State = Literal["cheapest", "next", "dominated", "dominated by a mix"]

_TAILS = ((1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2)
_ALIKE = 1e-9  # costs and survivals nearer than this are the same


@dataclass(frozen=True, repr=False)
class Increments:
    """Extra cost and extra plants alive, from each preparation to another.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    table
        One row a method, the cheapest first: ``<by>, against, state`` (``cheapest``, ``next``,
        ``dominated`` or ``dominated by a mix``), ``cost`` and ``extra_cost, extra_cost_lower,
        extra_cost_upper`` (per 100 planted), ``survival`` and ``extra_alive, lower, upper,
        std_error, df, p_value`` (per 100 planted), ``cost_per_extra, cost_per_extra_lower,
        cost_per_extra_upper`` (per extra plant alive; Fieller's limits), ``basis, currency, unit,
        at_day, note``. Blank where there is none; ``note`` says why.
    plane
        The same columns of extra cost and extra plants alive for each method against the usual
        practice.
    statement
        In words.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    plane: pd.DataFrame
    statement: str

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw extra cost against extra plants alive, each method against the usual practice."""
        from survivor.figures.plane import draw_plane

        return draw_plane(self.plane.rename(columns={self.by: "method"}), ax)

    def __repr__(self) -> str:
        return f"{self.statement}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


class Step(NamedTuple):
    """Where a method stands among the others: its state, against which others, and what beats it."""

    state: State
    against: int | None
    beaten_by: tuple[int, ...] = ()


def stand(cost: Sequence[float], alive: Sequence[float]) -> list[Step]:
    """Say where each method stands by its cost and survival.

    Parameters
    ----------
    cost, alive
        Of each method, in any unit.

    Returns
    -------
    list of Step
        In the order given. Of two methods alike in both, the first stands for both.
    """
    order = sorted(range(len(cost)), key=lambda place: (cost[place], -alive[place], place))
    beaten: dict[int, int] = {}
    kept: list[int] = []
    for place in order:
        better = [one for one in kept if alive[one] >= alive[place] - _ALIKE]
        if better:
            beaten[place] = max(better, key=lambda one: alive[one])
        else:
            kept.append(place)
    mixes: dict[int, tuple[int, int]] = {}
    line = _without_mixes(kept, cost, alive, mixes)
    found = {}
    for number, place in enumerate(line):
        found[place] = Step("next", line[number - 1]) if number else Step("cheapest", None)
    for place, over in beaten.items():
        found[place] = Step("dominated", over, (over,))
    for place, pair in mixes.items():
        found[place] = Step("dominated by a mix", pair[0], pair)
    return [found[place] for place in range(len(cost))]


def _without_mixes(
    kept: list[int], cost: Sequence[float], alive: Sequence[float], mixes: dict[int, tuple[int, int]]
) -> list[int]:
    """Leave out methods above the line between their neighbours: the lower convex hull."""
    line: list[int] = []
    for place in kept:
        while len(line) > 1 and _slope(line[-2], line[-1], cost, alive) > _slope(
            line[-1], place, cost, alive
        ):
            line.pop()
        line.append(place)
    for place in kept:
        if place not in line:
            below = max((one for one in line if alive[one] < alive[place]), key=lambda one: alive[one])
            above = min((one for one in line if alive[one] > alive[place]), key=lambda one: alive[one])
            mixes[place] = (below, above)
    return line


def _slope(first: int, second: int, cost: Sequence[float], alive: Sequence[float]) -> float:
    return (cost[second] - cost[first]) / (alive[second] - alive[first])


def increments(
    found: Gaps,
    prices: Sequence[Price],
    drawn_prices: Floats,
    base: int,
    by: str,
    at: float,
    currency: str = "",
) -> Increments:
    """Extra cost and extra plants alive from each method to the next.

    Parameters
    ----------
    found
        Differences in survival between the methods.
    prices
        Of the methods, in the same order.
    drawn_prices
        Draws of them, shape (draws, methods), for the limits of extra cost.
    base
        Place of the usual practice.
    by, at, currency
        For the table.
    """
    cost = [price.per_plant for price in prices]
    steps = stand(cost, found.survival.tolist())
    spread = covariance_of_prices(prices)
    order = sorted(range(len(cost)), key=lambda place: (cost[place], -found.survival[place]))
    names = [str(method) for method in found.methods]
    rows = []
    for place in order:
        step = steps[place]
        line = _line(found, cost, spread, drawn_prices, place, step.against)
        line |= {by: found.methods[place], "state": step.state}
        line["note"] = _note(step, line, names, place)
        if step.state != "next":
            line |= dict.fromkeys(
                ("cost_per_extra", "cost_per_extra_lower", "cost_per_extra_upper"), math.nan
            )
        rows.append(line)
    others = [place for place in range(len(cost)) if place != base]
    plane = [
        {**_line(found, cost, spread, drawn_prices, place, base), by: found.methods[place]}
        for place in others
    ]
    table, against = (_table(part, by, at, currency) for part in (rows, plane))
    against = against.drop(columns=["state", "note"])
    return Increments(by, float(at), table, against, _statement(table, by, currency))


def _line(
    found: Gaps, cost: list[float], spread: Floats, drawn: Floats, place: int, against: int | None
) -> dict[str, Any]:
    line: dict[str, Any] = {"cost": 100 * cost[place], "survival": 100 * found.survival[place]}
    if against is None:
        return {**line, "against": "", "basis": ""}
    extra, more = cost[place] - cost[against], found.estimate[place, against]
    low, high = np.quantile(drawn[:, place] - drawn[:, against], _TAILS)
    variance = spread[place, place] + spread[against, against] - 2 * spread[place, against]
    ratio = fieller(
        extra,
        more,
        max(variance, 0.0),
        found.std_error[place, against] ** 2,
        0.0,
        float(found.df[place, against]),
    )
    sides = (found.lower[place, against], found.upper[place, against])
    return {
        **line,
        "against": found.methods[against],
        "extra_cost": 100 * extra,
        "extra_cost_lower": 100 * low,
        "extra_cost_upper": 100 * high,
        "extra_alive": 100 * more,
        "lower": 100 * sides[0],
        "upper": 100 * sides[1],
        "std_error": 100 * found.std_error[place, against],
        "df": found.df[place, against],
        "p_value": found.p_value[place, against],
        "cost_per_extra": extra / more if abs(more) > _ALIKE else math.nan,
        "cost_per_extra_lower": ratio.lower,
        "cost_per_extra_upper": ratio.upper,
        "basis": found.basis[place, against],
    }


_NOT_CLEAR = (
    "the difference in plants alive is not clear from 0, so the cost of an extra one has no limits that close"
)


def _note(step: Step, line: dict[str, Any], names: list[str], place: int) -> str:
    if step.state == "cheapest":
        return "the lowest cost per plant"
    if step.state == "dominated":
        over = names[step.beaten_by[0]]
        fewer = line["extra_alive"] < -100 * _ALIKE
        dearer = line["extra_cost"] > 100 * _ALIKE
        if dearer:
            return f"costs more than {over} and had {'fewer' if fewer else 'no more'} alive"
        return f"costs as much as {over} and had {'fewer' if fewer else 'as many'} alive"
    if step.state == "dominated by a mix":
        first, second = (names[one] for one in step.beaten_by)
        return f"a mix of {first} and {second} comes out with as many alive for less"
    return "" if math.isfinite(line["cost_per_extra_lower"]) else _NOT_CLEAR


def _table(rows: list[dict[str, Any]], by: str, at: float, currency: str) -> pd.DataFrame:
    columns = [
        by,
        "against",
        "state",
        "cost",
        "extra_cost",
        "extra_cost_lower",
        "extra_cost_upper",
        "survival",
        "extra_alive",
        "lower",
        "upper",
        "std_error",
        "df",
        "p_value",
        "cost_per_extra",
        "cost_per_extra_lower",
        "cost_per_extra_upper",
        "basis",
        "note",
    ]
    table = pd.DataFrame(rows, columns=columns)
    return table.assign(currency=currency, unit=PER_100, at_day=float(at))


def _statement(table: pd.DataFrame, by: str, currency: str) -> str:
    said = []
    for line in table[table["state"] == "next"].to_dict("records"):
        told = f"From {line['against']} to {line[by]}, {_more(line, currency)}"
        if math.isfinite(line["cost_per_extra_lower"]):
            ends = limits(line["cost_per_extra_lower"], line["cost_per_extra_upper"], 2)
            price = money(line["cost_per_extra"], currency)
            told += f": {price} for each extra plant alive (95 % limits {ends})."
        else:
            told += f"; {_NOT_CLEAR}."
        said.append(told)
    if not said:
        said.append(f"No other preparation had more alive than {table[by].iloc[0]}, the cheapest per plant.")
    beaten = table[table["state"].str.startswith("dominated")]
    said += [f"{line[by]}: {line['note']}, at the best figures." for line in beaten.to_dict("records")]
    return " ".join(text[:1].upper() + text[1:] for text in said)


def _more(line: dict[Any, Any], currency: str) -> str:
    more = line["extra_alive"]
    return (
        f"100 plants cost {money(line['extra_cost'], currency)} more and {more:.1f} more were alive "
        f"(95 % limits {limits(line['lower'], line['upper'], 1)})"
    )
