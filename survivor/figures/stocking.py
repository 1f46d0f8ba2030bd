"""Plants to put in for the stems wanted, and infill to order."""

from __future__ import annotations

import math

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Layout, Row, draw_rows, rows_figure, set_range
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import limits, number

_STEPS = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)
_STEMS = ("Plants per hectare\n(95 % limits)",)
_ORDER = ("Plants to order\n(95 % limits)",)


def draw_stems(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw plants needed per hectare under each preparation.

    Parameters
    ----------
    table
        ``method, plants_needed, lower, upper``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        return _on(
            ax, _rows(table, "method", "plants_needed"), "Plants to put in per hectare", _STEMS, "wide"
        )


def stems_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return plants needed per hectare as a figure."""
    with styled():
        rows = _rows(table, "method", "plants_needed")
        figure, ax = rows_figure(rows, Layout(size=size, headings=_STEMS), WIDTHS[size])
        _on(ax, rows, "Plants to put in per hectare", _STEMS, size)
        return figure


def draw_order(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw infill to order at each site.

    Parameters
    ----------
    table
        ``site, to_order, lower, upper``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        return _on(ax, _rows(table, "site", "to_order"), "Infill plants to order", _ORDER, "wide")


def _rows(table: pd.DataFrame, name: str, value: str) -> list[Row]:
    rows = []
    for record in table.to_dict("records"):
        middle, low, high = (float(record[column]) for column in (value, "lower", "upper"))
        written = f"{number(middle)} ({limits(low, high)})" if math.isfinite(middle) else "not told"
        rows.append(Row(str(record[name]), middle, low, high, beside=(written,)))
    return rows


def _on(ax: Axes, rows: list[Row], axis: str, headings: tuple[str, ...], size: Size) -> Axes:
    values = [end for row in rows for end in (row.estimate, row.lower, row.upper)]
    top = max((value for value in values if math.isfinite(value)), default=1.0)
    step = float(next((s for s in _STEPS if top / s <= 8), 50_000))
    set_range(ax, [*values, 0.0], step, step, (0, float("inf")))
    return draw_rows(rows, ax, Layout(size=size, headings=headings, axis=axis))
