"""What became of the weed-free patch: a panel a preparation, a dot a visit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import seaborn as sns

from survivor.figures.style import ACCENT, Drawing, Size, note, panels, styled
from survivor.words import number


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
    top = float(np.nanmax(table[["mean", "high_quarter"]].to_numpy(dtype=float)))
    dots: dict[str, Any] = {"marker": "o", "markersize": 3.5, "markeredgecolor": ACCENT, "linewidth": 0.8}
    with styled():
        figure, axes = panels(list(dict.fromkeys(table["method"].astype(str))), size, 1.25, axis)
        for name, ax in axes.items():
            own = table[table["method"].astype(str) == name].sort_values("day", kind="stable")
            day, mean = own["day"].to_numpy(dtype=float), own["mean"].to_numpy(dtype=float)
            ax.vlines(day, own["low_quarter"], own["high_quarter"], color=ACCENT, linewidth=1.4, zorder=2)
            sns.lineplot(x=day, y=mean, estimator=None, color=ACCENT, ax=ax, zorder=3, **dots)
            last = number(float(mean[-1]), 2 if top < 10 else 0)
            note(ax, last, (day[-1], mean[-1]), (0, 7), ha="right", va="bottom")
            ax.set_ylim(0, top * 1.3 or 1.0)
            ax.set_xlim(0, float(table["day"].max()) * 1.06 or 1.0)
        return figure
