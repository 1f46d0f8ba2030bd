"""The cheapest set of works that may be within what matters of the best.

Sets are the preparations of the study file that have a cost, each as the works that it is made of;
their survival is that of the model of works, over the same plots. That a set may be within what matters
is no proof that it is: whether there is enough evidence for that stands beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.costs.prices import Price
from survivor.effects.cells import study_cells
from survivor.errors import EffectError
from survivor.works.apart import Unit
from survivor.works.columns import yes_or_no
from survivor.works.parts import Parts, Question, unit_column

SET_COLUMNS: Final = (
    "preparation", "works", "per_plant", "survival", "difference", "lower", "upper", "not_shown_worse",
    "shown_no_worse", "reason",
)  # fmt: skip


@dataclass(frozen=True)
class Cheapest:
    """Sets of works by cost.

    Attributes
    ----------
    table
        One row a preparation with a cost, the cheapest first: `SET_COLUMNS`. ``survival`` and
        ``difference`` (from the set with most alive, with 95 % CI) per 100 planted; ``per_plant`` in
        money. Blank numbers have their ``reason``.
    best, cheapest
        The set with most alive, and the cheapest of which the interval reaches to within
        ``smallest`` of it.
    smallest
        Smallest difference that matters, per 100 planted.
    """

    table: pd.DataFrame
    best: str
    cheapest: str
    smallest: float


def cheapest_set(
    parts: Parts,
    sets: Mapping[str, frozenset[str]],
    prices: Mapping[str, Price],
    smallest: float,
    question: Question,
) -> Cheapest:
    """Find the cheapest set of works.

    Parameters
    ----------
    parts
        The model of works.
    sets
        Preparation -> its works, done before or at planting.
    prices
        Preparation -> what a plant put in costs.
    smallest
        Smallest difference that matters, per 100 planted.
    question
        The day and the weights.

    Raises
    ------
    EffectError
        When fewer than two preparations with a cost can be told by the model.
    """
    fitted = parts.fitted
    costed = {name: works for name, works in sets.items() if name in prices}
    if fitted is None or len(costed) < 2:
        raise EffectError(
            "fewer than two preparations have a cost and works that can be distinguished",
            where="costs",
            mend="give the cost of each preparation in the study file",
        )
    units = parts.apart.units
    reasons = {name: _why_not(works, parts) for name, works in costed.items()}
    told = [name for name in costed if not reasons[name]]
    if len(told) < 2:
        raise EffectError(
            "fewer than two preparations with a cost are made of works that can be distinguished",
            where="costs",
            mend="plots in which works are varied one by one",
        )
    cells = study_cells(fitted, [unit_column(unit) for unit in units], question.population)
    share = cells.plants / cells.plants.sum()
    stacked = pd.concat(
        [cells.frame.assign(**_levels(units, costed[name], len(share))) for name in told], ignore_index=True
    )
    alive = fitted.average_survival(stacked, np.kron(np.eye(len(told)), share), question.at).estimate
    top = int(np.argmax(alive))
    against = np.eye(len(told)) - np.eye(len(told))[top]
    rows = [place for place in range(len(told)) if place != top]
    found = fitted.average_survival(stacked, np.kron(against[rows], share), question.at)
    lower, upper, _ = found.limits_of_differences()
    differences = {told[top]: (0.0, 0.0, 0.0)}
    for place, line in zip(rows, np.column_stack([found.estimate, lower, upper]), strict=True):
        differences[told[place]] = tuple(100 * line)
    table = pd.DataFrame(
        [
            (
                name,
                " + ".join(sorted(costed[name])) or "none",
                prices[name].per_plant,
                alive_of,
                *_judged(differences.get(name), smallest),
                reasons[name],
            )
            for name, alive_of in _in_order(costed, told, alive)
        ],
        columns=list(SET_COLUMNS),
    ).sort_values("per_plant", kind="stable", ignore_index=True)
    enough = table[table["not_shown_worse"].astype(bool)]
    return Cheapest(table, told[top], str(enough["preparation"].iloc[0]), smallest)


def _why_not(works: frozenset[str], parts: Parts) -> str:
    """Why the model cannot tell a set: it parts works that always went together, or holds one not told."""
    for unit in parts.apart.units:
        own = works & set(unit.works)
        if own and len(own) < len(unit.works):
            return f"{unit.name} always went together"
    return "some works cannot be distinguished" if parts.apart.others else ""


def _levels(units: tuple[Unit, ...], works: frozenset[str], count: int) -> dict[str, Any]:
    return {unit_column(unit): yes_or_no(np.full(count, set(unit.works) <= works)) for unit in units}


def _in_order(costed: Mapping[str, Any], told: list[str], alive: Any) -> list[tuple[str, float]]:
    known = dict(zip(told, alive, strict=True))
    return [(name, 100 * float(known.get(name, np.nan))) for name in costed]


def _judged(difference: tuple[float, ...] | None, smallest: float) -> tuple[Any, ...]:
    """Difference from the best with its limits, whether it may be within what matters, and whether it is."""
    if difference is None:
        return (np.nan, np.nan, np.nan, False, False)
    estimate, lower, upper = difference
    return (estimate, lower, upper, upper > -smallest, lower > -smallest)
