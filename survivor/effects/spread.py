"""How the weed-free radius was spread over the plots, and the curve fitted through it.

The curve is a natural cubic spline (linear beyond its outer knots) with knots at
quantiles of plots, written as a line plus bends, so that leaving the bends out
leaves the line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from formulaic import model_matrix

from survivor.effects.limits import Floats
from survivor.intervals import entries, group_codes
from survivor.vocabulary import PLOT_KEY

Shape = Literal["spline", "line", "groups"]

LEAST_WITHIN_M = 0.01  # less spread than this within method and site is no evidence
_SAME_DECIMALS = 3  # radii alike to the millimetre are one radius
_LEAST_FOR_SPLINE = 4  # distinct radii
_PLOTS_FOR_FOUR_KNOTS = 30
# Quantiles for knots: Harrell (2015), Regression Modeling Strategies, table 2.3.
_QUANTILES = {3: (0.10, 0.50, 0.90), 4: (0.05, 0.35, 0.65, 0.95)}


@dataclass(frozen=True)
class Spread:
    """The radius of every plot, and how far it varies within method and site.

    Attributes
    ----------
    plots
        One row a plot and radius: plot key, method, radius in metres.
    distinct
        Distinct radii to the millimetre, in order.
    within_sd_m
        Standard deviation within cells of method and site, on plots less cells.
    cells
        Columns of the cells.
    n_cells
        Number of cells.
    """

    plots: pd.DataFrame
    distinct: Floats
    within_sd_m: float
    cells: tuple[str, ...]
    n_cells: int

    def range(self) -> tuple[float, float]:
        """Return the 5 % and 95 % quantile of plots, in metres."""
        radii = self.plots.iloc[:, -1].to_numpy(dtype=float)
        low, high = np.quantile(radii, [0.05, 0.95])
        return float(low), float(high)


def spread_of(data: pd.DataFrame, column: str, cells: Sequence[str]) -> Spread:
    """Read the radius of each plot and its spread within cells of method and site."""
    keys = [name for name in PLOT_KEY if name in data.columns]
    rows = entries(data)
    names = list(dict.fromkeys([*keys, *cells, column]))
    # Without a plot column each entry stands for itself.
    plots = rows[names].drop_duplicates() if "plot" in keys else rows[names]
    radius = plots[column].to_numpy(dtype=float)
    if cells:
        codes, levels = group_codes(plots, cells)
        count = len(levels)
    else:
        codes, count = np.zeros(len(plots), dtype=np.intp), 1
    size = np.bincount(codes, minlength=count)
    mean = np.bincount(codes, weights=radius, minlength=count) / size
    free = len(radius) - count
    within = float(np.sqrt(np.sum((radius - mean[codes]) ** 2) / free)) if free > 0 else 0.0
    distinct = np.unique(np.round(radius, _SAME_DECIMALS))
    return Spread(plots.reset_index(drop=True), distinct, within, tuple(cells), count)


@dataclass(frozen=True)
class Curve:
    """How the radius enters the model.

    Attributes
    ----------
    shape
        ``spline``, ``line`` or ``groups``.
    column
        The radius.
    knots
        Knots of a spline, in metres; the radii of groups.
    """

    shape: Shape
    column: str
    knots: tuple[float, ...]

    @property
    def bends(self) -> tuple[str, ...]:
        """Names of the terms that a line does not have."""
        return tuple(f"radius_bend_{place + 1}" for place in range(len(self.knots) - 2)) if self._bent else ()

    @property
    def terms(self) -> tuple[str, ...]:
        """Columns that stand in the formula for the radius."""
        return ("radius_group",) if self.shape == "groups" else (self.column, *self.bends)

    @property
    def _bent(self) -> bool:
        return self.shape == "spline"

    def add_to(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Copy of ``frame`` with the columns of :attr:`terms` computed from the radius."""
        if self.shape == "groups":
            away = np.abs(frame[self.column].to_numpy(dtype=float)[:, None] - np.array(self.knots))
            labels = np.array([f"{knot:.3f} m" for knot in self.knots])
            groups = pd.Categorical(labels[away.argmin(axis=1)], categories=labels.tolist())
            return frame.assign(radius_group=groups)
        if self.shape == "line":
            return frame.copy()
        bent = _natural(frame[self.column].to_numpy(dtype=float), self.knots) @ _bend_directions(self.knots)
        return frame.assign(**{name: bent[:, place] for place, name in enumerate(self.bends)})


def choose_curve(spread: Spread, column: str, shape: Shape | None) -> tuple[Curve, tuple[str, ...]]:
    """Decide how the radius enters, and say why where it is not as asked or as usual.

    None asks for a spline, or for groups under four distinct radii.
    """
    radii = spread.distinct
    wanted = shape or ("spline" if len(radii) >= _LEAST_FOR_SPLINE else "groups")
    said: list[str] = []
    if wanted == "spline":
        number = 4 if len(spread.plots) >= _PLOTS_FOR_FOUR_KNOTS and len(radii) > 2 * _LEAST_FOR_SPLINE else 3
        values = spread.plots[column].to_numpy(dtype=float)
        knots = np.unique(np.round(np.quantile(values, _QUANTILES[number]), 4))
        if len(radii) >= _LEAST_FOR_SPLINE and len(knots) >= 3:
            return Curve("spline", column, tuple(float(knot) for knot in knots)), ()
        said.append("The radii are too few or too alike for a curve: a line was fitted.")
        wanted = "line"
    if wanted == "groups":
        if shape is None:
            said.append(
                f"Only {len(radii)} distinct radii: they are compared as groups, nothing is said in between."
            )
        return Curve("groups", column, tuple(float(radius) for radius in radii)), tuple(said)
    return Curve("line", column, ()), tuple(said)


def _natural(values: Floats, knots: tuple[float, ...]) -> Floats:
    """Natural cubic spline basis: column j is 1 at knot j and 0 at the others."""
    low, *inner, high = knots
    frame = pd.DataFrame({"value": values})
    found = model_matrix(
        "cr(value, knots=inner, lower_bound=low, upper_bound=high) - 1",
        frame,
        context={"inner": list(inner), "low": low, "high": high},
    )
    basis: Floats = found.to_numpy(dtype=float)
    return basis


def _bend_directions(knots: tuple[float, ...]) -> Floats:
    """Values at the knots that no line can take, orthonormal; shape (knots, knots - 2)."""
    line = np.column_stack([np.ones(len(knots)), knots])
    left, _, _ = np.linalg.svd(line, full_matrices=True)
    bends: Floats = left[:, 2:]
    return bends
