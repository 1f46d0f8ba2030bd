"""Survival curves: all in one panel with labels at their ends, or a panel a method."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes

from survivor.figures.style import (
    ACCENT,
    DRY,
    DRY_WORDS,
    INK,
    QUIET,
    TARGET,
    USUAL_LINE,
    Drawing,
    Line,
    Size,
    axes_or_new,
    lines,
    name_ends,
    note,
    panels,
    styled,
    wrapped,
)
from survivor.vocabulary import PER_100
from survivor.words import per_100

_MOST_STEPS: Final = 300  # more can't be seen, and cost a page its quickness


@dataclass(frozen=True)
class Backdrop:
    """What stands behind the curves.

    Parameters
    ----------
    dry
        ``start_day, stop_day, share``: stretches of days since planting, and the
        share of plants (0..1) that were in the dry season then.
    visits
        First and last day since planting of each round of visits; drawn on the axis.
    milestone
        Day of the headline; drawn as a line.
    usual
        The usual practice, drawn in grey behind every other method.
    """

    dry: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=["start_day", "stop_day", "share"])
    )
    visits: tuple[tuple[float, float], ...] = ()
    milestone: float | None = None
    usual: str | None = None


def draw_curves(curves_table: pd.DataFrame, ax: Axes | None = None) -> Axes:
    """Draw every curve in one panel, each with its own dash and a label at its end.

    Parameters
    ----------
    curves_table
        First column the group, then ``day, survival, lower, upper`` (0..1); limits
        may be NaN, or absent.
    ax
        Axes to draw on; a new figure's where none is given.

    Returns
    -------
    matplotlib.axes.Axes
    """
    with styled():
        ax = axes_or_new(ax)
        curves = _split(curves_table)
        looks = lines(list(curves))
        for name, curve in curves.items():
            _step(ax, curve, looks[name], band=len(curves) <= 3)
        last = max((float(curve["day"].max()) for curve in curves.values()), default=1.0)
        _scale(ax, curves.values(), last)
        ends = []
        for name, curve in curves.items():
            alive = 100 * float(curve["survival"].iloc[-1])
            words = f"{wrapped(name, 34)[0]}  {per_100(alive)}" if len(curves) > 1 else per_100(alive)
            ends.append((words, last, alive, looks[name].colour if name != "all" else INK))
        name_ends(ax, ends, 0.06)
        ax.set_xlabel("Days after planting", loc="left")
        ax.set_ylabel(f"Alive {PER_100}")
        return ax


def curves_figure(
    curves_table: pd.DataFrame,
    backdrop: Backdrop | None = None,
    *,
    size: Size = "wide",
    order: Sequence[str] = (),
    per: str = PER_100,
) -> Drawing:
    """Return a panel a method: its curve with limits, the usual practice in grey behind.

    Parameters
    ----------
    curves_table
        As for :func:`draw_curves`.
    backdrop
        Dry season, visits, milestone, usual practice.
    size
        Three panels a row, or two.
    order
        Methods in the order wanted; those not named follow.
    per
        What survival is of: per 100 planted, or found.
    """
    behind = backdrop or Backdrop()
    curves = _split(curves_table)
    named = [name for name in order if name in curves] + [name for name in curves if name not in order]
    if behind.usual in curves:  # it goes first: every other panel is read against it
        named = [behind.usual, *[name for name in named if name != behind.usual]]
    with styled():
        figure, axes = panels(named, size, 1.55, f"Alive {per}")
        last = max((float(curve["day"].max()) for curve in curves.values()), default=1.0)
        for place, (name, ax) in enumerate(axes.items()):
            low = _scale(ax, curves.values(), last)
            _dry(ax, behind.dry, last, words=place == 0)
            _panel(ax, name, curves, behind, low, last)
        return figure


def _split(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    group = str(table.columns[0])
    curves = {}
    for name in dict.fromkeys(table[group].astype(str)):
        curve = table[table[group].astype(str) == name].sort_values("day", kind="stable")
        if curve.empty or float(curve["day"].iloc[0]) > 0:
            start = {"day": 0.0, "survival": 1.0, "lower": 1.0, "upper": 1.0}
            curve = pd.concat(
                [pd.DataFrame([start]), curve[[c for c in start if c in curve]]], ignore_index=True
            )
        curves[name] = _thinned(curve)
    return curves


def _thinned(curve: pd.DataFrame) -> pd.DataFrame:
    if len(curve) <= _MOST_STEPS:
        return curve
    keep = np.unique(np.linspace(0, len(curve) - 1, _MOST_STEPS).round().astype(int))
    return curve.iloc[keep]


def _scale(ax: Axes, curves: Iterable[pd.DataFrame], last: float) -> float:
    """Set both axes; the upright one starts at zero unless all curves stay above 50."""
    floors = []
    for curve in curves:
        column = curve["lower"] if "lower" in curve and curve["lower"].notna().any() else curve["survival"]
        floors.append(100 * float(column.min(skipna=True)))
    low = 50.0 if min(floors, default=0.0) >= 52 else 0.0
    ax.set_ylim(low - (100 - low) * 0.04, 102)
    ax.set_xlim(0, last * 1.02)
    ax.set_yticks(np.arange(low, 101, 25 if low == 0 else 10))
    return low


def _step(ax: Axes, curve: pd.DataFrame, look: Line, *, band: bool) -> None:
    day = curve["day"].to_numpy(dtype=float)
    alive = 100 * curve["survival"].to_numpy(dtype=float)
    style: dict[str, Any] = {"color": look.colour, "linestyle": look.dash, "drawstyle": "steps-post"}
    sns.lineplot(x=day, y=alive, estimator=None, ax=ax, zorder=3, **style)
    if band and "lower" in curve and curve["lower"].notna().any():
        low, high = (100 * curve[name].to_numpy(dtype=float) for name in ("lower", "upper"))
        ax.fill_between(day, low, high, step="post", color=look.colour, alpha=0.18, linewidth=0, zorder=2)
        # A step ends where it begins at the last visit: its limits stand as a bar there.
        ax.vlines(day[-1], low[-1], high[-1], color=look.colour, linewidth=1.2, zorder=2.5)


def _panel(
    ax: Axes, name: str, curves: dict[str, pd.DataFrame], behind: Backdrop, low: float, last: float
) -> None:
    usual = curves.get(behind.usual) if behind.usual is not None else None
    if usual is not None and name != behind.usual:
        _step(ax, usual, USUAL_LINE, band=False)
    _step(ax, curves[name], Line(INK if name == behind.usual else ACCENT, "solid", "o"), band=True)
    if behind.visits:
        # A block for each round of visits, standing on the axis; never thinner than a stroke.
        foot, top = low - (100 - low) * 0.04, low + (100 - low) * 0.015
        thin = last * 0.006
        bars = [(first, max(stop - first, thin)) for first, stop in behind.visits]
        ax.broken_barh(bars, (foot, top - foot), color=QUIET, linewidth=0, zorder=1)
    if behind.milestone is not None and behind.milestone <= last:
        ax.axvline(behind.milestone, color=TARGET, linewidth=0.8, linestyle=(0, (4, 2)), zorder=1.5)
    if name == behind.usual:
        note(ax, "usual practice", (0, 0), (2, 22), colour=QUIET, xycoords="axes fraction")


def _dry(ax: Axes, dry: pd.DataFrame, last: float, *, words: bool) -> None:
    spans = [
        (float(r["start_day"]), min(float(r["stop_day"]), last), float(r["share"]))
        for r in dry.to_dict("records")
    ]
    spans = [span for span in spans if span[0] < last and span[2] > 0]
    for start, stop, share in spans:
        ax.axvspan(start, stop, color=DRY, alpha=0.35 + 0.65 * min(share, 1.0), linewidth=0, zorder=0)
    full = [span for span in spans if span[2] > 0.5]
    if words and full:
        early = full[0][0] < last / 2
        end = full[0][0] if early else full[0][1]
        ha: Literal["left", "right"] = "left" if early else "right"
        place, shift = ("data", "axes fraction"), (2 if early else -2, 6)
        note(ax, "dry season", (end, 0), shift, ha=ha, va="bottom", colour=DRY_WORDS, xycoords=place)
