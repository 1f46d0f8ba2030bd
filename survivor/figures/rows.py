"""Rows of estimates with their limits: the shape most answers are drawn in.

Each row is a label, a dot, a line for the limits, and the numbers beside them.
Wide, the label stands left of its line; narrow, above it.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
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
_BESIDE_LETTERS: Final[dict[Size, int]] = {"wide": 40, "narrow": 36}
_UNDER_LETTERS: Final = 30  # of the quieter words on a page: those of a model stand on one line
_EACH_LETTERS: Final = 27  # of each of several columns
_LABEL_LETTERS: Final[dict[Size, int]] = {"wide": 22, "narrow": 34}
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
    ``coming``: from and to, a broken line behind the limits: what a new unit may show.
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
    coming: tuple[float, float] = (math.nan, math.nan)


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
            beside = _fit_beside(self.rows, size)
            lines = [len(_label_lines(row, size, beside)) for row in self.rows] or [1]
            if size == "wide":  # rows are alike in height; labels stand beside their middles
                broken = [[_in_lines(text, row) for text in row.beside] for row in self.rows] or [[]]
                high = [max((text.count("\n") + 1 for text in texts), default=1) for texts in broken]
                lines = [max(pair) for pair in zip(lines, high, strict=True)]
                most = max((above + below) / 2 for above, below in pairwise([*lines, 1]))
                row = max(0.37, 0.165 * most + 0.12)
            else:
                row = 0.31 + 0.165 * max(lines)
            figure = blank(WIDTHS[size], row * len(self.rows) + 0.75)
            self._on(figure.add_subplot(), size)
            return figure

    def _on(self, ax: Axes, size: Size) -> Axes:
        rows = range(len(self.rows))
        values = [
            v for row in self.rows for v in (row.estimate, row.lower, row.upper, row.cross, *row.coming)
        ]
        if self.steps is None:
            _set_ratios(ax, values)
        else:
            _set_steps(ax, values, self.steps)
        beside = _fit_beside(self.rows, size)
        for place, row in enumerate(self.rows):
            _draw_row(row, place, ax, size, beside=beside)
        ax.plot([row.cross for row in self.rows], rows, "x", color=INK, markersize=7, mew=1.8, zorder=5)
        ax.set_ylim(len(rows) - 0.4, -1.0 if self.headings and size == "wide" else -0.75)
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.set_xlabel(self.short_axis if self.short_axis and size == "narrow" else self.axis, loc="left")
        if self.band is not None:
            low, high, words = self.band
            ax.axvspan(low, high, color=WORTH, linewidth=0, zorder=0.2)
            # Beside the columns' headings there is room over the labels; a telephone has it over the rows.
            hangs: Literal["left", "right"] = "right" if size == "wide" else "left"
            end = high if size == "wide" else low
            note(ax, words, (end, 1), (0, 3), ha=hangs, va="bottom", colour=QUIET, xycoords=_ABOVE)
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
            # On a telephone the first label stands there.
            va: Literal["top", "bottom"] = "top" if size == "wide" else "bottom"
            shift = (-4 if over else 4, -1 if size == "wide" else 3)
            note(ax, words, (at, 1), shift, ha=side, va=va, colour=TARGET, xycoords=_ABOVE)
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


def _label_lines(row: Row, size: Size, beside: bool) -> list[tuple[str, str]]:
    """Lines of a label with their colour: its own, the numbers without room beside, the quieter ones."""
    letters = _LABEL_LETTERS[size]
    quieter = _UNDER_LETTERS if size == "wide" else letters
    under = [(line, QUIET) for line in wrapped(row.under, quieter)] if row.under else []
    numbers = [] if beside else _beside(row)
    label = wrapped(row.label, letters) if row.label or not under else []
    return [*((line, INK) for line in (*label, *numbers)), *under]


def _beside(row: Row) -> list[str]:
    """Numbers of a row on a telephone, in lines."""
    return textwrap.wrap("; ".join(text for text in row.beside if text), _BESIDE_LETTERS["narrow"])


def _fit_beside(rows: Sequence[Row], size: Size) -> bool:
    """Whether numbers stand beside: on a page always, on a telephone where all labels leave room."""
    if size == "wide":
        return True
    for row in rows:
        beside, last = _beside(row), wrapped(row.under or row.label, _LABEL_LETTERS["narrow"])[-1]
        if len(beside) > 1 or (beside and len(last) + 2 + len(beside[0]) > _BESIDE_LETTERS["narrow"]):
            return False
    return True


def _draw_row(row: Row, place: int, ax: Axes, size: Size, *, beside: bool) -> None:
    colour = _COLOURS[row.look]
    if math.isfinite(row.estimate):
        if all(map(math.isfinite, row.coming)):
            ax.plot(
                row.coming, [place, place], color=colour, linewidth=1.0, linestyle=(0, (4, 2)), zorder=2.5
            )
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
    lines = _label_lines(row, size, beside)
    for i, (text, ink) in enumerate(lines):
        below = (len(lines) - 1 - i) * _LINE_POINTS
        if size == "wide":
            up = below - (len(lines) - 1) / 2 * _LINE_POINTS
            note(ax, text, (-0.02, place), (0, up), ha="right", colour=ink, xycoords=at)
        else:
            note(ax, text, (0, place), (0, 8 + below), va="bottom", colour=ink, xycoords=at)
    if size == "narrow" and beside:
        note(ax, " ".join(_beside(row)), (1, place), (0, 8), ha="right", va="bottom", xycoords=at)


def _in_lines(text: str, row: Row) -> str:
    """Break words beside a row where they would leave no room for the row itself."""
    letters = _BESIDE_LETTERS["wide"] if len(row.beside) == 1 else _EACH_LETTERS
    return "\n".join(textwrap.wrap(text, letters))


def _columns(rows: Sequence[Row], ax: Axes, headings: Sequence[str]) -> None:
    """Write the columns on the right; each is as wide as its longest text."""
    at = ax.get_yaxis_transform()
    shift = 10.0
    for column in range(max((len(row.beside) for row in rows), default=0)):
        texts = [_in_lines(row.beside[column], row) if column < len(row.beside) else "" for row in rows]
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
