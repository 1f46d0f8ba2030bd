"""Sentences built from numbers: size, unit, limits, n, and no more than they bear."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from survivor.effects.confounding import BETWEEN, WITHIN
from survivor.evidence.finding import VerdictWord
from survivor.evidence.grading import Settled
from survivor.figures.words import difference_digits, limits, number, per_100, per_100_limits
from survivor.vocabulary import CONFIDENCE

Reading = Literal[
    "clear difference",
    "clear but small difference",
    "no difference worth having",
    "too little data to tell",
]

_CLEAR = 1 - CONFIDENCE


@dataclass(frozen=True)
class Counts:
    """What an answer rests on."""

    seedlings: int
    plots: int
    sites: int

    def __str__(self) -> str:
        words = _many(self.seedlings, "seedling")
        if self.plots:
            words += f" in {_many(self.plots, 'plot')}"
        if self.sites:
            words += f" at {_many(self.sites, 'site')}"
        return words


@dataclass(frozen=True)
class Verdict:
    """The verdict on a target, and the sentence that says it."""

    word: VerdictWord
    sentence: str


def reading(lower: float, upper: float, p_adjusted: float, smallest: float) -> Reading:
    """Read a difference against the smallest one worth having.

    A difference that is not clear is one of two kinds: the limits lie inside the
    smallest difference worth having, or they do not, and then the records hold too
    little to tell. Neither is "no difference".

    Parameters
    ----------
    lower, upper
        95 % limits, per 100 planted.
    p_adjusted
        p adjusted for the number of comparisons.
    smallest
        Smallest difference worth having, per 100 planted.
    """
    inside = lower > -smallest and upper < smallest
    if p_adjusted < _CLEAR:
        return "clear but small difference" if inside else "clear difference"
    return "no difference worth having" if inside else "too little data to tell"


def settled(lower: float, upper: float, p_adjusted: float, smallest: float) -> Settled:
    """Whether a difference settles the question; ``firm`` needs ``yes``.

    ``yes``: the limits lie inside the smallest difference worth having, or the
    difference is clear and its limits lie wholly beyond that, or are no further
    from it than that. ``partly``: the difference is clear, its size is not. ``no``: too
    little data to tell.
    """
    read = reading(lower, upper, p_adjusted, smallest)
    if read in ("no difference worth having", "clear but small difference"):
        return "yes"
    if read == "clear difference":
        beyond = min(abs(lower), abs(upper)) >= smallest
        return "yes" if beyond or (upper - lower) / 2 <= smallest else "partly"
    return "no"


def comparison_sentence(
    method: str,
    against: str,
    estimate: float,
    lower: float,
    upper: float,
    milestone: str,
    counts: Counts,
    *,
    p_adjusted: float,
    smallest: float,
    random: bool,
    basis: str = WITHIN,
) -> str:
    """Say how many more or fewer of 100 planted were alive under one method than another.

    Parameters
    ----------
    method, against
        Names as the report prints them; the difference is the first less the second.
    estimate, lower, upper
        Difference per 100 planted with 95 % limits.
    milestone
        For example ``12 months``.
    counts
        What the comparison rests on.
    p_adjusted
        p adjusted for the number of comparisons.
    smallest
        Smallest difference worth having, per 100 planted.
    random
        Whether preparations were given to plots at random; only then, and for a clear
        difference, is a verb used that says one caused the other.
    basis
        ``within sites`` or ``between sites only``.
    """
    digits = difference_digits(estimate, lower, upper)
    read = reading(lower, upper, p_adjusted, smallest)
    verb = "kept" if random and basis == WITHIN and read.startswith("clear") else "had"
    size = f"{method} {verb} {_more(estimate, digits)} alive per 100 planted"
    rest = f"({_difference_limits(lower, upper, digits)}; {counts})"
    worth = f"{number(smallest, 0 if float(smallest).is_integer() else 1)} per 100"
    pair = f"At these sites {method} and {against}"
    if read == "clear difference":
        words = f"At these sites {size} than {against} at {milestone} {rest}"
    elif read == "clear but small difference":
        words = (
            f"At these sites {size} than {against} at {milestone} {rest}, less than the {worth} worth having"
        )
    elif read == "no difference worth having":
        words = f"{pair} did not differ by the {worth} worth having: {size} at {milestone} {rest}"
    else:
        counted = "" if lower <= 0 <= upper else " once the number of comparisons is allowed for"
        words = f"There is too little data to tell {method} from {against} at these sites{counted}"
        words += f": {size} at {milestone} {rest}"
    if basis == BETWEEN:
        words += "; no site had both, so this compares sites as much as preparations"
    return f"{words}."


def difference_phrase(estimate: float, lower: float, upper: float) -> str:
    """Say a difference in a few words: how many more or fewer per 100, with limits."""
    digits = difference_digits(estimate, lower, upper)
    return f"{_more(estimate, digits)} per 100 ({_difference_limits(lower, upper, digits)})"


def survival_sentence(
    name: str, estimate: float, lower: float, upper: float, milestone: str, counts: Counts, told: str = ""
) -> str:
    """Say how many of 100 planted were alive; ``told``: how that is known where no visit fell on the day."""
    how = f" {told}" if told else ""
    return (
        f"At these sites {per_100(estimate)} of 100 planted under {name} were alive at {milestone}{how} "
        f"(95 % limits {per_100_limits(lower, upper)}; {counts})."
    )


def target_verdict(
    estimate: float,
    lower: float,
    upper: float,
    target: float,
    milestone: str = "",
    counts: Counts | None = None,
    told: str = "",
) -> Verdict:
    """Judge a target by the limits, not by the estimate.

    Parameters
    ----------
    estimate, lower, upper
        Survival per 100 planted with 95 % limits.
    target
        Survival promised, per 100 planted.
    milestone, counts
        For the sentence.
    told
        How survival on the day is known, where no visit fell on it.

    Returns
    -------
    Verdict
        ``met`` where the limits lie at or above the target, ``not met`` where they
        lie below it, ``not shown`` otherwise, also without limits.
    """
    when = f" at {milestone}" if milestone else ""
    promised = (
        f"the target of {number(target, 0 if float(target).is_integer() else 1)} alive per 100 planted{when}"
    )
    based = f"; {counts}" if counts is not None else ""
    how = f" {told}" if told else ""
    digits = beside(target, estimate, lower, upper)
    written, ends = per_100(estimate), per_100_limits(lower, upper)
    if digits:
        written, ends = number(estimate, digits), limits(lower, upper, digits)
    found = f"{written} were alive{how} (95 % limits {ends}{based})"
    if lower >= target:
        return Verdict("met", f"At these sites {promised} was met: {found}.")
    if upper < target:
        return Verdict("not met", f"At these sites {promised} was not met: {found}.")
    return Verdict("not shown", f"It is not shown that {promised} was met or missed at these sites: {found}.")


def beside(mark: float, *values: float) -> int:
    """Places with which no value that differs from a mark is written as the mark itself; at most two.

    A limit of 69.53 beside a target of 70 would be read as reaching it.

    Examples
    --------
    >>> beside(70, 66.1, 62.0, 69.53), beside(70, 66.1, 62.0, 69.4)
    (1, 0)
    """
    known = [value for value in values if math.isfinite(value) and value != mark]
    for digits in (0, 1):
        if all(number(value, digits) != number(mark, digits) for value in known):
            return digits
    return 2


def _more(value: float, digits: int) -> str:
    if round(abs(value), digits) == 0:
        return "no more and no fewer"
    return f"{number(abs(value), digits)} {'more' if value > 0 else 'fewer'}"


def _difference_limits(lower: float, upper: float, digits: int) -> str:
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return "no limits"
    if lower >= 0 or upper <= 0:
        near, far = sorted((abs(lower), abs(upper)))
        word = "more" if lower >= 0 else "fewer"
        return f"95 % limits {number(near, digits)} to {number(far, digits)} {word}"
    return f"95 % limits {number(-lower, digits)} fewer to {number(upper, digits)} more"


def _many(count: int, word: str) -> str:
    return f"{number(count)} {word}{'' if count == 1 else 's'}"
