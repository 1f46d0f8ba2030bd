"""Coefficients of a model as ratios on a logarithmic scale, and models side by side."""

from __future__ import annotations

import math
from typing import Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.rows import Layout, Row, draw_rows, mark_nought, rows_figure, set_range, set_ratios
from survivor.figures.style import WIDTHS, Drawing, Size, axes_or_new, styled
from survivor.figures.words import difference, limits, number

_MARKERS: Final = ("o", "s", "D", "^", "v", "P")


def draw_coefficients(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw hazard ratios (or odds ratios) of the terms with their limits.

    Parameters
    ----------
    table
        ``term`` and ``hazard_ratio, hazard_ratio_lower, hazard_ratio_upper`` (or
        ``odds_ratio...``); without these, ``estimate, lower, upper`` on the log scale.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.36 * len(table) + 0.9)
        name = next((n for n in ("hazard_ratio", "odds_ratio") if n in table), None)
        middle, low, high = (
            (table[name], table[f"{name}_lower"], table[f"{name}_upper"])
            if name is not None
            else tuple(table[column].map(math.exp) for column in ("estimate", "lower", "upper"))
        )
        rows = [
            Row(str(term), float(m), float(lo), float(hi), beside=(f"{number(m, 2)} ({limits(lo, hi, 2)})",))
            for term, m, lo, hi in zip(table["term"], middle, low, high, strict=True)
        ]
        words = "Odds ratio of survival" if name == "odds_ratio" else "Hazard ratio of death"
        set_ratios(ax, [value for row in rows for value in (row.lower, row.upper, row.estimate)])
        draw_rows(rows, ax, Layout(headings=("Ratio\n(95 % limits)",), axis=f"{words} (logarithmic scale)"))
        mark_nought(ax, 1, len(rows), "wide")
        return ax


def agreement_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return the difference of each method as each model has it, one row a model.

    Parameters
    ----------
    table
        ``model, method, against, estimate, lower, upper`` (per 100 planted).
    size
        For a page, or for a telephone.
    """
    with styled():
        models = list(dict.fromkeys(table["model"].astype(str)))
        rows = []
        for method in dict.fromkeys(table["method"].astype(str)):
            for record in table[table["method"].astype(str) == method].to_dict("records"):
                value, lower, upper = (float(record[name]) for name in ("estimate", "lower", "upper"))
                rows.append(
                    Row(
                        label=method if size == "wide" or math.isfinite(value) else f"{method}: no answer",
                        estimate=value,
                        lower=lower,
                        upper=upper,
                        look="ink",
                        beside=("{} ({})".format(*difference(value, lower, upper)),),
                        under=str(record["model"]),
                        marker=_MARKERS[models.index(str(record["model"])) % len(_MARKERS)],
                    )
                )
        layout = Layout(
            size=size,
            headings=("Difference per 100\n(95 % limits)",),
            axis="Difference in plants alive per 100 planted",
        )
        figure, ax = rows_figure(rows, layout, WIDTHS[size])
        values = [float(v) for v in [*table["lower"], *table["upper"], *table["estimate"], 0.0]]
        set_range(ax, values, 5, 20, (-100, 100))
        draw_rows(rows, ax, layout)
        mark_nought(ax, 0, len(rows), size)
        return figure
