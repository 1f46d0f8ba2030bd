"""The works of a preparation: their names, the words for them, and when they belong.

Common practice, no source: which works come before planting, and which after it. A work of the
user's own is carried along under its own name, and belongs wherever its day lies. No product and
no rate is asked for.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Final

from survivor.files.headers import plain

KNOCKDOWN: Final = "knockdown"
PRE_EMERGENT: Final = "pre-emergent"
SCALP: Final = "scalp"
SLASH: Final = "slash"
RIP: Final = "rip"
FOLLOW_UP: Final = "follow-up weed control"
WATERING: Final = "watering"

# Our name for a work -> other words for it.
_WORK_WORDS: Final = {
    KNOCKDOWN: (
        "knock down, knockdown spray, spray, sprayed, spraying, spot spray, spot spraying, strip spray, "
        "strip spraying, initial spray, first spray, second spray, weed spray"
    ),
    PRE_EMERGENT: "preemergent, pre emergent spray, pre-em, residual, residual spray, residual herbicide",
    SCALP: "scalping, scalped, scalp by hand, hand scalp, hand scalping, grading, graded",
    SLASH: "slashing, slashed, mow, mowing, mown, brushcut, brushcutting",
    RIP: "ripping, ripped, deep rip, deep ripping, rip line, rip lines, cross rip, cross-ripping",
    "mound": "mounding, mounded, mounds",
    "auger hole": "auger, augering, augered, auger holes",
    "hand-dug hole": "hand dug, hand-dug, hand dug holes, hand digging, dug by hand, hole dug by hand",
    "mulch mat": "mulch, mulching, mulched, mulch mats, mat, mats, weed mat",
    FOLLOW_UP: (
        "follow up, followup, follow-up, follow up spray, follow-up spray, follow up weeding, release, "
        "release spray, spot spray after planting, weeding after planting, maintenance spray"
    ),
    WATERING: "water, watered, irrigation, watered by hand",
    "guard": "guards, guarded, guarding, tree guard, tree guards",
}
BEFORE: Final = frozenset(
    (KNOCKDOWN, PRE_EMERGENT, SCALP, SLASH, RIP, "mound", "auger hole", "hand-dug hole")
)  # what belongs before planting, its day included
AFTER: Final = frozenset((FOLLOW_UP,))  # what is of plants that stand already
WEED_CONTROL: Final = (KNOCKDOWN, PRE_EMERGENT, SCALP, SLASH)
SPRAYS: Final = (KNOCKDOWN, PRE_EMERGENT)

_SOIL_WORDS: Final = {
    "dry": "d, hard, dusty, hard and dry, very dry",
    "moist": "m, damp, just moist",
    "wet": "w, saturated, sodden, waterlogged, muddy, very wet",
}

# Our word for a column of the diary -> other words for it; a sheet of works has its own.
_DIARY_WORDS: Final = {
    "site": "site name, site id, location, paddock, field",
    "block": "block id, block no, rep, replicate",
    "plot": "plot id, plot no, plot number, plot name, plots",
    "method": "preparation, prep, site preparation, treatment, preparation method",
    "work": "works, operation, task, job, activity, what was done, what we did, work done",
    "date": "date done, done on, day, works date, date of work, when",
    "pass": "pass no, pass number, round",
    "soil_state": "soil, soil condition, soil moisture, ground condition, state of the soil, soil when done",
    "depth_cm": "depth, depth in cm, rip depth, rip depth cm",
    "depth_m": "depth in m, rip depth m",
    "width_cm": "width, width in cm",
    "width_m": "width in m",
    "notes": "note, comment, comments, remarks, remark",
}


def _each(told: Mapping[str, str]) -> dict[str, tuple[str, ...]]:
    return {ours: tuple(theirs.split(", ")) for ours, theirs in told.items()}


WORK_WORDS: Final = _each(_WORK_WORDS)
DIARY_WORDS: Final = _each(_DIARY_WORDS)
_KNOWN: Final = {plain(word): ours for ours, words in WORK_WORDS.items() for word in (ours, *words)}
_SOILS: Final = {plain(word): ours for ours, words in _each(_SOIL_WORDS).items() for word in (ours, *words)}
_ALIKE: Final = 0.84


def work_name(text: str, told: Mapping[str, str]) -> str:
    """Give our name for a work; the text itself, in small letters and single spaces, where we have none.

    Parameters
    ----------
    text
        As the sheet has it.
    told
        Their word -> the work, from the study file; goes before ours.
    """
    asked = {plain(theirs): meant for theirs, meant in told.items()}
    meant = asked.get(plain(text), text)
    return _KNOWN.get(plain(meant), " ".join(meant.casefold().split()))


def is_known(name: str) -> bool:
    """Tell whether a work has a name of ours."""
    return name in WORK_WORDS


def like_known(name: str) -> str:
    """Find the work of ours that an own word may be, misspelt; "" where it is like none."""
    close = difflib.get_close_matches(plain(name), list(_KNOWN), n=1, cutoff=_ALIKE)
    return _KNOWN[close[0]] if close and not is_known(name) else ""


def soil_state(text: str) -> str | None:
    """Read the state of the soil: dry, moist or wet; "" for a blank; None for a word that is not known."""
    return _SOILS.get(plain(text)) if text else ""


def column_of(work: str) -> str:
    """Name of the column that says whether a plot got a work: letters, figures and underscores."""
    return "work_" + "_".join(plain(work).split())
