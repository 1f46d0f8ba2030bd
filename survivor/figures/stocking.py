"""Plants to put in for the stems wanted, and infill to order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Layout, Row, draw_rows, rows_figure, set_range
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import plants, plants_limits

_STEPS: Final = (5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)


@dataclass(frozen=True)
class _Amounts:
    """Which column names a row, which holds the plants, and the words for them."""

    name: str
    value: str
    heading: str
    axis: str

    @property
    def headings(self) -> tuple[str, ...]:
        return (f"{self.heading}\n(95 % limits)",)


_STEMS: Final = _Amounts("method", "plants_needed", "Plants per hectare", "Plants to put in per hectare")
_ORDER: Final = _Amounts("site", "to_order", "Plants to order", "Infill plants to order")


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
    return _draw(table, _STEMS, ax)


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
    return _draw(table, _ORDER, ax)


def stems_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return plants needed per hectare as a figure."""
    with styled():
        rows = _rows(table, _STEMS)
        figure, ax = rows_figure(rows, Layout(size=size, headings=_STEMS.headings), WIDTHS[size])
        _on(ax, rows, _STEMS, size)
        return figure


def _draw(table: pd.DataFrame, what: _Amounts, ax: Axes | None) -> Axes:
    with styled():
        return _on(axes_or_new(ax, height=0.4 * len(table) + 0.9), _rows(table, what), what, "wide")


def _rows(table: pd.DataFrame, what: _Amounts) -> list[Row]:
    rows = []
    for record in table.to_dict("records"):
        middle, low, high = (float(record[column]) for column in (what.value, "lower", "upper"))
        # Rounded up, as in the table beside it.
        written = f"{plants(middle)} ({plants_limits(low, high)})" if math.isfinite(middle) else "not told"
        rows.append(Row(str(record[what.name]), middle, low, high, beside=(written,)))
    return rows


def _on(ax: Axes, rows: list[Row], what: _Amounts, size: Size) -> Axes:
    values = [end for row in rows for end in (row.estimate, row.lower, row.upper)]
    top = max((value for value in values if math.isfinite(value)), default=1.0)
    step = float(next((s for s in _STEPS if top / s <= 8), 50_000))
    set_range(ax, [*values, 0.0], step, step, (0, float("inf")))
    return draw_rows(rows, ax, Layout(size=size, headings=what.headings, axis=what.axis))
