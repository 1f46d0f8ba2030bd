"""Deaths by likely cause in each period, unknown causes kept."""

from __future__ import annotations

from typing import Final

import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.style import ACCENT, INK, QUIET, SMALL, WIDTHS, Drawing, Size, blank, styled, wrapped
from survivor.figures.words import number

UNKNOWN: Final = ("unknown", "not recorded", "")


def draw_causes(table: pd.DataFrame, ax: Axes, names: list[str], most: float) -> Axes:
    """Draw the deaths of one period as bars, one a cause.

    Parameters
    ----------
    table
        ``cause, deaths`` of the period.
    ax
        Axes to draw on.
    names
        Every cause, from the top down, so that periods line up.
    most
        The longest bar of any period, seedlings.

    Returns
    -------
    matplotlib.axes.Axes
    """
    counted = table.groupby("cause")["deaths"].sum()
    for place, name in enumerate(names):
        deaths = float(counted.get(name, 0.0))
        known = name.lower() not in UNKNOWN
        ax.barh(
            place,
            deaths,
            height=0.62,
            facecolor=ACCENT if known else "none",
            edgecolor=ACCENT if known else QUIET,
            linewidth=0.8,
            hatch="" if known else "////",
            zorder=2,
        )
        ax.annotate(
            number(deaths),
            (deaths, place),
            xytext=(3, 0),
            textcoords="offset points",
            ha="left",
            va="center",
            color=INK if deaths else QUIET,
            fontsize=SMALL,
        )
    ax.set_xlim(0, most * 1.25)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_xticks([])
    ax.spines["bottom"].set_visible(False)
    return ax


def causes_figure(table: pd.DataFrame, *, size: Size = "wide") -> Drawing:
    """Return a panel a period, in the order of the table, with the same causes in each.

    Parameters
    ----------
    table
        ``period, cause, deaths`` (and ``method``, over which deaths are added up).
    size
        Panels side by side, or below one another.
    """
    deaths = table.assign(cause=table["cause"].astype(str), period=table["period"].astype(str))
    totals = deaths.groupby("cause")["deaths"].sum().sort_values(ascending=False, kind="stable")
    known = [str(name) for name in totals.index if str(name).lower() not in UNKNOWN]
    names = known + [str(name) for name in totals.index if str(name).lower() in UNKNOWN]
    periods = list(dict.fromkeys(deaths["period"]))
    most = float(deaths.groupby(["period", "cause"])["deaths"].sum().max()) if len(deaths) else 1.0
    with styled():
        wide = size == "wide"
        columns = (len(periods) if len(periods) <= 5 else -(-len(periods) // 2)) if wide else 1
        rows = -(-len(periods) // columns)
        figure = blank(WIDTHS[size], rows * (0.24 * len(names) + 0.42) + 0.1)
        panels = figure.subplots(rows, columns, squeeze=False, sharey=True)
        for place, period in enumerate(periods):
            ax = panels[place // columns, place % columns]
            draw_causes(deaths[deaths["period"] == period], ax, names, most or 1.0)
            ax.set_title("\n".join(wrapped(period, max(60 // columns, 14))), fontsize=SMALL + 0.5)
            ax.set_yticks(range(len(names)), [wrapped(name, 26)[0] or "not recorded" for name in names])
            ax.tick_params(axis="y", length=0, labelcolor=INK)
        for place in range(len(periods), rows * columns):
            panels[place // columns, place % columns].set_visible(False)
        return figure
