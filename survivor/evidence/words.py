"""Sentences of answers, made from their numbers: size, unit, limits, and no more than they bear."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from survivor.effects.confounding import BETWEEN, WITHIN
from survivor.evidence import english as en
from survivor.evidence.finding import NOT_ENOUGH, Reading, VerdictWord
from survivor.evidence.grading import Settled
from survivor.sentences import Cell, Name, Part, Sentence, Value, cell, say
from survivor.vocabulary import SIGNIFICANCE, Basis
from survivor.words import counted, difference_digits, limits, number, per_100, per_100_limits, plain

Size = tuple[float, float, float]
_CI: Final = "95 % CI"


@dataclass(frozen=True)
class Counts:
    """What an answer rests on."""

    seedlings: int
    plots: int
    sites: int

    def __str__(self) -> str:
        words = counted(self.seedlings, "seedling")
        if self.plots:
            words += f" in {counted(self.plots, 'plot')}"
        if self.sites:
            words += f" at {counted(self.sites, 'site')}"
        return words


@dataclass(frozen=True)
class Verdict:
    """The verdict on a target, the sentences that say it, and the places its numbers are written with."""

    word: VerdictWord
    said: tuple[Sentence, ...]
    digits: int


def reading(lower: float, upper: float, p_adjusted: float, smallest: float) -> Reading:
    """Read a difference against the smallest one that matters.

    A difference that is not clear is one of two kinds: the limits lie inside the
    smallest difference that matters, or they do not, and then there is not enough
    evidence to say. Neither is "no difference".

    Parameters
    ----------
    lower, upper
        95 % CI, per 100 planted.
    p_adjusted
        p adjusted for the number of comparisons.
    smallest
        Smallest difference that matters, per 100 planted.
    """
    inside = lower > -smallest and upper < smallest
    if p_adjusted < SIGNIFICANCE:
        return "clear but small difference" if inside else "clear difference"
    return "no difference that matters" if inside else NOT_ENOUGH


def settled(
    lower: float,
    upper: float,
    p_adjusted: float,
    smallest: float,
    together: tuple[float, float] | None = None,
) -> Settled:
    """Whether a difference settles the question; ``strong`` needs ``yes``.

    ``yes``: the limits lie inside the smallest difference that matters, or the
    difference is clear and its limits lie wholly beyond that, or are no further
    from it than that, and the limits of all comparisons together leave zero out. ``partly``:
    the difference is clear, its size is not, or not when it was picked from all. ``no``: not
    enough evidence to say.

    Parameters
    ----------
    lower, upper, p_adjusted, smallest
        As for :func:`reading`.
    together
        Limits that hold for all comparisons together; None where none was picked from several.
    """
    read = reading(lower, upper, p_adjusted, smallest)
    if read in ("no difference that matters", "clear but small difference"):
        return "yes"
    if read == "clear difference":
        beyond = min(abs(lower), abs(upper)) >= smallest
        sized = beyond or (upper - lower) / 2 <= smallest
        picked = together is not None and together[0] <= 0 <= together[1]
        return "yes" if sized and not picked else "partly"
    return "no"


def of_finding(key: str, column: str) -> Cell:
    """Name the cell of the table of findings that has a number of an answer."""
    return cell("findings", column, key=key)


def compared(
    method: str,
    against: str,
    size: Size,
    milestone: str,
    *,
    p_adjusted: float,
    smallest: float,
    random: bool,
    basis: str = WITHIN,
    seedlings: Basis = Basis.PLANTED,
) -> tuple[Sentence, ...]:
    """Say how many more or fewer of 100 planted were alive under one method than another.

    Parameters
    ----------
    method, against
        Names as the report prints them; the difference is the first less the second.
    size
        Difference per 100 planted with its 95 % CI.
    milestone
        For example ``12 months``.
    p_adjusted
        p adjusted for the number of comparisons.
    smallest
        Smallest difference that matters, per 100 planted.
    random
        Whether preparations were given to plots at random; only then, and for a clear
        difference, is a verb used that says one caused the other.
    basis
        ``within sites`` or ``between sites only``.
    seedlings
        Whether survival is of those planted, or of those found at the first visit.
    """
    estimate, lower, upper = size
    read = reading(lower, upper, p_adjusted, smallest)
    names: dict[str, Part] = {"method": Name(method), "against": Name(against)}
    seen: dict[str, Part] = {
        "per": seedlings.per_100,
        "when": milestone,
        **difference_parts(pair_key(method, against), size),
    }
    matters = Value(plain(smallest), smallest)
    said: list[Sentence] = []
    if read.startswith("clear"):
        verb = "kept" if random and basis == WITHIN and estimate > 0 else "had"
        said.append(say(en.CLEAR, verb=verb, **names, **seen))
        if read == "clear but small difference":
            said.append(say(en.BUT_SMALL, smallest=matters))
    else:
        if read == "no difference that matters":
            said.append(say(en.NONE_THAT_MATTERS, smallest=matters, **names))
        else:
            said.append(say(en.NOT_ENOUGH if lower <= 0 <= upper else en.NOT_ENOUGH_OF_MANY, **names))
        said.append(say(en.SEEN, method=Name(method), **seen))
    if basis == BETWEEN:
        said.append(say(en.BETWEEN))
    return tuple(said)


def difference_phrase(
    estimate: float, lower: float, upper: float, more: str = "", unit: str = "per 100"
) -> str:
    """Say a difference in a few words: how many more or fewer, with limits and what else is known."""
    digits = difference_digits(estimate, lower, upper)
    beside = "; ".join(filter(None, (_difference_limits(lower, upper, digits), more)))
    return f"{_more(estimate, digits)} {unit} ({beside})"


def pair_key(method: str, against: str) -> str:
    """Name the finding of a comparison."""
    return f"{method} against {against}"


def difference_parts(key: str, size: Size) -> dict[str, Value]:
    """Write a difference with the word for its sign, and its interval: ``size`` and ``span``.

    ``key``: of the finding that has it.
    """
    estimate, lower, upper = size
    digits = difference_digits(estimate, lower, upper)
    return {
        "size": Value(_more(estimate, digits), estimate, of_finding(key, "estimate"), _sign(estimate)),
        "span": Value(
            _difference_limits(lower, upper, digits), lower, of_finding(key, "lower"), _sign(lower, upper)
        ),
    }


def _sign(*values: float) -> float:
    return -1.0 if all(value <= 0 for value in values) else 1.0


def alive(
    size: Size,
    milestone: str,
    between: str = "",
    seedlings: Basis = Basis.PLANTED,
) -> tuple[Sentence, ...]:
    """Say how many of 100 were alive; ``between``: how that is known where no visit fell on the day."""
    parts = survival_parts("alive", size)
    how = _how(between)
    return (say(en.ALIVE, seedlings=seedlings.seedlings, name=en.EVERY, when=milestone, how=how, **parts),)


def survival_parts(key: str, size: Size, digits: int = 0) -> dict[str, Value]:
    """Write survival per 100 with its interval; ``key`` of the finding that has it, or none."""
    estimate, lower, upper = size
    written, ends = per_100(estimate), per_100_limits(lower, upper)
    if digits:
        written, ends = number(estimate, digits), limits(lower, upper, digits)
    held = math.isfinite(lower) and math.isfinite(upper)
    at = {name: of_finding(key, name) if key else None for name in ("estimate", "lower")}
    return {
        "estimate": Value(written, estimate, at["estimate"]),
        "span": Value(f"{_CI} {ends}" if held else en.NO_LIMITS, lower, at["lower"]),
    }


def _how(between: str) -> str:
    return f" {between}" if between else ""


def judged(lower: float, upper: float, wanted: float) -> VerdictWord:
    """Judge by the limits: ``met`` at or above what is wanted, ``missed`` below it, else ``unclear``."""
    return "met" if lower >= wanted else "missed" if upper < wanted else "unclear"


def target_verdict(
    size: Size,
    target: float,
    milestone: str = "",
    between: str = "",
    seedlings: Basis = Basis.PLANTED,
    other: Size | None = None,
) -> Verdict:
    """Judge a target by the limits, not by the estimate.

    Parameters
    ----------
    size
        Survival per 100 planted with its 95 % CI.
    target
        Survival promised, per 100 planted.
    milestone
        For the sentence.
    between
        How survival on the day is known, where no visit fell on it.
    seedlings
        Whether survival is of those planted, or of those found at the first visit.
    other
        Survival under the other rule for missing plants, which stands beside it and is written with
        as many places.

    Returns
    -------
    Verdict
        ``met`` where the limits lie at or above the target, ``missed`` where they
        lie below it, ``unclear`` otherwise, also without limits.
    """
    _, lower, upper = size
    word = judged(lower, upper, target)
    digits = beside(target, *size, *(other or ()))
    seen = survival_parts("target", size, digits)
    promised: dict[str, Part] = {"target": Value(plain(target), target), "per": seedlings.per_100}
    by_rule = en.TARGET_RULE_UNCLEAR if word == "unclear" else en.TARGET_RULE
    verdict: dict[str, Part] = {} if word == "unclear" else {"verdict": word}
    said = (
        say(
            en.TARGET[word if other is None else "depends on missing plants"],
            when=f" at {milestone}" if milestone else "",
            **promised,
        ),
        say(en.TARGET_SEEN, how=_how(between), **seen)
        if other is None
        else say(by_rule, how=_how(between), **verdict, **seen),
    )
    return Verdict(word, said, digits)


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
        return en.NO_MORE
    return f"{number(abs(value), digits)} {'more' if value > 0 else 'fewer'}"


def _difference_limits(lower: float, upper: float, digits: int) -> str:
    known = math.isfinite(lower) and math.isfinite(upper)
    return f"{_CI} {more_or_fewer(lower, upper, digits)}" if known else en.NO_LIMITS


def more_or_fewer(lower: float, upper: float, digits: int) -> str:
    """Write the interval of a difference with words for its signs."""
    if lower >= 0 or upper <= 0:
        near, far = sorted((abs(lower), abs(upper)))
        return f"{number(near, digits)} to {number(far, digits)} {'more' if lower >= 0 else 'fewer'}"
    return f"{number(-lower, digits)} fewer to {number(upper, digits)} more"
