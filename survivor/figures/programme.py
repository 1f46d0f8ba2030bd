"""Small multiples of a programme: differences, who lives by what, plantings by year, and study by study."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from survivor.figures.comparison import against_usual, difference_row
from survivor.figures.rows import Row
from survivor.figures.style import (
    ACCENT,
    BODY,
    INK,
    QUIET,
    RULE,
    TARGET,
    WIDTHS,
    WORTH,
    Drawing,
    Size,
    blank,
    note,
    styled,
    titled,
    wrapped,
)
from survivor.vocabulary import PER_100
from survivor.words import counted, number

_ROW: Final = 0.225  # height of a row of a panel, in inches
_LETTERS: Final = 18  # on a line of its label
_NEW: Final = "in a new study"
_MOST_NAMED: Final = 4  # studies that stand apart, named in one panel
_PANEL_POINTS: Final = 85.0  # height of a panel of studies, about
_NAME_POINTS: Final = 11.0  # of a name in it


@dataclass(frozen=True)
class Panel:
    """One panel of rows: its title, and ``level, estimate, lower, upper, beside``, a row a level."""

    title: str
    rows: pd.DataFrame


def programme_differences(table: pd.DataFrame, smallest: float, *, size: Size = "wide") -> Drawing:
    """Return every difference over all studies, and under it what a new study may show.

    Parameters
    ----------
    table
        ``method, against, estimate, lower, upper, new_lower, new_upper, new_words, n_units``, per 100
        planted; ``new_words`` say the two before it.
    smallest
        The smallest difference that matters, shaded.
    size
        For a page, or for a telephone.
    """
    rows: list[Row] = []
    for line in table.to_dict("records"):
        studies = counted(float(line["n_units"]), "study", "studies")
        mean = difference_row(str(line["method"]), line)
        low, high = float(line["new_lower"]), float(line["new_upper"])
        rows.append(replace(mean, look="main", beside=(*mean.beside, studies)))
        coming = Row("", float(line["estimate"]), low, high, look="hollow", under=_NEW)
        rows.append(replace(coming, beside=(str(line["new_words"]), "")))
    return against_usual(rows, ("Difference per 100\n(95 % CI)", ""), smallest).figure(size)


def panels_of_rows(panels: Sequence[Panel], axis: str, *, size: Size = "wide") -> Drawing:
    """Return panels of dots with their limits on one axis from 0 to 100: two a row, on a telephone one.

    Parameters
    ----------
    panels
        In reading order.
    axis
        What stands under it.
    size
        For a page, or for a telephone.
    """
    columns = 2 if size == "wide" and len(panels) > 1 else 1
    lines = [panels[at : at + columns] for at in range(0, len(panels), columns)]
    labels = [_label(level) for panel in panels for level in panel.rows["level"]]
    row = _ROW * max((1 + 0.7 * label.count("\n") for label in labels), default=1.0)
    heights = [max(len(panel.rows) for panel in line) * row + 0.5 for line in lines]
    with styled():
        figure = blank(WIDTHS[size], sum(heights) + 0.3)
        grid = figure.subplots(len(lines), columns, squeeze=False, height_ratios=heights)
        for axes, line in zip(grid, lines, strict=True):
            tallest = max(len(panel.rows) for panel in line)
            for place, ax in enumerate(axes):
                if place < len(line):
                    _rows_on(ax, line[place], tallest, size)
                else:
                    ax.set_visible(False)
        figure.supxlabel(axis, x=0.01, ha="left", color=QUIET, fontsize=BODY)
        return figure


def _label(level: Any) -> str:
    return "\n".join(textwrap.wrap(str(level), _LETTERS, max_lines=2, placeholder=" …"))


def _rows_on(ax: Axes, panel: Panel, tallest: int, size: Size) -> None:
    table = panel.rows
    places = np.arange(len(table))
    ax.hlines(places, 0, 100, color=RULE, linewidth=0.6, zorder=1)
    ax.hlines(places, table["lower"], table["upper"], color=ACCENT, linewidth=2.0, zorder=3)
    ax.plot(table["estimate"], places, "o", color=ACCENT, markersize=5, zorder=4)
    labels = [_label(level) for level in table["level"]]
    ax.set_yticks(places, labels, fontsize=BODY, color=INK)
    ax.tick_params(axis="y", length=0)
    for place, beside in zip(places, table["beside"], strict=True):
        note(ax, str(beside), (100, float(place)), (5, 0), colour=QUIET)
    ax.set_title("\n".join(wrapped(panel.title, 16 if size == "narrow" else 30)), fontsize=BODY)
    ax.set_xlim(-1, 101)
    ax.set_xticks([0, 50, 100])
    # As many places in every panel of a line, so that rows are as far apart in all.
    ax.set_ylim(tallest - 0.4, -0.6)
    ax.spines["left"].set_visible(False)


def plantings_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return bars of seedlings watched by year of planting, a panel an organisation.

    Parameters
    ----------
    table
        ``organisation, year, studies, seedlings``.
    size
        For a page, or for a telephone.
    """
    names = list(dict.fromkeys(table["organisation"].astype(str)))
    columns = min(3 if size == "wide" else 2, len(names))
    rows = math.ceil(len(names) / columns)
    years = range(int(table["year"].min()), int(table["year"].max()) + 1)
    top = 1.18 * float(table["seedlings"].max())
    with styled():
        figure = blank(WIDTHS[size], 1.35 * rows + 0.3)
        grid = list(figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False).flat)
        for ax, name in zip(grid, names, strict=False):
            own = table[table["organisation"].astype(str) == name]
            ax.bar(own["year"], own["seedlings"], width=0.7, color=ACCENT, linewidth=0)
            for year, height, studies in own[["year", "seedlings", "studies"]].to_numpy(dtype=float):
                note(ax, number(studies), (year, height), (0, 2), ha="center", va="bottom", colour=QUIET)
            ax.set_title(titled(name, size, columns), fontsize=BODY)
            ax.set_ylim(0, top)
            ax.set_xlim(years[0] - 0.6, years[-1] + 0.6)
            ticks = MaxNLocator(integer=True, nbins=4 if size == "wide" else 2, min_n_ticks=1)
            ax.xaxis.set_major_locator(ticks)
            ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=3))
            ax.xaxis.set_tick_params(labelbottom=True)
        for ax in grid[len(names) :]:
            ax.set_visible(False)
        figure.supylabel("Seedlings watched", color=QUIET, fontsize=BODY)
        return figure


def studies_figure(
    units: pd.DataFrame, pooled: pd.DataFrame, apart: pd.DataFrame, *, size: Size = "wide"
) -> Drawing:
    """Return every study's difference in order of size, a panel a preparation.

    Parameters
    ----------
    units
        ``unit, method, against, estimate, lower, upper``, per 100 planted.
    pooled
        ``method, against, estimate, new_lower, new_upper``; a row a panel.
    apart
        ``unit, method, against`` of the studies to name.
    size
        For a page, or for a telephone.
    """
    columns = 2 if size == "wide" and len(pooled) > 1 else 1
    rows = math.ceil(len(pooled) / columns)
    # All that is drawn: every study's interval, and what a new study may show.
    drawn = [units[["lower", "upper"]], pooled[["new_lower", "new_upper"]]]
    ends = np.concatenate([table.to_numpy(dtype=float).ravel() for table in drawn])
    reach = min(100.0, 1.04 * float(np.nanmax(np.abs(ends), initial=20.0)))
    with styled():
        figure = blank(WIDTHS[size], 1.75 * rows + 0.3)
        grid = list(figure.subplots(rows, columns, sharey=True, squeeze=False).flat)
        for ax, line in zip(grid, pooled.to_dict("records"), strict=False):
            pair = (str(line["method"]), str(line["against"]))
            ax.set_ylim(-reach, reach)
            _studies_on(ax, _of_pair(units, pair), line, set(_of_pair(apart, pair)["unit"]))
            ax.set_title(titled(f"{pair[0]} against {pair[1]}", size, columns), fontsize=BODY)
        for ax in grid[len(pooled) :]:
            ax.set_visible(False)
        figure.supylabel(f"Difference {PER_100}", color=QUIET, fontsize=BODY)
        order = wrapped("Studies, from the least difference to the greatest", 34 if size == "narrow" else 60)
        beside = 1.6 * BODY / (72 * WIDTHS[size])  # right of the words along the side
        figure.supxlabel("\n".join(order), x=beside, ha="left", color=QUIET, fontsize=BODY)
        return figure


def _of_pair(table: pd.DataFrame, pair: tuple[str, str]) -> pd.DataFrame:
    same = (table["method"].astype(str) == pair[0]) & (table["against"].astype(str) == pair[1])
    rows: pd.DataFrame = table[same]
    return rows


def _studies_on(ax: Axes, units: pd.DataFrame, line: Mapping[Hashable, Any], named: set[str]) -> None:
    ordered = units.sort_values("estimate", kind="stable").reset_index(drop=True)
    places = np.arange(len(ordered))
    ax.axhspan(float(line["new_lower"]), float(line["new_upper"]), color=WORTH, linewidth=0, zorder=0.2)
    ax.axhline(0, color=QUIET, linewidth=1.0, zorder=1)
    ax.axhline(float(line["estimate"]), color=ACCENT, linewidth=1.2, zorder=2)
    far = ordered["unit"].isin(named).to_numpy()
    for some, colour, wide, mark, large in ((~far, INK, 0.8, "o", 2.5), (far, TARGET, 1.6, "D", 4.0)):
        own = ordered[some]
        ax.vlines(places[some], own["lower"], own["upper"], color=colour, linewidth=wide, zorder=3)
        ax.plot(places[some], own["estimate"], mark, color=colour, markersize=large, zorder=4)
    _name_on(ax, ordered, places[far][:_MOST_NAMED].tolist())
    ax.set_xticks([])
    ax.set_xlim(-1, max(len(ordered), 1))


def _name_on(ax: Axes, ordered: pd.DataFrame, places: Sequence[int]) -> None:
    """Name studies beside their dots, one name clear of the next."""
    bottom, top = ax.get_ylim()
    points = _PANEL_POINTS / (top - bottom)
    low = [place for place in places if place <= len(ordered) / 2]
    high = [place for place in places if place > len(ordered) / 2]
    for group, away in ((low, 1), (high[::-1], -1)):  # from the end of the panel towards its middle
        last = -math.inf
        for place in group:
            estimate = float(ordered["estimate"][place])
            own = away * estimate * points
            put = max(own, last + _NAME_POINTS)
            shift, side = (6.0, "left") if away > 0 else (-6.0, "right")
            at = (float(place), estimate)
            note(ax, str(ordered["unit"][place]), at, (shift, away * (put - own)), ha=side, colour=TARGET)
            last = put
