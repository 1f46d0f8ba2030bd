"""Which part of the preparations paid, when, and what was not answerable: the page of works in the annex."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

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
from survivor.report.columns import LIMITS, PLOTS, alive, differing
from survivor.words import NONE, capital, chance, counted, limits, listed, number, plain, sentence
from survivor.works.answers import question_of
from survivor.works.columns import LEAD

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis
    from survivor.works.later import Later

KEY = "works"
HEADING = "Which part of the preparations paid"
_MOST_DEPARTURES = 30


def works(analysis: Analysis) -> tuple[Section, ...]:
    """Return what each work adds; nothing where the study file does not ask about works."""
    told = analysis.works
    if not told.asked:
        return ()
    if told.answers.empty:
        reasons = " ".join(reason.text for reason in told.reasons.values())
        said = [sentence(text) for text in (told.parts.apart.said if told.parts is not None else ())]
        return (missing(KEY, HEADING, " ".join([*said, reasons]).strip()),)
    blocks: list[Block] = [Paragraph(_what_was_asked(analysis)), _answers(analysis)]
    blocks += _bundles(analysis)
    parts = [Section(f"{KEY}-when", "When", tuple(_timed(analysis)))] if told.timings else []
    parts += [Section(f"{KEY}-later", "Works after planting", tuple(_later(analysis)))] if told.later else []
    if told.cheapest is not None:
        parts.append(Section(f"{KEY}-sets", "The cheapest set of works", tuple(_sets(analysis))))
    parts.append(Section(f"{KEY}-not", "What was not answerable", tuple(_not_answerable(analysis))))
    parts += _departed(analysis)
    return (Section(KEY, HEADING, tuple(blocks), tuple(parts)),)


def _what_was_asked(analysis: Analysis) -> str:
    source = "the works diary" if _has_diary(analysis) else "the works listed for each preparation"
    return (
        f"What was done is from {source}, plot by plot. A model of works in place of preparations tells what "
        f"each adds {analysis.per_100}, the others held equal. All these questions are one family: p is "
        "adjusted for their number by Holm."
    )


def _has_diary(analysis: Analysis) -> bool:
    works = analysis.settings.works
    return works is not None and works.diary is not None


def _answers(analysis: Analysis) -> Table:
    told = analysis.works
    frame = told.answers.assign(
        question=[question_of(row) for row in told.answers.to_dict("records")],
        strength=[one.strength for one in told.findings],
    )
    fields = (
        words("Question", "question"),
        *(_or_refused(field) for field in differing(analysis.basis)),
        Field("p, adjusted", ("p_adjusted",), lambda p: NONE if pd.isna(p) else chance(p)),
        PLOTS,
        words("Which plots got it, or when", "allocation"),
        words("Strength of evidence", "strength"),
    )
    note = (
        "With the work less without it, at "
        f"{analysis.season.when}; of a work after planting on the day that is told below. Of a pair: what "
        "both "
        "add together beyond the sum of the two. Limits are by plot, not adjusted."
    )
    return written("works-answers", "What each work adds", frame, fields, note=note)


def _or_refused(field: Field) -> Field:
    def write(*values: float) -> str:
        return NONE if any(pd.isna(value) for value in values) else field.write(*values)

    return Field(field.heading, field.names, write, field.numeric)


def _bundles(analysis: Analysis) -> list[Block]:
    parts = analysis.works.parts
    if parts is None or parts.beyond is None:
        return []
    test = parts.beyond
    said = (
        f"F {number(test.statistic, 2)} on {number(test.df1)} and {number(test.df2, 1)} degrees of freedom, "
        f"p {chance(test.p_value)}"
    )
    if test.p_value < 0.05:
        text = f"Preparations differ beyond the sum of their works ({said}): read each work as an average."
    else:
        text = (
            f"There is not enough evidence that preparations differ beyond the sum of their works ({said})."
        )
    return [Paragraph(text)]


def _timed(analysis: Analysis) -> list[Block]:
    blocks: list[Block] = [
        Paragraph(
            "Only plots of the same works at one site are set against each other, so nothing is learned from "
            "works that usually begin early."
        )
    ]
    for timing in analysis.works.timings:
        if LEAD not in timing.curve:
            continue
        fields = (numbers("Months before planting", LEAD, write=places(0)), *alive(analysis.basis))
        shape = "straight line" if timing.shape == "line" else "curve"
        note = f"By a {shape}; nothing is told beyond the plots."
        caption = "Survival by months from the first weed control to planting"
        blocks.append(written("works-lead", caption, timing.curve, fields, note=note))
    checks = [check for timing in analysis.works.timings for check in timing.checks if check.endswith(".")]
    if checks:
        blocks.append(Listing(tuple(dict.fromkeys(checks))))
    return blocks


def _later(analysis: Analysis) -> list[Block]:
    blocks: list[Block] = [
        Paragraph(
            "A plot counts as treated from the day of the work on, never from planting: plants had to "
            "live to "
            "that day to get it (immortal time). The ratio compares deaths after that day with those in "
            "plots "
            "of the same age without it."
        )
    ]
    frame = pd.DataFrame([_line(one) for one in analysis.works.later])
    fields = (
        words("Work", "work"),
        numbers("Day, median", "day"),
        numbers("Ratio of deaths after its day", "ratio", write=places(2)),
        numbers(LIMITS, "ratio_lower", "ratio_upper", write=lambda low, high: limits(low, high, 2)),
        Field("The same before its day", ("before", "before_lower", "before_upper"), _before),
        numbers("More alive by day", "at_day"),
        *differing(analysis.basis),
        numbers("Left out", "left_out"),
    )
    note = (
        "Before its day the ratio should be near 1: else the plots that were to get it differed to begin "
        "with. "
        "Left out: seedlings in intervals between visits that span the day, as nobody knows on which side of "
        "it they died."
    )
    blocks.append(written("works-later", "Works after planting", frame, fields, note=note))
    adjusted = [one.work for one in analysis.works.later if one.adjusted]
    if adjusted:
        blocks.append(
            Paragraph(
                f"{capital(listed(adjusted))}: which plots got it was not drawn at random, so they are held "
                "equal to the others as they were before."
            )
        )
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
    smallest = plain(found.smallest)
    row = found.table.set_index("preparation").loc[found.cheapest]
    shown = (
        "It is also shown to be no worse by that much."
        if row["shown_no_worse"]
        else ("That is no proof that it is as good: it is not shown to be no worse by that much.")
    )
    text = (
        f"Of the preparations with a cost, {found.best} had most alive by the model of works. The "
        "cheapest not "
        f"shown worse than it by more than {smallest} per 100 is {found.cheapest}. {shown}"
    )
    costs = analysis.settings.costs
    currency = costs.currency if costs is not None else ""
    fields = (
        words("Preparation", "preparation"),
        words("Works told apart", "works"),
        numbers(f"Cost a plant{', ' + currency if currency else ''}", "per_plant", write=places(2)),
        *(_or_refused(field) for field in _against_best()),
        words("Not shown worse", "not_shown_worse", lambda holds: "yes" if holds else "no"),
        words("Shown no worse", "shown_no_worse", lambda holds: "yes" if holds else "no"),
    )
    table = found.table.rename(columns={"survival": "alive", "difference": "estimate"})
    caption = f"Sets of works by cost, against {found.best}"
    return [Paragraph(text), written("works-sets", caption, table, fields)]


def _against_best() -> tuple[Field, Field]:
    return (
        numbers("Alive per 100 planted", "alive", write=places(0)),
        numbers(
            "Less than the best, 95 % CI",
            "lower",
            "upper",
            write=lambda low, high: limits(low, high, sign=True),
        ),
    )


def _not_answerable(analysis: Analysis) -> list[Block]:
    told = analysis.works
    items = [] if told.parts is None else [sentence(text) for text in told.parts.apart.said]
    items += [f"{capital(what)}: {reason.alone}" for what, reason in told.reasons.items()]
    refused = told.answers[told.answers["basis"] == "refused"]
    items += [
        sentence(f"{what}: {reason}") for what, reason in zip(refused["what"], refused["reason"], strict=True)
    ]
    items += [] if told.columns is None else list(told.columns.checks)
    if told.parts is not None:
        items += [check for check in told.parts.checks if check.endswith(".") and "undles" in check]
    if not items:
        return [Paragraph("Every question that was asked of works could be answered.")]
    return [Listing(tuple(dict.fromkeys(items)))]


def _departed(analysis: Analysis) -> list[Section]:
    table = analysis.works.departures
    apart = table[table["what"] != DONE]
    if table.empty:
        return []
    heading = "Departures from the plan"
    if apart.empty:
        return [
            Section(f"{KEY}-departures", heading, (Paragraph("Every plot got what was planned for it."),))
        ]
    fields = (
        words("Plot", "place"),
        words("Preparation", "method"),
        words("Work", "work"),
        words("What was done", "what"),
        Field("Day from planting", ("day",), lambda day: NONE if pd.isna(day) else number(day, sign=True)),
    )
    named = apart[["site", "block", "plot"]].astype(str).itertuples(index=False)
    where = [" ".join(filter(None, row)) for row in named]
    made = written("works-departures", heading, apart.assign(place=where), fields)
    text = f"{counted(len(apart), 'work')} of {len(table)} planned or done were not as planned."
    return [
        Section(
            f"{KEY}-departures",
            heading,
            (Paragraph(text), shortened(made, "works_departures.csv", _MOST_DEPARTURES)),
        )
    ]
