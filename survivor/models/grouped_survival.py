"""Survival of new cells under a grouped model, and its derivative in levels, pieces and terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.intervals import Codes, sum_by
from survivor.models.design import Design
from survivor.models.pieces import Merged

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class GroupedCells:
    """Cells read once, to predict for under any parameters.

    Attributes
    ----------
    columns, lengths
        Covariates, shape (n, q), and days in each piece up to the day asked for, (n, K).
    place
        Place of each cell's stratum among the levels.
    known, lost
        Whether its stratum has a level; whether everybody died there.
    """

    columns: Floats
    lengths: Floats
    place: Codes
    known: NDArray[np.bool_]
    lost: NDArray[np.bool_]

    @property
    def fixed(self) -> NDArray[np.bool_]:
        """Whether survival is 0 or 1 whatever the parameters."""
        return self.lost | ~self.known

    def pick(self, rows: Codes) -> GroupedCells:
        """Only these cells."""
        return GroupedCells(
            self.columns[rows], self.lengths[rows], self.place[rows], self.known[rows], self.lost[rows]
        )

    def by_piece(self, level: Floats, alpha: Floats, beta: Floats) -> Floats:
        """Cumulative hazard of each cell in each piece, shape (n, K)."""
        relative = np.exp(level[self.place] + self.columns @ beta)
        by_piece: Floats = relative[:, None] * self.lengths * np.exp(np.concatenate([[0.0], alpha]))
        # A stratum without deaths left the likelihood: everybody there is taken as alive.
        by_piece[~self.known] = 0.0
        return by_piece

    def alive(self, by_piece: Floats) -> Floats:
        """Survival of each cell, shape (n,)."""
        return np.where(self.lost, 0.0, np.exp(-by_piece.sum(axis=1)))

    def dead(self, by_piece: Floats) -> Floats:
        """One less survival, without cancellation, shape (n,)."""
        return np.where(self.lost, 1.0, -np.expm1(-by_piece.sum(axis=1)))

    def derivative(self, by_piece: Floats, levels: int) -> Floats:
        """Differentiate survival of each cell in levels, later pieces and terms, shape (n, p)."""
        hazard = by_piece.sum(axis=1)
        found = np.zeros((len(hazard), levels + by_piece.shape[1] - 1 + self.columns.shape[1]))
        found[np.arange(len(hazard)), self.place] = hazard
        found[:, levels:] = np.hstack([by_piece[:, 1:], hazard[:, None] * self.columns])
        return -self.alive(by_piece)[:, None] * found

    def shares(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats, Floats]:
        """Share alive and share dead of each cell, and the derivative of their weighted sum alive.

        ``parameters``: levels, later pieces, terms.
        """
        later, terms = self.lengths.shape[1] - 1, self.columns.shape[1]
        levels = len(parameters) - later - terms
        by_piece = self.by_piece(*np.split(parameters, [levels, levels + later]))
        alive = self.alive(by_piece)
        pull = -(weights * alive)[:, None] * by_piece
        own = pull.sum(axis=1)
        slope = np.concatenate([sum_by(self.place, own, levels), pull[:, 1:].sum(axis=0), own @ self.columns])
        return alive, self.dead(by_piece), slope


def read_cells(
    design: Design, pieces: Merged, kept: Codes, lost: Codes, cells: pd.DataFrame, at: float
) -> GroupedCells:
    """Read cells for survival at day ``at``.

    Parameters
    ----------
    design, pieces
        Of the fit.
    kept, lost
        Strata with a level in the likelihood, in order; strata where everybody died.
    cells
        n rows with the formula's columns, the strata and what the pieces need.
    at
        Days since planting.
    """
    columns = design.columns_for(cells)
    strata = design.strata_for(cells)
    lengths = pieces.lengths(cells, np.zeros(len(cells)), np.full(len(cells), float(at)))
    known = np.isin(strata, kept)
    place = np.searchsorted(kept, np.where(known, strata, kept[0])).astype(np.intp)
    return GroupedCells(columns, lengths, place, known, np.isin(strata, lost))
