"""Survival averaged over the random effects of a mixed model, and tests of its terms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from scipy.special import expit

from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.models.clusters import WaldTest
from survivor.models.containment import Degrees
from survivor.models.design import Design
from survivor.models.mixed_likelihood import MixedRows, likelihood
from survivor.models.mixed_solver import Solution, solve_from
from survivor.models.pieces import Merged
from survivor.models.quadrature import Nodes, hermite
from survivor.models.result import Estimates
from survivor.models.row_terms import Floats

Codes = NDArray[np.intp]

_NODES = 60
_LARGEST = 700.0
ALIVE, DEAD = -1, -2  # place of a stratum where everybody is alive, or dead


@dataclass(frozen=True)
class _Cells:
    """Cells read once: columns, days in each piece, and the level in the likelihood or why none."""

    columns: Floats
    lengths: Floats
    place: Codes


@dataclass(frozen=True)
class _Point:
    """Parameters at which survival is asked for: levels (S,), alpha, beta, sd (L,)."""

    level: Floats
    alpha: Floats
    beta: Floats
    sd: Floats

    @property
    def joint(self) -> float:
        """Standard deviation of all effects of a cell together."""
        return float(np.sqrt(np.sum(self.sd**2)))


@dataclass(frozen=True)
class MixedEngine:
    """Averages by the delta method, with the effects integrated out.

    An effect of a plot and one of its site add up to one normal effect of a cell, so
    that survival there is one integral over it, whatever the levels.

    Attributes
    ----------
    design, pieces
        How to read cells; no pieces for odds.
    solution, degrees
        The fit.
    place
        Level in the likelihood of each stratum, ``ALIVE`` or ``DEAD``.
    rows, nodes
        What was fitted, to fit again without a group.
    """

    design: Design
    pieces: Merged | None
    solution: Solution
    degrees: Degrees
    place: Codes
    rows: MixedRows
    nodes: tuple[Nodes, ...]

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; the standard deviations' own uncertainty is carried along."""
        read = self._read(cells, at)
        alive, slope, by_sd = self._alive(read, self._point)
        level, alpha, beta, sd = self._gradient(read, weights, slope, by_sd)
        contrasts = self.solution.arrange(level, alpha, beta, sd)
        pulled = self.solution.covariance_times(contrasts)
        # What comes from the level of survival where terms are at their means, from the
        # spread, and from each term: however factors are coded.
        middle = np.average(self.rows.columns, axis=0, weights=self.rows.at_risk)
        centred = beta - level.sum(axis=1, keepdims=True) * middle
        of_terms = centred * pulled[:, self.solution.places]
        free = int(self.solution.free.sum())
        of_sd = (contrasts * pulled)[:, contrasts.shape[1] - free :].sum(axis=1)
        of_level = (contrasts * pulled).sum(axis=1) - of_terms.sum(axis=1) - of_sd
        df = self.degrees.of_parts(np.column_stack([of_level, of_sd, of_terms]))
        return Estimates(weights @ alive, self.solution.covariance_of(contrasts), df)

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival from the model fitted without each innermost group."""
        read = self._read(cells, at)
        codes = np.unique(self.rows.groups[:, -1], return_inverse=True)[1]
        kept = [self._without(codes != group) for group in range(int(codes.max()) + 1)]
        return np.array([weights @ self._alive(read, found)[0] for found in kept])

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test with the fewest degrees of freedom of the terms."""
        count = len(terms)
        beta = self.solution.beta
        picks = np.zeros((count, len(beta)))
        picks[np.arange(count), list(terms)] = 1.0
        value = picks @ beta
        quadratic = float(value @ np.linalg.solve(self.covariance_of_terms(picks), value)) / count
        left = float(np.min(self.degrees.terms[list(terms)]))
        return WaldTest(quadratic, count, left, float(stats.f.sf(quadratic, count, left)))

    def covariance_of_terms(self, picks: Floats) -> Floats:
        """Covariance of combinations of the coefficients, shape (m, m) for picks (m, q)."""
        found, count = self.solution, len(picks)
        none = [np.zeros((count, size)) for size in (len(found.level), len(found.alpha), len(found.sd))]
        return found.covariance_of(found.arrange(none[0], none[1], picks, none[2]))

    def _read(self, cells: pd.DataFrame, at: float) -> _Cells:
        count = len(cells)
        if self.pieces is None:
            lengths = np.ones((count, 1))
        else:
            lengths = self.pieces.lengths(cells, np.zeros(count), np.full(count, float(at)))
        return _Cells(self.design.columns_for(cells), lengths, self.place[self.design.strata_for(cells)])

    @property
    def _point(self) -> _Point:
        found = self.solution
        return _Point(found.level, found.alpha, found.beta, found.sd)

    def _alive(self, read: _Cells, found: _Point) -> tuple[Floats, Floats, Floats]:
        """Survival of each cell, and its derivative in the predictor and in the effects' joint sd."""
        inside = read.place >= 0
        level = found.level[np.maximum(read.place, 0)]
        days = read.lengths @ np.exp(np.concatenate([[0.0], found.alpha]))
        with np.errstate(divide="ignore"):  # no days yet in a piece with a hazard: everybody is alive
            predictor = level + read.columns @ found.beta + np.log(days)
        nodes, log_weights = hermite(_NODES) if found.joint > 0 else hermite(1)
        shifted = predictor[:, None] + found.joint * nodes
        if self.pieces is None:
            alive = expit(shifted)
            slope = alive * (1 - alive)
        else:
            hazard = np.exp(np.minimum(shifted, np.log(_LARGEST)))
            alive = np.exp(-hazard)
            slope = -hazard * alive
        weight = np.exp(log_weights)
        fixed = (read.place == ALIVE).astype(float)
        return (
            np.where(inside, alive @ weight, fixed),
            np.where(inside, slope @ weight, 0.0),
            np.where(inside, slope @ (weight * nodes), 0.0),
        )

    def _gradient(
        self, read: _Cells, weights: Floats, slope: Floats, by_sd: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        found = self._point
        weighted = weights * slope
        place = np.maximum(read.place, 0)
        level = np.array([sum_by(place, row, len(found.level)) for row in weighted])
        by_piece = read.lengths * np.exp(np.concatenate([[0.0], found.alpha]))
        share = by_piece[:, 1:] / np.maximum(by_piece.sum(axis=1, keepdims=True), 1e-300)
        part = found.sd / found.joint if found.joint > 0 else np.zeros(len(found.sd))
        return level, weighted @ share, weighted @ read.columns, np.outer(weights @ by_sd, part)

    def _without(self, rest: NDArray[np.bool_]) -> _Point:
        """Fit again on some rows, from the full estimate.

        A stratum that is then all alive, or all dead, has its level at infinity; one
        without rows keeps its level; a fit without a finite estimate keeps the full
        estimate and so adds nothing to a jackknife.
        """
        rows, full = self.rows, self._point
        counted = sum_by(rows.stratum[rest], rows.died[rest], rows.strata)
        others = sum_by(rows.stratum[rest], (rows.at_risk - rows.died)[rest], rows.strata)
        tells = (counted > 0) & (others > 0)
        level = np.where(tells | (counted + others == 0), full.level, np.where(counted > 0, np.inf, -np.inf))
        used, kept = rest & tells[rows.stratum], np.flatnonzero(tells)
        likely = likelihood(
            replace(
                rows,
                columns=rows.columns[used],
                lengths=rows.lengths[used],
                stratum=np.searchsorted(kept, rows.stratum[used]).astype(np.intp),
                groups=rows.groups[used],
                at_risk=rows.at_risk[used],
                died=rows.died[used],
            )
        )
        start = likely.parameters(full.level[kept], full.alpha, full.beta, full.sd)
        try:
            free = self.solution.free
            found = solve_from(likely, self.nodes, start, free, rows.names, len(kept), information=False)
        except ModelError:
            return replace(full, level=level)
        level[kept] = found.level
        return _Point(level, found.alpha, found.beta, found.sd)
