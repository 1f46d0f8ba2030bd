"""Units, all of them together, and what a new one may show, on one scale."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import (
    Layout,
    Look,
    Row,
    draw_rows,
    mark_band,
    mark_nought,
    rows_figure,
    set_range,
    set_ratios,
)
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import difference, limits, number

RATIO_SCALES: Final = ("log hazard ratio", "log odds ratio")  # drawn as ratios, on a logarithmic axis
_MOST_UNITS = 40  # beyond, rows would be too many to read


def draw_pooled(
    units: pd.DataFrame,
    table: pd.DataFrame,
    new_unit: pd.DataFrame,
    scale: str,
    ax: Axes | None = None,
    new_name: str = "a new one",
) -> Axes:
    """Draw each unit with its limits, all together, and a new one.

    Parameters
    ----------
    units
        ``unit, estimate, lower, upper, weight`` (per 100).
    table, new_unit
        One row each: ``estimate, lower, upper``.
    scale
        What was pooled; a logarithm of a ratio is drawn as the ratio.
    ax
        Axes to draw on; a new figure's where none is given.
    new_name
        Name of the row for a new unit.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        rows = pooled_rows(units, table, new_unit, scale, new_name)
        ax = axes_or_new(ax, height=0.4 * len(rows) + 0.9)
        return _draw(rows, ax, scale, "wide", None)


def pooled_figure(
    units: pd.DataFrame,
    table: pd.DataFrame,
    new_unit: pd.DataFrame,
    scale: str,
    *,
    smallest: float | None = None,
    new_name: str = "a new season",
    size: Size = "wide",
) -> Drawing:
    """Return the figure for a page; ``smallest`` shades the difference not worth having."""
    with styled():
        rows = pooled_rows(units, table, new_unit, scale, new_name)
        figure, ax = rows_figure(rows, Layout(size=size, headings=_headings(scale)), WIDTHS[size])
        _draw(rows, ax, scale, size, smallest)
        return figure


def pooled_rows(
    units: pd.DataFrame, table: pd.DataFrame, new_unit: pd.DataFrame, scale: str, new_name: str
) -> list[Row]:
    """Return a row a unit, then all together, then a new one; the units left out are counted in a row."""
    shown = units.head(_MOST_UNITS)
    rows = [
        _row(str(line["unit"]), line, scale, "ink", f"{number(float(line['weight']))} per 100")
        for line in shown.to_dict("records")
    ]
    if len(units) > len(shown):
        nothing = float("nan")
        rows.append(
            Row(f"and {len(units) - len(shown)} more", nothing, nothing, nothing, beside=("not drawn",))
        )
    rows.append(_row("all together", table.to_dict("records")[0], scale, "main", ""))
    rows.append(_row(new_name, new_unit.to_dict("records")[0], scale, "hollow", ""))
    return rows


def _row(label: str, line: Mapping[Hashable, Any], scale: str, look: Look, weight: str) -> Row:
    estimate, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    if scale in RATIO_SCALES:
        estimate, lower, upper = (float(np.exp(value)) for value in (estimate, lower, upper))
        text = f"{number(estimate, 2)} ({limits(lower, upper, 2)})"
    else:
        said, span = difference(estimate, lower, upper)
        text = f"{said} ({span})"
    marker = "o" if look == "ink" else "D"
    return Row(label, estimate, lower, upper, look=look, beside=(text, weight), marker=marker)


def _headings(scale: str) -> tuple[str, ...]:
    what = "Ratio" if scale in RATIO_SCALES else "Difference"
    return (f"{what}\n(95 % limits)", "Weight")


def _draw(rows: list[Row], ax: Axes, scale: str, size: Size, smallest: float | None) -> Axes:
    values = [value for row in rows for value in (row.estimate, row.lower, row.upper)]
    if scale in RATIO_SCALES:
        set_ratios(ax, values)
        axis = f"{scale.removeprefix('log ').capitalize()}, on a logarithmic scale"
    else:
        edge = smallest or 0.0
        set_range(ax, [*values, -edge, edge, 0.0], 5, 20, (-100, 100))
        axis = f"Difference {scale}" if scale != "as given" else "Estimate"
    draw_rows(rows, ax, Layout(size=size, headings=_headings(scale), axis=axis))
    if smallest is not None and scale not in RATIO_SCALES:
        mark_band(ax, -smallest, smallest, f"less than worth having ({number(smallest)})")
    mark_nought(ax, 1.0 if scale in RATIO_SCALES else 0.0, len(rows), size)
    return ax
