"""Survival against the radius of the weed-free patch, only where there are data."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.style import (
    ACCENT,
    INK,
    QUIET,
    TARGET,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    note,
    styled,
    wrapped,
)
from survivor.vocabulary import PER_100
from survivor.words import number

_NARROW_LETTERS: Final = 16  # of words beside a line, on a telephone


def draw_dose(
    table: pd.DataFrame,
    ax: Axes | None = None,
    *,
    rug: Sequence[float] = (),
    stops: tuple[float, float, float] | None = None,
    stops_words: str = "",
) -> Axes:
    """Draw survival against the radius as prepared.

    Parameters
    ----------
    table
        First column the radius in metres; ``estimate, lower, upper`` per 100 planted.
    ax
        Axes to draw on; a new figure's where none is given.
    rug
        Radius of each plot, drawn as strokes on the axis.
    stops
        Radius from which a wider patch goes with less than the gain that matters,
        with its limits, in metres; a limit beyond the data is NaN and drawn to their edge.
    stops_words
        What to write beside that line.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        return _dose_on(axes_or_new(ax), table, rug, stops, stops_words, PER_100)


def dose_figure(
    table: pd.DataFrame,
    *,
    rug: Sequence[float] = (),
    stops: tuple[float, float, float] | None = None,
    stops_words: str = "",
    size: Size = "wide",
    per: str = PER_100,
) -> Drawing:
    """Return the response to the radius as a figure; ``per`` says what survival is of."""
    with styled():
        figure = blank(WIDTHS[size], 3.1 if size == "wide" else 2.7)
        _dose_on(figure.add_subplot(), table, rug, stops, stops_words, per)
        return figure


def _dose_on(
    ax: Axes,
    table: pd.DataFrame,
    rug: Sequence[float],
    stops: tuple[float, float, float] | None,
    words: str,
    per: str,
) -> Axes:
    name = str(table.columns[0])
    ordered = table.sort_values(name, kind="stable")
    radius = ordered[name].to_numpy(dtype=float)
    middle = ordered["estimate"].to_numpy(dtype=float)
    lower, upper = (ordered[end].to_numpy(dtype=float) for end in ("lower", "upper"))
    few = len(radius) <= 4
    ax.fill_between(radius, lower, upper, color=ACCENT, alpha=0.18, linewidth=0, zorder=1)
    ax.plot(radius, middle, color=ACCENT, marker="o" if few else "", markersize=5, linewidth=2, zorder=4)
    floor = float(np.nanmin(lower)) if ordered["lower"].notna().any() else float(middle.min())
    low = 50.0 if floor >= 52 else 0.0
    foot = low - (100 - low) * 0.04
    ax.set_ylim(foot, 102)
    ends = [*radius, *rug]
    pad = (max(ends) - min(ends)) * 0.03 or 0.05
    ax.set_xlim(min(ends) - pad, max(ends) + pad)
    if rug:
        ax.vlines(sorted(set(rug)), foot, low + (100 - low) * 0.025, color=INK, linewidth=0.8)
    if stops is not None:
        _stops(ax, stops, words, (float(radius.min()), float(radius.max())))
    ax.grid(axis="y")
    ax.set_ylabel(f"Alive {per}")
    ax.set_xlabel("Radius of the weed-free patch, m (area above)", loc="left")
    _areas(ax)
    return ax


def _stops(ax: Axes, stops: tuple[float, float, float], words: str, edges: tuple[float, float]) -> None:
    at, *limits = stops
    if not math.isfinite(at):
        return
    ends = [limit if math.isfinite(limit) else edge for limit, edge in zip(limits, edges, strict=True)]
    ax.plot(ends, [0.1, 0.1], color=TARGET, linewidth=2, transform=ax.get_xaxis_transform())
    ax.axvline(at, color=TARGET, linewidth=1.1, linestyle=(0, (4, 2)), zorder=1.5)
    left, right = ax.get_xlim()
    over = at > (left + right) / 2
    place = ("data", "axes fraction")
    ha: Literal["left", "right"] = "right" if over else "left"
    if ax.figure.bbox.width <= WIDTHS["narrow"] * ax.figure.dpi:
        words = "\n".join(wrapped(words, _NARROW_LETTERS))
    note(ax, words, (at, 0.13), (-4 if over else 4, 0), ha=ha, va="bottom", colour=TARGET, xycoords=place)


def _areas(ax: Axes) -> None:
    """Write the area of the patch above the ticks: a radius is easily read as a width."""
    left, right = ax.get_xlim()
    ticks = [float(tick) for tick in ax.get_xticks() if left <= tick <= right and tick >= 0]
    areas = [math.pi * tick**2 for tick in ticks]
    # Radii near each other have areas that one place does not tell apart.
    digits = next(
        (places for places in (1, 2) if len({number(area, places) for area in areas}) == len(areas)), 3
    )
    for tick, area in zip(ticks, areas, strict=True):
        words, place = f"{number(area, digits)} m²", ("data", "axes fraction")
        note(ax, words, (tick, 1), (0, 3), ha="center", va="bottom", colour=QUIET, xycoords=place)
