"""Survival per method with its limits, and differences from the usual practice."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import (
    Layout,
    Row,
    draw_rows,
    mark_band,
    mark_line,
    mark_nought,
    rows_figure,
    set_range,
)
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import NONE, cost_limits, difference, money, number, per_100, per_100_limits

BETWEEN_SITES = "between sites only"
REFUSED = "refused"


def draw_survival(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw survival per group, best first.

    Parameters
    ----------
    table
        First column the group; ``estimate, lower, upper`` per 100 planted.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        rows = survival_rows(table)
        _survival_range(ax, table, None)
        return draw_rows(rows, ax, Layout(headings=_SURVIVAL_HEADINGS, axis=_survival_axis(table)))


def draw_contrasts(table: pd.DataFrame, ax: Axes | None = None, smallest: float | None = None) -> Axes:
    """Draw differences from the method compared against, with nought as a line.

    Parameters
    ----------
    table
        ``method, against, basis, estimate, lower, upper`` (per 100 planted), ``reason``.
        A comparison between sites only is drawn hollow and dashed; a refused one
        says so in words.
    ax
        Axes to draw on; a new figure's where none is given.
    smallest
        The smallest difference worth having, per 100 planted; shaded.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.45 * len(table) + 0.9)
        return _contrasts_on(ax, table, smallest, "wide")


def survival_figure(
    table: pd.DataFrame,
    costs: pd.DataFrame | None = None,
    *,
    usual: str | None = None,
    target: float | None = None,
    size: Size = "wide",
) -> Drawing:
    """Return the first picture of a report: survival per method, best first, cost beside it.

    Parameters
    ----------
    table
        As for :func:`draw_survival`, with a column ``method``.
    costs
        ``method, cost_per_established, lower, upper, currency``; None where costs are not known.
    usual
        The usual practice, drawn grey and hollow.
    target
        Survival promised, per 100 planted, if it was promised for this day.
    size
        For a page, or for a telephone.
    """
    headings: tuple[str, ...] = _SURVIVAL_HEADINGS
    if costs is not None and not costs.empty:
        currency = str(costs["currency"].iloc[0]).strip()
        headings = (
            *headings,
            f"Cost per plant established\n({currency + ', ' if currency else ''}95 % limits)",
        )
    with styled():
        rows = survival_rows(table, costs, usual=usual, size=size)
        layout = Layout(size=size, headings=headings, axis=_survival_axis(table))
        figure, ax = rows_figure(rows, layout, WIDTHS[size])
        _survival_range(ax, table, target)
        draw_rows(rows, ax, layout)
        if target is not None:
            mark_line(ax, target, f"target {number(target, _places(target))}", len(rows), size)
        return figure


def contrasts_figure(
    table: pd.DataFrame, *, smallest: float | None = None, size: Size = "wide", pairs: bool = False
) -> Drawing:
    """Return differences from the usual practice, the smallest one worth having shaded.

    ``pairs`` names both methods of each row.
    """
    with styled():
        rows = _contrast_rows(table, pairs)
        figure, ax = rows_figure(rows, Layout(size=size, headings=_CONTRAST_HEADINGS), WIDTHS[size])
        _contrasts_on(ax, table, smallest, size, pairs)
        return figure


_SURVIVAL_HEADINGS = ("Alive per 100\n(95 % limits)",)
_CONTRAST_HEADINGS = ("Difference per 100\n(95 % limits)",)


def survival_rows(
    table: pd.DataFrame, costs: pd.DataFrame | None = None, *, usual: str | None = None, size: Size = "wide"
) -> list[Row]:
    """Return one row a group, highest survival first."""
    group = str(table.columns[0])
    cost: dict[str, str] = {}
    if costs is not None and not costs.empty:
        for line in costs.to_dict("records"):
            amount = money(
                float(line["cost_per_established"]), "" if size == "wide" else str(line["currency"])
            )
            span = cost_limits(float(line["lower"]), float(line["upper"]))
            cost[str(line["method"])] = f"{amount} ({span})" if amount != NONE else NONE
    rows = []
    for record in table.sort_values("estimate", ascending=False, kind="stable").to_dict("records"):
        name = str(record[group])
        value, lower, upper = (float(record[name]) for name in ("estimate", "lower", "upper"))
        beside: tuple[str, ...] = (f"{per_100(value)} ({per_100_limits(lower, upper)})",)
        under = ["usual practice"] if name == usual else []
        price = cost.get(name, NONE)
        if cost and size == "wide":
            beside = (*beside, price)
        elif price != NONE:
            under.append(f"{price} each")  # a telephone has no room for it beside
        rows.append(
            Row(
                label=name,
                estimate=value,
                lower=lower,
                upper=upper,
                look="usual" if name == usual else "main",
                beside=beside,
                under=", ".join(under),
            )
        )
    return rows


def _with_limits(record: Mapping[Hashable, Any]) -> str:
    written, span = difference(*(float(record[name]) for name in ("estimate", "lower", "upper")))
    return f"{written} ({span})"


def _survival_axis(table: pd.DataFrame) -> str:
    days = {float(day) for day in table["at_day"]} if "at_day" in table else set()
    when = f", {number(days.pop())} days after planting" if len(days) == 1 else ""
    return f"Alive per 100 planted{when}"


def _survival_range(ax: Axes, table: pd.DataFrame, target: float | None) -> None:
    values = [*table["lower"], *table["upper"], *table["estimate"], *([] if target is None else [target])]
    set_range(ax, [float(value) for value in values], 10, 40, (0, 100))


def _contrasts_on(
    ax: Axes, table: pd.DataFrame, smallest: float | None, size: Size, pairs: bool = False
) -> Axes:
    edge = smallest or 0.0
    values = [float(v) for v in [*table["lower"], *table["upper"], *table["estimate"], -edge, edge, 0.0]]
    set_range(ax, values, 5, 20, (-100, 100))
    against = table["against"].unique()
    named = f"“{against[0]}”" if len(against) == 1 and not pairs else "the second method named"
    axis = f"More (+) or fewer (−) alive per 100 planted than {named}"
    if size == "narrow":
        axis = "Difference in plants alive per 100 planted"
    rows = _contrast_rows(table, pairs)
    draw_rows(rows, ax, Layout(size=size, headings=_CONTRAST_HEADINGS, axis=axis))
    if smallest is not None:
        mark_band(ax, -smallest, smallest, f"less than worth having ({number(smallest, _places(smallest))})")
    mark_nought(ax, 0, len(rows), size)
    return ax


def _contrast_rows(table: pd.DataFrame, pairs: bool) -> list[Row]:
    rows = []
    for record in table.to_dict("records"):
        basis = str(record.get("basis", ""))
        refused = basis == REFUSED
        under = "not compared" if refused else BETWEEN_SITES if basis == BETWEEN_SITES else ""
        label = f"{record['method']} against {record['against']}" if pairs else str(record["method"])
        rows.append(
            Row(
                label=label,
                estimate=float("nan") if refused else float(record["estimate"]),
                lower=float(record["lower"]),
                upper=float(record["upper"]),
                look="hollow" if basis == BETWEEN_SITES else "main",
                beside=("not compared",) if refused else (_with_limits(record),),
                under=under,
            )
        )
    return rows


def _places(value: float) -> int:
    return 0 if float(value).is_integer() else 1
