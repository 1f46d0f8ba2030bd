"""Power by the number of plots, by formula and by simulation with its own limits."""

from __future__ import annotations

from typing import Final

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from survivor.figures.colours import COLOURS
from survivor.figures.style import (
    ACCENT,
    BODY,
    INK,
    QUIET,
    RULE,
    TARGET,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    note,
    styled,
)
from survivor.words import number

_FORMULAS: Final = (
    ("two_proportions", "by two proportions", INK, "solid"),
    ("events", "by events", COLOURS["line2"].light, (0, (6, 2))),
)
_DOTS: Final = "simulated, 95 % CI"


def draw_power(
    table: pd.DataFrame, ax: Axes | None = None, *, chosen: int | None = None, wanted: float | None = None
) -> Axes:
    """Draw power by plots of each method.

    Parameters
    ----------
    table
        ``plots, two_proportions, events, simulated, lower, upper``; power per 100.
    ax
        Axes to draw on; a new figure's where none is given.
    chosen
        The number of plots that the answer is for.
    wanted
        The power asked for, per 100.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        return _power_on(axes_or_new(ax), table, chosen, wanted, "wide")


def power_figure(
    table: pd.DataFrame, *, chosen: int | None = None, wanted: float | None = None, size: Size = "wide"
) -> Drawing:
    """Return power by plots of each method as a figure."""
    with styled():
        figure = blank(WIDTHS[size], 3.4 if size == "wide" else 3.0)
        _power_on(figure.subplots(), table, chosen, wanted, size)
        return figure


def _power_on(ax: Axes, table: pd.DataFrame, chosen: int | None, wanted: float | None, size: Size) -> Axes:
    ordered = table.sort_values("plots", kind="stable")
    plots = ordered["plots"].to_numpy(dtype=float)
    ax.set_ylim(0, 102)
    ax.set_xlim(0, plots.max() * 1.08)
    ax.grid(axis="y", color=RULE)
    for name, words, colour, dash in _FORMULAS:
        ax.plot(plots, ordered[name], color=colour, linestyle=dash, linewidth=1.4, zorder=2, label=words)
    middle = ordered["simulated"].to_numpy(dtype=float)
    low, high = ordered["lower"].to_numpy(dtype=float), ordered["upper"].to_numpy(dtype=float)
    ax.vlines(plots, low, high, color=ACCENT, linewidth=1.6, zorder=3)
    ax.plot(plots, middle, color=ACCENT, marker="o", markersize=5, linestyle="none", zorder=4, label=_DOTS)
    if wanted is not None:
        ax.axhline(wanted, color=TARGET, linewidth=1.0, linestyle="solid", zorder=1)
        note(ax, f"wanted: {number(wanted)}", (0, wanted), (3, 3), va="bottom", colour=TARGET)
    if chosen is not None and (ordered["plots"] == chosen).any():
        ax.axvline(chosen, color=QUIET, linewidth=0.8, zorder=1)
        note(ax, f"{number(chosen)} plots", (chosen, 100), (-3, 0), ha="right", va="top", colour=QUIET)
    # Power rises from left to right, so the lower right corner is free.
    ax.legend(loc="lower right", frameon=False, fontsize=BODY, labelcolor="linecolor", handlelength=2.4)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=8 if size == "wide" else 5))
    ax.set_xlabel("Plots of each method", loc="left")
    ax.set_ylabel("Seasons of 100 that show it")
    return ax
