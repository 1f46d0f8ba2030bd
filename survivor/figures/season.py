"""The season's rain against the record of the gauge."""

from __future__ import annotations

import math
from typing import Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.style import (
    ACCENT,
    BODY,
    DRY,
    DRY_WORDS,
    INK,
    PAPER,
    QUIET,
    RULE,
    SMALL,
    USUAL,
    WIDTHS,
    Drawing,
    Size,
    axes_or_new,
    blank,
    spread,
    styled,
    wrapped,
)
from survivor.figures.words import number

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


def draw_cumulative(
    table: pd.DataFrame, ax: Axes | None = None, *, dry: tuple[pd.Timestamp, pd.Timestamp] | None = None
) -> Axes:
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
        named = ((rain, "this season", ACCENT), (median, "median year", QUIET))
        last = [[i for i, value in enumerate(values) if math.isfinite(value)][-1:] for values, _, _ in named]
        ends = [float(values[i[0]]) if i else 0.0 for (values, _, _), i in zip(named, last, strict=True)]
        top = ax.get_ylim()[1]
        places = spread(ends, 0.055 * top, 0, top)
        for (_, words, colour), known, place in zip(named, last, places, strict=True):
            if known:
                ax.annotate(
                    words,
                    (days[known[-1]], place),
                    xytext=(4, 0),
                    textcoords="offset points",
                    ha="left",
                    va="center",
                    color=colour,
                    fontsize=SMALL,
                    annotation_clip=False,
                )
        months(ax, dates)
        ax.set_ylabel("Rain since the first day, mm")
        ax.grid(axis="y")
        return ax


def cumulative_figure(
    table: pd.DataFrame, *, dry: tuple[pd.Timestamp, pd.Timestamp] | None = None, size: Size = "wide"
) -> Drawing:
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
    with styled():
        placed = table[table["decile"].notna()]
        rows = placed.to_dict("records")
        narrow = size == "narrow"
        several = placed["gauge"].nunique() > 1
        names = [f"{row['measure']}, {row['gauge']}" if several else str(row["measure"]) for row in rows]
        lines = max((len(_lines(name, narrow)) for name in names), default=1)
        row_height = max(0.52, 0.24 + 0.14 * lines) if narrow else max(0.36, 0.08 + 0.14 * lines)
        figure = blank(WIDTHS[size], len(rows) * row_height + 0.75)
        ax = figure.add_subplot()
        ax.axvspan(3.5, 7.5, color=RULE, alpha=0.55, linewidth=0, zorder=0)
        for place, (name, row) in enumerate(zip(names, rows, strict=True)):
            decile = float(row["decile"])
            ax.plot([1, 10], [place, place], color=RULE, linewidth=0.8, zorder=1)
            ax.plot(
                [decile],
                [place],
                "o",
                color=ACCENT,
                markersize=7,
                markerfacecolor=ACCENT,
                markeredgecolor=PAPER,
                zorder=3,
            )
            _name(ax, name, place, narrow)
            value = float(row["value"])
            written = f"{number(value, 0 if abs(value) >= 10 or value.is_integer() else 1)} {row['unit']}"
            ax.annotate(
                written,
                (1.0, place),
                xycoords=ax.get_yaxis_transform(),
                xytext=(0, 7) if narrow else (8, 0),
                textcoords="offset points",
                ha="right" if narrow else "left",
                va="bottom" if narrow else "center",
                color=INK,
                fontsize=SMALL if narrow else BODY,
            )
        ax.set_xlim(0.6, 10.4)
        ax.set_ylim(len(rows) - 0.4, -0.9)
        ax.set_yticks([])
        ax.spines["left"].set_visible(False)
        ax.set_xticks(range(1, 11))
        ax.set_xlabel("Decile of the same days in the record (shaded: 4 to 7, about average)", loc="left")
        if narrow:
            ax.set_xlabel("Decile (shaded: about average)", loc="left")
        return figure


def _lines(name: str, narrow: bool) -> list[str]:
    return wrapped(name, 40 if narrow else 34)


def _name(ax: Axes, name: str, place: int, narrow: bool) -> None:
    lines = _lines(name, narrow)
    for i, line in enumerate(lines):
        down = (len(lines) - 1) / 2 * 10 - i * 10
        ax.annotate(
            line,
            (0.0, place),
            xycoords=ax.get_yaxis_transform(),
            xytext=(0, 7 + (len(lines) - 1 - i) * 10) if narrow else (-8, down),
            textcoords="offset points",
            ha="left" if narrow else "right",
            va="bottom" if narrow else "center",
            color=INK,
            fontsize=BODY,
        )


def shade_dry_season(
    ax: Axes,
    dates: pd.Series[pd.Timestamp],
    dry: tuple[pd.Timestamp, pd.Timestamp] | None,
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
        ax.annotate(
            "dry season",
            ((start + stop) / 2, 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, -2),
            textcoords="offset points",
            ha="center",
            va="top",
            color=DRY_WORDS,
            fontsize=SMALL,
        )


def months(ax: Axes, dates: pd.Series[pd.Timestamp]) -> None:
    """Mark the first days of some seven months on axes of days since the first date."""
    firsts = [i for i, date in enumerate(dates) if date.day == 1]
    step = max(1, round(len(firsts) / 7))
    places = [(dates.iloc[i] - dates.iloc[0]) / pd.Timedelta(days=1) for i in firsts[::step]]
    ax.set_xticks(places, [_month(dates.iloc[i]) for i in firsts[::step]])


def _month(date: pd.Timestamp) -> str:
    # Not strftime: month names must not follow the language of the machine.
    names = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return f"{names[date.month - 1]} {date.year}" if date.month == 1 else names[date.month - 1]
