"""The most that each preparation may cost per plant, beside what it costs."""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Layout, Row, draw_rows, rows_figure, set_range
from survivor.figures.style import INK, WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import limits, money

_HEADINGS = ("Break-even cost per plant\n(95 % limits); its cost",)


def draw_break_even(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw the break-even cost of each preparation with its limits; a cross is what it costs.

    Parameters
    ----------
    table
        ``method, against, break_even, lower, upper, cost_per_plant, currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        return _on(ax, table, "wide")


def break_even_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return the break-even costs as a figure."""
    with styled():
        figure, ax = rows_figure(_rows(table), Layout(size=size, headings=_HEADINGS), WIDTHS[size])
        _on(ax, table, size)
        return figure


def _rows(table: pd.DataFrame) -> list[Row]:
    rows = []
    for record in table.to_dict("records"):
        level, low, high = (float(record[name]) for name in ("break_even", "lower", "upper"))
        cost = money(float(record["cost_per_plant"]), str(record["currency"]))
        written = f"{money(level, str(record['currency']))} ({limits(low, high, 2)}); {cost}"
        if not math.isfinite(level):
            written = f"not told; {cost}"
        rows.append(Row(str(record["method"]), level, low, high, beside=(written,)))
    return rows


def _on(ax: Axes, table: pd.DataFrame, size: Size) -> Axes:
    rows = _rows(table)
    paid = [float(cost) for cost in table["cost_per_plant"]]
    values = [*table["lower"].astype(float), *table["upper"].astype(float), *paid, 0.0]
    top = max((value for value in values if math.isfinite(value)), default=1.0)
    step = next((s for s in (0.5, 1, 2, 5, 10, 20, 50, 100) if top / s <= 10), 500)
    set_range(ax, values, step, step, (0, float("inf")))
    currency = str(table["currency"].iloc[0]).strip() if len(table) else ""
    axis = "Cost per plant put in" + (f" ({currency})" if currency else "")
    draw_rows(rows, ax, Layout(size=size, headings=_HEADINGS, axis=axis))
    ax.plot(paid, range(len(paid)), "x", color=INK, markersize=7, markeredgewidth=1.8, zorder=5)
    return ax
