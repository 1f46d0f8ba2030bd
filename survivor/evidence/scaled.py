"""Survival scaled to what a funder counts in: plants of the whole planting, and stems on a hectare."""

from __future__ import annotations

from dataclasses import replace

from survivor.evidence.finding import Finding
from survivor.evidence.grading import GRADES
from survivor.evidence.words import Counts
from survivor.figures.words import limits, number


def total_finding(alive: Finding, estimate: float, lower: float, upper: float, put_in: float) -> Finding:
    """Make the finding of how many plants of the whole planting are alive.

    Parameters
    ----------
    alive
        Survival of the whole planting, as :func:`survival_finding` gives it.
    estimate, lower, upper
        Plants, with 95 % limits.
    put_in
        Plants put in over the whole planting.
    """
    answer = (
        f"Of {number(put_in)} plants put in over the whole planting, {number(estimate)} were alive at "
        f"{alive.milestone} (95 % limits {limits(lower, upper)}; {_rests_on(alive)}). Infill is not in it."
    )
    return replace(
        alive,
        key="total",
        question="How many plants are alive in the whole planting?",
        answer=answer,
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit="plants",
    )


def stocking_finding(alive: Finding, estimate: float, lower: float, upper: float, put_in: float) -> Finding:
    """Make the finding of the stocking: living stems on a hectare, of plants put in first.

    Parameters
    ----------
    alive
        Survival of the whole planting.
    estimate, lower, upper
        Living stems per hectare, with 95 % limits.
    put_in
        Plants put in per hectare.
    """
    answer = (
        f"Of {number(put_in)} plants put in per hectare, {number(estimate)} living stems stood at "
        f"{alive.milestone} (95 % limits {limits(lower, upper)}; {_rests_on(alive)}). Infill and natural "
        "recruits are not in it."
    )
    return replace(
        alive,
        key="stocking",
        question="What is the stocking: how many living stems stand on a hectare?",
        answer=answer,
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit="living stems per hectare",
    )


def no_surer(finding: Finding, than: Finding) -> Finding:
    """Hold a finding to the grade of another that rests on the same survival, with its reasons."""
    if GRADES.index(than.grade) >= GRADES.index(finding.grade):
        return finding
    return replace(finding, grade=than.grade, reasons=than.reasons, raise_it=than.raise_it)


def _rests_on(finding: Finding) -> Counts:
    return Counts(finding.n_seedlings, finding.n_plots, finding.n_sites)
