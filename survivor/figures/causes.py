"""Deaths by likely cause in each period, unknown causes kept."""

from __future__ import annotations

import math
from typing import Final

import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from survivor.figures.style import (
    ACCENT,
    BODY,
    INK,
    QUIET,
    WIDTHS,
    Drawing,
    Size,
    blank,
    note,
    styled,
    wrapped,
)
from survivor.words import number

UNKNOWN: Final = ("unknown", "not recorded", "")


def causes_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return a panel a period, in the order of the table, with the same causes in each.

    Parameters
    ----------
    table
        ``period, cause, deaths`` (and ``method``, over which deaths are added up).
    size
        Panels side by side, or below one another.
    """
    keys = [table["cause"].astype(str), table["period"].astype(str)]
    deaths = table.groupby(keys, sort=False)["deaths"].sum().unstack(fill_value=0)
    ordered = deaths.sum(axis=1).sort_values(ascending=False, kind="stable").index
    deaths = deaths.loc[sorted(ordered, key=lambda name: name.lower() in UNKNOWN)]
    with styled():
        columns = 1 if size == "narrow" else math.ceil(len(deaths.columns) / (1 + (len(deaths.columns) > 5)))
        rows = math.ceil(len(deaths.columns) / columns)
        letters = 24 if size == "narrow" else max(60 // columns, 14)
        figure = blank(WIDTHS[size], rows * (0.24 * len(deaths) + 0.42) + 0.1)
        grid = list(figure.subplots(rows, columns, squeeze=False, sharey=True).flat)
        for ax, period in zip(grid, deaths.columns, strict=False):
            _bars(ax, deaths[period])
            ax.set_title("\n".join(wrapped(period, letters)), fontsize=BODY)
            ax.set_xlim(0, (float(deaths.to_numpy().max()) or 1.0) * 1.25)
        for ax in grid[len(deaths.columns) :]:
            ax.set_visible(False)
        return figure


def _bars(ax: Axes, deaths: pd.Series[float]) -> None:
    """Draw the deaths of one period as bars, a cause each; causes that are not known hollow and hatched."""
    counts, names = deaths.to_numpy(dtype=float), [str(name) for name in deaths.index]
    sns.barplot(x=counts, y=names, color=ACCENT, saturation=1, width=0.62, errorbar=None, ax=ax, zorder=2)
    for place, (bar, name, count) in enumerate(zip(ax.patches, names, counts, strict=True)):
        unknown = name.lower() in UNKNOWN
        bar.set(edgecolor=QUIET if unknown else ACCENT, linewidth=0.8)
        if unknown:
            bar.set(facecolor="none", hatch="////")
        note(ax, number(float(count)), (count, place), (3, 0), colour=INK if count else QUIET)
    ax.set_xticks([])
    ax.spines["bottom"].set_visible(False)
    ax.set_yticks(range(len(names)), [wrapped(name, 26)[0] or "not recorded" for name in names])
    ax.tick_params(axis="y", length=0, labelcolor=INK)
