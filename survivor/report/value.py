"""What a dearer preparation buys: extra plants alive, the break-even cost, the best value."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Figure, Paragraph, Section, Table, headed, numbers, written
from survivor.figures.payoff import break_even_figure, value_figure
from survivor.report import english as en
from survivor.report.columns import METHOD, RANGE, amount, in_100, to_cents
from survivor.report.reasons import usual_practice
from survivor.sentences import Name, Text, Value, cell, say
from survivor.words import NONE, difference, limits, money, number, sentence

_SHOWN = 6  # worths in the table of best value


def extra(analysis: Analysis) -> tuple[Section, ...]:
    """Return the sections on increments, break-even and best value; none where two cannot be costed."""
    payoff = analysis.costs.payoff
    if payoff is None or payoff.increments is None:
        return ()
    found = [_increments(analysis)]
    if payoff.break_even is not None:
        found.append(_break_even(analysis))
    if payoff.best_value is not None and not payoff.best_value.table.empty:
        found.append(_best_value(analysis))
    return tuple(found)


def _increments(analysis: Analysis) -> Section:
    assert analysis.costs.payoff is not None
    increments = analysis.costs.payoff.increments
    assert increments is not None
    plane = increments.table
    currency = str(plane["currency"].iloc[0])
    blocks = (
        Paragraph(increments.said),
        Paragraph(_plane_finding(plane, currency)),
        _increment_table(plane, currency),
    )
    return Section("extra-cost", "Cost of each extra surviving plant", blocks)


def _plane_finding(plane: pd.DataFrame, currency: str) -> Text:
    told = plane[plane["lower"].notna()]
    if told.empty:
        return en.PLANE_NONE
    most = told.iloc[int(told["extra_alive"].to_numpy(dtype=float).argmax())]
    more, ends = difference(float(most["extra_alive"]), float(most["lower"]), float(most["upper"]))
    cost = float(most["extra_cost"])
    word = "more" if cost >= 0 else "less"
    at = {name: cell("increments", name, method=most["method"]) for name in ("extra_alive", "lower")}
    return say(
        en.PLANE,
        method=Name(str(most["method"])),
        against=Name(str(most["against"])),
        size=Value(more, float(most["extra_alive"]), at["extra_alive"]),
        span=Value(ends, float(most["lower"]), at["lower"]),
        cost=money(abs(cost), currency),
        word=word,
    )


def _increment_table(table: pd.DataFrame, currency: str) -> Table:
    extras = ("Extra cost per 100 planted", "Extra alive per 100 planted", "Cost of an extra plant alive")
    columns = headed("Preparation", "Compared with", numeric=extras)
    rows = tuple(_increment_row(row, currency) for row in table.to_dict("records"))
    return Table("increments-table", "Against the usual practice", columns, rows, note=en.INCREMENTS_NOTE)


def _increment_row(row: Mapping[Any, Any], currency: str) -> tuple[str, ...]:
    cost = (
        f"{money(float(row['extra_cost']), currency)} "
        f"({limits(float(row['extra_cost_lower']), float(row['extra_cost_upper']))})"
    )
    alive, ends = NONE, NONE
    if math.isfinite(float(row["lower"])):
        alive, ends = difference(float(row["extra_alive"]), float(row["lower"]), float(row["upper"]))
    ratio = NONE
    if math.isfinite(float(row["cost_per_extra"])):
        low, high = float(row["cost_per_extra_lower"]), float(row["cost_per_extra_upper"])
        ratio = f"{money(float(row['cost_per_extra']), currency)} ({limits(low, high, 2)})"
    return (str(row["method"]), str(row["against"]), cost, f"{alive} ({ends})", ratio)


def _break_even(analysis: Analysis) -> Section:
    assert analysis.costs.payoff is not None
    found = analysis.costs.payoff.break_even
    assert found is not None
    fields = (
        METHOD,
        amount("Costs per plant planted", "cost_per_plant"),
        amount("Break-even cost per plant", "break_even"),
        numbers(RANGE, "lower", "upper", write=to_cents),
        numbers("Chance that an established plant costs less", "probability_pays", write=in_100),
    )
    figure = Figure(
        key="break-even",
        title=en.BREAK_EVEN_TITLE.format(usual=found.usual),
        finding=found.said,
        caption=say(en.BREAK_EVEN_CAPTION, usual=Name(str(found.usual))),
        draw=partial(break_even_figure, found.table),
        table=written("break-even-table", "Break-even cost per plant planted", found.table, fields),
    )
    return Section("break-even-cost", "Break-even cost", (Paragraph(en.BREAK_EVEN), figure))


def _best_value(analysis: Analysis) -> Section:
    assert analysis.costs.payoff is not None
    value = analysis.costs.payoff.best_value
    assert value is not None
    names = list(dict.fromkeys(value.table["method"].astype(str)))
    worths = sorted(value.table["worth"].unique())
    even, turns = np.linspace(worths[0], worths[-1], _SHOWN), value.ranges[["worth_from", "worth_to"]]
    picked = [worth for worth in worths if np.isclose(worth, [*even, *turns.to_numpy().ravel()]).any()]
    currency = str(value.table["currency"].iloc[0])
    wide = value.table.assign(method=value.table["method"].astype(str)).pivot(
        index="worth", columns="method", values="probability"
    )
    rows = tuple(
        (money(float(worth), currency), *(in_100(float(wide.loc[worth, name])) for name in names))
        for worth in picked
    )
    error = 100 * float(value.table["probability_error"].max())
    table = Table(
        "best-value-table",
        "Chance of the best value by what an established plant is worth",
        headed(numeric=("Worth of an established plant", *names)),
        rows,
        note=en.BEST_VALUE_NOTE.format(draws=number(value.draws), error=number(2 * error, 1)),
    )
    figure = Figure(
        key="best-value",
        title="Chance of the best value",
        finding=value.said,
        caption=en.BEST_VALUE_CAPTION,
        draw=partial(value_figure, value.table, usual=usual_practice(analysis)),
        table=table,
    )
    small = [Paragraph(sentence(check), kind="small") for check in value.checks]
    return Section("best-value-part", "Best value", (Paragraph(en.BEST_VALUE), figure, *small))
