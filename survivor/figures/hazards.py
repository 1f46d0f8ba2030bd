"""Ratios of hazards: of a model's terms, by period of the season, and residuals along the age."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from survivor.figures.rows import Chart, Row, ratio_ticks
from survivor.figures.style import ACCENT, QUIET, TARGET, Drawing, Size, panels, styled
from survivor.words import limits, number

_FURTHEST: Final = (math.log(0.05), math.log(20.0))  # ratios beyond are drawn at the edge


def draw_coefficients(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw hazard ratios (or odds ratios) of the terms of a model with their limits.

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
    name = next((n for n in ("hazard_ratio", "odds_ratio") if n in table), None)
    if name is None:
        ratios = np.exp(table[["estimate", "lower", "upper"]].to_numpy(dtype=float))
    else:
        ratios = table[[name, f"{name}_lower", f"{name}_upper"]].to_numpy(dtype=float)
    rows = [ratio_row(str(term), three) for term, three in zip(table["term"], ratios, strict=True)]
    return _ratios(rows, "Odds ratio of survival" if name == "odds_ratio" else "Hazard ratio of death").draw(
        ax
    )


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
    columns = ["hazard_ratio", "hazard_ratio_lower", "hazard_ratio_upper"]
    rows = [
        ratio_row(method, (line[name] for name in columns), str(line["period"]))
        for method in dict.fromkeys(table["method"].astype(str))
        for line in table[table["method"].astype(str) == method].to_dict("records")
    ]
    return _ratios(rows, "Hazard ratio of death").draw(ax)


def ratio_row(label: str, ratio_and_limits: Iterable[float], under: str = "") -> Row:
    """Return the row of a ratio with its lower and upper limit."""
    ratio, lower, upper = map(float, ratio_and_limits)
    beside = (f"{number(ratio, 2)} ({limits(lower, upper, 2)})",)
    return Row(label, ratio, lower, upper, beside=beside, under=under)


def _ratios(rows: list[Row], words: str) -> Chart:
    return Chart(rows, ("Ratio\n(95 % CI)",), f"{words} (logarithmic scale)", None, no_difference=1)


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
    values = [*table["estimate"], *table["overall"], math.log(0.5), math.log(2.0)]
    low, high = max(min(values), _FURTHEST[0]), min(max(values), _FURTHEST[1])
    ticks = ratio_ticks(math.exp(low - 0.15), math.exp(high + 0.15))
    with styled():
        names = list(dict.fromkeys(table["method"].astype(str)))
        figure, axes = panels(names, size, 1.4, "Hazard ratio (logarithmic)")
        for name, ax in axes.items():
            own = table[table["method"].astype(str) == name].sort_values("day", kind="stable")
            day = own["day"].to_numpy(dtype=float)
            value = np.clip(own["estimate"].to_numpy(dtype=float), low, high)
            area = 8 + 70 * own["deaths"].to_numpy(dtype=float) / float(table["deaths"].max())
            overall = float(own["overall"].iloc[0])
            ax.axhline(0.0, color=QUIET, linewidth=0.8, zorder=1)
            ax.axhline(overall, color=TARGET, linewidth=1.0, linestyle=(0, (4, 2)), zorder=1.5)
            ax.plot(day, value, color=ACCENT, linewidth=0.8, zorder=2)
            ax.scatter(day, value, s=area, color=ACCENT, zorder=3, linewidth=0)
            ax.set_ylim(low - 0.15, high + 0.15)
            ax.set_xlim(0, float(table["day"].max()) * 1.08)
            ax.yaxis.set_major_locator(FixedLocator([math.log(tick) for tick in ticks]))
            ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _place: f"{math.exp(value):.2g}"))
            ax.yaxis.set_minor_locator(NullLocator())
        return figure
