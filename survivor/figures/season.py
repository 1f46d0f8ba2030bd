"""The season's rain against the record of the gauge, and the soil water of the weed-free patch under it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from survivor.arrays import Floats
from survivor.figures.rows import Chart, Row, Steps
from survivor.figures.style import (
    ACCENT,
    DRY,
    DRY_WORDS,
    INK,
    QUIET,
    TARGET,
    USUAL,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    name_ends,
    note,
    styled,
)
from survivor.words import month, number

Dry = tuple[pd.Timestamp, pd.Timestamp]

#: Words of the deciles: the last decile of each group, and what it is called.
DECILE_WORDS: Final = (
    (1, "very much below average"),
    (3, "below average"),
    (7, "about average"),
    (9, "above average"),
    (10, "very much above average"),
)


def decile_words(decile: float) -> str:
    """Return the words for a decile 1 to 10; empty where it is not known."""
    if not math.isfinite(decile):
        return ""
    return next((words for last, words in DECILE_WORDS if decile <= last), DECILE_WORDS[-1][1])


def draw_cumulative(table: pd.DataFrame, ax: Axes | None = None, *, dry: Dry | None = None) -> Axes:
    """Draw rain added up over the season against the same days of other years.

    Parameters
    ----------
    table
        ``date, rain_mm`` (added up since the first date; NaN from a day not read
        on), ``low, median, high`` (the record's tenth, fiftieth and ninetieth
        percentile, mm).
    ax
        Axes to draw on; a new figure's where none is given.
    dry
        First and last day of the dry season, shaded.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax)
        dates = pd.to_datetime(table["date"])
        days = ((dates - dates.iloc[0]) / pd.Timedelta(days=1)).to_numpy(dtype=float)
        shade_dry_season(ax, dates, dry, named=True)
        low, median, high = (table[name].to_numpy(dtype=float) for name in ("low", "median", "high"))
        ax.fill_between(days, low, high, color=USUAL, alpha=0.2, linewidth=0, zorder=1)
        ax.plot(days, median, color=USUAL, linestyle=(0, (3, 1.5)), zorder=2)
        rain = table["rain_mm"].to_numpy(dtype=float)
        ax.plot(days, rain, color=ACCENT, zorder=3)
        ax.set_xlim(0, days[-1])
        ax.set_ylim(bottom=0)
        ends = []
        for values, words, colour in ((rain, "this season", ACCENT), (median, "median year", QUIET)):
            read = np.flatnonzero(np.isfinite(values))[-1:]
            ends += [(words, float(days[i]), float(values[i]), colour) for i in read]
        name_ends(ax, ends, 0.09, 4)
        months(ax, dates)
        ax.set_ylabel("Rain since the first day, mm")
        ax.grid(axis="y")
        return ax


def cumulative_figure(table: pd.DataFrame, *, dry: Dry | None = None, size: Size = "wide") -> Drawing:
    """Return :func:`draw_cumulative` as a figure."""
    with styled():
        figure = blank(WIDTHS[size], 2.7)
        draw_cumulative(table, figure.add_subplot(), dry=dry)
        return figure


def deciles_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return each measure of the season on the scale of deciles, 1 driest to 10 wettest.

    Parameters
    ----------
    table
        ``gauge, measure, value, unit, decile``; rows without a decile are left out.
    size
        For a page, or for a telephone.
    """
    placed = table[table["decile"].notna()]
    several = placed["gauge"].nunique() > 1
    rows = []
    for line in placed.to_dict("records"):
        value = float(line["value"])
        written = f"{number(value, 0 if abs(value) >= 10 or value.is_integer() else 1)} {line['unit']}"
        name = f"{line['measure']}, {line['gauge']}" if several else str(line["measure"])
        rows.append(Row(name, float(line["decile"]), beside=(written,)))
    axis = "Decile of the same days in the record (shaded: 4 to 7, about average)"
    short = "Decile (shaded: about average)"
    chart = Chart(rows, (), axis, Steps(1, 9, (1, 10)), short_axis=short, band=(3.5, 7.5, ""))
    figure = chart.figure(size)
    figure.axes[0].set_xticks(range(1, 11))
    return figure


def shade_dry_season(
    ax: Axes,
    dates: pd.Series[pd.Timestamp],
    dry: Dry | None,
    *,
    named: bool = False,
) -> None:
    """Shade the dry season on axes of days since the first date; say so where ``named``."""
    if dry is None:
        return
    first, last = dates.iloc[0], (dates.iloc[-1] - dates.iloc[0]) / pd.Timedelta(days=1)
    start, stop = ((end - first) / pd.Timedelta(days=1) for end in dry)
    if stop < 0 or start > last:
        return
    start, stop = max(start, 0.0), min(stop, last)
    ax.axvspan(start, stop, color=DRY, linewidth=0, zorder=0)
    if named:
        place = ("data", "axes fraction")
        middle = (start + stop) / 2
        note(ax, "dry season", (middle, 1), (0, -2), ha="center", va="top", colour=DRY_WORDS, xycoords=place)


def months(ax: Axes, dates: pd.Series[pd.Timestamp]) -> None:
    """Mark the first days of some seven months, on a telephone five, on axes of days since the first date."""
    firsts = [i for i, date in enumerate(dates) if date.day == 1]
    most = 7 if ax.figure.bbox.width > WIDTHS["narrow"] * ax.figure.dpi else 5
    step = max(1, math.ceil(len(firsts) / most))
    places = [(dates.iloc[i] - dates.iloc[0]) / pd.Timedelta(days=1) for i in firsts[::step]]
    ax.set_xticks(places, [_month(dates.iloc[i]) for i in firsts[::step]])


def _month(date: pd.Timestamp) -> str:
    short = month(date.month)[:3]
    return f"{short}\n{date.year}" if date.month == 1 else short


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
        place = _free_place(days, low, high, limit, 0.13 * total_mm)
        note(ax, "short of water below", (place, limit), (3, -2), va="top", colour=TARGET)
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
        if len(unread):  # an empty line that is not clipped would leave the axes no room
            crosses = np.full(len(unread), -0.12 * top)
            above.plot(unread, crosses, "x", color=QUIET, markersize=3, clip_on=False)
        above.set_ylim(-0.2 * top if len(unread) else 0.0, 1.25 * top)
        above.set_ylabel("Rain, mm")
        above.tick_params(labelbottom=False)
        draw_water(table, below, total_mm=total_mm, ready_mm=ready_mm, dry=dry)
        return figure


def _days(table: pd.DataFrame) -> Floats:
    dates = pd.to_datetime(table["date"])
    return np.asarray((dates - dates.iloc[0]) / pd.Timedelta(days=1), dtype=np.float64)


def _free_place(days: Floats, low: Floats, high: Floats, limit: float, height: float) -> float:
    """Day from which on a label just below the limit meets the fewest days of the line."""
    taken = (high >= limit - height) & (low <= limit)
    width = max(round(0.4 * len(days)), 1)  # of a narrow figure; a wide one needs half of that
    counts = np.convolve(taken, np.ones(width), mode="valid")
    return float(days[int(counts.argmin())])


def _stress_marks(ax: Axes, days: Floats, stressed: pd.Series[bool], total_mm: float) -> None:
    """Draw a bar along the foot over the days of stress: told by place, not by colour alone."""
    short = stressed.fillna(False).to_numpy(dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], short, [False]]).astype(int)))
    foot = [-0.04 * total_mm] * 2
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        span = [days[start] - 0.5, days[stop - 1] + 0.5]
        ax.plot(span, foot, color=TARGET, linewidth=3.0, solid_capstyle="butt", zorder=3)
