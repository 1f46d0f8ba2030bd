"""The headline of a comparison of preparations, from the findings of its comparisons.

Is one preparation clearly the best: from all pairs, allowing for their number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from survivor.evidence import english as en
from survivor.evidence.finding import NOT_ENOUGH, Finding, Reading, as_sentences
from survivor.evidence.grading import GRADES, Circumstances, grade
from survivor.evidence.making import QUESTIONS
from survivor.evidence.words import difference_parts, reading
from survivor.sentences import Name, Names, Sentence, Value, cell, plain_text, say
from survivor.settings import Design
from survivor.vocabulary import RANDOM
from survivor.words import chance

CLEAR: tuple[Reading, ...] = ("clear difference", "clear but small difference")
_WEAK = ("weak", "not answered")  # under these nothing is called clear
_NONE: Reading = "no difference that matters"


def question_of(against: str, named: bool) -> str:
    """Ask the headline's question; by name where the study file names no usual practice."""
    return QUESTIONS["headline"] if named else str(say(en.ASKED_OF_ALL, against=Name(against)))


def headline_finding(
    comparisons: Sequence[Finding],
    named: bool = True,
    left: Sequence[tuple[str, str]] = (),
) -> Finding | None:
    """Make the headline of comparisons with one usual practice.

    It leads with the largest clear gain and names the other clear ones with their
    sizes, then what is clearly worse, then the rest by what is known of them.

    Parameters
    ----------
    comparisons
        Findings of the comparisons that could be made, each against the same method.
    named
        Whether the method compared against is the study's usual practice.
    left
        Preparations that could not be compared, each with the reason, so that every one of
        the records stands in the headline.

    Returns
    -------
    Finding or None
        None where nothing could be compared. Its numbers, grade and reasons are those of the
        comparison that it leads with; where none shows a gain, its grade and reasons are those of
        the least sure. What else is said carries its own grade where that is another.
    """
    if not comparisons:
        return None
    against = Name(comparisons[0].methods[1])
    every = sorted(comparisons, key=lambda finding: -(finding.estimate or 0.0))
    clear = [finding for finding in every if finding.reading in CLEAR]
    better = [finding for finding in clear if (finding.estimate or 0.0) > 0]
    worse = [finding for finding in clear if (finding.estimate or 0.0) <= 0][::-1]
    lead = better[0] if better else max(every, key=lambda finding: abs(finding.estimate or 0.0))
    graded = lead if better else min(every, key=lambda finding: GRADES.index(finding.grade))
    said = list(as_sentences(lead.text)) if better else [say(en.NONE_BETTER, against=against)]
    for one in better[1:]:
        said += _with_strength(one, against, graded, (en.BETTER, en.BETTER_WEAK))
    for one in worse:
        said += _with_strength(one, against, graded, (en.WORSE, en.WORSE_WEAK))
    if not clear:
        said.append(say(en.LARGEST, method=Name(lead.methods[0]), **_numbers(lead)))
    said += _open(every, against)
    said += not_compared(left)
    return replace(
        lead,
        key="headline",
        question=question_of(against.text, named),
        answer=plain_text(tuple(said)),
        said=tuple(said),
        grade=graded.grade,
        reasons=graded.reasons,
        raise_it=graded.raise_it,
        reading=lead.reading,
    )


def not_compared(left: Sequence[tuple[str, str]]) -> tuple[Sentence, ...]:
    """Name preparations that were not compared, those with one reason together."""
    whom: dict[str, list[str]] = {}
    for name, why in left:
        whom.setdefault(why, []).append(name)
    return tuple(say(en.LEFT, names=Names(tuple(names)), reason=why) for why, names in whom.items())


def _open(ordered: Sequence[Finding], against: Name) -> list[Sentence]:
    """Name the comparisons that show no difference, by what is known of them."""
    little = [finding for finding in ordered if finding.reading == NOT_ENOUGH]
    groups = (
        (en.ALIKE, [one for one in ordered if one.reading == _NONE]),
        (en.OPEN, [one for one in little if not _leaves_out_nought(one)]),
        (en.OPEN_OF_MANY, [one for one in little if _leaves_out_nought(one)]),
    )
    return [
        say(words, names=Names(tuple(one.methods[0] for one in held)), against=against)
        for words, held in groups
        if held
    ]


def _leaves_out_nought(finding: Finding) -> bool:
    """Whether the limits of the one comparison, which know of no other, leave zero out."""
    return finding.lower is not None and finding.upper is not None and not finding.lower <= 0 <= finding.upper


def _with_strength(
    finding: Finding, against: Name, graded: Finding, words: tuple[str, str]
) -> list[Sentence]:
    """Say a clear difference; 'clearly' would lend a weak answer a weight that its grade denies it."""
    sure, weak = words
    method = Name(finding.methods[0])
    if finding.grade in _WEAK:
        return [say(weak, method=method, against=against, **_numbers(finding))]
    said = [say(sure, method=method, against=against, **_numbers(finding))]
    if finding.grade != graded.grade:
        said.append(say(en.OF_THAT, strength=finding.strength))
    return said


def _numbers(finding: Finding) -> dict[str, Value]:
    return difference_parts(finding.key, finding.size)


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
        For the smallest difference that matters.
    """
    smallest = design.smallest_difference
    told = [pair for pair in pairs if np.isfinite(pair.estimate) and pair.finding.grade != "not answered"]
    not_told = [pair for pair in pairs if pair not in told]
    read = {pair.rival: reading(pair.lower, pair.upper, pair.p_adjusted, smallest) for pair in told}
    clear = [pair for pair in told if pair.estimate > 0 and read[pair.rival].startswith("clear")]
    open_ = sorted((pair for pair in told if pair not in clear), key=lambda pair: pair.estimate)
    nearest = min(told, key=lambda pair: pair.estimate)
    names, many = Name(leader), Value(str(comparisons), float(comparisons))
    if not open_ and not not_told:
        weakest = min((pair.finding for pair in pairs), key=lambda found: GRADES.index(found.grade))
        # 'clearly' needs at least moderate
        words = en.BEST if weakest.grade != "weak" else en.BEST_WEAK
        best = [
            say(words, leader=names, pairs=many),
            say(en.NEAREST, rival=Name(nearest.rival), **_of_pair(nearest)),
        ]
        return _made(weakest, leader, nearest, "clear difference", best)
    alike = not not_told and all(read[pair.rival] == _NONE for pair in open_)
    ahead = en.ALL_OTHERS if all(pair.estimate > 0 for pair in pairs) else en.MOST_OTHERS
    said = [say(en.BEST_ALIKE if alike else en.BEST_OPEN, leader=names, others=ahead)]
    for pair in open_:
        method, against = pair.finding.methods
        at = cell("all_pairs", "p_adjusted", method=method, against=against)
        p = Value(chance(pair.p_adjusted), pair.p_adjusted, at)
        said.append(say(en.LEAD_OPEN, rival=Name(pair.rival), p=p, pairs=many, **_of_pair(pair)))
    groups = (
        (en.LEAD_BETWEEN, [pair.rival for pair in open_ if pair.between]),
        (en.BEHIND, [pair.rival for pair in clear if pair.finding.grade != "weak"]),
        (en.BEHIND_WEAK, [pair.rival for pair in clear if pair.finding.grade == "weak"]),
        (en.NOT_TOLD, [pair.rival for pair in not_told]),
    )
    said += [say(words, names=Names(tuple(held))) for words, held in groups if held]
    weakest = min((pair.finding for pair in open_ or told), key=lambda found: GRADES.index(found.grade))
    if not alike:
        graded, reasons, raise_it = grade(replace(Circumstances(), allocation=RANDOM, settled="no"))
        if GRADES.index(graded) < GRADES.index(weakest.grade):
            weakest = replace(weakest, grade=graded, reasons=reasons, raise_it=raise_it)
    return _made(weakest, leader, nearest, _NONE if alike else NOT_ENOUGH, said)


def _made(weakest: Finding, leader: str, nearest: Pair, read: Reading, said: Sequence[Sentence]) -> Finding:
    own = nearest.finding
    ends = own.lower_simultaneous, own.upper_simultaneous
    if leader != own.methods[0]:
        lower, upper = ends
        ends = None if upper is None else -upper, None if lower is None else -lower
    return replace(
        own,
        key="best",
        question=QUESTIONS["best"],
        answer=plain_text(tuple(said)),
        said=tuple(said),
        methods=(leader, nearest.rival),
        estimate=nearest.estimate,
        lower=nearest.lower,
        upper=nearest.upper,
        lower_simultaneous=ends[0],
        upper_simultaneous=ends[1],
        grade=weakest.grade,
        reasons=weakest.reasons,
        raise_it=weakest.raise_it,
        reading=read,
    )


def _of_pair(pair: Pair) -> dict[str, Value]:
    """Write the lead over one: limits are of the pair alone and p allows for all pairs; both are said."""
    parts = difference_parts("best", (pair.estimate, pair.lower, pair.upper))
    method, against = pair.finding.methods
    turned = method == pair.rival  # the table has the rival less the leader
    ends = {"size": "estimate", "span": "upper" if turned else "lower"}
    return {
        name: Value(
            part.text,
            -part.number if turned else part.number,
            cell("all_pairs", ends[name], method=method, against=against),
            -part.scale if turned else part.scale,
        )
        for name, part in parts.items()
    }
