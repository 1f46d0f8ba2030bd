"""What one established plant costs under each preparation."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.costs.prices import prices_of
from survivor.document.elements import (
    Block,
    Paragraph,
    Section,
    Table,
    missing,
    numbers,
    written,
)
from survivor.report import english as en
from survivor.report.columns import METHOD, PER_100, RANGE, amount, in_100
from survivor.report.orders import after_costs, cost_lines
from survivor.report.reasons import not_random, why
from survivor.report.value import extra
from survivor.words import NONE, cost_limits, money, per_100, sentence

KEY = "money"
HEADING = "Cost per living plant"


def costs(analysis: Analysis) -> Section:
    """Return cost per established plant, with where the costs come from."""
    if analysis.costs.payoff is None or analysis.costs.payoff.table.empty:
        bare = missing(KEY, HEADING, why(analysis, "costs", en.NO_COSTS))
        return replace(bare, parts=after_costs(analysis))
    table = analysis.costs.payoff.table.sort_values("cost_per_established", kind="stable")
    blocks: list[Block] = [Paragraph(_source(analysis)), Paragraph(analysis.costs.payoff.said)]
    blocks.extend(not_random(analysis, en.COST_NOT_RANDOM))
    blocks.append(replace(_table(table, _uncosted(analysis)), note=en.COST_NOTE))
    blocks.extend(_other_rule(analysis, list(table["method"].astype(str))))
    blocks.extend(Paragraph(sentence(check), kind="small") for check in analysis.costs.payoff.noticed)
    blocks.extend(cost_lines(analysis))
    return Section(KEY, HEADING, tuple(blocks), (*extra(analysis), *after_costs(analysis)))


def _source(analysis: Analysis) -> str:
    given = analysis.settings.costs
    if given is None:
        return en.COSTS_GIVEN
    said = en.COST_SOURCE.format(currency=given.currency, year=given.year, source=given.source)
    return f"{said} {en.COST_HOW}"


def _other_rule(analysis: Analysis, order: list[str]) -> tuple[Table, ...]:
    """Return the same cost under the other rule for missing plants; nothing where it makes no difference."""
    costs = analysis.robustness.costs
    if costs.empty:
        return ()
    place = {name: number for number, name in enumerate(order)}
    costs = costs.sort_values("method", key=lambda names: names.astype(str).map(place), kind="stable")
    rule = str(costs["rule"].iloc[0])
    fields = (
        METHOD,
        amount("Cost per living plant", "cost_per_established"),
        numbers(RANGE, "lower", "upper", write=cost_limits),
    )
    return (written("payoff-other-table", f"Cost per living plant, {rule}", costs, fields),)


def _uncosted(analysis: Analysis) -> list[tuple[str, ...]]:
    """Rows for preparations of the records without a cost per established plant: what is known of them."""
    payoff = analysis.costs.payoff
    if payoff is None:
        return []
    alive = {}
    if analysis.survival.by_method is not None:
        known = analysis.survival.by_method.table
        alive = dict(zip(known["method"].astype(str), known["estimate"].astype(float), strict=True))
    given = prices_of(analysis.settings)
    currency = analysis.settings.costs.currency if analysis.settings.costs else ""
    rows: list[tuple[str, ...]] = []
    for name in map(str, (*payoff.not_costed, *payoff.left_out)):
        cost = money(given[name].per_plant, currency) if name in given else NONE
        rows.append((name, cost, per_100(alive[name]) if name in alive else NONE, "not known", NONE, NONE))
    return rows


def _table(table: pd.DataFrame, uncosted: list[tuple[str, ...]]) -> Table:
    chances = table.get("probability_lowest", pd.Series(math.nan, index=table.index))
    shown = table.assign(probability_lowest=chances if len(table) > 1 else math.nan)
    fields = (
        METHOD,
        amount("Cost per plant planted", "cost_per_plant"),
        numbers(PER_100, "survival", write=per_100),
        amount("Cost per living plant", "cost_per_established"),
        numbers(RANGE, "lower", "upper", write=cost_limits),
        numbers("Chance of the lowest cost", "probability_lowest", write=in_100),
    )
    made = written("payoff-table", "Cost per living plant", shown, fields)
    return replace(made, rows=(*made.rows, *uncosted))
