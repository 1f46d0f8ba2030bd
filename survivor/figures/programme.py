"""Small multiples of a programme: differences, who lives by what, plantings by year, and study by study."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from survivor.figures.comparison import difference_row, difference_steps, worth_band
from survivor.figures.rows import Chart, Row
from survivor.figures.style import (
    ACCENT,
    INK,
    QUIET,
    RULE,
    SMALL,
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
from survivor.words import counted, limits, number

_ROW: Final = 0.225  # height of a row of a panel, in inches
_NEW: Final = "in a new study"
_MOST_NAMED: Final = 4  # studies that stand apart, named in one panel


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
        ``method, against, estimate, lower, upper, new_lower, new_upper, n_units``, per 100 planted.
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
        rows.append(replace(coming, beside=(limits(low, high, sign=True), "")))
    return Chart(
        rows,
        ("Difference per 100\n(95 % CI)", ""),
        f"More (+) or fewer (−) alive {PER_100} than the usual practice",
        difference_steps(-smallest, smallest),
        short_axis=f"Difference in plants alive {PER_100}",
        no_difference=0,
        band=worth_band(smallest),
    ).figure(size)


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
    heights = [max(len(panel.rows) for panel in line) * _ROW + 0.5 for line in lines]
    with styled():
        figure = blank(WIDTHS[size], sum(heights) + 0.3)
        grid = figure.subplots(len(lines), columns, squeeze=False, height_ratios=heights)
        for axes, line in zip(grid, lines, strict=True):
            tallest = max(len(panel.rows) for panel in line)
            for place, ax in enumerate(axes):
                if place < len(line):
                    _rows_on(ax, line[place], tallest)
                else:
                    ax.set_visible(False)
        figure.supxlabel(axis, x=0.01, ha="left", color=QUIET, fontsize=SMALL + 0.5)
        return figure


def _rows_on(ax: Axes, panel: Panel, tallest: int) -> None:
    table = panel.rows
    places = np.arange(len(table))
    ax.hlines(places, 0, 100, color=RULE, linewidth=0.6, zorder=1)
    ax.hlines(places, table["lower"], table["upper"], color=ACCENT, linewidth=2.0, zorder=3)
    ax.plot(table["estimate"], places, "o", color=ACCENT, markersize=5, zorder=4)
    labels = ["\n".join(wrapped(str(level), 22)[:2]) for level in table["level"]]
    ax.set_yticks(places, labels, fontsize=SMALL, color=INK)
    ax.tick_params(axis="y", length=0)
    for place, beside in zip(places, table["beside"], strict=True):
        note(ax, str(beside), (100, float(place)), (5, 0), colour=QUIET)
    ax.set_title(panel.title, fontsize=SMALL + 0.5)
    ax.set_xlim(-1, 101)
    ax.set_xticks([0, 25, 50, 75, 100])
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
            ax.set_title(titled(name, size, columns), fontsize=SMALL + 0.5)
            ax.set_ylim(0, top)
            ax.set_xlim(years[0] - 0.6, years[-1] + 0.6)
            ax.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=4))
            ax.yaxis.set_major_locator(MaxNLocator(integer=True, nbins=3))
            ax.xaxis.set_tick_params(labelbottom=True)
        for ax in grid[len(names) :]:
            ax.set_visible(False)
        figure.supylabel("Seedlings watched", color=QUIET, fontsize=SMALL + 0.5)
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
    ends = units[["lower", "upper"]].to_numpy(dtype=float)
    reach = min(100.0, float(np.nanmax(np.abs(ends), initial=20.0)))
    with styled():
        figure = blank(WIDTHS[size], 1.75 * rows + 0.3)
        grid = list(figure.subplots(rows, columns, sharey=True, squeeze=False).flat)
        for ax, line in zip(grid, pooled.to_dict("records"), strict=False):
            pair = (str(line["method"]), str(line["against"]))
            _studies_on(ax, _of_pair(units, pair), line, set(_of_pair(apart, pair)["unit"]))
            title = wrapped(f"{pair[0]} against {pair[1]}", 42)
            ax.set_title("\n".join(title), fontsize=SMALL + 0.5)
            ax.set_ylim(-reach, reach)
        for ax in grid[len(pooled) :]:
            ax.set_visible(False)
        figure.supylabel(f"Difference {PER_100}", color=QUIET, fontsize=SMALL + 0.5)
        figure.supxlabel(
            "Studies, from the least difference to the greatest",
            x=0.01,
            ha="left",
            color=QUIET,
            fontsize=SMALL + 0.5,
        )
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
    for some, colour, wide in ((~far, INK, 0.8), (far, TARGET, 1.6)):
        own = ordered[some]
        ax.vlines(places[some], own["lower"], own["upper"], color=colour, linewidth=wide, zorder=3)
        ax.plot(
            places[some],
            own["estimate"],
            "o" if wide < 1 else "D",
            color=colour,
            markersize=2.5 if wide < 1 else 4,
            zorder=4,
        )
    for place in places[far][:_MOST_NAMED]:
        left = place > len(ordered) / 2
        at = (float(place), float(ordered["estimate"][place]))
        note(
            ax,
            str(ordered["unit"][place]),
            at,
            (-6 if left else 6, 0),
            ha="right" if left else "left",
            colour=TARGET,
        )
    ax.set_xticks([])
    ax.set_xlim(-1, max(len(ordered), 1))
