"""Numbers for the sentences of the four pages, each with the cell of the table that it is from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from survivor.analysis.milestone import milestone_words
from survivor.analysis.result import Analysis
from survivor.evidence.finding import Finding
from survivor.evidence.words import more_or_fewer, of_finding
from survivor.report.reasons import compared_with, is_random, usual_practice
from survivor.sentences import Cell, Name, Names, Sentence, Value, cell
from survivor.words import (
    counted,
    difference_digits,
    estimated_beside,
    limits,
    money,
    number,
    per_100,
    per_100_limits,
)


def when(analysis: Analysis) -> str:
    """Name the milestone that the report answers for."""
    return milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)


def usual(analysis: Analysis) -> str:
    """Name what the others are compared with; empty where nothing is compared."""
    return usual_practice(analysis) or compared_with(analysis) or ""


def comparisons(analysis: Analysis) -> list[Finding]:
    """List the findings of each preparation against the usual practice, the largest difference first."""
    pairs = [one for one in analysis.findings if one.key == " against ".join(one.methods)]
    return sorted(pairs, key=lambda one: -(one.estimate or 0.0))


def finding(analysis: Analysis, key: str) -> Finding | None:
    """Find an answer by its key."""
    return next((one for one in analysis.findings if one.key == key), None)


def has_species(analysis: Analysis) -> bool:
    """Whether the model that is answered from holds species, so that survival is standardised for it."""
    fitted = analysis.models.answer
    return fitted is not None and "species" in fitted.variables


def may_cause(analysis: Analysis) -> bool:
    """Whether a verb may be used that says that one caused the other."""
    return is_random(analysis)


def size(one: Finding) -> tuple[Value, Value]:
    """Write the size of a difference without its sign, and its interval with words for the signs."""
    estimate, lower, upper = one.size
    digits = difference_digits(estimate, lower, upper)
    at = of_finding(one.key, "estimate")
    written = Value(number(abs(estimate), digits), estimate, at, -1.0 if estimate < 0 else 1.0)
    return written, _span(one, "lower", (lower, upper), digits)


def together(one: Finding) -> Value:
    """Write the interval of a difference that allows for its having been picked from several."""
    ends = one.lower_simultaneous or 0.0, one.upper_simultaneous or 0.0
    return _span(one, "lower_simultaneous", ends, difference_digits(one.size[0], *ends))


def signed(one: Finding) -> Value:
    """Write a difference with its direction: 9 more, 4 fewer."""
    written, _ = size(one)
    word = "more" if (one.estimate or 0.0) >= 0 else "fewer"
    return Value(f"{written.text} {word}", written.number, written.cell, written.scale)


def _span(one: Finding, column: str, ends: tuple[float, float], digits: int) -> Value:
    sign = -1.0 if ends[1] <= 0 else 1.0
    return Value(more_or_fewer(*ends, digits), ends[0], of_finding(one.key, column), sign)


def alive(
    estimate: float, lower: float, upper: float, at: Mapping[str, Any] | None = None, digits: int = 0
) -> dict[str, Value]:
    """Write survival per 100 with its interval; ``at`` names the cell: table, and what picks its row.

    ``digits``: places after the point where a whole number would be read as a mark that it is not.
    """
    written, span = per_100(estimate), per_100_limits(lower, upper)
    if digits:
        written, span = number(estimate, digits), limits(lower, upper, digits)
    return {
        "estimate": Value(written, estimate, _at(at, "estimate")),
        "span": Value(span, lower, _at(at, "lower")),
    }


def plants(
    size: float,
    lower: float,
    upper: float,
    at: Mapping[str, Any] | None = None,
    estimate: str = "estimate",
    mark: float | None = None,
) -> dict[str, Value]:
    """Write an estimated number of plants with its interval, to the ten where there are many.

    ``estimate`` is the column that has it; ``mark`` a number that none of them may be rounded to.
    """
    written = estimated_beside((size, lower, upper), mark)
    return {
        "estimate": Value(written[0], size, _at(at, estimate)),
        "span": Value(f"{written[1]} to {written[2]}", lower, _at(at, "lower")),
    }


def _at(at: Mapping[str, Any] | None, column: str) -> Cell | None:
    return None if at is None else cell(at["table"], column, **{k: v for k, v in at.items() if k != "table"})


def cost(row: Mapping[Any, Any], column: str, ends: tuple[str, str], table: str) -> dict[str, Value]:
    """Write an amount of a row of costs with its range, and the cells that they are from."""
    currency, value = str(row["currency"]), float(row[column])
    low, high = (float(row[end]) for end in ends)
    span = f"{money(low, currency)} to {money(high, currency)}"
    if math.isfinite(low) and not math.isfinite(high):
        span = f"from {money(low, currency)}, without an upper end"
    elif not math.isfinite(low):
        span = "without ends"
    picked = {"method": row["method"]}
    return {
        "cost": Value(money(value, currency), value, cell(table, column, **picked)),
        "span": Value(span, low, cell(table, ends[0], **picked)),
    }


def count(value: float, one: str) -> Value:
    """Write a count with its noun."""
    return Value(counted(value, one), value)


def named(names: list[str]) -> Name | Names:
    """Set one name, or several, apart."""
    return Name(names[0]) if len(names) == 1 else Names(tuple(names))


def frame_of(rows: pd.DataFrame) -> dict[str, Mapping[Any, Any]]:
    """Rows of a table by their preparation."""
    return {str(row["method"]): row for row in rows.to_dict("records")}


def joined(*sentences: Sentence | None) -> tuple[Sentence, ...]:
    """Gather the sentences that there are."""
    return tuple(one for one in sentences if one is not None)
