"""How a model fits: deaths found beside deaths expected, plots that stand out or decide, log(-log) curves."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter

from survivor.figures.style import (
    QUIET,
    RULE,
    Drawing,
    Line,
    axes_or_new,
    blank,
    lines,
    name_ends,
    styled,
    wrapped,
)

_MOST: Final = 12  # plots named in the drawing of influence


def draw_diagnosis(
    calibration: pd.DataFrame,
    residuals: pd.DataFrame,
    influence: pd.DataFrame,
    log_log: pd.DataFrame,
    by: str,
) -> Drawing:
    """Draw the four that matter in one figure; the tables of ``survivor.diagnose``."""
    with styled():
        whole = blank(10.5, 8.4)
        (first, second), (third, fourth) = whole.subplots(2, 2)
        draw_calibration(calibration, by, first)
        draw_residuals(residuals, by, second, named=False)
        draw_influence(influence, by, third, named=False)
        draw_log_log(log_log, by, fourth)
        return whole


def draw_calibration(table: pd.DataFrame, by: str, ax: Axes | None = None) -> Axes:
    """Draw deaths found against deaths expected, a point a level and round of visits.

    Parameters
    ----------
    table
        ``<by>, died, expected``.
    """
    with styled():
        ax = axes_or_new(ax, 5.0, 4.0)
        top = 1.08 * max(float(table[["died", "expected"]].to_numpy().max(initial=1.0)), 1.0)
        ax.axline((0, 0), slope=1, color=QUIET, linewidth=0.8)
        _points(table, ("expected", "died"), by, ax)
        ax.set(xlim=(0, top), ylim=(0, top))
        ax.set_xlabel("Deaths expected by the next visit", loc="left")
        ax.set_ylabel("Deaths found")
        ax.set_title("Each round of visits: on the line where the model fits", loc="left")
        return ax


def draw_residuals(table: pd.DataFrame, by: str, ax: Axes | None = None, named: bool = True) -> Axes:
    """Draw the residual of every plot by level; beyond 3 one stands out from the spread of plots.

    Parameters
    ----------
    table
        ``<by>, scaled`` and ``expected``.
    """
    with styled():
        ax = axes_or_new(ax, 5.0, 4.0)
        ax.axhline(0, color=QUIET, linewidth=0.8)
        for bound in (-3, 3):
            ax.axhline(bound, color=RULE, linewidth=0.8, linestyle=(0, (4, 3)))
        _points(table, ("expected", "scaled"), by, ax, named)
        ax.set_xlabel("Deaths expected in the plot", loc="left")
        ax.set_ylabel("Residual, in spreads of all plots")
        ax.set_title("Plots with more (above) and fewer deaths than expected", loc="left")
        return ax


def draw_influence(table: pd.DataFrame, by: str, ax: Axes | None = None, named: bool = True) -> Axes:
    """Draw the change of each difference without the plots and sites that matter most.

    Parameters
    ----------
    table
        ``left_out, name, <by>, change``.
    """
    with styled():
        ax = axes_or_new(ax, 5.0, 4.0)
        changed = table.dropna(subset=["change"])
        most = changed.groupby(["left_out", "name"])["change"].agg(lambda part: part.abs().max())
        kept = most.sort_values(ascending=False).head(_MOST).index.tolist()
        place = {key: -number for number, key in enumerate(kept)}
        keys = list(zip(changed["left_out"], changed["name"], strict=True))
        shown = changed[[key in place for key in keys]]
        shown = shown.assign(place=[float(place[key]) for key in keys if key in place])
        ax.axvline(0, color=QUIET, linewidth=0.8)
        _points(shown, ("change", "place"), by, ax, named)
        ax.set_yticks(list(place.values()), [f"{what} {wrapped(name, 26)[0]}" for what, name in kept])
        ax.set_xlabel("Change of the difference, alive per 100 planted", loc="left")
        ax.set_ylabel("")
        ax.set_title("Left out, these change the answer most", loc="left")
        return ax


def draw_log_log(table: pd.DataFrame, by: str, ax: Axes | None = None) -> Axes:
    """Draw log(-log) survival on the logarithm of the day; parallel lines are proportional hazards.

    Parameters
    ----------
    table
        ``<by>, log_day, log_log``.
    """
    with styled():
        ax = axes_or_new(ax, 5.0, 4.0)
        last, ends = float(table["log_day"].max()), []
        for name, look in _looks(table, by).items():
            own = table[table[by].astype(str) == name]
            if own.empty:
                continue
            sns.lineplot(
                x=own["log_day"], y=own["log_log"], ax=ax, color=look.colour, linestyle=look.dash,
                errorbar=None,
            )  # fmt: skip
            ends.append((wrapped(name, 22)[0], last, float(own["log_log"].iloc[-1]), look.colour))
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{np.exp(value):.0f}"))
        name_ends(ax, ends, 0.09)
        ax.set_xlabel("Days after planting (logarithmic scale)", loc="left")
        ax.set_ylabel("log(-log survival)")
        ax.set_title("Parallel lines: one ratio of hazards all season", loc="left")
        return ax


def _looks(table: pd.DataFrame, by: str) -> dict[str, Line]:
    column = table[by]
    worded = isinstance(column.dtype, pd.CategoricalDtype)
    levels = column.cat.categories.tolist() if worded else sorted(column.astype(str).unique())
    return lines([str(level) for level in levels])


def _points(table: pd.DataFrame, axes: tuple[str, str], by: str, ax: Axes, named: bool = True) -> None:
    """Draw a point a row, each level with its own colour and marker, named in a key where asked."""
    across, up = axes
    for name, look in _looks(table, by).items():
        own = table[table[by].astype(str) == name]
        if len(own):
            label = name if named else None
            sns.scatterplot(
                x=own[across], y=own[up], ax=ax, color=look.colour, marker=look.marker, s=26, label=label
            )
    if ax.get_legend() is not None:
        ax.legend(loc="best", frameon=False, handletextpad=0.2)
