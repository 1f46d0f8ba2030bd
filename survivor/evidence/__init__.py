"""Findings: every answer with its size, uncertainty, cost and grade, in plain words."""

from survivor.evidence.finding import Finding
from survivor.evidence.grading import GRADES, RULES, Circumstances, Rule, grade, rules_table
from survivor.evidence.making import contrast_finding, payoff_finding, target_finding, unanswered_finding
from survivor.evidence.money import value_finding
from survivor.evidence.words import (
    Counts,
    Verdict,
    comparison_sentence,
    reading,
    settled,
    survival_sentence,
    target_verdict,
)

__all__ = [
    "GRADES",
    "RULES",
    "Circumstances",
    "Counts",
    "Finding",
    "Rule",
    "Verdict",
    "comparison_sentence",
    "contrast_finding",
    "grade",
    "payoff_finding",
    "reading",
    "rules_table",
    "settled",
    "survival_sentence",
    "target_finding",
    "target_verdict",
    "unanswered_finding",
    "value_finding",
]
