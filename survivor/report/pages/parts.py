"""Which part of the preparations paid, when, and what was not answerable: one paragraph."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from survivor.document.elements import Paragraph, Section
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import joined, signed, size, when
from survivor.sentences import Name, Names, Sentence, Value, cell, say
from survivor.vocabulary import RANDOM
from survivor.words import capital, plain
from survivor.works.answers import LATER, subject_of
from survivor.works.parts import PAIR, WORK

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.evidence import Finding

_MOST_SAID = 4  # reasons; the annex has all of them


def paid(analysis: Analysis) -> tuple[Section, ...]:
    """Return what each work added; nothing where the study file does not ask about works."""
    works = analysis.works
    if not works.asked:
        return ()
    rows = works.answers.to_dict("records")
    told = [(row, one) for row, one in zip(rows, works.findings, strict=True) if one.reading is not None]
    clear = [(row, one) for row, one in told if str(one.reading).startswith("clear")]
    clear.sort(key=lambda pair: -abs(pair[1].estimate or 0.0))
    smallest = plain(analysis.settings.design.smallest_difference)
    small = [_named(row) for row, one in told if one.reading == "no difference that matters"]
    open_ = [_named(row) for row, one in told if one.reading == "not enough evidence to say"]
    text = joined(
        *(_clear(analysis, row, one) for row, one in clear),
        say(en.PARTS_SMALL, works=Names(tuple(small)), smallest=smallest) if small else None,
        say(en.PARTS_OPEN, works=Names(tuple(open_))) if open_ else None,
        _cheapest(analysis, smallest),
        *_not_answerable(analysis),
    )
    return (Section("parts", en.PARTS, (Paragraph(text, see=in_annex(en.PARTS_SEE, "works")),)),)


def _named(row: dict[Any, Any]) -> str:
    return str(row["what"])


def _clear(analysis: Analysis, row: dict[Any, Any], one: Finding) -> Sentence:
    verb = en.PARTS_VERBS[row["allocation"] == RANDOM]
    parts: dict[str, Any] = {"verb": verb, "more": signed(one), "span": size(one)[1], "per": analysis.per_100}
    if row["kind"] == LATER:
        day, at = (
            Value(plain(float(row[end])), float(row[end]), cell("works", end, what=str(row["what"])))
            for end in ("low", "high")
        )
        return say(en.PARTS_FOLLOWED, work=Name(capital(str(row["what"]))), day=day, at=at, **parts)
    if row["kind"] in (WORK, PAIR):
        return say(en.PARTS_PAID, work=Name(capital(str(row["what"]))), when=when(analysis), **parts)
    return say(en.PARTS_TIMED, what=capital(subject_of(row)), when=when(analysis), **parts)


def _cheapest(analysis: Analysis, smallest: str) -> Sentence | None:
    found = analysis.works.cheapest
    if found is None:
        return None
    return say(en.PARTS_CHEAPEST, cheapest=Name(found.cheapest), smallest=smallest)


def _not_answerable(analysis: Analysis) -> list[Sentence]:
    works = analysis.works
    said = [] if works.parts is None else list(works.parts.apart.said)
    found = [say(en.PARTS_ALIASED, reason=reason) for reason in said]
    found += [say(en.PARTS_NOT, what=what, reason=why.what) for what, why in works.reasons.items()]
    refused = [row for row in works.answers.to_dict("records") if row["basis"] == "refused"]
    found += [say(en.PARTS_NOT, what=_named(row), reason=str(row["reason"])) for row in refused]
    return found[:_MOST_SAID]
