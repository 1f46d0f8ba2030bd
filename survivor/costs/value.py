"""Which preparation is the best value, by what an established plant is worth.

Net benefit is worth times plants alive, less cost. The chance that a method has the
highest, drawn over a range of worth, is its acceptability curve (van Hout, Al, Gordon and
Rutten 1994, Health Economics 3, 309-319; Fenwick, Claxton and Sculpher 2001, Health
Economics 10, 779-787).

What is said beside costs: who is not costed and why, and what limits rest on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.costs import english as en
from survivor.costs.differences import Gaps, draw_gaps
from survivor.costs.draws import Costed, chance_error, per_established
from survivor.costs.prices import Price
from survivor.effects.standardise import Standardised
from survivor.sentences import Name, Names, Sentence, Stated, Value, cell, say
from survivor.shown import Shown
from survivor.words import money, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes


_STEPS = 41  # values of worth on the curve
_ALIKE = 1e-9
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, repr=False)
class BestValue(Shown, Stated):
    """Chance of the highest net benefit, by what an established plant is worth.

    Attributes
    ----------
    by, at_day
        Column of methods, and days since planting.
    table
        One row a worth and method: ``worth`` (money per established plant), ``<by>``,
        ``net_benefit`` (money per 100 planted, on the estimates), ``best`` (whether that is
        the highest, and not under zero), ``probability`` and its Monte Carlo error
        ``probability_error``, ``currency, at_day``.
    ranges
        Who is ahead where: ``<by>, worth_from, worth_to`` (money per established plant) and
        ``chance_low, chance_high`` (0 to 1) within it; it begins where a method repays its cost, and
        is empty where none does. Its ends are rows of ``table``.
    lowest
        Lowest cost of an established plant: below it none repays its cost.
    said
        The answer, in sentences; ``statement`` has it in words.
    draws, seed
        Size and seed of the simulation.
    checks
        Plain sentences.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    ranges: pd.DataFrame
    lowest: float
    said: tuple[Sentence, ...]
    draws: int
    seed: int
    checks: tuple[str, ...] = ()

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw the chance of the best value against what a plant is worth."""
        from survivor.figures.payoff import draw_value

        return draw_value(self.table.rename(columns={self.by: "method"}), ax)


def worth_range(dearest: float, low: float | None, high: float | None) -> tuple[float, float]:
    """Return the range of worth shown: as given, else from zero to a round figure over twice the dearest.

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


def best_value(found: Gaps, costed: Costed, base: int, worth: tuple[float, float]) -> BestValue:
    """Chance of the best value across a range of worth.

    Parameters
    ----------
    found
        How far the methods lie apart in survival. Only differences matter: what is common to
        all methods cancels in the comparison.
    costed
        What a plant costs under each of them, with draws.
    base
        Place of the method whose differences to the others are drawn.
    worth
        Lowest and highest worth of an established plant.
    """
    drawn = draw_gaps(found, base, costed.draws, costed.random("differences"))
    known = np.asarray(~np.isnan(drawn).any(axis=0), dtype=bool)
    gap, paid = drawn[:, known], costed.paid[:, known]
    alive, cost = found.survival[known], costed.per_plant[known]
    methods = [method for method, told in zip(found.methods, known, strict=True) if told]
    ends = _ends(cost, alive, worth)
    values = np.unique([*np.linspace(*worth, _STEPS), *ends])
    parts = []
    for value in values:
        lead = (value * gap - paid).argmax(axis=1)
        chance = np.bincount(lead, minlength=len(methods)) / costed.draws
        benefit = 100 * (value * alive - cost)
        parts.append(
            pd.DataFrame(
                {
                    "worth": float(value),
                    costed.by: methods,
                    "net_benefit": benefit,
                    "best": (np.arange(len(methods)) == benefit.argmax()) & (benefit >= -_ALIKE),
                    "probability": chance,
                    "probability_error": chance_error(chance, costed.draws),
                }
            )
        )
    table = pd.concat(parts, ignore_index=True).assign(currency=costed.currency, at_day=costed.at_day)
    ranges = _ranges(table, costed.by, cost, alive, ends).assign(currency=costed.currency)
    lowest = float(per_established(cost, alive).min())
    said = _said(ranges, costed, lowest, worth, len(methods) == len(found.methods))
    untold = [Name(str(name)) for name in found.methods if name not in methods]
    checks = tuple(str(say(en.NOT_AMONG, method=name)) for name in untold)
    return BestValue(costed.by, costed.at_day, table, ranges, lowest, said, costed.draws, costed.seed, checks)


def _ends(cost: Floats, alive: Floats, worth: tuple[float, float]) -> list[float]:
    """Worths between which one method leads: from the lowest cost of an established plant on.

    Net benefit is a line in worth, so the lead changes only where two of them cross. Empty where none
    repays its cost within the range.
    """
    start = max(worth[0], float(per_established(cost, alive).min()))
    if not start < worth[1]:
        return []
    pairs = combinations(range(len(cost)), 2)
    crossings = [
        (cost[i] - cost[j]) / (alive[i] - alive[j]) for i, j in pairs if abs(alive[i] - alive[j]) > _ALIKE
    ]
    inner = sorted({float(at) for at in crossings if start < at < worth[1]})
    ends = [start, *inner, worth[1]]
    leads = [int(np.argmax((a + b) / 2 * alive - cost)) for a, b in pairwise(ends)]
    turns = [at for at, (before, after) in zip(ends[1:-1], pairwise(leads), strict=True) if before != after]
    return [start, *turns, worth[1]]


def _ranges(table: pd.DataFrame, by: str, cost: Floats, alive: Floats, ends: list[float]) -> pd.DataFrame:
    """Say which method leads over which range of worth, and the least and greatest chance there."""
    methods = list(dict.fromkeys(table[by]))
    rows = []
    for start, end in pairwise(ends):
        name = methods[int(np.argmax((start + end) / 2 * alive - cost))]
        own = table[(table[by] == name) & table["worth"].between(start, end)]["probability"]
        rows.append((name, start, end, float(own.min()), float(own.max())))
    return pd.DataFrame(rows, columns=[by, "worth_from", "worth_to", "chance_low", "chance_high"])


def _said(
    ranges: pd.DataFrame, costed: Costed, lowest: float, worth: tuple[float, float], every: bool
) -> tuple[Sentence, ...]:
    """Say from which worth a method repays its cost, and which is ahead from there on.

    ``every``: whether all methods that can be costed are compared; one without an interval is not.
    """
    by, currency = costed.by, costed.currency
    unit = "" if currency else en.NO_CURRENCY
    if ranges.empty:
        return (say(en.NONE_REPAYS, most=Value(money(worth[1], currency), worth[1])),)
    said = []
    if lowest > worth[0]:
        repaid = Value(money(lowest, currency) + unit, lowest)
        said.append(say(en.FLOOR if every else en.FLOOR_OF, lowest=repaid))
    for line in ranges.to_dict("records"):
        low, high = (math.floor(100 * line[name] + 0.5) for name in ("chance_low", "chance_high"))
        chance = number(low) if low == high else f"{number(low)} to {number(high)}"
        texts = {"start": ("worth_from", money(float(line["worth_from"]), currency), 1.0)}
        texts["end"] = ("worth_to", money(float(line["worth_to"]), currency), 1.0)
        texts["chance"] = ("chance_low", chance, 100.0)
        at = {by: line[by], "worth_from": line["worth_from"]}
        parts = {
            place: Value(text, float(line[column]), cell("best_value_ranges", column, **at), scale)
            for place, (column, text, scale) in texts.items()
        }
        said.append(say(en.AHEAD, method=Name(str(line[by])), **parts))
    return tuple(said)


def remarks(
    not_costed: tuple[Any, ...],
    strange: tuple[Any, ...],
    left_out: Mapping[str, str],
    standard: Standardised,
    prices: Mapping[Any, Price],
) -> list[str]:
    """Return plain sentences on costs per established plant.

    Parameters
    ----------
    not_costed
        Methods of the records without a cost.
    strange
        Methods with a cost that are not in the records.
    left_out
        Methods without survival to divide by, each with the reason.
    standard
        Survival by method.
    prices
        Of the methods that are costed.
    """
    lines = []
    if not_costed:
        lines.append(str(say(en.NOT_COSTED, names=_names(not_costed))))
    lines += [str(say(en.LEFT_OUT, method=Name(name), reason=why)) for name, why in left_out.items()]
    if strange:
        lines.append(str(say(en.STRANGE, names=_names(strange))))
    if len(prices) == 1 and len(standard.table) > 1:
        lines.append(en.ONE_ONLY)
    lines += _without_range(prices)
    if not standard.extrapolated.empty:
        lines.append(en.OVER_ALL_SITES)
    return lines


def between_sites(pairs: tuple[tuple[Any, Any], ...]) -> list[str]:
    """Name pairs of methods that no site holds both of."""
    return [str(say(en.BETWEEN, first=Name(str(one)), second=Name(str(other)))) for one, other in pairs]


def _names(methods: Iterable[Any]) -> Names:
    return Names(tuple(map(str, methods)))


def _without_range(prices: Mapping[Any, Price]) -> list[str]:
    """Name the methods whose cost has no range: nothing of it is in their limits."""
    names = [str(name) for name, price in prices.items() if not price.high > price.low]
    if not names:
        return []
    if len(names) == len(prices):
        return [en.NO_RANGES]
    return [str(say(en.NO_RANGE, names=_names(names)))]
