"""Why a section has nothing to show, and what the allocation lets the report say."""

from __future__ import annotations

from collections.abc import Iterable

from survivor.analysis.result import Analysis
from survivor.document.elements import Paragraph
from survivor.report import english as en
from survivor.sentences import Name, Names, say
from survivor.vocabulary import BY_CHOICE, RANDOM
from survivor.words import sentence


def why(analysis: Analysis, part: str, otherwise: str, *, alone: bool = False) -> str:
    """Return the reason why a part could not be made, or why nothing could; else ``otherwise``.

    ``alone``: without the name of the part, where that stands before it.
    """
    reason = analysis.unmade.get("season", analysis.unmade.get(part))
    if reason is None:
        return sentence(otherwise)
    return reason.alone if alone else reason.text


def usual_practice(analysis: Analysis) -> str | None:
    """Return the usual local practice that the study file names, where the records hold it; else None."""
    named = analysis.settings.design.usual_practice
    against = compared_with(analysis)
    return named if named is not None and against in (None, named) else None


def compared_with(analysis: Analysis) -> str | None:
    """Return the preparation that the others are compared with; None where there is no comparison."""
    if analysis.comparing.against is None or analysis.comparing.against.table.empty:
        return None
    against = analysis.comparing.against.table["against"].astype(str).unique()
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
    if named is None:
        text = say(en.NO_USUAL, against=Name(against))
    else:
        text = say(en.USUAL_ABSENT, named=Name(named), against=Name(against))
    return (Paragraph(text, kind="note", label="No usual practice"),)


def not_held(analysis: Analysis, shown: Iterable[str]) -> str:
    """Name the preparations of the records that a table does not show, with the reason; else nothing."""
    held = {str(name) for name in shown}
    every = dict.fromkeys(analysis.records.intervals["method"].astype(str))
    absent = [name for name in every if name not in held]
    if not absent:
        return ""
    them = "it" if len(absent) == 1 else "them"
    return str(say(en.NOT_HELD, names=Names(tuple(absent)), them=them))


def is_random(analysis: Analysis) -> bool:
    """Whether plots were given their preparation at random, so that cause may be spoken of."""
    return analysis.settings.design.allocation == RANDOM


def not_random(analysis: Analysis, said: str) -> tuple[Paragraph, ...]:
    """Say it where preparations were not allocated at random; nothing where they were."""
    if is_random(analysis):
        return ()
    return (Paragraph(said, kind="note", label="Not allocated at random"),)


def allocation(analysis: Analysis) -> Paragraph:
    """Say how plots came by their preparation, and what may be read from the differences."""
    design = analysis.settings.design
    seasons = "this season" if analysis.planting_years.empty else "these seasons"
    if design.allocation == RANDOM:
        text = en.RANDOM_BLOCKS.format(seasons=seasons)
        return Paragraph(text, label="How plots got their preparation", kind="small")
    if design.allocation == BY_CHOICE:
        first = [en.CHOSEN]
        if design.reason_for_choice:
            first.append(en.CHOSEN_WHY.format(reason=design.reason_for_choice.strip().rstrip(".")))
    else:
        first = [en.NOT_RECORDED]
    text = " ".join([*first, en.AS_SEEN.format(seasons=seasons)])
    return Paragraph(text, kind="note", label="Not allocated at random")
