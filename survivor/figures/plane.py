"""Extra cost against extra plants alive, each preparation set beside the usual practice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.style import (
    INK,
    PAPER,
    QUIET,
    USUAL,
    Line,
    axes_or_new,
    lines,
    note,
    spread,
    styled,
    wrapped,
)
from survivor.vocabulary import PER_100

_ACROSS = ("extra_alive", "lower", "upper")
_UP = ("extra_cost", "extra_cost_lower", "extra_cost_upper")
_PAD = 0.14  # of the range, so that words in the corners stand clear
_NOUGHT: Final[dict[str, Any]] = {"color": USUAL, "marker": "o", "markerfacecolor": PAPER, "linestyle": ""}


def draw_plane(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw extra cost against extra plants alive, with the limits of both.

    Parameters
    ----------
    table
        ``method, against, extra_alive, lower, upper`` (per 100 planted), ``extra_cost,
        extra_cost_lower, extra_cost_upper`` (per 100 planted), ``currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        return _plane_on(axes_or_new(ax), table)


def _plane_on(ax: Axes, table: pd.DataFrame) -> Axes:
    looks = lines([str(name) for name in table["method"]])
    compared = table[table["extra_alive"].notna()]
    names = list(compared["method"].astype(str))
    usual = f"{table['against'].iloc[0] if len(table) else ''} (compared with)"
    for columns, put in ((_ACROSS, ax.set_xlim), (_UP, ax.set_ylim)):
        values = [float(v) for name in columns for v in table[name] if math.isfinite(float(v))] + [0.0]
        pad = _PAD * (max(values) - min(values)) or 1.0
        put(min(values) - pad, max(values) + pad)
    ax.axhline(0, color=QUIET, linewidth=1.0, zorder=1)
    ax.axvline(0, color=QUIET, linewidth=1.0, zorder=1)
    for name, row in zip(names, compared.to_dict("records"), strict=True):
        _cross(ax, [float(row[column]) for column in (*_ACROSS, *_UP)], looks[name])
    ax.plot([0], [0], markersize=6.5, markeredgewidth=1.5, zorder=5, **_NOUGHT)
    for across, side, ha in ((0, "fewer", "left"), (1, "more", "right")):
        for up, cost, va in ((0, "less", "bottom"), (1, "more", "top")):
            look: dict[str, Any] = {"ha": ha, "va": va, "xycoords": "axes fraction"}
            words, shift = f"costs {cost},\n{side} alive", (3 - 6 * across, 3 - 6 * up)
            note(ax, words, (across, up), shift, colour=QUIET, **look)
    colours = [*(looks[name].colour for name in names), QUIET]
    points = [*zip(compared["extra_alive"], compared["extra_cost"], strict=True), (0.0, 0.0)]
    _labels(ax, [*names, usual], points, colours)
    ax.grid(True)
    currency = str(table["currency"].iloc[0]).strip() if len(table) else ""
    ax.set_xlabel(f"Extra alive {PER_100}", loc="left")
    ax.set_ylabel(f"Extra cost {PER_100}" + (f" ({currency})" if currency else ""))
    return ax


def _cross(ax: Axes, values: Sequence[float], look: Line) -> None:
    x, left, right, y, low, high = values
    if math.isfinite(y):
        ax.plot([left, right], [y, y], color=look.colour, linewidth=1.4, zorder=3)
        ax.plot([x, x], [low, high], color=look.colour, linewidth=1.4, zorder=3)
        ax.plot([x], [y], marker=look.marker, markersize=6.5, color=look.colour, linestyle="", zorder=4)


def _labels(
    ax: Axes, names: Sequence[str], points: Sequence[tuple[float, float]], colours: Sequence[str]
) -> None:
    """Write each name right of the plane, with a thin line to its point."""
    low, high = ax.get_ylim()
    right = ax.get_xlim()[1]
    places = spread([y for _, y in points], (high - low) * 0.075, low, high)
    for name, point, colour, place in zip(names, points, colours, places, strict=True):
        arrow = {"arrowstyle": "-", "color": colour, "linewidth": 0.5, "shrinkA": 1, "shrinkB": 4}
        ink = colour if colour != QUIET else INK
        words = "\n".join(wrapped(name, 26))
        note(ax, words, point, (right, place), colour=ink, textcoords="data", arrowprops=arrow)
