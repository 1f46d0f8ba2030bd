"""What a living plant costs under each preparation, and whether the dearer one is worth it."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.costs.prices import prices_of
from survivor.document.elements import Block, Paragraph, Section, Table, numbers, words, written
from survivor.report.columns import in_100
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import comparisons, cost, frame_of, may_cause, usual
from survivor.report.reasons import why
from survivor.sentences import Name, Part, Sentence, Value, cell, say
from survivor.words import NONE, change, money, number

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
    parts = cost(rows[best], "cost_per_established", _ENDS, "payoff")
    lowest = (
        say(en.COST_LOWEST_OF, method=Name(best), costed=number(len(rows)), **parts)
        if payoff.not_costed or payoff.left_out
        else say(en.COST_LOWEST, method=Name(best), **parts)
    )
    found = [lowest]
    if len(rows) > 1:
        found.append(say(en.COST_CLEAR) if payoff.cheapest else _chance(rows[best]))
    found += _other_rule(analysis, best)
    return found


def _chance(row: Mapping[Any, Any]) -> Sentence:
    """Say how likely the lowest cost is the lowest."""
    lowest = float(row["probability_lowest"])
    at = cell("payoff", "probability_lowest", method=str(row["method"]))
    return say(en.COST_NOT_CLEAR, chance=Value(in_100(lowest), lowest, at, 100.0))


def _other_rule(analysis: Analysis, best: str) -> list[Sentence]:
    """Say which costs least under the other rule for missing plants; nothing where it is the same."""
    again = frame_of(analysis.robustness.costs)
    if not again:
        return []
    least = min(again, key=lambda method: float(again[method]["cost_per_established"]))
    if least == best:
        return []
    parts = cost(again[least], "cost_per_established", _ENDS, "payoff_other_rule")
    return [say(en.COST_OTHER, rule=_rule(analysis), method=Name(least), **parts)]


def _rule(analysis: Analysis) -> str:
    """Name what missing plants are counted as under the rule that the study file did not choose."""
    return "unknown" if analysis.settings.rules.missing == "dead" else "dead"


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
    found = [
        say(template, method=Name(method), **cost(row, "cost_per_extra", ends, "increments"))
        for method, row in rows.items()
    ]
    below = any(float(row[ends[0]]) < 0 for row in rows.values())
    return [*found, say(en.COST_BELOW)] if below else found


def _worth(analysis: Analysis) -> list[Sentence]:
    """Say from which worth of a living plant on a preparation repays its cost, and which is ahead there."""
    payoff = analysis.costs.payoff
    assert payoff is not None
    if payoff.best_value is None or payoff.best_value.table.empty:
        return []
    value = payoff.best_value
    currency = str(payoff.table["currency"].iloc[0])
    cheapest = payoff.table.iloc[int(payoff.table["cost_per_established"].astype(float).argmin())]
    if not math.isclose(float(cheapest["cost_per_established"]), value.lowest, rel_tol=1e-9):
        return []  # the cheapest is not among those whose values can be set beside each other
    weighed, priced = (set(frame["method"].astype(str)) for frame in (value.table, payoff.table))
    every = weighed == priced and not _not_costed(analysis)
    at = cell("payoff", "cost_per_established", method=cheapest["method"])
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
    plane, again = _plane(analysis), frame_of(analysis.robustness.costs)
    shown = []
    for row in rows:
        beside = plane.get(str(row["method"]))
        extra = each = NONE
        if beside is not None:
            extra = change(float(beside["extra_cost"]), str(row["currency"]))
            each = en.FEWER if beside["alive_reads"] == "less" else en.NOT_CLEAR
            if math.isfinite(float(beside["cost_per_extra"])):
                each = money(float(beside["cost_per_extra"]), str(row["currency"]))
        living = money(float(row["cost_per_established"]), str(row["currency"]))
        other = again.get(str(row["method"]))
        under = NONE if other is None else money(float(other["cost_per_established"]), str(row["currency"]))
        shown.append({**row, "living": living, "other": under, "extra": extra, "each": each})
    absent = _not_costed(analysis)
    shown += [
        {
            "method": name,
            "cost_per_plant": price,
            "currency": rows[0]["currency"],
            "living": en.NOT_COSTED,
            "other": NONE,
            "extra": NONE,
            "each": NONE,
        }
        for name, price, _ in absent
    ]
    frame = pd.DataFrame(shown)
    fields = [
        words(en.PREPARATION, "method"),
        numbers(en.COST_PLANTED, "cost_per_plant", "currency", write=money),
        numbers(en.COST_LIVING, "living", write=str),
        *([numbers(en.COST_LIVING_OTHER.format(rule=_rule(analysis)), "other", write=str)] if again else []),
    ]
    if plane:
        fields += [
            numbers(en.EXTRA_COST, "extra", write=str),
            numbers(en.EXTRA_EACH, "each", write=str),
        ]
    reasons = dict.fromkeys(reason for _, _, reason in absent)
    why_not = "".join(en.NOT_COSTED_WHY.format(reason=reason) for reason in reasons)
    note = en.COST_NOTE.format(usual=usual(analysis), absent=why_not) if plane else why_not.strip()
    return written("cost-table", en.COST_CAPTION, frame, fields, note=note)


def _not_costed(analysis: Analysis) -> list[tuple[str, float, str]]:
    """List preparations without a cost per living plant: what a plant costs, and why there is none."""
    payoff, prices = analysis.costs.payoff, prices_of(analysis.settings)
    assert payoff is not None
    reasons = {**dict.fromkeys(map(str, payoff.not_costed), en.NO_COST), **payoff.left_out}
    return [
        (str(name), prices[name].per_plant if name in prices else math.nan, str(reason))
        for name, reason in reasons.items()
    ]
