"""Chance of the best value by what an established plant is worth."""

from __future__ import annotations

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from survivor.figures.style import (
    INK,
    SMALL,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    lines,
    spread,
    styled,
    wrapped,
)

_USUAL, _BEST = 1.2, 3.0  # widths of a line, and where its method is the best at the best figures


def draw_value(table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw the chance of the best value of each method; the line is thick where it is the best.

    Parameters
    ----------
    table
        ``worth, method, probability`` (0 to 1), ``best``, ``currency``.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        return _value_on(axes_or_new(ax), table, None, "wide")


def value_figure(table: pd.DataFrame, *, usual: str | None = None, size: Size = "wide") -> Drawing:
    """Return the chance of the best value as a figure."""
    with styled():
        under = 0.2 * table["method"].nunique() if size == "narrow" else 0.0
        figure = blank(WIDTHS[size], (3.0 if size == "wide" else 2.6) + under)
        _value_on(figure.add_subplot(), table, usual, size)
        return figure


def _value_on(ax: Axes, table: pd.DataFrame, usual: str | None, size: Size) -> Axes:
    names = list(dict.fromkeys(table["method"].astype(str)))
    looks = lines(names, usual)
    ends = []
    for name in names:
        own = table[table["method"].astype(str) == name].sort_values("worth", kind="stable")
        worth = own["worth"].to_numpy(dtype=float)
        chance = 100 * own["probability"].to_numpy(dtype=float)
        look = looks[name]
        ax.plot(worth, chance, color=look.colour, linestyle=look.dash, linewidth=_USUAL, zorder=3)
        best = own["best"].to_numpy(dtype=bool)
        if best.any():
            led = [value if is_best else float("nan") for value, is_best in zip(chance, best, strict=True)]
            ax.plot(worth, led, color=look.colour, linewidth=_BEST, zorder=4)
        ends.append(float(chance[-1]))
    ax.set_ylim(-3, 103)
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_xlim(float(table["worth"].min()), float(table["worth"].max()))
    ax.grid(axis="y")
    if size == "wide":
        right = ax.get_xlim()[1]
        for name, place in zip(names, spread(ends, 7.5, 0, 100), strict=True):
            ax.annotate(
                "\n".join(wrapped(name, 26)),
                (right, place),
                xytext=(6, 0),
                textcoords="offset points",
                ha="left",
                va="center",
                color=looks[name].colour,
                fontsize=SMALL,
                annotation_clip=False,
            )
    else:
        marks = [Line2D([], [], color=looks[name].colour, linestyle=looks[name].dash) for name in names]
        ax.legend(
            marks,
            names,
            loc="upper left",
            bbox_to_anchor=(-0.02, -0.2),
            frameon=False,
            fontsize=SMALL,
            borderaxespad=0,
            labelcolor=INK,
        )
    currency = str(table["currency"].iloc[0]).strip()
    ax.set_xlabel("Worth of an established plant" + (f" ({currency})" if currency else ""), loc="left")
    ax.set_ylabel("Chance of the best value, in 100")
    return ax
