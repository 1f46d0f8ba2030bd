"""Findings about money beside the cost per established plant: the best value by what a plant is worth."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from survivor.costing import Payoff
from survivor.effects.confounding import BETWEEN, WITHIN
from survivor.evidence.finding import Finding
from survivor.evidence.grading import Circumstances, Settled, grade
from survivor.evidence.words import Counts
from survivor.settings import Design
from survivor.vocabulary import CONFIDENCE

VALUE_QUESTION = "Which preparation is the best value?"


def basis_of(payoff: Payoff, method: Any) -> str:
    """Tell whether what is said of one method against the others rests on sites that hold both."""
    return BETWEEN if any(method in pair for pair in payoff.between) else WITHIN


def rests_on(payoff: Payoff) -> Counts:
    """Count what costs rest on; of sites the most that one method has where they are not told together."""
    table = payoff.table
    sites = payoff.n_sites or int(table["n_sites"].max())
    return Counts(int(table["n_seedlings"].sum()), int(table["n_plots"].sum()), sites)


def rests_words(payoff: Payoff) -> str:
    """Say what costs rest on; nothing where it is not known at how many sites together."""
    return f" This rests on {rests_on(payoff)}." if payoff.n_sites else ""


def value_finding(
    payoff: Payoff, milestone: str, design: Design, *, flags: Circumstances | None = None
) -> Finding | None:
    """Make the finding of the best value; None where fewer than two methods can be costed.

    Parameters
    ----------
    payoff
        Costs with the chance of the best value.
    milestone, design
        As for the other findings.
    flags
        What else is known, such as a penalised model.
    """
    value = payoff.best_value
    if value is None or value.table.empty:
        return None
    lead = value.table[value.table["best"]]
    clear = bool((lead["probability"] >= CONFIDENCE).all())
    leaders = list(dict.fromkeys(lead[payoff.by]))
    survived = payoff.survival.table
    costed = survived[survived[payoff.by].isin(payoff.table[payoff.by])]
    between = any(basis_of(payoff, method) == BETWEEN for method in leaders)
    settled: Settled = "yes" if clear else "partly" if len(leaders) > 1 else "no"
    graded, reasons, raise_it = grade(
        replace(
            flags or Circumstances(),
            compares=True,
            allocation=design.allocation,
            plots_placed=design.plots_placed,
            basis=BETWEEN if between else WITHIN,
            df=float(costed["df"].min()),
            fewest_plots=int(costed["n_plots"].min()),
            settled=settled,
        )
    )
    counts = rests_on(payoff)
    return Finding(
        key="value",
        question=VALUE_QUESTION,
        answer=f"At these sites: {value.statement[:1].lower()}{value.statement[1:]}{rests_words(payoff)}",
        estimate=None,
        lower=None,
        upper=None,
        unit="",
        milestone=milestone,
        at_day=payoff.at_day,
        methods=tuple(map(str, leaders)),
        n_seedlings=counts.seedlings,
        n_plots=counts.plots,
        n_sites=counts.sites,
        checks=value.checks,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )
