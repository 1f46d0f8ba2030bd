"""Soil water of the weed-free patch, under the rain that fed it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from numpy.typing import NDArray

from survivor.figures.season import months, shade_dry_season
from survivor.figures.style import (
    ACCENT,
    INK,
    QUIET,
    SMALL,
    TARGET,
    USUAL,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    styled,
)

FloatArray = NDArray[np.float64]
Dry = tuple[pd.Timestamp, pd.Timestamp]


def draw_water(
    table: pd.DataFrame,
    ax: Axes | None = None,
    *,
    total_mm: float,
    ready_mm: float,
    dry: Dry | None = None,
) -> Axes:
    """Draw the water left for plants in the root zone, day by day.

    Parameters
    ----------
    table
        ``date``; ``depletion_mm`` (NaN: not known) and, where it is not known, the limits
        ``wettest_mm, driest_mm`` between which it lies; ``stressed`` (NA: not known).
    ax
        Axes to draw on; a new figure's where none is given.
    total_mm, ready_mm
        Water that the soil holds for plants, and the part that they draw without stress, mm.
    dry
        First and last day of the dry season, shaded.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax)
        days = _days(table)
        shade_dry_season(ax, table["date"], dry)
        left = total_mm - table["depletion_mm"].to_numpy(dtype=float)
        low, high = (total_mm - table[name].to_numpy(dtype=float) for name in ("driest_mm", "wettest_mm"))
        unknown = np.isnan(left)
        ax.fill_between(
            days, low, high, where=unknown.tolist(), color=USUAL, alpha=0.3, linewidth=0, zorder=1
        )
        for edge in (low, high):  # a band of a millimetre would not be seen
            ax.plot(days, np.where(unknown, edge, np.nan), color=USUAL, linewidth=0.8, zorder=2)
        ax.plot(days, left, color=ACCENT, zorder=3)
        limit = total_mm - ready_mm
        ax.axhline(limit, color=TARGET, linestyle=(0, (3, 1.5)), linewidth=1.0, zorder=2)
        ax.annotate(
            "short of water below",
            (_free_place(days, low, high, limit, 0.13 * total_mm), limit),
            xytext=(3, -2),
            textcoords="offset points",
            ha="left",
            va="top",
            color=TARGET,
            fontsize=SMALL,
        )
        _stress_marks(ax, days, table["stressed"], total_mm)
        ax.set_xlim(0, max(days[-1], 1))
        ax.set_ylim(-0.08 * total_mm, 1.02 * total_mm)
        ax.set_ylabel("Soil water left, mm")
        months(ax, table["date"])
        ax.grid(axis="y")
        return ax


def water_figure(
    table: pd.DataFrame, *, total_mm: float, ready_mm: float, dry: Dry | None = None, size: Size = "wide"
) -> Drawing:
    """Return daily rain above, and :func:`draw_water` under it on the same days.

    Parameters
    ----------
    table
        As for :func:`draw_water`, with ``rain_mm`` (NaN: not read).
    total_mm, ready_mm, dry
        As for :func:`draw_water`.
    size
        For a page, or for a telephone.
    """
    with styled():
        figure = blank(WIDTHS[size], 3.6)
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=[1, 2])
        days = _days(table)
        shade_dry_season(above, table["date"], dry, named=True)
        rain = table["rain_mm"].to_numpy(dtype=float)
        wet = rain > 0
        # Stems, not bars: a bar of a day is narrower than a dot of the screen.
        above.vlines(days[wet], 0, rain[wet], color=INK, linewidth=0.8)
        top = max(float(np.nanmax(rain, initial=0.0)), 10.0)
        unread = days[np.isnan(rain)]
        above.plot(unread, np.full(len(unread), -0.12 * top), "x", color=QUIET, markersize=3, clip_on=False)
        above.set_ylim(-0.2 * top if len(unread) else 0.0, 1.25 * top)
        above.set_ylabel("Rain, mm")
        above.tick_params(labelbottom=False)
        draw_water(table, below, total_mm=total_mm, ready_mm=ready_mm, dry=dry)
        return figure


def _days(table: pd.DataFrame) -> FloatArray:
    dates = pd.to_datetime(table["date"])
    return np.asarray((dates - dates.iloc[0]) / pd.Timedelta(days=1), dtype=np.float64)


def _free_place(days: FloatArray, low: FloatArray, high: FloatArray, limit: float, height: float) -> float:
    """Day from which on a label just below the limit meets the fewest days of the line."""
    taken = (high >= limit - height) & (low <= limit)
    width = max(round(0.4 * len(days)), 1)  # of a narrow figure; a wide one needs half of that
    counts = np.convolve(taken, np.ones(width), mode="valid")
    return float(days[int(counts.argmin())])


def _stress_marks(ax: Axes, days: FloatArray, stressed: pd.Series[bool], total_mm: float) -> None:
    """Draw a bar along the foot over the days of stress: told by place, not by colour alone."""
    known = stressed.fillna(False).to_numpy(dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(int)))
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        ax.plot(
            [days[start] - 0.5, days[stop - 1] + 0.5],
            [-0.04 * total_mm] * 2,
            color=TARGET,
            linewidth=3.0,
            solid_capstyle="butt",
            zorder=3,
        )
