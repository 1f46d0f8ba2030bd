"""Rows of estimates with their limits: the shape most answers are drawn in.

Each row is a label, a dot, a line for the limits, and the numbers beside them.
Wide, the label stands left of its line; narrow, above it.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

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
    WIDTHS,
    WORTH,
    Drawing,
    Size,
    axes_or_new,
    blank,
    note,
    styled,
    wrapped,
)

Look = Literal["main", "usual", "hollow", "ink"]

_COLOURS: Final[dict[Look, str]] = {"main": ACCENT, "usual": USUAL, "hollow": ACCENT, "ink": INK}
_BESIDE_LETTERS: Final[dict[Size, int]] = {"wide": 48, "narrow": 52}
_LABEL_LETTERS: Final[dict[Size, int]] = {"wide": 25, "narrow": 30}
_UNDER_LETTERS: Final[dict[Size, int]] = {"wide": 34, "narrow": 44}  # smaller ones
_RATIOS: Final = (0.05, 0.1, 0.2, 0.33, 0.5, 0.67, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)
_FEW_RATIOS: Final = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
_WIDE: Final = 12.0  # a range over which the finer ratios would run into each other
_LINE_POINTS: Final = 11.5  # height of a line of a label


@dataclass(frozen=True)
class Row:
    """One estimate to draw.

    ``estimate`` is NaN where there is nothing to draw; then the first of ``beside``
    says why. ``beside`` holds the texts of the columns on the right. A limit that is
    infinite is drawn to the edge. ``cross``: another value of the row, marked.
    """

    label: str
    estimate: float = math.nan
    lower: float = math.nan
    upper: float = math.nan
    look: Look = "main"
    beside: tuple[str, ...] = ()
    under: str = ""  # quieter, under the label
    marker: str = "o"
    cross: float = math.nan


@dataclass(frozen=True)
class Steps:
    """An axis in whole steps round all that must be seen.

    ``step``: the ends are multiples of it. ``least``: its least width. ``inside``: it
    never goes beyond these. ``also``: must be seen whatever the rows say.
    """

    step: float
    least: float
    inside: tuple[float, float]
    also: tuple[float, ...] = ()


@dataclass(frozen=True)
class Chart:
    """Rows from the top down, and what stands behind them.

    ``headings``: of the columns on the right. ``steps``: of the axis; None for ratios, on a
    logarithmic one. ``short_axis``: words of the axis on a telephone, where they differ.
    ``no_difference``: where there is no difference. ``band``, ``target``: from, to or at, with the words.
    """

    rows: Sequence[Row]
    headings: tuple[str, ...]
    axis: str
    steps: Steps | None
    short_axis: str = ""
    no_difference: float | None = None
    band: tuple[float, float, str] | None = None
    target: tuple[float, str] | None = None

    def draw(self, ax: Axes | None) -> Axes:
        """Draw on ``ax``, or on Axes of a new figure."""
        with styled():
            return self._on(axes_or_new(ax, height=0.4 * len(self.rows) + 0.9), "wide")

    def figure(self, size: Size) -> Drawing:
        """Return a figure high enough for the rows."""
        with styled():
            lines = [len(_label_lines(row, size)) for row in self.rows]
            if size == "wide":
                height = sum(max(0.37, 0.165 * count + 0.12) for count in lines)
            else:
                height = sum(0.31 + 0.165 * count for count in lines)
            figure = blank(WIDTHS[size], height + 0.75)
            self._on(figure.add_subplot(), size)
            return figure

    def _on(self, ax: Axes, size: Size) -> Axes:
        rows = range(len(self.rows))
        values = [v for row in self.rows for v in (row.estimate, row.lower, row.upper, row.cross)]
        if self.steps is None:
            _set_ratios(ax, values)
        else:
            _set_steps(ax, values, self.steps)
        for place, row in enumerate(self.rows):
            _draw_row(row, place, ax, size)
        ax.plot([row.cross for row in self.rows], rows, "x", color=INK, markersize=7, mew=1.8, zorder=5)
        ax.set_ylim(len(rows) - 0.4, -1.0 if self.headings and size == "wide" else -0.75)
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.set_xlabel(self.short_axis if self.short_axis and size == "narrow" else self.axis, loc="left")
        if self.band is not None:
            low, high, words = self.band
            ax.axvspan(low, high, color=WORTH, linewidth=0, zorder=0.2)
            note(ax, words, (low, 1), (0, 3), va="bottom", colour=QUIET, xycoords=_ABOVE)
        if size == "wide":
            ax.grid(axis="x")
            _columns(self.rows, ax, self.headings)
        else:  # upright lines would run through the labels; a line a row instead
            ax.hlines(rows, *ax.get_xlim(), color=RULE, linewidth=0.8, zorder=1)
        if self.no_difference is not None:
            _upright(ax, self.no_difference, len(rows), size, color=QUIET, linewidth=1.0, zorder=1)
        if self.target is not None:
            at, words = self.target
            dash = (0, (4, 2)) if size == "wide" else "solid"
            _upright(ax, at, len(rows), size, color=TARGET, linewidth=1.1, linestyle=dash, zorder=1.5)
            over = at > sum(ax.get_xlim()) / 2
            side: Literal["left", "right"] = "right" if over else "left"
            note(
                ax, words, (at, 1), (-4 if over else 4, -1), ha=side, va="top", colour=TARGET, xycoords=_ABOVE
            )
        return ax


_ABOVE: Final = ("data", "axes fraction")


def ratio_ticks(low: float, high: float) -> list[float]:
    """Choose the ratios to write on a logarithmic axis."""
    ratios = _FEW_RATIOS if high / low > _WIDE else _RATIOS
    return [tick for tick in ratios if low <= tick <= high]


def _set_steps(ax: Axes, values: Sequence[float], steps: Steps) -> None:
    seen = [value for value in [*values, *steps.also] if math.isfinite(value)]
    step, (least_end, last_end) = steps.step, steps.inside
    low = math.floor(min(seen, default=least_end) / step) * step
    high = math.ceil(max(seen, default=least_end + steps.least) / step) * step
    while high - low < steps.least and (low > least_end or high < last_end):
        low, high = max(low - step, least_end), min(high + step, last_end)
    low, high = max(low, least_end), min(high, last_end)
    margin = (high - low) * 0.015
    ax.set_xlim(low - margin, high + margin)


def _set_ratios(ax: Axes, values: Sequence[float]) -> None:
    """Set a logarithmic axis round the values, and from a half to two."""
    seen = [value for value in values if math.isfinite(value) and value > 0]
    ax.set_xscale("log")
    left, right = min([*seen, 0.5]) / 1.1, max([*seen, 2.0]) * 1.1
    ax.set_xlim(left, right)
    ax.xaxis.set_major_locator(FixedLocator(ratio_ticks(left, right)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _place: f"{value:g}"))
    ax.xaxis.set_minor_locator(NullLocator())


def _upright(ax: Axes, at: float, rows: int, size: Size, **look: Any) -> None:
    """Draw an upright line; on a telephone, where labels stand between the rows, a stroke a row."""
    if size == "wide":
        ax.axvline(at, **look)
    else:
        places = range(rows)
        ax.vlines([at] * rows, [row - 0.2 for row in places], [row + 0.2 for row in places], **look)


def _label_lines(row: Row, size: Size) -> list[tuple[str, str, float]]:
    """Lines of a label with their colour and size: its own, then the quieter ones under it."""
    under = wrapped(row.under, _UNDER_LETTERS[size]) if row.under else []
    return [
        *((line, INK, BODY) for line in wrapped(row.label, _LABEL_LETTERS[size])),
        *((line, QUIET, SMALL) for line in under),
    ]


def _draw_row(row: Row, place: int, ax: Axes, size: Size) -> None:
    colour = _COLOURS[row.look]
    if math.isfinite(row.estimate):
        if math.isfinite(row.lower) and not math.isnan(row.upper):
            ends = [row.lower, min(row.upper, 2 * ax.get_xlim()[1])]
            dash = (0, (3, 1.5)) if row.look == "hollow" else "solid"
            ax.plot(ends, [place, place], color=colour, linewidth=2.0, linestyle=dash, zorder=3)
            for end in ends:
                ax.plot([end], [place], color=colour, marker="|", markersize=6, mew=1.4, zorder=3)
        ax.plot(
            [row.estimate],
            [place],
            marker=row.marker,
            markersize=6.5,
            color=colour,
            markerfacecolor=PAPER if row.look == "hollow" else colour,
            markeredgewidth=1.5,
            zorder=4,
        )
    at = ax.get_yaxis_transform()
    lines = _label_lines(row, size)
    for i, (text, ink, points) in enumerate(lines):
        below = (len(lines) - 1 - i) * _LINE_POINTS
        if size == "wide":
            up = below - (len(lines) - 1) / 2 * _LINE_POINTS
            note(ax, text, (-0.02, place), (0, up), ha="right", colour=ink, fontsize=points, xycoords=at)
        else:
            note(ax, text, (0, place), (0, 8 + below), va="bottom", colour=ink, fontsize=points, xycoords=at)
    if row.beside and size == "narrow":
        beside = _in_lines("; ".join(text for text in row.beside if text), size)
        note(ax, beside, (1, place), (0, 8), ha="right", va="bottom", xycoords=at)


def _in_lines(text: str, size: Size) -> str:
    """Break words beside a row where they would leave no room for the row itself."""
    return "\n".join(textwrap.wrap(text, _BESIDE_LETTERS[size]))


def _columns(rows: Sequence[Row], ax: Axes, headings: Sequence[str]) -> None:
    """Write the columns on the right; each is as wide as its longest text."""
    at = ax.get_yaxis_transform()
    shift = 10.0
    for column in range(max((len(row.beside) for row in rows), default=0)):
        texts = [_in_lines(row.beside[column], "wide") if column < len(row.beside) else "" for row in rows]
        heading = headings[column].split("\n") if column < len(headings) else []
        # An unfinished row's reason may run on; it must not push the next column away.
        fitting = [text for text, row in zip(texts, rows, strict=True) if math.isfinite(row.estimate)]
        lines = [line for text in [*fitting, *heading] for line in text.split("\n")]
        width = max(map(len, lines), default=0) * BODY * 0.56
        for place, text in enumerate(texts):
            note(ax, text, (1, place), (shift, 0), fontsize=BODY, xycoords=at)
        for i, line in enumerate(heading):
            up = (len(heading) - 1 - i) * 10.5 + 2
            note(ax, line, (1, 1), (shift, up), va="bottom", colour=QUIET, xycoords="axes fraction")
        shift += width + 10.0
