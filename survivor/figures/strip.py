"""A year in a strip: each day in one of three states, told by height and hatching as well as by colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Patch

from survivor.figures.season import Dry, months, shade_dry_season
from survivor.figures.style import (
    ACCENT,
    BODY,
    INK,
    QUIET,
    TARGET,
    WIDTHS,
    Drawing,
    Size,
    blank,
    styled,
    wrapped,
)


@dataclass(frozen=True)
class State:
    """A state of a day: its key and name, how high its bar stands (0 to 1), its colour and hatching."""

    key: str
    name: str
    height: float
    colour: str
    hatch: str = ""

    @property
    def look(self) -> dict[str, Any]:
        """Face, edge and hatching of its bars."""
        face = "none" if self.hatch else self.colour
        return {"facecolor": face, "edgecolor": self.colour, "hatch": self.hatch or None}


@dataclass(frozen=True)
class States:
    """The states that the days of a strip may have."""

    kind: str
    of: tuple[State, ...]


_UNKNOWN: Final = State("unknown", "not known", 0.7, QUIET, "/////")
STATES: Final = {
    "water": States(
        "water",
        (
            State("short", "short of water", 0.7, TARGET),
            State("enough", "water enough", 0.2, ACCENT),
            _UNKNOWN,
        ),
    ),
    "rain": States(
        "rain",
        (State("wet", "1 mm of rain or more", 0.7, ACCENT), State("dry", "less", 0.12, TARGET), _UNKNOWN),
    ),
}


def strip_figure(
    table: pd.DataFrame, *, states: States, dry: Dry | None = None, size: Size = "wide"
) -> Drawing:
    """Return a strip a row of the table, a bar a run of days.

    Parameters
    ----------
    table
        ``row, date, state``; days in order within a row.
    states
        What the states are, and how they look.
    dry
        First and last day of the dry season, shaded.
    size
        For a page, or for a telephone.
    """
    names = list(dict.fromkeys(table["row"].astype(str)))
    dates = pd.Series(pd.date_range(table["date"].min(), table["date"].max()))
    lines = ["\n".join(wrapped(name, 26 if size == "wide" else 17)) for name in names]
    row = max(0.42, *(0.2 * (line.count("\n") + 1) for line in lines), 0.0)  # inches
    with styled():
        figure = blank(WIDTHS[size], 0.85 + row * len(names))
        ax: Axes = figure.add_subplot()
        shade_dry_season(ax, dates, dry, named=True)
        for place, name in enumerate(names):
            own = table[table["row"].astype(str) == name]
            days = ((own["date"] - dates.iloc[0]) / pd.Timedelta(days=1)).to_numpy(dtype=float)
            for state in states.of:
                bars = _runs(days, (own["state"] == state.key).to_numpy())
                if bars:
                    wide = 0.4 if state.hatch else 0
                    ax.broken_barh(bars, (len(names) - place - 1, state.height), linewidth=wide, **state.look)
        ax.set_yticks(
            [len(names) - place - 0.65 for place in range(len(names))], lines, fontsize=BODY, color=INK
        )
        ax.tick_params(axis="y", length=0)
        ax.set_xlim(0, len(dates))
        ax.set_ylim(-0.05, len(names) + 0.1)
        ax.spines["left"].set_visible(False)
        months(ax, dates)
        seen = set(table["state"].astype(str))
        marks = [state for state in states.of if state.key in seen]
        figure.legend(
            [Patch(**state.look) for state in marks],
            [state.name for state in marks],
            loc="outside lower left",
            ncols=len(marks) if size == "wide" else 2,
            frameon=False,
            fontsize=BODY,
            labelcolor=INK,
            handlelength=1.2,
            borderaxespad=0,
        )
        return figure


def _runs(days: np.ndarray, held: np.ndarray) -> list[tuple[float, float]]:
    """Find the runs of days that hold: where each starts and how long it is."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(int)))
    return [
        (float(days[start]), float(stop - start)) for start, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
