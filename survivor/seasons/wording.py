"""What several seasons say, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from survivor.figures.words import difference, difference_digits, limits, number
from survivor.seasons.units import LOG_HAZARD
from survivor.vocabulary import PER_100

if TYPE_CHECKING:
    from survivor.seasons.together import SeasonsTogether


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
            f"{name} against {against} at {found.milestone}: {difference_words(row)} per 100 planted (95 "
            "% limits "
            f"{_span(row, 'lower', 'upper')}; {row['n_units']} {found.unit}s); a new {found.unit} may show "
            f"{_span(row, 'new_lower', 'new_upper')}{_hazards(ratio.get(name))}."
        )
    return tuple(lines)


def difference_words(row: dict[Any, Any]) -> str:
    """Write an estimated difference with its sign."""
    return difference(float(row["estimate"]), float(row["lower"]), float(row["upper"]))[0]


def _span(row: dict[Any, Any], lower: str, upper: str) -> str:
    low, high = float(row[lower]), float(row[upper])
    return limits(low, high, difference_digits(low, high), sign=True)


def _hazards(row: dict[Any, Any] | None) -> str:
    if row is None or not np.isfinite(row["estimate"]):
        return ""
    ratio, low, high = (float(np.exp(row[name])) for name in ("estimate", "lower", "upper"))
    return f"; ratio of hazards {number(ratio, 2)} ({limits(low, high, 2)})"
