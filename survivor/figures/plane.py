"""Extra cost against extra plants alive, each preparation set beside the usual practice."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from survivor.figures.style import (
    INK,
    PAPER,
    QUIET,
    SMALL,
    USUAL,
    WIDTHS,
    Drawing,
    Line,
    Size,
    axes_or_new,
    blank,
    lines,
    spread,
    styled,
    wrapped,
)

_CORNERS = (
    ("costs more,\nmore alive", 1.0, 1.0),
    ("costs more,\nfewer alive", 0.0, 1.0),
    ("costs less,\nmore alive", 1.0, 0.0),
    ("costs less,\nfewer alive", 0.0, 0.0),
)
_PAD = 0.14  # of the range, so that words in the corners stand clear


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
        return _plane_on(axes_or_new(ax), table, "wide")


def plane_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return the plane of extra cost and extra plants alive as a figure."""
    with styled():
        under = 0.2 * (len(table) + 1) if size == "narrow" else 0.0
        figure = blank(WIDTHS[size], (3.5 if size == "wide" else 3.1) + under)
        _plane_on(figure.add_subplot(), table, size)
        return figure


def _plane_on(ax: Axes, table: pd.DataFrame, size: Size) -> Axes:
    names = [str(name) for name in table["method"]]
    looks = lines(names)
    usual = str(table["against"].iloc[0]) if len(table) else ""
    _range(ax, table)
    ax.axhline(0, color=QUIET, linewidth=1.0, zorder=1)
    ax.axvline(0, color=QUIET, linewidth=1.0, zorder=1)
    for row in table.to_dict("records"):
        _cross(ax, row, looks[str(row["method"])])
    ax.plot(
        [0],
        [0],
        marker="o",
        markersize=6.5,
        color=USUAL,
        markerfacecolor=PAPER,
        markeredgewidth=1.5,
        zorder=5,
    )
    for words, across, up in _CORNERS:
        ax.annotate(
            words,
            (across, up),
            xycoords="axes fraction",
            xytext=(-3 if across else 3, -3 if up else 3),
            textcoords="offset points",
            ha="right" if across else "left",
            va="top" if up else "bottom",
            color=QUIET,
            fontsize=SMALL,
        )
    told = table[table["extra_alive"].notna()]
    if size == "wide":
        _labels(ax, [*told["method"].astype(str), f"{usual} (compared with)"], told, looks)
    else:
        _key(ax, list(told["method"].astype(str)), looks, usual)
    ax.grid(True)
    currency = str(table["currency"].iloc[0]).strip() if len(table) else ""
    ax.set_xlabel("Extra alive per 100 planted", loc="left")
    ax.set_ylabel("Extra cost per 100 planted" + (f" ({currency})" if currency else ""))
    return ax


def _range(ax: Axes, table: pd.DataFrame) -> None:
    for columns, put in (
        (("extra_alive", "lower", "upper"), ax.set_xlim),
        (("extra_cost", "extra_cost_lower", "extra_cost_upper"), ax.set_ylim),
    ):
        values = [float(v) for name in columns for v in table[name] if math.isfinite(float(v))] + [0.0]
        low, high = min(values), max(values)
        pad = _PAD * (high - low) or 1.0
        put(low - pad, high + pad)


def _cross(ax: Axes, row: dict[object, object], look: Line) -> None:
    at = {name: float(str(row[name])) for name in (*_ACROSS, *_UP)}
    x, y = at["extra_alive"], at["extra_cost"]
    if not (math.isfinite(x) and math.isfinite(y)):
        return
    ax.plot([at["lower"], at["upper"]], [y, y], color=look.colour, linewidth=1.4, zorder=3)
    ax.plot(
        [x, x], [at["extra_cost_lower"], at["extra_cost_upper"]], color=look.colour, linewidth=1.4, zorder=3
    )
    ax.plot([x], [y], marker=look.marker, markersize=6.5, color=look.colour, linestyle="", zorder=4)


_ACROSS = ("extra_alive", "lower", "upper")
_UP = ("extra_cost", "extra_cost_lower", "extra_cost_upper")


def _labels(ax: Axes, names: Sequence[str], told: pd.DataFrame, looks: dict[str, Line]) -> None:
    """Write each name right of the plane, with a thin line to its point."""
    low, high = ax.get_ylim()
    right = ax.get_xlim()[1]
    points = [
        *zip(told["extra_alive"].astype(float), told["extra_cost"].astype(float), strict=True),
        (0.0, 0.0),
    ]
    colours = [*(looks[str(name)].colour for name in told["method"]), QUIET]
    places = spread([y for _, y in points], (high - low) * 0.075, low, high)
    for name, (x, y), colour, place in zip(names, points, colours, places, strict=True):
        ax.annotate(
            "\n".join(wrapped(name, 26)),
            (x, y),
            xytext=(right, place),
            textcoords="data",
            ha="left",
            va="center",
            color=colour if colour != QUIET else INK,
            fontsize=SMALL,
            annotation_clip=False,
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.5, "shrinkA": 1, "shrinkB": 4},
        )


def _key(ax: Axes, names: Sequence[str], looks: dict[str, Line], usual: str) -> None:
    """Name each marker under the plane, where there is no room beside it."""
    marks = [
        Line2D([], [], color=looks[name].colour, marker=looks[name].marker, markersize=5.5, linewidth=1.4)
        for name in names
    ]
    nought = Line2D([], [], color=USUAL, marker="o", markerfacecolor=PAPER, markersize=5.5, linestyle="")
    ax.legend(
        [*marks, nought],
        [*names, f"{usual} (compared with)"],
        loc="upper left",
        bbox_to_anchor=(-0.02, -0.17),
        frameon=False,
        fontsize=SMALL,
        borderaxespad=0,
        labelcolor=INK,
    )
