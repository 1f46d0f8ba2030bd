"""The model behind the radius response, and what is asked of it.

Every cell of method and site has its own level, so that only variation of the
radius within method and site counts.

How the weed-free radius was spread over the plots, and the curve fitted through it.

The curve is a natural cubic spline (linear beyond its outer knots) with knots at
quantiles of plots, written as a line plus bends, so that leaving the bends out
leaves the line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.effects.cells import check_day, study_cells
from survivor.effects.standardise import ALL, behind, per_100
from survivor.intervals import cluster_columns, entries, group_codes
from survivor.models.fit import Model
from survivor.models.fit import fit as fit_model
from survivor.models.fitted import Estimates
from survivor.models.formulas import matrix_of, terms_and_columns
from survivor.models.result import Fit
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
        bends = len(self.knots) - 2 if self.shape == "spline" else 0
        return tuple(f"radius_bend_{place + 1}" for place in range(bends))

    @property
    def terms(self) -> tuple[str, ...]:
        """Columns that stand in the formula for the radius."""
        return ("radius_group",) if self.shape == "groups" else (self.column, *self.bends)

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
    found = matrix_of(
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


PER_10_CM = "per 100 planted per 10 cm"

_TEN_CM = 0.1


@dataclass(frozen=True)
class ResponseModel:
    """The model behind the response, but for the curve: how to fit it to any rows."""

    kind: Model
    others: tuple[str, ...]  # terms besides the radius
    cells: tuple[str, ...]  # columns of method and site: a level each
    cluster: tuple[str, ...] | None
    at: float | None
    pieces: Any
    said: tuple[str, ...]

    @classmethod
    def of(
        cls, source: Fit | pd.DataFrame, data: pd.DataFrame, column: str, method: str, at: float, pieces: Any
    ) -> ResponseModel:
        """Take what can be taken from a fit; intervals get the usual model."""
        strata = source.strata if isinstance(source, Fit) else ()
        # Blocks within a site are not cells: most hold one plot of a method, which would leave nothing.
        coarse = [name for name in strata if name != "block" or "site" not in data.columns]
        cells = tuple(name for name in dict.fromkeys(["site", *coarse, method]) if name in data.columns)
        if not isinstance(source, Fit):
            return cls("grouped", (), cells, tuple(cluster_columns(data, "plot")), None, pieces, ())
        check_day(source, at)
        others, dropped = _other_terms(source.formula, {column, *cells})
        day = at if source.at is not None else None
        said = _dropped_words(dropped)
        return cls(cast(Model, source.model), others, cells, source.cluster or None, day, pieces, said)

    def fit(self, data: pd.DataFrame, curve: Curve) -> Fit:
        """Fit to some rows."""
        rows = curve.add_to(data)
        return fit_model(
            rows,
            " + ".join([*self.others, *curve.terms]),
            model=self.kind,
            cluster=self.cluster,
            strata=self.cells or None,
            at=self.at,
            pieces=self.pieces,
        )


@dataclass(frozen=True)
class Answer:
    """What is asked of a fit: survival at each radius of a grid, and the gain between them."""

    model: ResponseModel
    curve: Curve
    points: Floats
    at: float
    population: pd.DataFrame | None

    def response(self, fitted: Fit) -> pd.DataFrame:
        """Survival at each radius, as :attr:`Dose.table`."""
        found = self._average(fitted, np.eye(len(self.points)))
        limits = found.limits_of_survival(behind(fitted, None, [ALL] * len(self.points), self.at, found))
        columns = {self.curve.column: self.points, "area_m2": math.pi * self.points**2}
        return pd.DataFrame({**columns, **per_100(found, limits, self.at)})

    def gains(self, fitted: Fit) -> pd.DataFrame:
        """Gain for each 10 cm between neighbours of the grid, as :attr:`Dose.gain`."""
        steps = np.diff(np.eye(len(self.points)), axis=0)
        per = 100 * _TEN_CM / np.diff(self.points)
        found = self._average(fitted, steps)
        lower, upper, _ = found.limits_of_differences()
        return pd.DataFrame(
            {
                "from_m": self.points[:-1],
                "to_m": self.points[1:],
                "estimate": per * np.asarray(found.estimate),
                "std_error": per * found.std_error,
                "df": found.df,
                "lower": per * lower,
                "upper": per * upper,
                "unit": PER_10_CM,
            }
        )

    def last_less_first(self, fitted: Fit) -> Estimates:
        """Survival at the last point of the grid less that at the first, as a share."""
        weights = np.zeros((1, len(self.points)))
        weights[0, 0], weights[0, -1] = -1.0, 1.0
        return self._average(fitted, weights)

    def _average(self, fitted: Fit, weights: Floats) -> Estimates:
        return fitted.average_survival(*self._cells(fitted, weights), self.at)

    def _cells(self, fitted: Fit, weights: Floats) -> tuple[pd.DataFrame, Floats]:
        """Every cell of the study at every radius of the grid, and how much each counts."""
        cells = study_cells(fitted, self.curve.terms, self.population)
        radii = pd.DataFrame({self.curve.column: np.repeat(self.points, len(cells.plants))})
        own = [name for name in cells.frame.columns if name != self.curve.column]
        stacked = pd.concat([cells.frame[own]] * len(self.points), ignore_index=True)
        stacked = self.curve.add_to(stacked.assign(**{self.curve.column: radii[self.curve.column]}))
        return stacked, np.kron(weights, cells.plants / cells.plants.sum())


def _other_terms(formula: str, taken: set[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Terms of a formula that do not touch the columns ``taken``, and those that do in part."""
    kept, dropped = [], []
    for term, columns in terms_and_columns(formula):
        if not columns:
            continue
        if not columns & taken:
            kept.append(term)
        elif columns - taken:
            dropped.append(term)
    return tuple(kept), tuple(dropped)


def _dropped_words(dropped: Sequence[str]) -> tuple[str, ...]:
    if not dropped:
        return ()
    return (f"Left out, since each method and site has its own level here: {', '.join(dropped)}.",)
