"""Which part of the preparations paid, when, and what was not answerable: one paragraph and a picture."""

from __future__ import annotations

from functools import partial
from typing import Any

from survivor.analysis.result import Analysis
from survivor.document.elements import Block, Figure, Paragraph, Section
from survivor.evidence.finding import Finding
from survivor.figures.comparison import works_figure
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import joined, signed, size, when
from survivor.sentences import Name, Names, Sentence, Value, cell, say
from survivor.vocabulary import RANDOM, REFUSED
from survivor.words import capital, listed, number, plain
from survivor.works.answers import LATER, subject_of
from survivor.works.columns import CALLED, LEAD, PASSES, RIP_SOIL
from survivor.works.parts import PAIR, WORK

_MOST_SAID = 1  # of what is not answerable; the annex has it all
_FEWEST_ROWS = 3  # of the picture: two are said as fast
_ORDER = (WORK, PAIR, LEAD, PASSES, RIP_SOIL, LATER)


def paid(analysis: Analysis) -> tuple[Section, ...]:
    """Return what each work added; nothing where the study file does not ask about works."""
    works = analysis.works
    if not works.asked:
        return ()
    rows = works.answers.to_dict("records")
    told = [(row, one) for row, one in zip(rows, works.findings, strict=True) if one.reading is not None]
    clear = [(row, one) for row, one in told if str(one.reading).startswith("clear")]
    clear.sort(key=lambda pair: (_ORDER.index(str(pair[0]["kind"])), -abs(pair[1].estimate or 0.0)))
    smallest = plain(analysis.settings.design.smallest_difference)
    small = [_named(row) for row, one in told if one.reading == "no difference that matters"]
    unclear = [row for row, one in told if one.reading == "not enough evidence to say"]
    open_ = [_named(row) for row in unclear if row["kind"] not in en.PARTS_TIMES]
    times = [en.PARTS_TIMES[row["kind"]] for row in unclear if row["kind"] in en.PARTS_TIMES]
    text = joined(
        *(_clear(analysis, row, one, first=place == 0) for place, (row, one) in enumerate(clear)),
        say(en.PARTS_SMALL, works=Names(tuple(small)), smallest=smallest) if small else None,
        say(en.PARTS_OPEN, works=Names(tuple(open_))) if open_ else None,
        say(en.PARTS_TIME_OPEN if open_ else en.PARTS_TIME_ONLY_OPEN, questions=listed(times))
        if times
        else None,
        _cheapest(analysis, smallest),
        *_not_answerable(analysis),
    )
    picture = _picture(analysis)
    blocks: list[Block] = [Paragraph(text, see=in_annex(en.PARTS_SEE, "works"))]
    return (Section("parts", en.PARTS, (*blocks, *([picture] if picture is not None else []))),)


def _picture(analysis: Analysis) -> Figure | None:
    """Return a row a work, most first; nothing where a picture would hold a row or two."""
    table = analysis.works.answers
    rows = table[table["kind"].isin((WORK, LATER)) & table["estimate"].notna()]
    if len(rows) < _FEWEST_ROWS:
        return None
    rows = rows.sort_values("estimate", ascending=False, kind="stable")
    under = [
        en.PARTS_DAY.format(day=number(row["low"]), at=number(row["high"])) if row["kind"] == LATER else ""
        for row in rows.to_dict("records")
    ]
    drawn = rows.assign(work=rows["what"], under=under)[["work", "under", "estimate", "lower", "upper"]]
    smallest = analysis.settings.design.smallest_difference
    return Figure(
        key="works",
        title=en.PARTS_FIGURE.format(per=analysis.per_100),
        finding=say(en.PARTS_MOST, work=Name(_named(rows.iloc[0].to_dict()))),
        caption=say(en.PARTS_CAPTION),
        draw=partial(works_figure, drawn, smallest, per=analysis.per_100),
        table=None,
    )


def _named(row: dict[Any, Any]) -> str:
    if row["kind"] == PAIR:
        first, second = str(row["what"]).split(" x ")
        return en.PARTS_PAIR.format(first=first, second=second)
    return str(row["what"])


def _clear(analysis: Analysis, row: dict[Any, Any], one: Finding, *, first: bool) -> Sentence:
    verb = en.PARTS_VERBS[row["allocation"] == RANDOM]
    matters = analysis.settings.design.smallest_difference
    less = str(one.reading).startswith("clear but")
    small = en.PARTS_LESS.format(smallest=plain(matters)) if less else ""
    parts: dict[str, Any] = {"verb": verb, "more": signed(one), "span": size(one)[1], "per": analysis.per_100}
    parts["small"] = small
    if row["kind"] == LATER:
        day, at = (
            Value(plain(float(row[end])), float(row[end]), cell("works", end, what=str(row["what"])))
            for end in ("low", "high")
        )
        followed = en.PARTS_FOLLOWED if first else en.PARTS_FOLLOWED_TOO
        return say(followed, work=Name(capital(_named(row))), day=day, at=at, **parts)
    name, one_set = Name(capital(_named(row))), row["kind"] == WORK and row["n_sets"] == 1
    held: Any = en.PARTS_BESIDE.format(over=row["over"]) if one_set else en.PARTS_HELD
    if row["kind"] == WORK and not first:
        if one_set:
            return say(en.PARTS_PAID_BESIDE, work=name, held=held, **parts)
        return say(en.PARTS_PAID_TOO, work=name, **parts)
    if row["kind"] in (WORK, PAIR):
        return say(en.PARTS_PAID, work=name, when=when(analysis), held=held, **parts)
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
    times = {called: en.PARTS_TIMES[key] for key, called in CALLED.items()}
    found += [
        say(en.PARTS_NOT, what=what, reason=why.what)
        for what, why in works.reasons.items()
        if what not in times
    ]
    refused = [row for row in works.answers.to_dict("records") if row["basis"] == REFUSED]
    found += [say(en.PARTS_NOT, what=_named(row), reason=str(row["reason"])) for row in refused]
    untold = [times[what] for what in works.reasons if what in times]
    if untold:
        found.append(say(en.PARTS_TIME_NOT, questions=listed(untold)))
    return found[:_MOST_SAID]
