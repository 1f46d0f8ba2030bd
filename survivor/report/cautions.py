"""Cautions that go with advice: those a preparation touches, and all of them.

Nothing here is an instruction for field work, and no product rate is ever printed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from survivor.document.elements import Link, Paragraph, Section, Terms
from survivor.report import english as en
from survivor.words import listed

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "cautions"


_RIP: Final = r"\brip(?!ari|en|rap|-rap|ple)"
_MACHINES: Final = (_RIP, "auger", "mound", "scalp", "cultivat", "plough", "drill", "excavat")
#: Words of works that break ground: "strip" is no rip, and a stakeholder has no stake. Guards have stakes.
_GROUND: Final = re.compile(
    rf"{_RIP}|\b(?:auger|mound|scalp|stak(?!eholder)|pegs?\b|pegg|dig(?!it)|dug|drill"
    r"|plough|plow|discs?\b|disced|discing|harrow|cultivat|scarif|excavat|trench|fenc|posts\b|guard|subsoil"
    r"|till(?:ed|ing|age)\b)|holes?\b"
)


def breaks_ground(text: str) -> bool:
    """Tell by its words whether a work, or a preparation, breaks ground: digs, rips or drives stakes."""
    return _GROUND.search(text.casefold()) is not None


@dataclass(frozen=True)
class Caution:
    """A subject, the works that touch it, one sentence, and the rest.

    Attributes
    ----------
    subject, short
        Its name, and one sentence of it.
    touched_by
        Words of the works that it goes with, as patterns.
    text
        The rest; ``{called}`` stands for what the reader has in hand.
    by_ground
        It also goes with whatever breaks ground. Without this and without words it goes with
        every preparation.
    """

    subject: str
    touched_by: tuple[str, ...]
    short: str
    text: str
    by_ground: bool = False

    def touches(self, work: str) -> bool:
        """Tell whether a preparation or a work of this name touches it."""
        if self.by_ground and breaks_ground(work):
            return True
        return any(re.search(word, work.casefold()) for word in self.touched_by)

    @property
    def full(self) -> str:
        """The rest, in a report."""
        return self.said_in("report")

    def said_in(self, called: str) -> str:
        """Return the rest, in what is called a page or a plan."""
        return self.text.format(called=called)


CAUTIONS: Final = (
    Caution(
        "Herbicide",
        ("spray", "herbicide", "knockdown", "pre-emergent", "weed control", "residual"),
        "the label is the law",
        "The label is the law; permits, training and records are as local rules ask. This {called} prints no "
        "product and no rate. Keep buffers and mind drift; some products may not be used near water; "
        "residual products wash on slopes and harm roots. Wear the protective equipment the label names and "
        "keep to withholding periods for livestock.",
    ),
    Caution(
        "Buried and overhead services",
        (),
        "get the plans of services before the ground is broken",
        "Get the plans of services before ripping, augering, digging or driving stakes. Cables can lie at 30 "
        "cm, shallower than a rip. Look up for lines before machinery goes up.",
        by_ground=True,
    ),
    Caution(
        "Machinery",
        (*_MACHINES, "tractor", "slash"),
        "tractors roll over and augers catch",
        "Tractors roll over on slopes; augers entangle and kick back. Two people, and someone who knows "
        "where they are.",
    ),
    Caution(
        "Erosion",
        (_RIP, "mound", "scalp", "strip", "spray", "cultivat", "plough", "fallow"),
        "work on the contour and leave breaks",
        "Rip on the contour and leave unripped breaks; spots rather than strips on banks. Bare ground on a "
        "slope washes in the first storm.",
    ),
    Caution(
        "Waterways",
        (*_MACHINES, "spray", "herbicide"),
        "works near a waterway may need a permit",
        "Works in or beside a waterway may need a permit; keep machines and sprays back from the bank.",
    ),
    Caution(
        "Native ground cover and old trees",
        (*_MACHINES, "spray", "herbicide", "weed control"),
        "keep off intact ground cover and the roots of standing trees",
        "Intact native ground cover is not a weed: leave it. Keep machines and residual products off the "
        "roots of standing trees.",
    ),
    Caution(
        "Cultural heritage",
        (),
        "check for heritage before the ground is broken",
        "Check heritage registers and ask the people whose country it is before breaking ground; stop and "
        "report if something is found.",
        by_ground=True,
    ),
    Caution(
        "Hygiene",
        (),
        "clean machines and boots between sites",
        "Clean machines, tools and boots between sites: weeds and root rot travel in soil.",
    ),
    Caution(
        "Crews",
        (),
        "mind fire, heat and snakes",
        "Fire danger, heat, snakes, sun and lone work: plan for them before the day.",
    ),
    Caution(
        "Landholders",
        (),
        "agree on everything with the landholder, an untreated comparison too",
        "Agree with the landholder before work starts, and before leaving an untreated strip for comparison.",
    ),
)


def touched(texts: tuple[str, ...]) -> tuple[Caution, ...]:
    """Return the cautions that words such as ``deep ripping`` touch; general ones are left out."""
    return tuple(caution for caution in CAUTIONS if any(caution.touches(text) for text in texts))


def _standing(analysis: Analysis) -> list[str]:
    """Names and works of the preparations that some plot of the records had."""
    had = set(analysis.records.plots["method"].astype(str))
    names = [text for m in analysis.settings.methods if m.name in had for text in (m.name, *m.works)]
    return [*names, *sorted(had)]


def before_acting(analysis: Analysis) -> tuple[Paragraph, ...]:
    """Return a short caution for the preparations compared, to stand beside their comparison."""
    names = _standing(analysis)
    if analysis.comparing.against is not None:
        names.extend(str(name) for name in analysis.comparing.against.table["method"])
    found = touched(tuple(names))
    if not found:
        return ()
    said = " ".join(en.CAUTION.format(subject=one.subject, short=one.short) for one in found)
    return (Paragraph(said, kind="note", label="Before acting on this", see=Link("Cautions", f"#{KEY}")),)


def cautions(analysis: Analysis) -> Section:
    """Return every caution, those touched by the preparations of this study named first."""
    names = _standing(analysis)
    found = touched(tuple(names))
    text = en.CAUTIONS
    if found:
        text += f" {en.CAUTIONS_TOUCHED.format(subjects=listed(c.subject.lower() for c in found))}"
    pairs = tuple((caution.subject, caution.full) for caution in CAUTIONS)
    return Section(KEY, "Cautions", (Paragraph(text), Terms(pairs)))
