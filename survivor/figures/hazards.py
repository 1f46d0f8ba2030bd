"""Ratios of hazards by period of the season, and the residuals that show how they move with age."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from survivor.figures.rows import Layout, Row, draw_rows, mark_nought, ratio_ticks, set_ratios
from survivor.figures.style import (
    ACCENT,
    INK,
    QUIET,
    SMALL,
    TARGET,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    styled,
    wrapped,
)
from survivor.figures.words import limits, number

_COLUMNS: Final[dict[Size, int]] = {"wide": 3, "narrow": 2}
_LETTERS: Final[dict[Size, int]] = {"wide": 27, "narrow": 21}
_FURTHEST: Final = (math.log(0.05), math.log(20.0))  # ratios beyond are drawn at the edge


def draw_hazards(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw the ratio of hazards of each method in each period.

    Parameters
    ----------
    table
        ``period, method, hazard_ratio, hazard_ratio_lower, hazard_ratio_upper``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax, height=0.4 * len(table) + 0.9)
        rows = []
        for method in dict.fromkeys(table["method"].astype(str)):
            for record in table[table["method"].astype(str) == method].to_dict("records"):
                middle, low, high = (
                    float(record[f"hazard_ratio{part}"]) for part in ("", "_lower", "_upper")
                )
                beside = (f"{number(middle, 2)} ({limits(low, high, 2)})",)
                rows.append(Row(method, middle, low, high, beside=beside, under=str(record["period"])))
        set_ratios(ax, [value for row in rows for value in (row.lower, row.upper, row.estimate)])
        layout = Layout(headings=("Ratio\n(95 % limits)",), axis="Hazard ratio of death (logarithmic scale)")
        draw_rows(rows, ax, layout)
        mark_nought(ax, 1, len(rows), "wide")
        return ax


def residuals_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return a panel a method: its ratio of hazards as each round of visits has it.

    Parameters
    ----------
    table
        ``method, day`` (since planting), ``deaths``, ``estimate`` and ``overall`` (log
        hazard ratios).
    size
        Three panels a row, or two.
    """
    named = list(dict.fromkeys(table["method"].astype(str)))
    columns = 2 if len(named) == 4 else min(_COLUMNS[size], max(len(named), 1))
    rows = math.ceil(len(named) / columns)
    titles = max((len(wrapped(name, _LETTERS[size])) for name in named), default=1)
    with styled():
        figure = blank(WIDTHS[size], rows * (1.4 + 0.13 * titles) + 0.35)
        panels = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        low, high = _reach(table)
        most = float(table["deaths"].max())
        for place, name in enumerate(named):
            ax = panels[place // columns, place % columns]
            _panel(ax, name, table[table["method"].astype(str) == name], most, (low, high), size)
            ax.xaxis.set_tick_params(labelbottom=place + columns >= len(named))
        panels[0, 0].set_ylim(low - 0.15, high + 0.15)
        panels[0, 0].set_xlim(0, float(table["day"].max()) * 1.08)
        ticks = ratio_ticks(math.exp(low - 0.15), math.exp(high + 0.15))
        panels[0, 0].yaxis.set_major_locator(FixedLocator([math.log(tick) for tick in ticks]))
        panels[0, 0].yaxis.set_major_formatter(FuncFormatter(lambda value, _place: f"{math.exp(value):.2g}"))
        panels[0, 0].yaxis.set_minor_locator(NullLocator())
        for place in range(len(named), rows * columns):
            panels[place // columns, place % columns].set_visible(False)
        figure.supxlabel("Days after planting", x=0.01, ha="left", color=QUIET, fontsize=SMALL + 0.5)
        figure.supylabel("Hazard ratio (logarithmic)", color=QUIET, fontsize=SMALL + 0.5)
        return figure


def _reach(table: pd.DataFrame) -> tuple[float, float]:
    values = [*table["estimate"], *table["overall"], math.log(0.5), math.log(2.0)]
    return max(min(values), _FURTHEST[0]), min(max(values), _FURTHEST[1])


def _panel(
    ax: Axes, name: str, rows: pd.DataFrame, most: float, reach: tuple[float, float], size: Size
) -> None:
    ordered = rows.sort_values("day", kind="stable")
    day = ordered["day"].to_numpy(dtype=float)
    value = np.clip(ordered["estimate"].to_numpy(dtype=float), *reach)
    area = 8 + 70 * ordered["deaths"].to_numpy(dtype=float) / most
    ax.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1)
    ax.axhline(
        float(ordered["overall"].iloc[0]), color=TARGET, linewidth=1.0, linestyle=(0, (4, 2)), zorder=1.5
    )
    ax.plot(day, value, color=ACCENT, linewidth=0.8, zorder=2)
    ax.scatter(day, value, s=area, color=ACCENT, zorder=3, linewidth=0)
    ax.set_title("\n".join(wrapped(name, _LETTERS[size])), color=INK, fontsize=SMALL + 0.5)
