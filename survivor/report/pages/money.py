"""What a living plant costs under each preparation, and whether the dearer one is worth it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.document.elements import Block, Paragraph, Section, Table, numbers, words, written
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import comparisons, cost, frame_of, may_cause, usual
from survivor.report.reasons import why
from survivor.sentences import Name, Part, Sentence, Value, cell, say
from survivor.words import NONE, money

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_ENDS = ("lower", "upper")


def costs(analysis: Analysis) -> Section:
    """Return the cost of a living plant: what it is, whether the dearer preparation repays, one table."""
    payoff, more = analysis.costs.payoff, in_annex(en.COST_MORE, "money")
    if payoff is None or payoff.table.empty:
        return Section("cost", en.COST, (Paragraph(why(analysis, "costs", en.COST_NONE), see=more),))
    table = payoff.table.sort_values("cost_per_established", kind="stable")
    said = [*_lowest(analysis), *_extra(analysis), *_worth(analysis)]
    blocks: list[Block] = [Paragraph(tuple(said), see=more), _table(analysis, table.to_dict("records"))]
    return Section("cost", en.COST, tuple(blocks))


def _lowest(analysis: Analysis) -> list[Sentence]:
    payoff = analysis.costs.payoff
    assert payoff is not None
    rows = frame_of(payoff.table.sort_values("cost_per_established", kind="stable"))
    best = payoff.cheapest or next(iter(rows))
    found = [
        say(en.COST_LOWEST, method=Name(best), **cost(rows[best], "cost_per_established", _ENDS, "payoff"))
    ]
    against = usual(analysis)
    if against in rows and against != best:
        parts = cost(rows[against], "cost_per_established", _ENDS, "payoff")
        found.append(say(en.COST_USUAL, usual=Name(against), **parts))
    if len(rows) > 1:
        found.append(say(en.COST_CLEAR if payoff.cheapest else en.COST_NOT_CLEAR))
    return found


def _plane(analysis: Analysis) -> dict[str, Mapping[Hashable, Any]]:
    payoff = analysis.costs.payoff
    assert payoff is not None
    return {} if payoff.increments is None else frame_of(payoff.increments.table)


def _extra(analysis: Analysis) -> list[Sentence]:
    """Say what each extra living plant cost, of the preparations that clearly had more.

    Of many, the first answer and the least cost are said; the table beside has them all.
    """
    plane = _plane(analysis)
    rows = {
        one.methods[0]: plane[one.methods[0]]
        for one in comparisons(analysis)
        if one.reading == "clear difference" and (one.estimate or 0.0) > 0 and one.methods[0] in plane
    }
    rows = {method: row for method, row in rows.items() if math.isfinite(float(row["cost_per_extra"]))}
    if len(rows) > 2:
        least = min(rows, key=lambda method: float(rows[method]["cost_per_extra"]))
        rows = {method: rows[method] for method in dict.fromkeys((next(iter(rows)), least))}
    template = en.COST_EXTRA if may_cause(analysis) else en.COST_EXTRA_SEEN
    ends = ("cost_per_extra_lower", "cost_per_extra_upper")
    return [
        say(template, method=Name(method), **cost(row, "cost_per_extra", ends, "increments"))
        for method, row in rows.items()
    ]


def _worth(analysis: Analysis) -> list[Sentence]:
    """Say from which worth of a living plant on a preparation repays its cost, and which is ahead there."""
    payoff = analysis.costs.payoff
    assert payoff is not None
    if payoff.best_value is None or payoff.best_value.table.empty:
        return []
    value = payoff.best_value
    currency = str(payoff.table["currency"].iloc[0])
    cheapest = payoff.table.iloc[int(payoff.table["cost_per_established"].astype(float).argmin())]
    every = float(cheapest["cost_per_established"]) == value.lowest
    at = cell("payoff", "cost_per_established", method=cheapest["method"]) if every else None
    floor = en.WORTH_FLOOR if every else en.WORTH_FLOOR_OF
    found = [say(floor, lowest=Value(money(value.lowest, currency), value.lowest, at))]
    ahead = value.ranges.assign(method=value.ranges["method"].astype(str)).to_dict("records")
    if len(ahead) == 1:
        found.append(say(en.WORTH_ABOVE, method=Name(ahead[0]["method"])))
    elif ahead:
        turn = float(ahead[0]["worth_to"])
        to = Value(
            money(turn, currency), turn, cell("best_value_ranges", "worth_to", method=ahead[0]["method"])
        )
        parts: dict[str, Part] = {
            "method": Name(ahead[0]["method"]),
            "worth": to,
            "then": Name(ahead[1]["method"]),
        }
        found.append(say(en.WORTH_ABOVE_TO, **parts))
    return found


def _table(analysis: Analysis, rows: list[dict[Hashable, Any]]) -> Table:
    plane = _plane(analysis)
    open_ = {one.methods[0] for one in comparisons(analysis) if one.reading == "not enough evidence to say"}
    shown = []
    for row in rows:
        beside = plane.get(str(row["method"]))
        extra = each = NONE
        if beside is not None:
            extra = _change(float(beside["extra_cost"]), str(row["currency"]))
            each = en.FEWER if float(beside["upper"]) < 0 else en.NOT_CLEAR
            if str(row["method"]) not in open_ and math.isfinite(float(beside["cost_per_extra"])):
                each = money(float(beside["cost_per_extra"]), str(row["currency"]))
        shown.append({**row, "extra": extra, "each": each})
    frame = pd.DataFrame(shown)
    fields = [
        words(en.PREPARATION, "method"),
        numbers(en.COST_PLANTED, "cost_per_plant", "currency", write=money),
        numbers(en.COST_LIVING, "cost_per_established", "currency", write=money),
    ]
    if plane:
        fields += [
            numbers(en.EXTRA_COST, "extra", write=str),
            numbers(en.EXTRA_EACH, "each", write=str),
        ]
    note = en.COST_NOTE.format(usual=usual(analysis)) if plane else ""
    return written("cost-table", en.COST_CAPTION, frame, fields, note=note)


def _change(value: float, currency: str) -> str:
    sign = "−" if value < 0 else "+"
    return f"{sign}{money(abs(value), currency)}"
