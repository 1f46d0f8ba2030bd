"""From results to findings: the numbers, the sentence and the grade together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from survivor.costing import Payoff
from survivor.effects.confounding import REFUSED
from survivor.effects.contrasts import Contrasts
from survivor.effects.standardise import Standardised
from survivor.evidence.finding import Finding
from survivor.evidence.grading import LEAST_PLOTS, RANDOM, Circumstances, Settled, grade
from survivor.evidence.money import basis_of, rests_on, rests_words
from survivor.evidence.words import Counts, comparison_sentence, difference_phrase, settled, target_verdict
from survivor.settings import Design
from survivor.vocabulary import PER_100

TARGET: Final = "Is it what was promised?"


def contrast_finding(
    contrasts: Contrasts,
    row: int,
    milestone: str,
    design: Design,
    *,
    key: str = "",
    question: str = "",
    cost: str | None = None,
    flags: Circumstances | None = None,
) -> Finding:
    """Make the finding of one comparison.

    Parameters
    ----------
    contrasts
        The comparisons.
    row
        Which of them, counted from 0.
    milestone
        Name of the milestone.
    design
        How plots were placed and preparations chosen, and the smallest difference
        worth having.
    key, question
        Names; made from the methods where empty.
    cost
        What it costs, in words.
    flags
        What else is known: unknown plants, models, sites. Its other fields are filled
        in here.
    """
    line: dict[str, Any] = {str(name): value for name, value in contrasts.table.iloc[row].items()}
    method, against = str(line[contrasts.by]), str(line["against"])
    answered = line["basis"] != REFUSED
    asked = question or f"Were more plants alive with {method} than with {against}?"
    estimate, lower, upper = (
        float(line[name]) if answered else None for name in ("estimate", "lower", "upper")
    )
    known = replace(
        flags or Circumstances(),
        compares=True,
        answered=answered,
        allocation=design.allocation,
        plots_placed=design.plots_placed,
        basis=str(line["basis"]),
        penalised=bool(line["penalised"]),
    )
    if answered:
        answer, known = _comparison(line, method, against, milestone, design, known)
        if known.fewest_plots < LEAST_PLOTS:
            answer = _too_few_plots(line, method, against)
    else:
        answer = f"{method} cannot be compared with {against} from these records: {line['reason']}."
    graded, reasons, raise_it = grade(known)
    return Finding(
        key=key or f"{method} against {against}",
        question=asked,
        answer=answer,
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit=PER_100,
        milestone=milestone,
        at_day=contrasts.at_day,
        methods=(method, against),
        n_seedlings=int(line["n_seedlings"]),
        n_plots=int(line["n_plots"]),
        n_sites=int(line["n_sites"]),
        checks=contrasts.checks,
        cost=cost,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )


def _comparison(
    line: Mapping[str, Any], method: str, against: str, milestone: str, design: Design, known: Circumstances
) -> tuple[str, Circumstances]:
    estimate, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    p_adjusted = float(line["p_adjusted"])
    answer = comparison_sentence(
        method,
        against,
        estimate,
        lower,
        upper,
        milestone,
        _counts(line),
        p_adjusted=p_adjusted,
        smallest=design.smallest_difference,
        random=design.allocation == RANDOM,
        basis=str(line["basis"]),
    )
    filled = replace(
        known,
        df=float(line["df"]),
        fewest_plots=int(line["fewest_plots"]),
        settled=settled(lower, upper, p_adjusted, design.smallest_difference),
    )
    return answer, filled


def _too_few_plots(line: Mapping[str, Any], method: str, against: str) -> str:
    seen = difference_phrase(*(float(line[name]) for name in ("estimate", "lower", "upper")))
    return (
        f"There are too few plots to tell {method} from {against} at these sites: one of them has "
        f"{int(line['fewest_plots'])} where they are compared, and {LEAST_PLOTS} are the least. "
        f"The difference seen was {seen}, in {_counts(line)}."
    )


def target_finding(
    survival: Standardised,
    target: float,
    milestone: str,
    design: Design,
    *,
    row: int = 0,
    key: str = "target",
    question: str = "",
    flags: Circumstances | None = None,
    told: str = "",
) -> Finding:
    """Make the finding of a target: a statement about true survival of the planted.

    Parameters
    ----------
    survival
        Usually of the whole planting (``by=None``).
    target
        Survival promised, per 100 planted.
    row
        Which line of the table.
    milestone, design, key, question, flags
        As for :func:`contrast_finding`.
    told
        How survival on the day is known, where no visit fell on it.
    """
    line: dict[str, Any] = {str(name): value for name, value in survival.table.iloc[row].items()}
    estimate, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    verdict = target_verdict(estimate, lower, upper, target, milestone, _counts(line), told)
    wide = (upper - lower) / 2 > design.smallest_difference
    unsettled: Settled = "no" if wide else "partly"
    known = replace(
        flags or Circumstances(),
        compares=False,
        plots_placed=design.plots_placed,
        df=float(line["df"]),
        fewest_plots=int(line["n_plots"]),
        settled=unsettled if verdict.word == "not shown" else "yes",
    )
    graded, reasons, raise_it = grade(known)
    return Finding(
        key=key,
        question=question or TARGET,
        answer=verdict.sentence,
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit=PER_100,
        milestone=milestone,
        at_day=survival.at_day,
        n_seedlings=int(line["n_seedlings"]),
        n_plots=int(line["n_plots"]),
        n_sites=int(line["n_sites"]),
        checks=survival.checks,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
        verdict=verdict.word,
    )


def payoff_finding(
    payoff: Payoff,
    milestone: str,
    design: Design,
    *,
    key: str = "payoff",
    question: str = "",
    flags: Circumstances | None = None,
) -> Finding:
    """Make the finding of what an established plant costs: of the cheapest method, or the lowest found."""
    table = payoff.table
    place = int(table["cost_per_established"].to_numpy().argmin())
    if payoff.cheapest is not None:
        place = table[payoff.by].tolist().index(payoff.cheapest)
    line: dict[str, Any] = {str(name): value for name, value in table.iloc[place].items()}
    survived = payoff.survival.table
    costed = survived[survived[payoff.by].isin(table[payoff.by])]
    alone = len(table) == 1
    known = replace(
        flags or Circumstances(),
        compares=len(survived) > 1,
        one_cost=alone and len(survived) > 1,
        allocation=design.allocation,
        plots_placed=design.plots_placed,
        basis=basis_of(payoff, line[payoff.by]),
        df=float(costed["df"].min()),
        fewest_plots=int(costed["n_plots"].min()),
        # Where none is clearly the cheapest the question is as open as a difference that is not clear.
        settled="yes" if payoff.cheapest is not None else _one_cost(costed, design) if alone else "no",
    )
    graded, reasons, raise_it = grade(known)
    currency, counts = str(line["currency"]), rests_on(payoff)
    return Finding(
        key=key,
        question=question or "What does an established plant cost?",
        answer=payoff.statement + rests_words(payoff),
        estimate=float(line["cost_per_established"]),
        lower=float(line["lower"]),
        upper=float(line["upper"]),
        unit=f"{currency} per established plant".strip(),
        milestone=milestone,
        at_day=payoff.at_day,
        methods=tuple(map(str, table[payoff.by])),
        n_seedlings=counts.seedlings,
        n_plots=counts.plots,
        n_sites=counts.sites,
        checks=payoff.checks,
        cost=payoff.statement,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )


def _one_cost(survived: pd.DataFrame, design: Design) -> Settled:
    """Whether the cost of one method alone is known well: as well as the survival that it is divided by."""
    wide = float((survived["upper"] - survived["lower"]).max()) / 2 > design.smallest_difference
    return "partly" if wide else "yes"


def unanswered_finding(key: str, question: str, reason: str, milestone: str, at_day: float) -> Finding:
    """Make the finding of a question that the records cannot answer; it stays on the list with its reason."""
    graded, reasons, raise_it = grade(Circumstances(answered=False))
    return Finding(
        key=key,
        question=question,
        answer=reason,
        estimate=None,
        lower=None,
        upper=None,
        unit="",
        milestone=milestone,
        at_day=at_day,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )


def _counts(line: Mapping[str, Any]) -> Counts:
    return Counts(int(line["n_seedlings"]), int(line["n_plots"]), int(line["n_sites"]))
