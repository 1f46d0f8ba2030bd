"""Which part of the preparations paid, when, and what was not answerable: the page of works in the annex."""

from __future__ import annotations

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import (
    Block,
    Field,
    Listing,
    Paragraph,
    Section,
    Table,
    missing,
    numbers,
    places,
    shortened,
    words,
    written,
)
from survivor.records.checks.works import DONE
from survivor.report import works_english as en
from survivor.report.columns import LIMITS, PLOTS, alive, differing, together
from survivor.vocabulary import REFUSED, SIGNIFICANCE
from survivor.words import (
    NONE,
    capital,
    chance,
    counted,
    limits,
    listed,
    number,
    plain,
    sentence,
)
from survivor.works.answers import question_of
from survivor.works.columns import LEAD
from survivor.works.later import Later

KEY = "works"
_MOST_DEPARTURES = 30


def works(analysis: Analysis) -> tuple[Section, ...]:
    """Return what each work adds; nothing where the study file does not ask about works."""
    told = analysis.works
    if not told.asked:
        return ()
    if told.answers.empty:
        reasons = " ".join(reason.text for reason in told.reasons.values())
        said = [sentence(text) for text in (told.parts.apart.said if told.parts is not None else ())]
        return (missing(KEY, en.HEADING, " ".join([*said, reasons]).strip()),)
    blocks: list[Block] = [Paragraph(_what_was_asked(analysis)), _answers(analysis)]
    blocks += _bundles(analysis)
    parts = [Section(f"{KEY}-when", en.WHEN, tuple(_timed(analysis)))] if told.timings else []
    parts += [Section(f"{KEY}-later", en.LATER, tuple(_later(analysis)))] if told.later else []
    if told.cheapest is not None:
        parts.append(Section(f"{KEY}-sets", en.SETS, tuple(_sets(analysis))))
    parts.append(Section(f"{KEY}-not", en.NOT, tuple(_not_answerable(analysis))))
    parts += _departed(analysis)
    return (Section(KEY, en.HEADING, tuple(blocks), tuple(parts)),)


def _what_was_asked(analysis: Analysis) -> str:
    source = en.FROM_DIARY if _has_diary(analysis) else en.FROM_PLAN
    return " ".join((source, en.ASKED.format(per=analysis.per_100), en.FAMILY))


def _has_diary(analysis: Analysis) -> bool:
    works = analysis.settings.works
    return works is not None and works.diary is not None


def _answers(analysis: Analysis) -> Table:
    told, asked = analysis.works, analysis.settings.works
    frame = told.answers.assign(
        question=[question_of(row) for row in told.answers.to_dict("records")],
        strength=[one.strength for one in told.findings],
    )
    fields = (
        words(en.QUESTION, "question"),
        words(en.OVER, "over", lambda over: str(over) or NONE),
        *(_or_refused(field) for field in (*differing(analysis.basis), together())),
        Field(en.ADJUSTED, ("p_adjusted",), lambda p: NONE if pd.isna(p) else chance(p)),
        PLOTS,
        words(en.ALLOCATION, "allocation"),
        words(en.STRENGTH, "strength"),
    )
    whole = asked is not None and asked.whole_plots is not None
    note = en.EACH_NOTE.format(when=analysis.season.when, unit="whole plot" if whole else "plot")
    return written("works-answers", en.EACH, frame, fields, note=note)


def _or_refused(field: Field) -> Field:
    def write(*values: float) -> str:
        return NONE if any(pd.isna(value) for value in values) else field.write(*values)

    return Field(field.heading, field.names, write, field.numeric)


def _bundles(analysis: Analysis) -> list[Block]:
    parts = analysis.works.parts
    if parts is None or parts.beyond is None:
        return []
    test = parts.beyond
    said = en.BEYOND.format(
        f=number(test.statistic, 2), df1=number(test.df1), df2=number(test.df2, 1), p=chance(test.p_value)
    )
    return [Paragraph((en.BEYOND_CLEAR if test.p_value < SIGNIFICANCE else en.BEYOND_OPEN).format(test=said))]


def _timed(analysis: Analysis) -> list[Block]:
    blocks: list[Block] = [Paragraph(en.LIKE)]
    for timing in analysis.works.timings:
        if LEAD not in timing.curve:
            continue
        fields = (numbers(en.LEAD_MONTHS, LEAD, write=places(0)), *alive(analysis.basis))
        note = en.LEAD_NOTE["line" if timing.shape == "line" else "curve"]
        blocks.append(written("works-lead", en.LEAD, timing.curve, fields, note=note))
    checks = [check for timing in analysis.works.timings for check in timing.checks if check.endswith(".")]
    if checks:
        blocks.append(Listing(tuple(dict.fromkeys(checks))))
    return blocks


def _later(analysis: Analysis) -> list[Block]:
    frame = pd.DataFrame([_line(one) for one in analysis.works.later])
    fields = (
        words(en.LATER_WORK, "work"),
        numbers(en.LATER_DAY, "day"),
        numbers(en.LATER_RATIO, "ratio", write=places(2)),
        numbers(LIMITS, "ratio_lower", "ratio_upper", write=lambda low, high: limits(low, high, 2)),
        Field(en.LATER_BEFORE, ("before", "before_lower", "before_upper"), _before),
        numbers(en.LATER_AT, "at_day"),
        *differing(analysis.basis),
        numbers(en.LATER_LEFT_OUT, "left_out"),
    )
    blocks: list[Block] = [Paragraph(f"{en.IMMORTAL} {en.IMMORTAL_RATIO}")]
    blocks.append(written("works-later", en.LATER, frame, fields, note=en.LATER_NOTE))
    adjusted = [one.work for one in analysis.works.later if one.adjusted]
    if adjusted:
        blocks.append(Paragraph(en.LATER_CHOSEN.format(works=capital(listed(adjusted)))))
    return blocks


def _line(one: Later) -> dict[str, object]:
    names = (
        "work", "day", "ratio", "ratio_lower", "ratio_upper", "before", "before_lower", "before_upper",
        "at_day", "estimate", "lower", "upper",
    )  # fmt: skip
    return {**{name: getattr(one, name) for name in names}, "left_out": one.left_out[0]}


def _before(ratio: float, lower: float, upper: float) -> str:
    return NONE if pd.isna(ratio) else f"{number(ratio, 2)} ({limits(lower, upper, 2)})"


def _sets(analysis: Analysis) -> list[Block]:
    found = analysis.works.cheapest
    assert found is not None
    row = found.table.set_index("preparation").loc[found.cheapest]
    text = (
        en.BEST.format(best=found.best),
        en.CHEAPEST.format(smallest=plain(found.smallest), cheapest=found.cheapest),
        en.NO_WORSE if row["shown_no_worse"] else en.NO_PROOF,
    )
    costs = analysis.settings.costs
    price = en.SET_COST_IN.format(currency=costs.currency) if costs and costs.currency else en.SET_COST
    fields = (
        words(en.PREPARATION, "preparation"),
        words(en.SET_WORKS, "works"),
        numbers(price, "per_plant", write=places(2)),
        *(_or_refused(field) for field in _against_best()),
        words(en.SET_NOT_WORSE, "not_shown_worse", lambda holds: en.HOLDS[bool(holds)]),
        words(en.SET_NO_WORSE, "shown_no_worse", lambda holds: en.HOLDS[bool(holds)]),
    )
    table = found.table.rename(columns={"survival": "alive", "difference": "estimate"})
    caption = en.SETS_CAPTION.format(best=found.best)
    return [Paragraph(" ".join(text)), written("works-sets", caption, table, fields)]


def _against_best() -> tuple[Field, Field]:
    return (
        numbers(en.SET_ALIVE, "alive", write=places(0)),
        numbers(en.SET_LESS, "lower", "upper", write=lambda low, high: limits(low, high, sign=True)),
    )


def _not_answerable(analysis: Analysis) -> list[Block]:
    told = analysis.works
    items = [] if told.parts is None else [sentence(text) for text in told.parts.apart.said]
    items += [
        en.OPEN.format(what=capital(what), reason=reason.alone) for what, reason in told.reasons.items()
    ]
    refused = told.answers[told.answers["basis"] == REFUSED]
    items += [
        sentence(en.OPEN.format(what=what, reason=reason))
        for what, reason in zip(refused["what"], refused["reason"], strict=True)
    ]
    items += [] if told.columns is None else list(told.columns.checks)
    if told.parts is not None:
        items += [check for check in told.parts.checks if check.endswith(".") and "undles" in check]
    if not items:
        return [Paragraph(en.ALL_ANSWERED)]
    return [Listing(tuple(dict.fromkeys(items)))]


def _departed(analysis: Analysis) -> list[Section]:
    table = analysis.works.departures
    apart = table[table["what"] != DONE]
    if table.empty:
        return []
    key = f"{KEY}-departures"
    if apart.empty:
        return [Section(key, en.DEPARTURES, (Paragraph(en.AS_PLANNED),))]
    fields = (
        words(en.PLOT, "place"),
        words(en.PREPARATION, "method"),
        words(en.LATER_WORK, "work"),
        words(en.DONE, "what"),
        Field(en.DAY, ("day",), lambda day: NONE if pd.isna(day) else number(day, sign=True)),
    )
    named = apart[["site", "block", "plot"]].astype(str).itertuples(index=False)
    where = [" ".join(filter(None, row)) for row in named]
    made = written(key, en.DEPARTURES, apart.assign(place=where), fields)
    text = en.DEPARTED.format(works=counted(len(apart), "work"), planned=len(table))
    return [
        Section(
            key, en.DEPARTURES, (Paragraph(text), shortened(made, "works_departures.csv", _MOST_DEPARTURES))
        )
    ]
