"""What one established plant costs under each preparation."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from survivor.costs.prices import prices_of
from survivor.figures.payoff import payoff_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.words import NONE, cost_limits, money, per_100
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table, missing
from survivor.report.content.ordering import after_costs, cost_lines
from survivor.report.content.reasons import is_random, usual_practice, why
from survivor.report.content.value import extra, in_100
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

KEY = "money"
HEADING = "Cost per plant established"


def costs(analysis: Analysis) -> Section:
    """Return cost per established plant, with where the costs come from."""
    if analysis.payoff is None or analysis.payoff.table.empty:
        bare = missing(KEY, HEADING, why(analysis, "cost", otherwise="The study file gives no costs"))
        return replace(bare, parts=after_costs(analysis))
    table = analysis.payoff.table.sort_values("cost_per_established", kind="stable")
    lowest = table.iloc[0]
    currency = str(lowest["currency"])
    finding = (
        f"Lowest: {lowest['method']}, {money(float(lowest['cost_per_established']), currency)} per plant "
        f"established "
        f"({cost_limits(float(lowest['lower']), float(lowest['upper']))})."
    )
    blocks: list[Block] = [Paragraph(_source(analysis)), Paragraph(sentence(analysis.payoff.statement))]
    if not is_random(analysis):
        blocks.append(
            Paragraph(
                "The survival in these costs is that seen where each preparation was used; it was not "
                "allocated at "
                "random.",
                kind="note",
                label="Not allocated at random",
            )
        )
    blocks.append(
        Figure(
            key="payoff",
            title="Cost per plant established",
            finding=finding,
            caption=(
                "Dot: cost per plant put in, divided by the share alive at the milestone. Line: 95 % "
                "limits, from the "
                "uncertainty of survival and the range of costs given."
            ),
            draw=partial(_draw, table, usual_practice(analysis)),
            table=_table(table, _uncosted(analysis)),
        )
    )
    blocks.extend(Paragraph(sentence(check), kind="small") for check in analysis.payoff.checks)
    blocks.extend(cost_lines(analysis))
    return Section(KEY, HEADING, tuple(blocks), (*extra(analysis), *after_costs(analysis)))


def _source(analysis: Analysis) -> str:
    given = analysis.settings.costs
    if given is None:
        return "Costs are as given in the study file."
    return (
        f"Costs are inputs, not findings, in {given.currency} of {given.year}. Source: "
        f"“{given.source}”. Cost per "
        "plant established is what was spent on each plant put in, divided by the share of them alive at the "
        "milestone. Infill is not in it."
    )


def _uncosted(analysis: Analysis) -> list[tuple[str, ...]]:
    """Rows for preparations of the records without a cost per established plant: what is known of them."""
    payoff = analysis.payoff
    if payoff is None:
        return []
    alive = {}
    if analysis.survival is not None:
        known = analysis.survival.table
        alive = dict(zip(known["method"].astype(str), known["estimate"].astype(float), strict=True))
    given = prices_of(analysis.settings)
    currency = analysis.settings.costs.currency if analysis.settings.costs else ""
    rows: list[tuple[str, ...]] = []
    for name in map(str, (*payoff.not_costed, *payoff.left_out)):
        cost = money(given[name].per_plant, currency) if name in given else NONE
        rows.append((name, cost, per_100(alive[name]) if name in alive else NONE, "not told", NONE, NONE))
    return rows


def _draw(table: pd.DataFrame, usual: str | None, size: Size) -> Drawing:
    return payoff_figure(table, usual=usual, size=size)


def _table(table: pd.DataFrame, uncosted: list[tuple[str, ...]]) -> Table:
    columns = (
        Column("Preparation"),
        Column("Cost per plant put in", numeric=True),
        Column("Alive per 100 planted", numeric=True),
        Column("Cost per plant established", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Chance of the lowest cost", numeric=True),
    )
    several = len(table) > 1
    rows = tuple(
        (
            str(row["method"]),
            money(float(row["cost_per_plant"]), str(row["currency"])),
            per_100(float(row["survival"])),
            money(float(row["cost_per_established"]), str(row["currency"])),
            cost_limits(float(row["lower"]), float(row["upper"])),
            in_100(float(row["probability_lowest"])) if "probability_lowest" in row and several else NONE,
        )
        for row in table.to_dict("records")
    )
    return Table("payoff-table", "Cost per plant established", columns, (*rows, *uncosted))
