"""Is one preparation clearly the best: from all pairs, allowing for their number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from survivor.evidence.finding import Finding
from survivor.evidence.grading import GRADES, Circumstances, grade
from survivor.evidence.words import difference_phrase, reading
from survivor.settings import Design

BEST_QUESTION = "Is one preparation clearly the best?"
_FEWEST = 3  # methods; of two, the comparison itself is the answer


@dataclass(frozen=True)
class Pair:
    """A leader against one other preparation, per 100 planted, the leader first.

    ``between`` tells whether no site holds both; ``finding`` is that of the comparison,
    with its grade; numbers are NaN where the pair cannot be compared.
    """

    rival: str
    estimate: float
    lower: float
    upper: float
    p_adjusted: float
    between: bool
    finding: Finding


def leader_of(findings: Sequence[Finding]) -> str | None:
    """Name the preparation ahead of most others; None where fewer than three are compared.

    Parameters
    ----------
    findings
        Of all pairs. Of preparations ahead of as many, the one further ahead on average.
    """
    ahead: dict[str, list[float]] = {}
    for found in findings:
        first, second = found.methods
        size = 0.0 if found.estimate is None else found.estimate
        ahead.setdefault(first, []).append(size)
        ahead.setdefault(second, []).append(-size)
    if len(ahead) < _FEWEST or all(found.estimate is None for found in findings):
        return None
    return max(ahead, key=lambda name: (sum(size > 0 for size in ahead[name]), float(np.mean(ahead[name]))))


def best_finding(leader: str, pairs: Sequence[Pair], comparisons: int, design: Design) -> Finding:
    """Make the finding of whether one preparation is clearly the best.

    Parameters
    ----------
    leader
        The preparation ahead of most others.
    pairs
        It against each other one.
    comparisons
        How many pairs the p values are adjusted for.
    design
        For the smallest difference worth having.
    """
    smallest = design.smallest_difference
    told = [pair for pair in pairs if np.isfinite(pair.estimate) and pair.finding.grade != "unanswered"]
    not_told = [pair for pair in pairs if pair not in told]
    read = {pair.rival: reading(pair.lower, pair.upper, pair.p_adjusted, smallest) for pair in told}
    clear = [pair for pair in told if pair.estimate > 0 and read[pair.rival].startswith("clear")]
    open_ = sorted((pair for pair in told if pair not in clear), key=lambda pair: pair.estimate)
    nearest = min(told, key=lambda pair: pair.estimate)
    allowing = f"allowing for all {comparisons} pairs"
    if not open_ and not not_told:
        weakest = min((pair.finding for pair in pairs), key=lambda found: GRADES.index(found.grade))
        sure = weakest.grade != "slight"  # 'clearly' needs at least fair
        answer = (
            f"{'Yes' if sure else 'It came out so'}: at these sites {leader} had "
            f"{'clearly ' if sure else ''}more alive than each other preparation, {allowing}. "
            f"The nearest is {nearest.rival}: {_phrase(nearest)}."
        )
        return _made(weakest, leader, nearest, answer)
    ahead = "all others" if all(pair.estimate > 0 for pair in pairs) else "most others"
    parts = [f"Not shown: {leader} is ahead of {ahead} in these records, but not clearly ahead of each."]
    if open_:
        each = "; ".join(_with_p(pair, allowing) for pair in open_)
        parts.append(f"Its lead is not clear over {each}.")
    if any(pair.between for pair in open_):
        parts.append("Between sites only: no site holds both, so sites are compared as much as preparations.")
    for words, weak in (("Clearly behind it", False), ("Behind it as it came out", True)):
        behind = [pair.rival for pair in clear if (pair.finding.grade == "slight") is weak]
        if behind:
            parts.append(f"{words}: {'; '.join(behind)}.")
    if not_told:
        parts.append(f"It cannot be compared with {'; '.join(pair.rival for pair in not_told)}.")
    alike = not not_told and all(read[pair.rival] == "no difference worth having" for pair in open_)
    weakest = min((pair.finding for pair in open_ or told), key=lambda found: GRADES.index(found.grade))
    if not alike:
        graded, reasons, raise_it = grade(
            replace(Circumstances(), allocation="random within blocks", settled="no")
        )
        if GRADES.index(graded) < GRADES.index(weakest.grade):
            weakest = replace(weakest, grade=graded, reasons=reasons, raise_it=raise_it)
    return _made(weakest, leader, nearest, " ".join(parts))


def _made(weakest: Finding, leader: str, nearest: Pair, answer: str) -> Finding:
    return replace(
        nearest.finding,
        key="best",
        question=BEST_QUESTION,
        answer=answer,
        methods=(leader, nearest.rival),
        estimate=nearest.estimate,
        lower=nearest.lower,
        upper=nearest.upper,
        grade=weakest.grade,
        reasons=weakest.reasons,
        raise_it=weakest.raise_it,
    )


def _phrase(pair: Pair) -> str:
    return difference_phrase(pair.estimate, pair.lower, pair.upper)


def _with_p(pair: Pair, allowing: str) -> str:
    """Limits are of the pair alone and p allows for all pairs, so the two may seem at odds: it is said."""
    p_value = "under 0.001" if pair.p_adjusted < 0.001 else f"{pair.p_adjusted:.2f}"
    basis = ", between sites only" if pair.between else ""
    return f"{pair.rival}: {_phrase(pair)[:-1]}; p {p_value} {allowing}{basis})"
