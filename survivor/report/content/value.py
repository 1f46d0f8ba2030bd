"""What a dearer preparation buys: extra plants alive, the break-even cost, the best value."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any

import pandas as pd

from survivor.figures.breakeven import break_even_figure
from survivor.figures.plane import plane_figure
from survivor.figures.style import Drawing, Size
from survivor.figures.value import value_figure
from survivor.figures.words import NONE, difference, limits, money, number
from survivor.report.content.elements import Block, Column, Figure, Paragraph, Section, Table
from survivor.report.content.reasons import usual_practice
from survivor.report.content.wording import sentence

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_SHOWN = 6  # worths in the table of best value
BEST_FIGURES = (
    "Which preparation is a next step and which is dominated is told from the best figures of cost and "
    "survival; the limits say how far that may be off."
)


def extra(analysis: Analysis) -> tuple[Section, ...]:
    """Return the sections on increments, break-even and best value; none where two cannot be costed."""
    payoff = analysis.payoff
    if payoff is None or payoff.increments is None:
        return ()
    found = [_increments(analysis)]
    if payoff.break_even is not None:
        found.append(_break_even(analysis))
    if payoff.best_value is not None and not payoff.best_value.table.empty:
        found.append(_best_value(analysis))
    return tuple(found)


def _increments(analysis: Analysis) -> Section:
    assert analysis.payoff is not None
    increments = analysis.payoff.increments
    assert increments is not None
    plane = increments.plane
    currency = str(increments.table["currency"].iloc[0])
    blocks: list[Block] = [Paragraph(sentence(increments.statement))]
    between = increments.table["basis"].eq("between sites only")
    if between.any():
        names = "; ".join(
            f"{row['method']} and {row['against']}" for row in increments.table[between].to_dict("records")
        )
        blocks.append(
            Paragraph(
                f"No site holds both, so these steps compare sites as much as preparations: {names}.",
                kind="note",
                label="Between sites only",
            )
        )
    blocks.append(
        Figure(
            key="plane",
            title="Extra cost and extra plants alive",
            finding=_plane_finding(plane, currency),
            caption=(
                f"Each preparation against {plane['against'].iloc[0]}, which stands where the lines cross. "
                "Lines: 95 % limits, across of the difference in plants alive, upright of the difference in "
                "cost within the ranges given."
            ),
            draw=partial(_draw_plane, plane),
            table=_increment_table(increments.table, currency),
            open_table=True,
        )
    )
    blocks.append(Paragraph(BEST_FIGURES, kind="small"))
    return Section("extra-cost", "What extra plants alive cost", tuple(blocks))


def _plane_finding(plane: pd.DataFrame, currency: str) -> str:
    most = plane.iloc[int(plane["extra_alive"].to_numpy(dtype=float).argmax())]
    told, ends = difference(float(most["extra_alive"]), float(most["lower"]), float(most["upper"]))
    cost = float(most["extra_cost"])
    word = "more" if cost >= 0 else "less"
    return sentence(
        f"{most['method']} had {told} alive per 100 planted ({ends}) against {most['against']}, and cost "
        f"{money(abs(cost), currency)} {word} per 100 planted."
    )


def _draw_plane(plane: pd.DataFrame, size: Size) -> Drawing:
    return plane_figure(plane, size=size)


def _increment_table(table: pd.DataFrame, currency: str) -> Table:
    columns = (
        Column("Preparation"),
        Column("Compared with"),
        Column("Extra cost per 100 planted", numeric=True),
        Column("Extra alive per 100 planted", numeric=True),
        Column("Cost of an extra plant alive", numeric=True),
        Column("Where it stands"),
    )
    rows = tuple(_increment_row(row, currency) for row in table.to_dict("records"))
    note = (
        "In order of cost. 95 % limits in brackets, of each step on its own; those of the cost of an extra "
        "plant are Fieller's. A preparation that costs more and had no more alive is called dominated; one "
        "that a mix of two others would equal for less, dominated by a mix."
    )
    return Table("increments-table", "From each preparation to the next dearer one", columns, rows, note=note)


def _increment_row(row: Mapping[Any, Any], currency: str) -> tuple[str, ...]:
    if row["state"] == "cheapest":
        return (str(row["method"]), NONE, NONE, NONE, NONE, "the lowest cost per plant")
    cost = (
        f"{money(float(row['extra_cost']), currency)} "
        f"({limits(float(row['extra_cost_lower']), float(row['extra_cost_upper']))})"
    )
    alive, ends = difference(float(row["extra_alive"]), float(row["lower"]), float(row["upper"]))
    ratio = NONE
    if math.isfinite(float(row["cost_per_extra"])):
        ratio = money(float(row["cost_per_extra"]), currency)
        low, high = float(row["cost_per_extra_lower"]), float(row["cost_per_extra_upper"])
        ratio += f" ({limits(low, high, 2)})" if math.isfinite(low) else " (no limits that close)"
    said = str(row["note"]) or "the next step: more alive for more"
    if row["state"].startswith("dominated"):
        said = f"{row['state']}: {said}"
    return (str(row["method"]), str(row["against"]), cost, f"{alive} ({ends})", ratio, said)


def _break_even(analysis: Analysis) -> Section:
    assert analysis.payoff is not None
    found = analysis.payoff.break_even
    assert found is not None
    table, currency = found.table, str(found.table["currency"].iloc[0])
    columns = (
        Column("Preparation"),
        Column("Costs per plant put in", numeric=True),
        Column("Break-even cost per plant", numeric=True),
        Column("95 % limits", numeric=True),
        Column("Chance that an established plant costs less", numeric=True),
    )
    rows = tuple(
        (
            str(row["method"]),
            money(float(row["cost_per_plant"]), currency),
            money(float(row["break_even"]), currency),
            limits(float(row["lower"]), float(row["upper"]), 2),
            in_100(float(row["probability_pays"])),
        )
        for row in table.to_dict("records")
    )
    figure = Figure(
        key="break-even",
        title=f"The most that a preparation may cost to equal {found.usual}",
        finding=sentence(found.statement),
        caption=(
            "Dot: cost per plant put in at which an established plant costs the same as under "
            f"{found.usual}. Line: 95 % limits. Cross: what the preparation costs."
        ),
        draw=partial(_draw_break_even, table),
        table=Table("break-even-table", "Break-even cost per plant put in", columns, rows),
    )
    words = (
        f"An established plant costs the same as under {found.usual} where the cost of a plant put in "
        "stands to that of the other as survival stands to survival. Above its break-even cost a "
        "preparation is the dearer one per established plant, below it the cheaper one."
    )
    return Section("break-even-cost", "The most that preparation may cost", (Paragraph(words), figure))


def _draw_break_even(table: pd.DataFrame, size: Size) -> Drawing:
    return break_even_figure(table, size=size)


def _best_value(analysis: Analysis) -> Section:
    assert analysis.payoff is not None
    value = analysis.payoff.best_value
    assert value is not None
    names = list(dict.fromkeys(value.table["method"].astype(str)))
    worths = sorted(value.table["worth"].unique())
    picked = worths[:: max((len(worths) - 1) // (_SHOWN - 1), 1)]
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
        (
            Column("Worth of an established plant", numeric=True),
            *(Column(name, numeric=True) for name in names),
        ),
        rows,
        note=(
            f"From {number(value.draws)} draws of survival and costs; the chances are good to "
            f"{number(2 * error, 1)} in 100. Each chance is of being ahead of all the others."
        ),
    )
    figure = Figure(
        key="best-value",
        title="Chance of the best value",
        finding=sentence(value.statement),
        caption=(
            "Worth of the plants alive less what was paid, per plant put in. A line is thick where its "
            "preparation is ahead at the best figures of cost and survival."
        ),
        draw=partial(_draw_value, value.table, usual_practice(analysis)),
        table=table,
    )
    words = (
        "The lowest cost per established plant is not always the best value: where a plant alive is worth "
        "much, a dearer preparation with more alive is ahead. What it is worth is for the reader to say."
    )
    small = [Paragraph(sentence(check), kind="small") for check in value.checks]
    return Section("best-value-part", "Best value", (Paragraph(words), figure, *small))


def _draw_value(table: pd.DataFrame, usual: str | None, size: Size) -> Drawing:
    return value_figure(table, usual=usual, size=size)


def in_100(probability: float) -> str:
    """Write a chance from draws, in which none or all is never certain."""
    if not math.isfinite(probability):
        return NONE
    if probability < 0.005:
        return "under 1 in 100"
    return "over 99 in 100" if probability > 0.995 else f"{number(100 * probability)} in 100"
