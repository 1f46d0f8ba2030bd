"""How strong an unrecorded trait of the ground would have to be to account for a difference.

The E-value is the least risk ratio that such a trait would need with the preparation,
and with death, over and above all that is in the model, to account for the whole of a
risk ratio; that of a limit is what would be needed to bring the limit to 1.

Source: VanderWeele and Ding (2017), Annals of Internal Medicine 167, 268-274.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from survivor.arguments import base_level, is_number
from survivor.arrays import Floats
from survivor.effects.cells import check_by, check_day, levels_of, study_cells, under_levels
from survivor.effects.confounding import layout, stands_at
from survivor.effects.contrasts import place_columns
from survivor.errors import EffectError
from survivor.limits import at_edge
from survivor.models.one_ratio import said_of_one_ratio
from survivor.models.result import Fit, coefficient_table
from survivor.shown import Shown

_COLUMNS = [
    "survival",
    "survival_against",
    "estimate",
    "std_error",
    "df",
    "lower",
    "upper",
    "risk_ratio",
    "risk_ratio_lower",
    "risk_ratio_upper",
    "e_value",
    "e_value_limit",
    "reason",
]


def e_value(risk_ratio: float) -> float:
    """Return the E-value of a risk ratio; ratios under 1 are turned round.

    Source: VanderWeele and Ding (2017), Annals of Internal Medicine 167, 268-274.

    Parameters
    ----------
    risk_ratio
        Of death or survival, above 0.

    Returns
    -------
    float
        The ratio, 1 or more, that something hidden would need with both preparation and death.

    Raises
    ------
    EffectError
        When the ratio is not a positive number.

    Examples
    --------
    >>> round(survivor.e_value(0.8), 2)  # VanderWeele and Ding (2017): 1.81
    1.81
    """
    if not is_number(risk_ratio) or not 0 < risk_ratio < np.inf:
        raise EffectError(
            f"a risk ratio of {risk_ratio!r} has no E-value",
            where="risk_ratio",
            mend="give a positive number",
        )
    ratio = max(risk_ratio, 1 / risk_ratio)
    return float(ratio + np.sqrt(ratio * (ratio - 1)))


def e_value_of_limit(lower: float, upper: float) -> float:
    """Return the E-value of the limit that is nearer to 1; 1 where the limits hold 1.

    Parameters
    ----------
    lower, upper
        Limits of a risk ratio, above 0.

    Returns
    -------
    float
        As ``e_value``; 1 where chance alone may account for the ratio.

    Raises
    ------
    EffectError
        When these are no limits of a ratio: positive numbers, the lower first.

    Examples
    --------
    >>> round(survivor.e_value_of_limit(0.71, 0.91), 2)
    1.43
    """
    if not is_number(lower) or not is_number(upper) or not 0 < lower <= upper:
        raise EffectError(
            f"{lower!r} to {upper!r} are no limits of a ratio",
            where="lower, upper",
            mend="give positive numbers, the lower limit first",
        )
    if lower <= 1 <= upper:
        return 1.0
    return e_value(lower if lower > 1 else upper)


@dataclass(frozen=True, repr=False)
class Sensitivity(Shown):
    """Risk ratios of death with their E-values.

    Attributes
    ----------
    by
        Column of methods.
    at_day
        Days since planting.
    table
        ``<by>, against, survival, survival_against`` (per 100 planted, over the places that
        hold both), ``estimate, std_error, df, lower, upper`` (log risk ratio of death by
        the day), ``risk_ratio`` with ``_lower`` and ``_upper``, ``e_value, e_value_limit``,
        and ``reason`` where there is none.
    fit
        The model, asked by ``checks``; None where there is nothing to ask.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    fit: Fit | None = field(default=None, repr=False)

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences: whether one ratio of hazards all season holds, asked when it is looked at."""
        return said_of_one_ratio(self.fit, self.by)


def sensitivity(
    fit: Fit,
    by: str = "method",
    at: float = 365,
    against: Any = None,
    population: pd.DataFrame | None = None,
) -> Sensitivity:
    """Risk ratios of death by day ``at``, and how much hidden difference would account for them.

    Parameters
    ----------
    fit
        A fitted model that holds ``by``.
    by
        Column of methods.
    at
        Days since planting.
    against
        Level to compare with; None: the first.
    population
        Plants of the whole planting as weights; None: the plants of the records.

    Returns
    -------
    Sensitivity

    Raises
    ------
    EffectError
        When the model does not hold ``by`` or ``against`` is not a level.

    Examples
    --------
    >>> survivor.sensitivity(fit).table[["method", "e_value"]].round(2)
      method  e_value
    0  auger     1.92
    1    rip     3.50
    """
    check_by(fit, by)
    check_day(fit, at)
    levels = levels_of(fit.data, by)
    base = base_level(levels, against, by, EffectError)
    cells = study_cells(fit, [by], population)
    grid = layout(fit.data, by, place_columns(fit))
    lines = []
    others = [level for level in levels if level != base]
    for level in others:
        plants = cells.plants * stands_at(cells.frame, grid.places[grid.shared(level, base)])
        if not plants.sum() > 0:
            lines.append(_unknown("no place holds both, so plants cannot be compared on like ground"))
            continue
        kept = plants > 0
        stacked = under_levels(cells.frame[kept].reset_index(drop=True), by, [level, base], fit.data[by])
        lines.append(_ratio(fit, stacked, plants[kept] / plants.sum(), at))
    table = pd.DataFrame(lines, columns=_COLUMNS)
    dtype = fit.data[by].dtype
    table.insert(0, "against", pd.Series([base] * len(others), dtype=dtype))
    table.insert(0, by, pd.Series(others, dtype=dtype))
    return Sensitivity(by, float(at), table, fit)


def _ratio(fit: Fit, stacked: pd.DataFrame, share: Floats, at: float) -> dict[str, Any]:
    """Risk ratio of the first block of cells to the second, by the delta method on its logarithm."""
    halves: Floats = np.asarray(np.kron(np.eye(2), share), dtype=np.float64)
    both = fit.average_survival(stacked, halves, at)
    first, second = (float(value) for value in both.estimate)
    if at_edge(np.array([first, second])).any():
        return _unknown("all or none died under one of them, so the ratio has no limits")
    # d log(1 - S) = -dS / (1 - S): one more average, so that it has degrees of freedom of its own.
    weights: Floats = np.concatenate([-share / (1 - first), share / (1 - second)])[None]
    found = fit.average_survival(stacked, weights, at)
    estimate = np.log([(1 - first) / (1 - second)])
    row = coefficient_table(["ratio"], estimate, found.std_error, found.df, "", "risk_ratio").iloc[0]
    if not (np.isfinite(row["lower"]) and row["std_error"] > 0):
        return _unknown("the plots leave no degree of freedom for limits")
    numbers = {name: float(row[name]) for name in row.index if name in _COLUMNS}
    return numbers | {
        "survival": 100 * first,
        "survival_against": 100 * second,
        "e_value": e_value(numbers["risk_ratio"]),
        "e_value_limit": e_value_of_limit(numbers["risk_ratio_lower"], numbers["risk_ratio_upper"]),
        "reason": "",
    }


def _unknown(reason: str) -> dict[str, Any]:
    return dict.fromkeys(_COLUMNS, np.nan) | {"reason": reason}
