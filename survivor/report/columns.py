"""Columns that several tables of a report have, each written one way."""

from __future__ import annotations

import math
from typing import Any, Final

from survivor.document.elements import Field, numbers, places, words
from survivor.vocabulary import Basis
from survivor.words import NONE, chance, difference, limits, money, number, per_100, per_100_limits, sentence

LIMITS: Final = "95 % CI"
RANGE: Final = "Range"  # from survival and prices, which is no confidence interval
PER_100: Final = "Alive per 100 planted"

METHOD: Final = words("Preparation", "method")
AGAINST: Final = words("Against", "against")
NOTE: Final = words("Note", "note", lambda note: sentence(str(note)))
WATCHED: Final = numbers("Watched", "watched")
SEEDLINGS: Final = numbers("Seedlings", "n_seedlings")
PLOTS: Final = numbers("Plots", "n_plots")
SITES: Final = numbers("Sites", "n_sites")
P: Final = numbers("p", "p_value", write=chance)


def alive(basis: Basis) -> tuple[Field, Field]:
    """Return survival and its limits."""
    return (
        numbers(f"Alive {basis.per_100}", "estimate", write=per_100),
        numbers(LIMITS, "lower", "upper", write=per_100_limits),
    )


ALL_TOGETHER: Final = "95 % CI, all together"


def differing(basis: Basis) -> tuple[Field, Field]:
    """Return a difference and its limits."""
    size = ("estimate", "lower", "upper")
    return (
        numbers(f"Difference {basis.per_100}", *size, write=lambda *values: difference(*values)[0]),
        numbers(LIMITS, *size, write=lambda *values: difference(*values)[1]),
    )


def together() -> Field:
    """Return the limits of a difference that hold for all comparisons of the table together."""
    size = ("estimate", "lower_simultaneous", "upper_simultaneous")
    return numbers(ALL_TOGETHER, *size, write=lambda *values: difference(*values)[1])


def ratio(heading: str, name: str) -> tuple[Field, Field]:
    """Return a ratio and its limits."""
    ends = numbers(LIMITS, f"{name}_lower", f"{name}_upper", write=lambda low, high: limits(low, high, 2))
    return numbers(heading, name, write=places(2)), ends


def days(first: float, last: float) -> str:
    """Write the first and the last of some days, or counts, once where they are one."""
    return number(first) if first == last else f"{number(first)} to {number(last)}"


def heading(name: Any) -> str:
    """Write a name as the heading of a row."""
    return sentence(str(name)).rstrip(".")


def amount(title: str, name: str) -> Field:
    """Return an amount of money in the currency of its row."""
    return numbers(title, name, "currency", write=money)


def in_100(probability: float) -> str:
    """Write a chance from draws, in which none or all is never certain."""
    if not math.isfinite(probability):
        return NONE
    if probability < 0.005:
        return "under 1 in 100"
    return "over 99 in 100" if probability > 0.995 else f"{number(100 * probability)} in 100"


def to_cents(lower: float, upper: float) -> str:
    """Write limits of an amount to the cent."""
    return limits(lower, upper, 2)
