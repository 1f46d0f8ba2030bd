"""Survival curves: all in one panel with labels at their ends, or a panel a method."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from survivor.figures.style import (
    ACCENT,
    DRY,
    DRY_WORDS,
    INK,
    QUIET,
    SMALL,
    TARGET,
    USUAL_LINE,
    WIDTHS,
    Drawing,
    Line,
    Size,
    axes_or_new,
    blank,
    lines,
    spread,
    styled,
    wrapped,
)
from survivor.figures.words import per_100

_MOST_STEPS: Final = 300  # more can't be seen, and cost a page its quickness
_COLUMNS: Final[dict[Size, int]] = {"wide": 3, "narrow": 2}
_LETTERS: Final[dict[Size, int]] = {"wide": 27, "narrow": 21}


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
        low = _scale(ax, curves.values(), last)
        ends = [100 * float(curve["survival"].iloc[-1]) for curve in curves.values()]
        places = spread(ends, (100 - low) * 0.055, low, 100)
        for (name, _curve), end, place in zip(curves.items(), ends, places, strict=True):
            text = f"{wrapped(name, 34)[0]}  {per_100(end)}" if len(curves) > 1 else per_100(end)
            ax.annotate(
                text,
                (last, place),
                xytext=(6, 0),
                textcoords="offset points",
                ha="left",
                va="center",
                color=looks[name].colour if name != "all" else INK,
                fontsize=SMALL,
                annotation_clip=False,
            )
        ax.set_xlabel("Days after planting", loc="left")
        ax.set_ylabel("Alive per 100 planted")
        return ax


def curves_figure(
    curves_table: pd.DataFrame,
    backdrop: Backdrop | None = None,
    *,
    size: Size = "wide",
    order: Sequence[str] = (),
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
    """
    behind = backdrop or Backdrop()
    curves = _split(curves_table)
    named = [name for name in order if name in curves] + [name for name in curves if name not in order]
    if behind.usual in curves:  # it goes first: every other panel is read against it
        named = [behind.usual, *[name for name in named if name != behind.usual]]
    columns = 2 if len(named) == 4 else min(_COLUMNS[size], max(len(named), 1))
    rows = math.ceil(len(named) / columns)
    titles = max((len(wrapped(name, _LETTERS[size])) for name in named), default=1)
    with styled():
        figure = blank(WIDTHS[size], rows * (1.55 + 0.13 * titles) + 0.35)
        panels = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
        last = max((float(curve["day"].max()) for curve in curves.values()), default=1.0)
        low = _scale(panels[0, 0], curves.values(), last)
        for place, name in enumerate(named):
            ax = panels[place // columns, place % columns]
            _panel(ax, name, curves, behind, low, last, size, first=place == 0)
            # Panels below an unfilled row still need their days.
            ax.xaxis.set_tick_params(labelbottom=place + columns >= len(named))
        for place in range(len(named), rows * columns):
            panels[place // columns, place % columns].set_visible(False)
        figure.supxlabel("Days after planting", x=0.01, ha="left", color=QUIET, fontsize=SMALL + 0.5)
        figure.supylabel("Alive per 100 planted", color=QUIET, fontsize=SMALL + 0.5)
        return figure


def _split(table: pd.DataFrame) -> dict[str, pd.DataFrame]:
    group = str(table.columns[0])
    found = {}
    for name in dict.fromkeys(table[group].astype(str)):
        curve = table[table[group].astype(str) == name].sort_values("day", kind="stable")
        if curve.empty or float(curve["day"].iloc[0]) > 0:
            start = {"day": 0.0, "survival": 1.0, "lower": 1.0, "upper": 1.0}
            curve = pd.concat(
                [pd.DataFrame([start]), curve[[c for c in start if c in curve]]], ignore_index=True
            )
        found[name] = _thinned(curve)
    return found


def _thinned(curve: pd.DataFrame) -> pd.DataFrame:
    if len(curve) <= _MOST_STEPS:
        return curve
    keep = np.unique(np.linspace(0, len(curve) - 1, _MOST_STEPS).round().astype(int))
    return curve.iloc[keep]


def _scale(ax: Axes, curves: Iterable[pd.DataFrame], last: float) -> float:
    """Set both axes; the upright one starts at nought unless all curves stay above 50."""
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
    ax.step(
        day,
        100 * curve["survival"].to_numpy(dtype=float),
        where="post",
        color=look.colour,
        linestyle=look.dash,
        zorder=3,
    )
    if band and "lower" in curve and curve["lower"].notna().any():
        ax.fill_between(
            day,
            100 * curve["lower"].to_numpy(dtype=float),
            100 * curve["upper"].to_numpy(dtype=float),
            step="post",
            color=look.colour,
            alpha=0.18,
            linewidth=0,
            zorder=2,
        )


def _panel(
    ax: Axes,
    name: str,
    curves: dict[str, pd.DataFrame],
    behind: Backdrop,
    low: float,
    last: float,
    size: Size,
    *,
    first: bool,
) -> None:
    _dry(ax, behind.dry, last, words=first)
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
        other = usual if name != behind.usual else None
        _value(ax, curves[name], other, behind.milestone, last, low)
    title = wrapped(name, _LETTERS[size])
    ax.set_title("\n".join(title), color=INK, fontsize=SMALL + 0.5)
    if name == behind.usual:
        ax.annotate(
            "usual practice",
            (0, 0),
            xycoords="axes fraction",
            xytext=(5, 20),
            textcoords="offset points",
            color=QUIET,
            fontsize=SMALL,
        )


def _read(curve: pd.DataFrame, day: float) -> float:
    reached = curve[curve["day"] <= day]["survival"]
    return 100 * float(reached.iloc[-1]) if len(reached) else float("nan")


def _value(
    ax: Axes, curve: pd.DataFrame, usual: pd.DataFrame | None, day: float, last: float, low: float
) -> None:
    """Write the value of a curve on a day where the usual practice's line does not run."""
    value = _read(curve, day)
    if math.isnan(value):
        return
    ax.plot([day], [value], "o", color=INK, markersize=3.5, zorder=5, clip_on=False)
    under = usual is not None and _read(usual, day) < value
    above = under or value < low + 0.25 * (100 - low)
    right = above and day < 0.85 * last
    ax.annotate(
        per_100(value),
        (day, value),
        xytext=(4 if right else -4, 4 if above else -4),
        textcoords="offset points",
        ha="left" if right else "right",
        va="bottom" if above else "top",
        color=INK,
        fontsize=SMALL,
        fontweight="bold",
        zorder=6,
    )


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
        ax.annotate(
            "dry season",
            ((full[0][0] + full[0][1]) / 2, 0.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, 9),
            textcoords="offset points",
            ha="center",
            va="bottom",
            color=DRY_WORDS,
            fontsize=SMALL,
        )
