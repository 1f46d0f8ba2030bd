"""What several seasons say, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from survivor.figures.words import difference, difference_digits, limits, number
from survivor.pooling.limits import Limits
from survivor.pooling.scale import EDGE, TELLS_NOTHING, tells_nothing
from survivor.seasons.units import LOG_HAZARD
from survivor.vocabulary import PER_100

if TYPE_CHECKING:
    from survivor.seasons.together import SeasonsTogether

_CLEAR: Final = 0.05
_LEAST_P: Final = 0.001
_LIMITS: Final[dict[Limits, str]] = {
    "cr2": "Limits go by each {unit}'s own distance to the mean (CR2, Satterthwaite degrees of freedom). "
    "Those of Hartung and Knapp, with their factor as it is and kept at 1, are in the table of other limits.",
    "hartung-knapp": "Limits are those of Hartung and Knapp; others are in the table of other limits.",
    "normal": "Limits are normal ones; others are in the table of other limits.",
}


def sentences(found: SeasonsTogether) -> tuple[str, ...]:
    """Return one sentence a comparison, the difference per 100 first and the ratio beside it."""
    lines = []
    rows = found.table.to_dict("records")
    ratio = {row["method"]: row for row in rows if row["scale"] == LOG_HAZARD}
    for row in rows:
        if row["scale"] != PER_100:
            continue
        name, against = row["method"], row["against"]
        if not np.isfinite(row["estimate"]):
            lines.append(f"{name} against {against}: not pooled ({row['reason']}).")
            continue
        lines.append(
            f"{name} against {against} at {found.milestone}: {difference_words(row)} per 100 planted "
            f"({_limits(row, 'lower', 'upper')}; {row['n_units']} {found.unit}s); "
            f"{_new(row, found.unit)}{_hazards(ratio.get(name))}."
        )
    return tuple(lines)


def limits_note(kind: Limits, unit: str, comparisons: int) -> str:
    """Say what kind the limits are, and that they do not allow for several comparisons."""
    said = _LIMITS[kind].format(unit=unit)
    if comparisons > 1:
        said += (
            f" They are not adjusted for {comparisons} comparisons; the pooled table has p by Holm, which is."
        )
    return said


def told_in_words(found: SeasonsTogether) -> tuple[str, ...]:
    """Return every sentence: the comparisons, what the trait asked for says, and what to mind."""
    traits = trait_sentences(found)
    return (*sentences(found), *(("", *traits) if traits else ()), "", *found.checks)


def trait_sentences(found: SeasonsTogether) -> tuple[str, ...]:
    """Return what the trait asked for says, a sentence a comparison, per 100 planted."""
    lines = []
    for (method, against, scale), trend in found.trends.items():
        if scale != PER_100:
            continue
        for test in trend.tests.to_dict("records"):
            p_value = float(test["p_value"])
            told = (
                "cannot be told whether the answer goes with it"
                if not np.isfinite(p_value)
                else "the answer goes with it"
                if p_value < _CLEAR
                else "these records do not show that the answer goes with it"
            )
            values = trend.units[str(test["trait"])]
            sizes = "; ".join(_change(row, values) for row in trend.table.iloc[1:].to_dict("records"))
            p_words = f", {_chance(p_value)}" if np.isfinite(p_value) else ""
            lines.append(
                f"{method} against {against}, by {test['trait']}: {told} ({sizes}{p_words}; "
                f"{len(trend.units)} {found.unit}s)."
            )
    said = dict.fromkeys(line for trend in found.trends.values() for line in trend.checks)
    if len(lines) > 1:
        many = f"{len(lines)} comparisons are looked at, and no p here allows for it: "
        return (*lines, *said, f"{many}some go with a trait by chance.")
    return (*lines, *said)


def _chance(p_value: float) -> str:
    """Write a p value; one that would print as nought is under the least that is told."""
    return f"p < {_LEAST_P:g}" if p_value < _LEAST_P else f"p = {number(p_value, 3)}"


def difference_words(row: dict[Any, Any]) -> str:
    """Write an estimated difference with its sign."""
    return difference(float(row["estimate"]), float(row["lower"]), float(row["upper"]))[0]


def _span(row: dict[Any, Any], lower: str, upper: str) -> str:
    low, high = float(row[lower]), float(row[upper])
    return limits(low, high, difference_digits(low, high), sign=True)


def _change(row: dict[Any, Any], values: pd.Series[Any]) -> str:
    """Write what a trait changes; a number's by its unit, and no limits wider than a change can be."""
    numbers = pd.api.types.is_numeric_dtype(values)
    reach = float(values.max() - values.min()) if numbers else 1.0
    low, high = float(row["lower"]), float(row["upper"])
    nothing = low * reach <= -2 * EDGE and high * reach >= 2 * EDGE
    said, span = difference(float(row["estimate"]), low, high)
    what = f"for 1 more of {row['term']}" if numbers else str(row["term"]).split(": ", 1)[-1]
    return f"{said} per 100 {what}, 95 % limits {TELLS_NOTHING if nothing else span}"


def _limits(row: dict[Any, Any], lower: str, upper: str) -> str:
    nothing = tells_nothing(row, lower, upper)
    return f"95 % limits {TELLS_NOTHING if nothing else _span(row, lower, upper)}"


def _new(row: dict[Any, Any], unit: str) -> str:
    if tells_nothing(row, "new_lower", "new_upper"):
        return f"a new {unit} may show anything (limits {TELLS_NOTHING})"
    return f"a new {unit} may show {_span(row, 'new_lower', 'new_upper')}"


def _hazards(row: dict[Any, Any] | None) -> str:
    if row is None or not np.isfinite(row["estimate"]):
        return ""
    ratio, low, high = (float(np.exp(row[name])) for name in ("estimate", "lower", "upper"))
    return f"; ratio of hazards {number(ratio, 2)} ({limits(low, high, 2)})"
