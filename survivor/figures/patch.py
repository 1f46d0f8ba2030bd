"""What became of the weed-free patch: a panel a preparation, a dot a visit."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
import pandas as pd

from survivor.figures.style import ACCENT, INK, QUIET, SMALL, WIDTHS, Drawing, Size, blank, styled, wrapped
from survivor.figures.words import number

_COLUMNS: Final[dict[Size, int]] = {"wide": 3, "narrow": 2}
_LETTERS: Final[dict[Size, int]] = {"wide": 27, "narrow": 21}


def patch_figure(table: pd.DataFrame, *, axis: str, size: Size = "wide") -> Drawing:
    """Return a panel a preparation: the mean of the plots at each visit, and their middle half.

    Parameters
    ----------
    table
        ``method, day`` (days since planting), ``mean, low_quarter, high_quarter``; the order of
        methods is kept. Quarters may be NaN.
    axis
        What is measured, with its unit.
    size
        Three panels a row, or two.
    """
    names = list(dict.fromkeys(table["method"].astype(str)))
    columns = min(_COLUMNS[size], max(len(names), 1))
    rows = math.ceil(len(names) / columns)
    titles = max((len(wrapped(name, _LETTERS[size])) for name in names), default=1)
    top = float(np.nanmax(table[["mean", "high_quarter"]].to_numpy(dtype=float)))
    small = top < 10
    with styled():
        figure = blank(WIDTHS[size], rows * (1.25 + 0.13 * titles) + 0.35)
        panels = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        for place, name in enumerate(names):
            ax = panels[place // columns, place % columns]
            own = table[table["method"].astype(str) == name].sort_values("day", kind="stable")
            days, means = own["day"].to_numpy(dtype=float), own["mean"].to_numpy(dtype=float)
            ax.vlines(days, own["low_quarter"], own["high_quarter"], color=ACCENT, linewidth=1.4, zorder=2)
            ax.plot(days, means, color=ACCENT, linewidth=0.8, marker="o", markersize=3.5, zorder=3)
            ax.annotate(
                number(float(means[-1]), 2 if small else 0),
                (days[-1], means[-1]),
                xytext=(0, 7),
                textcoords="offset points",
                ha="right",
                va="bottom",
                color=INK,
                fontsize=SMALL,
                annotation_clip=False,
            )
            ax.set_title("\n".join(wrapped(name, _LETTERS[size])), color=INK, fontsize=SMALL + 0.5)
            ax.xaxis.set_tick_params(labelbottom=place + columns >= len(names))
        for place in range(len(names), rows * columns):
            panels[place // columns, place % columns].set_visible(False)
        panels[0, 0].set_ylim(0, top * 1.3 or 1.0)
        panels[0, 0].set_xlim(0, float(table["day"].max()) * 1.06 or 1.0)
        figure.supxlabel("Days after planting", x=0.01, ha="left", color=QUIET, fontsize=SMALL + 0.5)
        figure.supylabel(axis, color=QUIET, fontsize=SMALL + 0.5)
        return figure
