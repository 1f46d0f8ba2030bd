"""Why a section has nothing to show, and what the allocation lets the report say."""

from __future__ import annotations

from typing import TYPE_CHECKING

from survivor.effects.confounding import BETWEEN, REFUSED
from survivor.report.content.elements import Paragraph
from survivor.report.content.wording import listed, sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

RANDOM = "random within blocks"


def why(analysis: Analysis, *words: str, otherwise: str) -> str:
    """Return what ``cannot`` says of a subject, found by any of its words; else ``otherwise``."""
    found = [said for said in analysis.cannot if any(word in said.casefold() for word in words)]
    return " ".join(sentence(said) for said in found) or sentence(otherwise)


def usual_practice(analysis: Analysis) -> str | None:
    """Return the usual local practice: as the study file names it, else as compared against."""
    named = analysis.settings.design.usual_practice
    if named is not None or analysis.contrasts is None or analysis.contrasts.table.empty:
        return named
    against = analysis.contrasts.table["against"].astype(str).unique()
    return str(against[0]) if len(against) == 1 else None


def is_random(analysis: Analysis) -> bool:
    """Whether plots were given their preparation by lot, so that cause may be spoken of."""
    return analysis.settings.design.allocation == RANDOM


def allocation(analysis: Analysis) -> Paragraph:
    """Say how plots came by their preparation, and what may be read from the differences."""
    design = analysis.settings.design
    if design.allocation == RANDOM:
        return Paragraph(
            "Preparations were drawn by lot within blocks, so a difference within a block speaks of the "
            "preparations, within the limits given. It holds for these sites and this season.",
            label="How plots got their preparation",
            kind="small",
        )
    if design.allocation == "by choice":
        first = "Preparations were chosen for each place, not drawn by lot."
        if design.reason_for_choice:
            first += f" Reason given for the choice: “{design.reason_for_choice.strip().rstrip('.')}”."
    else:
        first = (
            "The records do not say how plots were given their preparation, so this report takes it that "
            "they were chosen for each place."
        )
    return Paragraph(
        f"{first} The differences are what was seen at these sites in this season. Ground, weather or "
        f"crew that "
        "went with a preparation may account for part or all of a difference.",
        kind="note",
        label="Not allocated at random",
    )


def between_sites(analysis: Analysis) -> tuple[Paragraph, ...]:
    """Name the comparisons that rest on differences between sites alone, and those refused."""
    if analysis.contrasts is None:
        return ()
    table = analysis.contrasts.table
    found = []
    for basis, label, text in (
        (
            BETWEEN,
            "Between sites only",
            "No site holds both preparations, so these compare sites as much as preparations: {names}.",
        ),
        (
            REFUSED,
            "Not compared",
            "The records cannot tell these preparations from the sites they stand at: {names}.",
        ),
    ):
        rows = table[table["basis"].astype(str) == basis]
        if not rows.empty:
            names = [f"{row['method']} against {row['against']}" for row in rows.to_dict("records")]
            text = text.format(names=listed(names))
            given = list(rows["reason"].astype(str)) if basis == REFUSED else []
            reasons = dict.fromkeys(sentence(reason) for reason in given if reason.strip())
            found.append(Paragraph(" ".join([text, *reasons]), kind="note", label=label))
    return tuple(found)
