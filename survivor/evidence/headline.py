"""The headline of a comparison of preparations, from the findings of its comparisons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from survivor.evidence.finding import Finding
from survivor.evidence.grading import GRADES
from survivor.evidence.words import Reading, difference_phrase

QUESTION = "Under which preparations were more plants alive than under the usual practice?"
CLEAR: tuple[Reading, ...] = ("clear difference", "clear but small difference")
_WEAK = ("slight", "unanswered")  # under these nothing is called clear
_NONE: Reading = "no difference worth having"
_LITTLE: Reading = "too little data to tell"


def question_of(against: str, named: bool) -> str:
    """Ask the headline's question; by name where the study file names no usual practice."""
    return QUESTION if named else f"Under which preparations were more plants alive than under {against}?"


def headline_finding(
    comparisons: Sequence[tuple[Finding, Reading]],
    named: bool = True,
    left: Sequence[tuple[str, str]] = (),
) -> Finding | None:
    """Make the headline of comparisons with one usual practice.

    It leads with the largest clear gain and names the other clear ones with their
    sizes, then what is clearly worse, then the rest by what is known of them.

    Parameters
    ----------
    comparisons
        Findings of the comparisons that could be made, each against the same method,
        and how each reads.
    named
        Whether the method compared against is the study's usual practice.
    left
        Preparations that could not be compared, each with the reason, so that every one of
        the records stands in the headline.

    Returns
    -------
    Finding or None
        None where nothing could be compared. Its numbers are those of the comparison
        that it leads with; its grade and reasons those of the least sure of the
        comparisons that answer the question: the clear gains, or all of them where there
        is none. What else is said carries its own grade where that is another.
    """
    if not comparisons:
        return None
    against = comparisons[0][0].methods[1]
    ordered = sorted(comparisons, key=lambda pair: -(pair[0].estimate or 0.0))
    clear = [finding for finding, reading in ordered if reading in CLEAR]
    better = [finding for finding in clear if (finding.estimate or 0.0) > 0]
    worse = [finding for finding in clear if (finding.estimate or 0.0) <= 0][::-1]
    every = [finding for finding, _ in ordered]
    weakest = min(better or every, key=lambda finding: GRADES.index(finding.grade))
    lead = better[0] if better else max(every, key=lambda finding: abs(finding.estimate or 0.0))
    if better:
        parts = [lead.answer]
    else:
        parts = [f"No preparation is shown to be better than {against} in these records."]
    for words, found in (("Also clearly better than", better[1:]), ("Clearly worse than", worse)):
        sure = [finding for finding in found if finding.grade not in _WEAK]
        unsure = [finding for finding in found if finding.grade in _WEAK]
        if sure:
            parts.append(f"{words} {against}: {_with_sizes(sure, weakest)}.")
        if unsure:
            # 'Clearly' would lend a slight answer a weight that its grade denies it.
            direction = "better" if "better" in words else "worse"
            parts.append(f"Came out {direction} than {against}: {_with_sizes(unsure, weakest)}.")
    if not clear:
        parts.append(f"The largest difference seen is that of {lead.methods[0]}: {_phrase(lead)}.")
    parts += _open(ordered, against)
    if left:
        parts.append(not_compared(left))
    return replace(
        lead,
        key="headline",
        question=question_of(against, named),
        answer=" ".join(parts),
        grade=weakest.grade,
        reasons=weakest.reasons,
        raise_it=weakest.raise_it,
    )


def not_compared(left: Sequence[tuple[str, str]]) -> str:
    """Name preparations that were not compared, those with one reason together."""
    whom: dict[str, list[str]] = {}
    for name, why in left:
        whom.setdefault(why, []).append(name)
    return f"Not compared: {'; '.join(f'{_listed(names)} ({why})' for why, names in whom.items())}."


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _open(ordered: Sequence[tuple[Finding, Reading]], against: str) -> list[str]:
    """Name the comparisons that show no difference, by what is known of them."""
    little = [finding for finding, read in ordered if read == _LITTLE]
    groups = (
        (f"No difference worth having from {against}", [found for found, read in ordered if read == _NONE]),
        (
            f"Too little data to tell from {against}",
            [found for found in little if not _leaves_out_nought(found)],
        ),
        (
            f"Too little data to tell from {against} once the number of comparisons is allowed for",
            [found for found in little if _leaves_out_nought(found)],
        ),
    )
    return [f"{words}: {'; '.join(one.methods[0] for one in found)}." for words, found in groups if found]


def _leaves_out_nought(finding: Finding) -> bool:
    """Whether the limits of the one comparison, which know of no other, leave nought out."""
    return finding.lower is not None and finding.upper is not None and not finding.lower <= 0 <= finding.upper


def _with_sizes(findings: Sequence[Finding], weakest: Finding) -> str:
    return "; ".join(
        f"{finding.methods[0]} {_phrase(finding)}"
        + ("" if finding.grade == weakest.grade else f", how sure: {finding.grade}")
        for finding in findings
    )


def _phrase(finding: Finding) -> str:
    return difference_phrase(finding.estimate or 0.0, finding.lower or 0.0, finding.upper or 0.0)
