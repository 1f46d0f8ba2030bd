"""Units, all of them together, and what a new one may show, on one scale."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.comparison import difference_row, difference_steps
from survivor.figures.hazards import ratio_row
from survivor.figures.rows import Chart, Look, Row
from survivor.figures.style import Drawing, Size
from survivor.words import number

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
        One row each: ``estimate, lower, upper``; with ``words``, these stand beside the row.
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
    return _pooled(units, table, new_unit, scale, new_name).draw(ax)


def draw_trend(table: pd.DataFrame, scale: str, ax: Axes | None = None) -> Axes:
    """Draw the coefficients of a pooling on traits, ``term, estimate, lower, upper``, on its own scale."""
    rows = [_row(str(line["term"]), line, scale, "ink") for line in table.to_dict("records")]
    return _chart(rows, scale, ()).draw(ax)


def pooled_figure(
    units: pd.DataFrame,
    table: pd.DataFrame,
    new_unit: pd.DataFrame,
    scale: str,
    *,
    new_name: str = "a new season",
    size: Size = "wide",
) -> Drawing:
    """Return the figure for a page."""
    return _pooled(units, table, new_unit, scale, new_name).figure(size)


def _pooled(
    units: pd.DataFrame,
    table: pd.DataFrame,
    new_unit: pd.DataFrame,
    scale: str,
    new_name: str,
) -> Chart:
    """Return a row a unit, then all together, then a new one; the units left out are counted in a row."""
    shown = units.head(_MOST_UNITS)
    rows = [
        _row(str(line["unit"]), line, scale, "ink", f"{number(float(line['weight']))} per 100")
        for line in shown.to_dict("records")
    ]
    if len(units) > len(shown):
        rows.append(Row(f"and {len(units) - len(shown)} more", beside=("not drawn",)))
    rows.append(_row("all together", table.to_dict("records")[0], scale, "main", ""))
    rows.append(_row(new_name, new_unit.to_dict("records")[0], scale, "hollow", ""))
    return _chart(rows, scale, ("Weight",))


def _chart(rows: list[Row], scale: str, beside: tuple[str, ...]) -> Chart:
    """Return rows on the axis of what was pooled."""
    if scale in RATIO_SCALES:
        axis = f"{scale.removeprefix('log ').capitalize()}, on a logarithmic scale"
        return Chart(rows, ("Ratio\n(95 % CI)", *beside), axis, None, no_difference=1)
    return Chart(
        rows,
        ("Difference\n(95 % CI)", *beside),
        f"Difference {scale}" if scale != "as given" else "Estimate",
        difference_steps(0.0, 0.0),
        no_difference=0,
    )


def _row(label: str, line: Any, scale: str, look: Look, *weight: str) -> Row:
    if scale in RATIO_SCALES:
        row = ratio_row(label, (np.exp(line[name]) for name in ("estimate", "lower", "upper")))
    else:
        row = difference_row(label, line)
    if words := line.get("words"):
        row = replace(row, beside=(str(words),))
    return replace(row, look=look, beside=(*row.beside, *weight), marker="o" if look == "ink" else "D")
