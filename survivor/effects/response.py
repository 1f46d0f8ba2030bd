"""The model behind the radius response, and what is asked of it.

Every cell of method and site has its own level, so that only variation of the
radius within method and site counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import pandas as pd
from formulaic import Formula

from survivor.effects.cells import check_day, study_cells
from survivor.effects.limits import Floats, limits_of_differences, limits_of_survival
from survivor.effects.spread import Curve
from survivor.effects.standardise import ALL, behind
from survivor.intervals import cluster_columns
from survivor.models.fit import Model
from survivor.models.fit import fit as fit_model
from survivor.models.result import Estimates, Fit
from survivor.vocabulary import PER_100

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
        rows.attrs = dict(data.attrs)
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
        estimate, std_error = np.asarray(found.estimate), found.std_error
        limits = limits_of_survival(found, behind(fitted, None, [ALL] * len(estimate), self.at, found))
        return pd.DataFrame(
            {
                self.curve.column: self.points,
                "area_m2": math.pi * self.points**2,
                "estimate": 100 * estimate,
                "std_error": 100 * std_error,
                "df": found.df,
                "lower": 100 * limits.lower,
                "upper": 100 * limits.upper,
                "unit": PER_100,
                "at_day": self.at,
            }
        )

    def gains(self, fitted: Fit) -> pd.DataFrame:
        """Gain for each 10 cm between neighbours of the grid, as :attr:`Dose.gain`."""
        steps = np.diff(np.eye(len(self.points)), axis=0)
        per = 100 * _TEN_CM / np.diff(self.points)
        found = self._average(fitted, steps)
        lower, upper, _ = limits_of_differences(found)
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
    for term in Formula("1 + " + formula.replace("~", " ")):
        variables = (
            {str(name) for name in Formula(f"0 + {term}").required_variables} if str(term) != "1" else set()
        )
        if not variables:
            continue
        if not variables & taken:
            kept.append(str(term))
        elif variables - taken:
            dropped.append(str(term))
    return tuple(kept), tuple(dropped)


def _dropped_words(dropped: Sequence[str]) -> tuple[str, ...]:
    if not dropped:
        return ()
    return (f"Left out, since each method and site has its own level here: {', '.join(dropped)}.",)
