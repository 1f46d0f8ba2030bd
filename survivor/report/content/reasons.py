"""Why a section has nothing to show, and what the allocation lets the report say."""

from __future__ import annotations

from collections.abc import Iterable
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
    """Return the usual local practice that the study file names, where the records hold it; else None."""
    named = analysis.settings.design.usual_practice
    against = compared_with(analysis)
    return named if named is not None and against in (None, named) else None


def compared_with(analysis: Analysis) -> str | None:
    """Return the preparation that the others are compared with; None where there is no comparison."""
    if analysis.contrasts is None or analysis.contrasts.table.empty:
        return None
    against = analysis.contrasts.table["against"].astype(str).unique()
    return str(against[0]) if len(against) == 1 else None


def base_words(analysis: Analysis) -> str:
    """Name what the others are compared with: the usual practice, or a preparation by its name."""
    against = compared_with(analysis)
    return "the usual practice" if against is None or usual_practice(analysis) else against


def no_usual_practice(analysis: Analysis) -> tuple[Paragraph, ...]:
    """Say with what the others are compared where that is not a usual practice named in the study file."""
    against = compared_with(analysis)
    if against is None or usual_practice(analysis) is not None:
        return ()
    named = analysis.settings.design.usual_practice
    first = (
        "No usual practice is named in the study file"
        if named is None
        else f"The usual practice of the study file, {named}, is in no plot that can be compared"
    )
    return (
        Paragraph(
            f"{first}: compared with {against}, the preparation with most plots.",
            kind="note",
            label="No usual practice",
        ),
    )


def not_held(analysis: Analysis, shown: Iterable[str]) -> str:
    """Name the preparations of the records that a table does not show, with the reason; else nothing."""
    held = {str(name) for name in shown}
    every = dict.fromkeys(analysis.records.intervals["method"].astype(str))
    absent = [name for name in every if name not in held]
    if not absent:
        return ""
    return (
        f"Not in this table: {listed(absent)}; no site joins {'it' if len(absent) == 1 else 'them'} to the "
        "others, so the model within sites leaves "
        f"{'it' if len(absent) == 1 else 'them'} out."
    )


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
