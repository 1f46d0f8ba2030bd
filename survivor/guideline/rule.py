"""The rule that turns findings into advice: rows of data, the first that holds; else not answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from survivor.evidence.finding import Grade
from survivor.evidence.grading import GRADES
from survivor.figures.words import number
from survivor.guideline.file import AdviceWord, Row

Answer = Literal["advised", "worth a trial", "not advised", "not answered"]
NOT_ANSWERED: Answer = "not answered"
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
    grade: Grade


def usual_rule(smallest: float) -> tuple[Row, ...]:
    """Give the rule used where the guideline file gives none.

    Parameters
    ----------
    smallest
        The smallest difference worth having, per 100 planted.
    """
    sure = {"seasons": 2, "sites": 5, "plots": 6, "limits": "sites like these", "seasons_agree": True}
    graded = {**sure, "p_adjusted_under": 0.05, "grade_at_least": "fair"}
    return (
        Row.model_validate(
            {**graded, "gives": "advised", "estimate_at_least": smallest, "lower_at_least": 0.0}
        ),
        Row.model_validate({**graded, "gives": "not advised", "upper_at_most": 0.0}),
        Row.model_validate(
            {
                "gives": "not advised",
                "seasons": 2,
                "sites": 5,
                "plots": 6,
                "limits": "sites like these",
                "upper_at_most": smallest,
                "costs_more": True,
                "grade_at_least": "fair",
            }
        ),
        Row.model_validate(
            {
                "gives": "worth a trial",
                "sites": 3,
                "estimate_at_least": smallest,
                "lower_at_least": -smallest,
            }
        ),
    )


def advice_of(rule: Sequence[Row], facts: Facts | None) -> tuple[Answer, str]:
    """Apply the rule.

    Returns
    -------
    answer, held
        The advice, and the row that gave it in words; for ``not answered``, what the nearest
        row asks for besides.
    """
    if facts is None or facts.grade == "unanswered":
        return NOT_ANSWERED, "the records do not answer it"
    lacking: list[tuple[bool, int, AdviceWord, list[str]]] = []
    for row in rule:
        failed = [words for words, holds in asked(row, facts) if not holds]
        if not failed:
            return row.gives, row_words(row)
        away = (row.gives == "not advised") != (facts.estimate <= 0)
        lacking.append((away, len(failed), row.gives, failed))
    _, _, towards, failed = min(lacking, key=lambda each: each[:2])
    return NOT_ANSWERED, f"nearest to {towards}, which also asks for: {'; '.join(failed)}"


def asked(row: Row, facts: Facts) -> list[tuple[str, bool]]:
    """List what a row asks for, in words, and whether it holds."""
    found = [
        (_least(row.seasons, "season"), facts.seasons >= row.seasons),
        (_least(row.sites, "site") + " with both", facts.sites >= row.sites),
        (_least(row.plots, "plot") + " of each", facts.fewest_plots >= row.plots),
        (
            f"grade {row.grade_at_least} or better",
            GRADES.index(facts.grade) >= GRADES.index(row.grade_at_least),
        ),
    ]
    if row.limits != "any":
        found.append((f"limits for {row.limits}", facts.of == row.limits))
    for words, bound, value, at_least in (
        ("a difference of", row.estimate_at_least, facts.estimate, True),
        ("a difference of", row.estimate_at_most, facts.estimate, False),
        ("a lower limit of", row.lower_at_least, facts.lower, True),
        ("an upper limit of", row.upper_at_most, facts.upper, False),
    ):
        if bound is not None:
            side, holds = ("at least", value >= bound) if at_least else ("at most", value <= bound)
            found.append((f"{words} {side} {_per_100(bound)}", holds))
    if row.p_adjusted_under is not None:
        found.append((f"p adjusted under {row.p_adjusted_under:g}", facts.p_adjusted < row.p_adjusted_under))
    if row.seasons_agree:
        signs = {value > 0 for value in facts.season_estimates}
        agree = len(signs) == 1 and (facts.estimate > 0) in signs
        found.append(("every season's own difference going the same way", agree))
    if row.costs_more:
        found.append(("a higher cost per plant", facts.extra_cost is not None and facts.extra_cost > 0))
    return found


def row_words(row: Row) -> str:
    """Say all that a row asks for."""
    nothing = Facts(0, 0, 0, "", 0.0, 0.0, 0.0, 1.0, (), None, "unanswered")
    return "; ".join(words for words, _ in asked(row, nothing))


def _least(count: int, what: str) -> str:
    return f"at least {count} {what}{'' if count == 1 else 's'}"


def _per_100(value: float) -> str:
    return f"{number(value, 0 if float(value).is_integer() else 1)} per 100"
