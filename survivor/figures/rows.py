"""Rows of estimates with their limits: the shape most answers are drawn in.

Each row is a label, a dot, a line for the limits, and the numbers beside them.
Wide, the label stands left of its line; narrow, above it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

from survivor.figures.style import (
    ACCENT,
    BODY,
    INK,
    PAPER,
    QUIET,
    RULE,
    SMALL,
    TARGET,
    USUAL,
    WORTH,
    Drawing,
    Size,
    blank,
    wrapped,
)

Look = Literal["main", "usual", "hollow", "ink"]

_COLOURS: Final[dict[Look, str]] = {"main": ACCENT, "usual": USUAL, "hollow": ACCENT, "ink": INK}
_LABEL_LETTERS: Final[dict[Size, int]] = {"wide": 25, "narrow": 30}
_UNDER_LETTERS: Final[dict[Size, int]] = {"wide": 34, "narrow": 44}  # smaller ones
_RATIOS: Final = (0.05, 0.1, 0.2, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)
_FEW_RATIOS: Final = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
_WIDE: Final = 12.0  # a range over which the finer ratios would run into each other
_LINE_POINTS: Final = 10.5  # height of a line of a label


@dataclass(frozen=True)
class Row:
    """One estimate to draw.

    ``estimate`` is NaN where there is nothing to draw; then the first of ``beside``
    says why. ``beside`` holds the texts of the columns on the right.
    """

    label: str
    estimate: float
    lower: float
    upper: float
    look: Look = "main"
    beside: tuple[str, ...] = ()
    under: str = ""  # quieter, under the label
    marker: str = "o"


@dataclass(frozen=True)
class Layout:
    """Where things stand in a figure of rows."""

    size: Size = "wide"
    headings: tuple[str, ...] = ()  # of the columns on the right
    axis: str = ""
    logarithmic: bool = False


def rows_figure(rows: Sequence[Row], layout: Layout, width: float) -> tuple[Drawing, Axes]:
    """Return a figure high enough for its rows, and its Axes with nothing drawn yet."""
    lines = sum(_lines_of(row, layout.size) for row in rows)
    if layout.size == "wide":
        height = sum(max(0.36, 0.155 * _lines_of(row, "wide") + 0.12) for row in rows) + 0.75
    else:
        height = len(rows) * 0.3 + lines * 0.155 + 0.75
    figure = blank(width, height)
    return figure, figure.add_subplot()


def draw_rows(rows: Sequence[Row], ax: Axes, layout: Layout) -> Axes:
    """Draw the rows from the top down in the order given.

    Parameters
    ----------
    rows
        At least one.
    ax
        Drawn on; its x axis must be set by the caller (:func:`set_range`).
    layout
        Wide or narrow, headings of the columns on the right, words of the axis.

    Returns
    -------
    matplotlib.axes.Axes
    """
    for place, row in enumerate(rows):
        _draw_one(row, float(place), ax, layout.size)
    ax.set_ylim(len(rows) - 0.4, -1.0 if layout.headings and layout.size == "wide" else -0.75)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)
    ax.set_xlabel(layout.axis, loc="left")
    if layout.size == "wide":
        ax.grid(axis="x")
        _columns(rows, ax, layout.headings)
    else:  # upright lines would run through the labels; a line a row instead
        ax.hlines(range(len(rows)), *ax.get_xlim(), color=RULE, linewidth=0.8, zorder=1)
    return ax


def set_range(
    ax: Axes, values: Sequence[float], step: float, least: float, inside: tuple[float, float]
) -> None:
    """Set the x axis to whole steps round the values.

    Parameters
    ----------
    ax
        Axes to set.
    values
        All that must be seen; NaN and infinite ones are left out.
    step
        The ends are multiples of it.
    least
        Least width of the axis.
    inside
        The axis never goes beyond these.
    """
    seen = [value for value in values if math.isfinite(value)]
    low = math.floor(min(seen, default=inside[0]) / step) * step
    high = math.ceil(max(seen, default=inside[0] + least) / step) * step
    while high - low < least and (low > inside[0] or high < inside[1]):
        low, high = max(low - step, inside[0]), min(high + step, inside[1])
    low, high = max(low, inside[0]), min(high, inside[1])
    margin = (high - low) * 0.015
    ax.set_xlim(low - margin, high + margin)


def ratio_ticks(low: float, high: float) -> list[float]:
    """Choose the ratios to write on a logarithmic axis."""
    ratios = _FEW_RATIOS if high / low > _WIDE else _RATIOS
    return [tick for tick in ratios if low <= tick <= high]


def set_ratios(ax: Axes, values: Sequence[float]) -> None:
    """Set the x axis to ratios on a logarithmic scale, round the values and from a half to two."""
    seen = [value for value in values if math.isfinite(value) and value > 0]
    ax.set_xscale("log")
    left, right = min([*seen, 0.5]) / 1.1, max([*seen, 2.0]) * 1.1
    ax.set_xlim(left, right)
    ax.xaxis.set_major_locator(FixedLocator(ratio_ticks(left, right)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _place: f"{value:g}"))
    ax.xaxis.set_minor_locator(NullLocator())


def mark_line(ax: Axes, at: float, words: str, rows: int, size: Size) -> None:
    """Draw a named upright line, such as a target, with its words at the top."""
    if size == "wide":
        ax.axvline(at, color=TARGET, linewidth=1.1, linestyle=(0, (4, 2)), zorder=1.5)
    else:
        ax.vlines([at] * rows, *_short(rows), color=TARGET, linewidth=1.1, zorder=1.5)
    left, right = ax.get_xlim()
    side: Literal["left", "right"] = "right" if at > (left + right) / 2 else "left"
    shift = -4 if side == "right" else 4
    ax.annotate(
        words,
        (at, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(shift, -1),
        textcoords="offset points",
        ha=side,
        va="top",
        color=TARGET,
        fontsize=SMALL,
    )


def mark_band(ax: Axes, low: float, high: float, words: str) -> None:
    """Shade a range of the x axis behind the rows and name it."""
    ax.axvspan(low, high, color=WORTH, linewidth=0, zorder=0.2)
    ax.annotate(
        words,
        (low, 1.0),
        xycoords=("data", "axes fraction"),
        xytext=(0, 3),
        textcoords="offset points",
        ha="left",
        va="bottom",
        color=QUIET,
        fontsize=SMALL,
    )


def mark_nought(ax: Axes, at: float, rows: int, size: Size) -> None:
    """Draw the upright line of no difference."""
    if size == "wide":
        ax.axvline(at, color=QUIET, linewidth=1.0, zorder=1)
    else:
        ax.vlines([at] * rows, *_short(rows), color=QUIET, linewidth=1.0, zorder=1)


def _short(rows: int) -> tuple[list[float], list[float]]:
    return [row - 0.2 for row in range(rows)], [row + 0.2 for row in range(rows)]


def _lines_of(row: Row, size: Size) -> int:
    return len(wrapped(row.label, _LABEL_LETTERS[size])) + len(_under(row, size))


def _under(row: Row, size: Size) -> list[str]:
    return wrapped(row.under, _UNDER_LETTERS[size]) if row.under else []


def _draw_one(row: Row, place: float, ax: Axes, size: Size) -> None:
    colour = _COLOURS[row.look]
    if math.isfinite(row.estimate):
        if math.isfinite(row.lower) and math.isfinite(row.upper):
            dash = (0, (3, 1.5)) if row.look in ("usual", "hollow") else "solid"
            ax.plot(
                [row.lower, row.upper], [place, place], color=colour, linewidth=2.0, linestyle=dash, zorder=3
            )
            for end in (row.lower, row.upper):
                ax.plot([end], [place], color=colour, marker="|", markersize=6, markeredgewidth=1.4, zorder=3)
        filled = row.look in ("main", "ink")
        ax.plot(
            [row.estimate],
            [place],
            marker=row.marker,
            markersize=6.5,
            color=colour,
            markerfacecolor=colour if filled else PAPER,
            markeredgewidth=1.5,
            zorder=4,
        )
    _label(row, place, ax, size)


def _label(row: Row, place: float, ax: Axes, size: Size) -> None:
    lines = wrapped(row.label, _LABEL_LETTERS[size])
    texts = [(line, INK, BODY) for line in lines] + [(line, QUIET, SMALL) for line in _under(row, size)]
    at = ax.get_yaxis_transform()
    if size == "wide":
        first = (len(texts) - 1) / 2 * _LINE_POINTS
        for i, (text, colour, points) in enumerate(texts):
            ax.annotate(
                text,
                (-0.02, place),
                xycoords=at,
                xytext=(0, first - i * _LINE_POINTS),
                textcoords="offset points",
                ha="right",
                va="center",
                color=colour,
                fontsize=points,
            )
        return
    for i, (text, colour, points) in enumerate(texts):
        ax.annotate(
            text,
            (0.0, place),
            xycoords=at,
            xytext=(0, 8 + (len(texts) - 1 - i) * _LINE_POINTS),
            textcoords="offset points",
            ha="left",
            va="bottom",
            color=colour,
            fontsize=points,
        )
    if row.beside:
        ax.annotate(
            "; ".join(text for text in row.beside if text),
            (1.0, place),
            xycoords=at,
            xytext=(0, 8),
            textcoords="offset points",
            ha="right",
            va="bottom",
            color=INK,
            fontsize=SMALL,
        )


def _columns(rows: Sequence[Row], ax: Axes, headings: Sequence[str]) -> None:
    """Write the columns on the right; each is as wide as its longest text."""
    at = ax.get_yaxis_transform()
    shift = 10.0
    for column in range(max((len(row.beside) for row in rows), default=0)):
        texts = [row.beside[column] if column < len(row.beside) else "" for row in rows]
        heading = headings[column].split("\n") if column < len(headings) else []
        # An unfinished row's reason may run on; it must not push the next column away.
        fitting = [text for text, row in zip(texts, rows, strict=True) if math.isfinite(row.estimate)]
        width = max((len(text) for text in [*fitting, *heading]), default=0) * BODY * 0.56
        for place, text in enumerate(texts):
            ax.annotate(
                text,
                (1.0, place),
                xycoords=at,
                xytext=(shift, 0),
                textcoords="offset points",
                ha="left",
                va="center",
                color=INK,
                fontsize=BODY,
            )
        for i, line in enumerate(heading):
            ax.annotate(
                line,
                (1.0, 1.0),
                xycoords="axes fraction",
                xytext=(shift, (len(heading) - 1 - i) * 9.5 + 2),
                textcoords="offset points",
                ha="left",
                va="bottom",
                color=QUIET,
                fontsize=SMALL,
            )
        shift += width + 10.0
