"""Power against plots as a small drawing, redrawn while one types: no drawing library is loaded for it."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

WIDTH, HEIGHT = 380, 250
_LEFT, _RIGHT, _TOP, _BOTTOM = 34, 12, 12, 40
_STEPS: Final = (1, 2, 5)
_MOST_TICKS: Final = 7
_ROOM: Final = 1.05  # of the axis, beyond the largest season


@dataclass(frozen=True)
class Dot:
    """A simulated season size: its place, the ends of its 95 % CI, and all of it in words."""

    x: float
    y: float
    low: float
    high: float
    words: str


@dataclass(frozen=True)
class Curve:
    """Where everything stands in a drawing of `WIDTH` by `HEIGHT`.

    Attributes
    ----------
    line
        Points of the curve by formula, as a polyline takes them.
    dots
        Seasons that were simulated.
    across, up
        Place and label of each tick.
    wanted, chosen
        Height of the power asked for, place of the number of plots that the answer is for.
    words
        The drawing in a sentence.
    """

    line: str
    dots: tuple[Dot, ...]
    across: tuple[tuple[float, str], ...]
    up: tuple[tuple[float, str], ...]
    wanted: float
    chosen: float
    words: str


def curve_of(
    rows: Sequence[tuple[int, int]],
    simulated: Sequence[tuple[int, float, float, float]],
    wanted: float,
    chosen: int,
) -> Curve:
    """Draw power by plots.

    Parameters
    ----------
    rows
        Plots of each preparation, and seasons of 100 that show the difference, by formula.
    simulated
        The same by simulation, with the ends of its 95 % CI.
    wanted
        Power asked for, per 100.
    chosen
        Plots of each preparation that the answer is for.
    """
    most = max([plots for plots, _ in rows] + [each[0] for each in simulated]) * _ROOM

    def across(plots: float) -> float:
        return round(_LEFT + plots / most * (WIDTH - _LEFT - _RIGHT), 1)

    def up(power: float) -> float:
        return round(HEIGHT - _BOTTOM - power / 100 * (HEIGHT - _TOP - _BOTTOM), 1)

    dots = tuple(
        Dot(across(plots), up(power), up(low), up(high),
            f"{plots} plots: {power:.0f} of 100 simulated seasons (95 % CI {low:.0f} to {high:.0f})")
        for plots, power, low, high in simulated
    )  # fmt: skip
    (first, least), (last, greatest) = rows[0], rows[-1]
    return Curve(
        line=" ".join(f"{across(plots)},{up(power)}" for plots, power in rows),
        dots=dots,
        across=tuple((across(plots), f"{plots:,}") for plots in _ticks(most)),
        up=tuple((up(power), str(power)) for power in (0, 20, 40, 60, 80, 100)),
        wanted=up(wanted),
        chosen=across(chosen),
        words=f"From {least} of 100 seasons with {first} plots to {greatest} with {last}.",
    )


def _ticks(most: float) -> range:
    """Round numbers from 0 up to the end of an axis, not too many."""
    power = 10 ** math.floor(math.log10(max(most / _MOST_TICKS, 1)))
    step = next(each * power for each in (*_STEPS, 10) if most / (each * power) <= _MOST_TICKS)
    return range(0, int(most) + 1, step)


def simulated_in(folder: Path) -> list[tuple[int, float, float, float]]:
    """Return plots, power and its 95 % CI of the seasons that were simulated; none where none were."""
    try:
        with (folder / "power.csv").open(encoding="utf-8", newline="") as file:
            return [
                (int(float(row["plots"])), float(row["simulated"]), float(row["lower"]), float(row["upper"]))
                for row in csv.DictReader(file)
                if row["simulated"]
            ]
    except (OSError, ValueError, KeyError, TypeError):
        return []
