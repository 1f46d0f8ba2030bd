"""Survival of new cells under levels, pieces and terms, of hazards or of odds, with its derivative.

A stratum in which nobody died, or everybody, leaves the likelihood: it has no level, and
survival there is 1 or 0 whatever the parameters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import expit

from survivor.arrays import Codes, Flags, Floats
from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.models.design import Design
from survivor.models.paths import first_of, refuse_paths, stretches, total
from survivor.models.pieces import Merged
from survivor.models.quadrature import Link

ALIVE, DEAD = -1, -2  # place of a stratum where nobody, or everybody, died


@dataclass(frozen=True)
class Cells:
    """Cells read for one day, to predict for under any parameters (levels, later pieces, terms).

    A cell is one stretch of life, or several where a covariate changes
    (``survivor.models.paths``): s stretches of n cells.

    Attributes
    ----------
    columns, lengths
        Covariates, shape (s, q), and days in each piece up to the day, (s, K), times what an offset
        makes of them; ones, (n, 1), for odds.
    place
        Level of each cell's stratum, 0 to S - 1, ``ALIVE`` or ``DEAD``, shape (n,).
    first
        First stretch of each cell, shape (n,).
    """

    columns: Floats
    lengths: Floats
    place: Codes
    first: Codes
    link: Link = "hazard"

    @cached_property
    def cell(self) -> Codes:
        """Cell of each stretch, shape (s,)."""
        return np.repeat(np.arange(len(self.first)), np.diff(self.first, append=len(self.columns)))

    @property
    def fixed(self) -> Flags:
        """Whether survival is 0 or 1 whatever the parameters."""
        return self.place < 0

    @property
    def level(self) -> Codes:
        """Level of each cell, the first where it has none."""
        return np.maximum(self.place, 0)

    def pick(self, rows: Codes) -> Cells:
        """Only these cells."""
        stretches = np.isin(self.cell, rows)
        columns, lengths = self.columns[stretches], self.lengths[stretches]
        return Cells(columns, lengths, self.place[rows], first_of(self.cell[stretches]), self.link)

    def placed(self, place: Codes) -> Cells:
        """Return the same cells in other strata."""
        return Cells(self.columns, self.lengths, place, self.first, self.link)

    def levels(self, parameters: Floats) -> int:
        """Count the levels among some parameters."""
        return len(parameters) - (int(self.lengths.shape[1]) - 1) - int(self.columns.shape[1])

    def by_piece(self, parameters: Floats) -> Floats:
        """Cumulative hazard in each piece, shape (s, K); for odds their log, shape (n, 1)."""
        levels = self.levels(parameters)
        level, alpha, beta = np.split(parameters, [levels, levels + self.lengths.shape[1] - 1])
        linear = level[self.level][self.cell] + self.columns @ beta
        if self.link == "logit":
            return np.asarray(linear[:, None])
        by_piece = np.exp(linear)[:, None] * self.lengths * np.exp(np.concatenate([[0.0], alpha]))
        by_piece[self.fixed[self.cell]] = 0.0
        return np.asarray(by_piece)

    def _hazard(self, by_piece: Floats) -> Floats:
        return total(by_piece.sum(axis=1), self.first)

    def alive(self, by_piece: Floats) -> Floats:
        """Survival of each cell, shape (n,)."""
        share = expit(by_piece[:, 0]) if self.link == "logit" else np.exp(-self._hazard(by_piece))
        return np.asarray(np.where(self.fixed, self.place == ALIVE, share), dtype=float)

    def dead(self, by_piece: Floats) -> Floats:
        """One less survival, without cancellation, shape (n,)."""
        share = expit(-by_piece[:, 0]) if self.link == "logit" else -np.expm1(-self._hazard(by_piece))
        return np.asarray(np.where(self.fixed, self.place == DEAD, share), dtype=float)

    def slopes(self, by_piece: Floats) -> Floats:
        """Differentiate survival in the log hazard of each piece, or in the log odds; as ``by_piece``."""
        if self.link == "logit":
            return (self.alive(by_piece) * self.dead(by_piece))[:, None]
        return -self.alive(by_piece)[self.cell, None] * by_piece

    def averages(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats]:
        """Weighted sums of survival, weights (m, n), and their derivative in all parameters, (m, p)."""
        by_piece = self.by_piece(parameters)
        return weights @ self.alive(by_piece), self.gradient(weights, by_piece, self.levels(parameters))

    def gradient(self, weights: Floats, by_piece: Floats, levels: int) -> Floats:
        """Differentiate weighted sums of survival, weights (m, n), in all parameters; shape (m, p).

        Cells by parameters would be square in the sites; the sums are made cell by cell instead.
        """
        slopes = self.slopes(by_piece)
        spread = weights[:, self.cell]
        pulled = spread * slopes.sum(axis=1)
        level = sum_by(self.level[self.cell], pulled.T, levels).T
        return np.hstack([level, spread @ slopes[:, 1:], pulled @ self.columns])

    def shares(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats, Floats]:
        """Share alive and share dead of each cell, and the derivative of their weighted sum alive."""
        by_piece = self.by_piece(parameters)
        pull = weights[self.cell, None] * self.slopes(by_piece)
        whole = pull.sum(axis=1)
        levels = sum_by(self.level[self.cell], whole, self.levels(parameters))
        slope = np.concatenate([levels, pull[:, 1:].sum(axis=0), whole @ self.columns])
        return self.alive(by_piece), self.dead(by_piece), slope


@dataclass(frozen=True)
class Reader:
    """Reads cells for a day: the design and pieces of a fit (None: odds), and the place of each stratum."""

    design: Design
    pieces: Merged | None
    place: Codes

    def __call__(self, cells: pd.DataFrame, at: float) -> Cells:
        """Read n rows with the formula's columns, the strata and what the pieces need."""
        if self.pieces is None:
            refuse_paths(cells, "a model of one day")
        life = stretches(cells, at)
        columns = self.design.columns_for(life.frame)
        place = self.place[self.design.strata_for(life.frame)][life.first]
        if self.pieces is None:
            return Cells(columns, np.ones((len(cells), 1)), place, life.first, "logit")
        lengths = self.pieces.lengths(life.frame, life.start, life.stop) * self.design.times(life.frame)
        return Cells(columns, lengths, place, life.first)


@dataclass(frozen=True)
class Survival:
    """Survival of cells at the estimate."""

    read: Callable[[pd.DataFrame, float], Cells]
    parameters: Floats

    def alive(self, cells: pd.DataFrame, at: float) -> Floats:
        """Survival of each cell, shape (n,)."""
        read = self.read(cells, at)
        return read.alive(read.by_piece(self.parameters))

    def averages(self, cells: pd.DataFrame, weights: Floats, at: float) -> tuple[Floats, Floats]:
        """Weighted sums of survival, weights (m, n), and their derivative in all parameters, (m, p)."""
        return self.read(cells, at).averages(weights, self.parameters)


def strata_with_hazard(design: Design, frame: pd.DataFrame) -> tuple[Codes, list[str]]:
    """Place of each stratum in a likelihood of hazards, and what to say of those that are not in it."""
    fates = "nobody died", "everybody died by the first visit"
    place, checks = _places(design, frame["died"], frame["at_risk"] - frame["died"], "hazard", fates)
    if (place < 0).all():
        raise ModelError(
            "wherever seedlings died, all of them died by the first visit, so no hazard can be told",
            where="grouped model",
            mend="read the survival from the curves",
        )
    return place, checks


def strata_with_odds(design: Design, chains: pd.DataFrame, where: str) -> tuple[Codes, list[str]]:
    """Place of each stratum in a likelihood of odds, and what to say of those that are not in it."""
    fates = "everybody was alive", "everybody was dead"
    place, checks = _places(design, chains["dead"], chains["alive"], "odds", fates)
    if (place < 0).all():
        raise ModelError(
            "in every stratum everybody is alive, or everybody dead, so no odds can be compared",
            where=where,
            mend="use wider strata, another day, or read the survival from the curves",
        )
    return place, checks


def _places(
    design: Design, died: pd.Series[Any], lived: pd.Series[Any], what: str, fates: tuple[str, str]
) -> tuple[Codes, list[str]]:
    count = len(design.strata_levels)
    deaths, survivors = (sum_by(design.strata_codes, each.to_numpy(), count) for each in (died, lived))
    place = np.where(deaths == 0, ALIVE, DEAD).astype(np.intp)
    kept = np.flatnonzero((deaths > 0) & (survivors > 0))
    place[kept] = np.arange(len(kept))
    checks = design.left_out(np.flatnonzero(place == ALIVE), fates[0], what, 100)
    return place, checks + design.left_out(np.flatnonzero(place == DEAD), fates[1], what, 0)
