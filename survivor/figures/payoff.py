"""What one established plant costs under each method."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Layout, Row, draw_rows, rows_figure, set_range
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import cost_limits, money


def draw_payoff(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw cost per established plant, lowest first.

    Parameters
    ----------
    table
        ``method, cost_per_established, lower, upper, currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        return _payoff_on(ax, payoff_rows(table), table, "wide")


def payoff_figure(table: pd.DataFrame, *, usual: str | None = None, size: Size = "wide") -> Drawing:
    """Return cost per established plant as a figure, lowest first."""
    with styled():
        rows = payoff_rows(table, usual)
        figure, ax = rows_figure(rows, Layout(size=size, headings=_HEADINGS), WIDTHS[size])
        _payoff_on(ax, rows, table, size)
        return figure


_HEADINGS = ("Cost per plant established\n(95 % limits)",)


def payoff_rows(table: pd.DataFrame, usual: str | None = None) -> list[Row]:
    """Return one row a method, the lowest cost first."""
    rows = []
    for record in table.sort_values("cost_per_established", kind="stable").to_dict("records"):
        name, cost = str(record["method"]), float(record["cost_per_established"])
        lower, upper = float(record["lower"]), float(record["upper"])
        written = f"{money(cost, str(record['currency']))} ({cost_limits(lower, upper)})"
        rows.append(
            Row(
                label=name,
                estimate=cost,
                lower=lower,
                upper=upper,
                look="usual" if name == usual else "main",
                beside=(written,),
                under="usual practice" if name == usual else "",
            )
        )
    return rows


def _payoff_on(ax: Axes, rows: list[Row], table: pd.DataFrame, size: Size) -> Axes:
    values = [float(v) for v in [*table["lower"], *table["upper"], *table["cost_per_established"], 0.0]]
    values = [value for value in values if math.isfinite(value)]  # no upper limit: the line runs off the axis
    top = max(values, default=1.0)
    rows = [replace(row, upper=2 * top) if row.upper == math.inf else row for row in rows]
    step = next((s for s in (0.5, 1, 2, 5, 10, 20, 50, 100) if top / s <= 10), 500)
    set_range(ax, values, step, step, (0, float("inf")))
    currency = str(table["currency"].iloc[0]) if "currency" in table and len(table) else ""
    axis = "Cost per plant established" + (f" ({currency})" if currency.strip() else "")
    return draw_rows(rows, ax, Layout(size=size, headings=_HEADINGS, axis=axis))
