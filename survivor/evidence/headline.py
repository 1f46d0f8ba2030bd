"""The headline of a comparison of preparations, from the findings of its comparisons."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from survivor.evidence.finding import Finding
from survivor.evidence.words import Reading, difference_phrase

QUESTION = "Under which preparation were most plants alive?"
CLEAR: tuple[Reading, ...] = ("clear difference", "clear but small difference")
_OPEN: tuple[tuple[Reading, str], ...] = (
    ("no difference worth having", "No difference worth having from"),
    ("no clear difference", "No clear difference from"),
    ("too little data to tell", "Too little data to tell from"),
)


def headline_finding(comparisons: Sequence[tuple[Finding, Reading]]) -> Finding | None:
    """Make the headline of comparisons with one usual practice.

    It leads with the largest clear difference, names the other clear ones with their
    sizes, then the rest by what is known of them. Numbers, grade and reasons are
    those of the comparison that it leads with.

    Parameters
    ----------
    comparisons
        Findings of the comparisons that could be made, each against the same method,
        and how each reads.

    Returns
    -------
    Finding or None
        None where nothing could be compared.
    """
    if not comparisons:
        return None
    against = comparisons[0][0].methods[1]
    ordered = sorted(comparisons, key=lambda pair: -(pair[0].estimate or 0.0))
    clear = [finding for finding, reading in ordered if reading in CLEAR]
    lead = clear[0] if clear else ordered[0][0]
    parts = [lead.answer]
    if not clear:
        parts = [
            f"No preparation is clearly better or worse than {against} in these records.",
            f"The largest difference seen: {lead.answer}",
        ]
    if len(clear) > 1:
        rest = "; ".join(f"{finding.methods[0]} {_phrase(finding)}" for finding in clear[1:])
        parts.append(f"Also clearly different from {against}: {rest}.")
    for reading, words in _OPEN:
        named = [finding.methods[0] for finding, found in ordered if found == reading and finding is not lead]
        if named:
            parts.append(f"{words} {against}: {', '.join(named)}.")
    return replace(lead, key="headline", question=QUESTION, answer=" ".join(parts))


def _phrase(finding: Finding) -> str:
    return difference_phrase(finding.estimate or 0.0, finding.lower or 0.0, finding.upper or 0.0)
