"""The rule that turns findings into advice: rows of data, the first that holds; else not answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from survivor.evidence.finding import NOT_ENOUGH, Grade
from survivor.evidence.grading import GRADES
from survivor.guideline.file import AdviceWord, Row
from survivor.words import number

Answer = Literal["advised", "worth a trial", "not advised", "not answered"]
NOT_ANSWERED: Answer = "not answered"
CLEARER: Final = "clearer evidence, as more seasons give it"
ANSWERS: tuple[Answer, ...] = ("advised", "worth a trial", "not advised", "not answered")


@dataclass(frozen=True)
class Facts:
    """What the rule asks about one preparation on one kind of ground.

    ``estimate, lower, upper`` are per 100 planted against the usual practice; ``of`` is what the
    limits speak of; ``season_estimates`` one a season; ``extra_cost`` per plant, None where a cost is
    not known.
    """

    seasons: int
    sites: int
    fewest_plots: int
    of: str
    estimate: float
    lower: float
    upper: float
    p_adjusted: float
    season_estimates: tuple[float, ...]
    extra_cost: float | None
    grade: Grade | None


#: Versions of 100 in which the usual rule advises a true gain, by seasons, where seasons differ by 8 per 100
#: and have four sites each; from simulation, as a test holds them to its table.
POWER: Final[dict[int, dict[int, int]]] = {20: {3: 6, 5: 39, 8: 76}, 10: {3: 2, 5: 7, 8: 17}}


def usual_rule(smallest: float) -> tuple[Row, ...]:
    """Give the rule used where the guideline file gives none.

    Seasons are the units. With a standard deviation of 0 to 15 per 100 between seasons and 3 to 8 of them,
    something useless is advised in at most 2 of 100 versions; how often a true gain is, with how many
    seasons, is in ``tests/calibration/guideline_rule.csv``.

    Parameters
    ----------
    smallest
        The smallest difference that matters, per 100 planted.
    """
    sure = {"seasons": 3, "sites": 5, "plots": 6, "limits": "seasons like these"}
    clear = {**sure, "seasons_agree": True, "p_adjusted_under": 0.03}
    rows = (
        {**clear, "gives": "advised", "estimate_at_least": smallest, "lower_at_least": 0.0},
        {**clear, "gives": "not advised", "upper_at_most": 0.0},
        {**sure, "gives": "not advised", "upper_at_most": smallest, "costs_more": True},
        {"gives": "worth a trial", "sites": 3, "estimate_at_least": smallest, "seasons_agree": True},
    )
    return tuple(map(Row.model_validate, rows))


def advice_of(rule: Sequence[Row], facts: Facts | None) -> tuple[Answer, str]:
    """Apply the rule.

    Returns
    -------
    answer, held
        The advice, and the row that gave it in words; for ``not answered``, what the nearest
        row asks for besides.
    """
    if facts is None or facts.grade == "not answered":
        return NOT_ANSWERED, "the records do not answer it"
    lacking: list[tuple[bool, int, AdviceWord, list[str]]] = []
    for row in rule:
        failed = [f"{each.words} (here {each.have})" for each in asked(row, facts) if not each.holds]
        if not failed:
            return row.gives, row_words(row)
        away = (row.gives == "not advised") != (facts.estimate <= 0)
        lacking.append((away, len(failed), row.gives, failed))
    _, _, towards, failed = min(lacking, key=lambda each: each[:2])
    return NOT_ANSWERED, f"nearest to {towards}, which also asks for: {'; '.join(failed)}"


def wanting(rule: Sequence[Row], facts: Facts | None, word: AdviceWord) -> str:
    """Say what an advice asks for besides, by the row of it that is nearest; empty where there is none."""
    nearest = _nearest(rule, facts, word)
    if not nearest:
        return ""
    return f"“{word}” also asks for {'; '.join(f'{need.words} (here {need.have})' for need in nearest)}"


def still_needed(rule: Sequence[Row], facts: Facts | None, word: AdviceWord) -> list[str]:
    """Say the same to those who act on it: seasons, sites and plots by number, or clearer evidence."""
    nearest = _nearest(rule, facts, word)
    counts = [f"{need.words} where there {_are(need.have)}" for need in nearest if need.counts]
    return [*counts, *([CLEARER] if any(not need.counts for need in nearest) else [])]


def _nearest(rule: Sequence[Row], facts: Facts | None, word: AdviceWord) -> list[Asked]:
    """List what the nearest row that gives an advice asks for and these facts do not have."""
    if facts is None:
        return []
    rows = [[need for need in asked(row, facts) if not need.holds] for row in rule if row.gives == word]
    return min(rows, key=len, default=[])


def _are(number: str) -> str:
    return f"is {number}" if number == "1" else f"are {number}"


def lacked(rule: Sequence[Row], held: str, facts: Facts) -> list[str]:
    """Say what the row that gives an advice, told by its words, asks for and these facts do not have."""
    for row in rule:
        if row_words(row) == held:
            return [f"{need.words} ({need.have} before)" for need in asked(row, facts) if not need.holds]
    return []


@dataclass(frozen=True)
class Asked:
    """Something that a row asks for, in words; whether it holds; what there is instead."""

    words: str
    holds: bool
    have: str
    counts: bool = False  # asks for a number of seasons, sites or plots


def asked(row: Row, facts: Facts) -> list[Asked]:
    """List what a row asks for, whether it holds, and what there is."""
    needs = [
        _count(row.seasons, facts.seasons, "season"),
        _count(row.sites, facts.sites, "site", " with both"),
        _count(row.plots, facts.fewest_plots, "plot", " of each"),
    ]
    if row.grade_at_least is not None:
        strong = GRADES.index(facts.grade) >= GRADES.index(row.grade_at_least)
        words = f"evidence {row.grade_at_least} or stronger"
        needs.append(Asked(words, strong, facts.grade or NOT_ENOUGH))
    if row.limits != "any":
        needs.append(Asked(f"limits for {row.limits}", facts.of == row.limits, f"{facts.of} only"))
    for said, bound, value, at_least in (
        ("a difference of", row.estimate_at_least, facts.estimate, True),
        ("a difference of", row.estimate_at_most, facts.estimate, False),
        ("a lower limit of", row.lower_at_least, facts.lower, True),
        ("an upper limit of", row.upper_at_most, facts.upper, False),
    ):
        if bound is not None:
            side, holds = ("at least", value >= bound) if at_least else ("at most", value <= bound)
            needs.append(Asked(f"{said} {side} {_per_100(bound)}", holds, _apart(value, bound)))
    if row.p_adjusted_under is not None:
        p_value, under = facts.p_adjusted, row.p_adjusted_under
        have = f"p {number(p_value, 3 if p_value < 2 * under else 2)}"
        needs.append(Asked(f"p adjusted under {under:g}", p_value < under, have))
    if row.seasons_agree:
        signs = {value > 0 for value in facts.season_estimates}
        agree = len(signs) == 1 and (facts.estimate > 0) in signs
        estimates = ", ".join(number(value, 1, sign=True) for value in facts.season_estimates) or "none"
        needs.append(Asked("every season's own difference going the same way", agree, estimates))
    if row.costs_more:
        priced = facts.extra_cost is not None
        dearer = facts.extra_cost is not None and facts.extra_cost > 0
        needs.append(Asked("a higher cost per plant", dearer, "no higher" if priced else "not known"))
    return needs


def bounds_of(rule: Sequence[Row]) -> tuple[tuple[float, ...], ...]:
    """Return what the rule holds an estimate, a lower and an upper limit to, per 100 planted."""
    every = [
        [bound for row in rule for bound in (row.estimate_at_least, row.estimate_at_most)],
        [row.lower_at_least for row in rule],
        [row.upper_at_most for row in rule],
    ]
    return tuple(tuple({bound for bound in bounds if bound is not None}) for bounds in every)


def row_words(row: Row) -> str:
    """Say all that a row asks for."""
    nothing = Facts(0, 0, 0, "", 0.0, 0.0, 0.0, 1.0, (), None, "not answered")
    return "; ".join(need.words for need in asked(row, nothing))


def _count(least: int, have: int, what: str, which: str = "") -> Asked:
    words = f"at least {least} {what}{'' if least == 1 else 's'}{which}"
    return Asked(words, have >= least, f"{have}", counts=True)


def _per_100(value: float) -> str:
    return f"{number(value, 0 if float(value).is_integer() else 1)} per 100"


def _apart(value: float, bound: float) -> str:
    """Write a value so that it cannot be read as the bound that it misses."""
    digits = next((d for d in (1, 2, 3) if number(value, d) != number(bound, d)), 4)
    return number(value, digits, sign=True)
