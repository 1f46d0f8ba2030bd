"""Findings: every answer with its size, uncertainty, cost and grade, in plain words."""

from survivor.evidence.finding import NOT_ENOUGH, Alternative, Finding, Reading
from survivor.evidence.grading import GRADES, RULES, Circumstances, Rule, grade, rules_table
from survivor.evidence.making import (
    contrast_finding,
    payoff_finding,
    target_finding,
    unanswered_finding,
    value_finding,
)
from survivor.evidence.words import (
    Counts,
    Verdict,
    compared,
    reading,
    settled,
    target_verdict,
)

__all__ = [
    "GRADES",
    "NOT_ENOUGH",
    "RULES",
    "Alternative",
    "Circumstances",
    "Counts",
    "Finding",
    "Reading",
    "Rule",
    "Verdict",
    "compared",
    "contrast_finding",
    "grade",
    "payoff_finding",
    "reading",
    "rules_table",
    "settled",
    "target_finding",
    "target_verdict",
    "unanswered_finding",
    "value_finding",
]
