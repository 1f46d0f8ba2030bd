"""A comparison made again without some of its sites, on the arrays of its fit.

The pieces of the baseline, the cells that are averaged over, the weights of plots and the pairs stay
those of the whole; a few of Newton's steps from its maximum are all that is fitted again, so hundreds
of refits take seconds. Where the model itself is another without some sites (a preparation or a piece
goes with them, a pair no longer meets) there is no answer here, and the caller fits from the records.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.effects.cells import levels_of, study_cells, under_levels
from survivor.effects.confounding import WITHIN, layout
from survivor.effects.contrasts import Pair, decide, place_columns, weights_of
from survivor.errors import ModelError
from survivor.intervals import group_codes, sum_by
from survivor.models.by_period import PeriodCells, PeriodFit
from survivor.models.cells import ALIVE, Cells
from survivor.models.clusters import by_cluster
from survivor.models.fitted import Arranged, DeltaEngine, Estimates
from survivor.models.likelihood import Rows, Solution, covariance_by, solve
from survivor.models.result import Fit

_CLOSE: Final = 1e-10  # squared length of the last step of a refit, in units of standard errors
_TOLD: Final = 1e-9  # least eigenvalue of the scaled information at which coefficients are told apart
_FAR: Final = 6.0  # log hazards this far apart may be on their way to infinity


@dataclass(frozen=True)
class Refits:
    """The differences of a grouped fit, ready to be made without some sites.

    Attributes
    ----------
    pairs
        The pairs compared, those refused too.
    sites
        Names of the sites, in the order of the records.
    """

    pairs: tuple[Pair, ...]
    sites: tuple[Any, ...]
    _rows: Rows
    _solution: Solution
    _site: Codes  # of each row
    _cluster: Codes  # of each row
    _fitted: Arranged
    _cells: Cells | PeriodCells
    _cell_site: Codes
    _weights: Floats  # of the pairs within sites over the cells, before sites are left out

    def without(self, sites: Sequence[int], limits: bool = False) -> Estimates | None:
        """Differences of the pairs within sites without some sites, in shares; None where the model changes.

        Parameters
        ----------
        sites
            Places of the sites in ``sites``.
        limits
            Whether covariance and degrees of freedom are wanted; else they are NaN.
        """
        gone = np.zeros(len(self.sites), dtype=bool)
        gone[list(sites)] = True
        weights = self._weights * ~gone[self._cell_site]
        plants = np.maximum(weights, 0.0).sum(axis=1)
        if not (plants > 0).all():
            return None
        kept = ~gone[self._site]
        present, stratum = np.unique(self._rows.stratum[kept], return_inverse=True)
        data = self._rows.pick(kept, stratum.astype(np.intp))
        try:
            solution = self._solved(data, present)
        except ModelError:  # the caller fits anew, which names the reason
            return None
        if solution is None:
            return None
        place = np.full(self._rows.strata + 1, ALIVE, dtype=np.intp)
        place[present] = np.arange(len(present))
        was = self._cells.place  # those of the sites left out stand for nobody
        cells = self._cells.placed(np.where(was >= 0, place[was], was))
        value, gradient = cells.averages(weights / plants[:, None], solution.parameters)
        if not limits:
            blank = np.full(len(value), np.nan)
            return Estimates(value, np.diag(blank), blank)
        levels, codes = np.unique(self._cluster[kept], return_inverse=True)
        kind = self._fitted.kind
        covariance = covariance_by(codes.astype(np.intp), len(levels), data, solution, kind)
        return Estimates.of(value, covariance.errors(gradient))

    def _solved(self, data: Rows, present: Codes) -> Solution | None:
        """Climb from the whole maximum; None where a stratum or a piece leaves the likelihood."""
        deaths = sum_by(data.stratum, data.died, len(present))
        survivors = sum_by(data.stratum, data.at_risk - data.died, len(present))
        if not ((deaths > 0) & (survivors > 0)).all():
            return None
        whole = self._solution
        start = np.concatenate([whole.level[present], whole.alpha, whole.beta])
        found = solve(data, start, converged=_CLOSE)
        if found.divergent is not None or _far(found, data):
            return None
        return found

    def moves(self, part: Codes | None = None) -> Floats:
        """How far each difference goes without each part of the sites by one step, (parts, pairs).

        The common parameters move by the part's score over the information of the others, with
        levels of strata swept out; the part's cells leave the average. The error is that of one Newton
        step: about the share of the information that leaves, of the move.

        Parameters
        ----------
        part
            Part of each site, 0 to P - 1, shape (sites,); None: each for itself.
        """
        part = np.arange(len(self.sites)) if part is None else part
        parts, site = int(part.max()) + 1, part[self._site]
        rows, found = self._rows, self._solution
        border = rows.strata
        level = sum_by(rows.stratum, found.weight * found.hazard**2, border)
        weighted = found.weight[:, None] * found.rows
        slope = sum_by(rows.stratum, weighted * found.hazard[:, None], border) / level[:, None]
        swept = found.rows - found.hazard[:, None] * slope[rows.stratum]
        score, by_part = by_cluster(site, parts, swept, found.score, found.weight)
        size = swept.shape[1]
        scale = 1 / np.sqrt(np.diag(by_part.sum(axis=0)))
        left = (by_part.sum(axis=0) - by_part) * np.outer(scale, scale)
        told = np.linalg.eigvalsh(left)[:, 0] > _TOLD
        left[~told] = np.eye(size)
        step = np.linalg.solve(left, -(scale * score)[:, :, None])[:, :, 0] * scale
        step[~told] = np.inf  # some coefficient rests on that part alone
        plants = np.maximum(self._weights, 0.0).sum(axis=1)
        parameters = found.parameters
        value, gradient = self._cells.averages(self._weights / plants[:, None], parameters)
        common = gradient[:, border:] - gradient[:, :border] @ slope
        with np.errstate(invalid="ignore"):
            return np.nan_to_num(step @ common.T + self._reweighted(parameters, part) - value, nan=np.inf)

    def _reweighted(self, parameters: Floats, part: Codes) -> Floats:
        """Return the differences at these parameters averaged over all parts but one, (parts, pairs)."""
        cells, count, of_cell = self._cells, int(part.max()) + 1, part[self._cell_site]
        alive = (
            cells.alive(parameters)
            if isinstance(cells, PeriodCells)
            else cells.alive(cells.by_piece(parameters))
        )
        sums = sum_by(of_cell, (self._weights * alive).T, count)
        plants = sum_by(of_cell, np.maximum(self._weights, 0.0).T, count)
        left = plants.sum(axis=0) - plants
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(left > 0, (sums.sum(axis=0) - sums) / left, np.inf)


def refits(fit: Fit, by: str, at: float, against: Any, population: pd.DataFrame | None) -> Refits | None:
    """Prepare the differences of a grouped fit against one level; None where it is of another kind.

    Parameters as of ``survivor.contrasts``.
    """
    engine = fit.engine
    if not isinstance(engine, DeltaEngine):
        return None
    model = getattr(engine.survival, "model", None)
    if isinstance(model, PeriodFit):
        fitted, rows, solution = model.fitted, model.rows, model.solution
    elif engine.fitted is not None:
        fitted, rows, solution = engine.fitted, engine.fitted.data, engine.fitted.solution
    else:
        return None
    levels = levels_of(fit.data, by)
    grid = layout(fit.data, by, place_columns(fit))
    base = levels[0] if against is None else against
    pairs = [
        decide(fit, grid, by, (level, base), place_columns(fit), None) for level in levels if level != base
    ]
    within = [pair for pair in pairs if pair.basis == WITHIN]
    cells = study_cells(fit, [by], population)
    if not within or "site" not in cells.frame.columns:
        return None
    weights = weights_of(cells, levels, within)
    used = (weights != 0).any(axis=0)
    if not np.isfinite(weights).all():
        return None
    stacked = under_levels(cells.frame, by, levels, fit.data[by])[used].reset_index(drop=True)
    codes, named = group_codes(fit.data, ["site"])
    sites = named["site"].tolist()
    cell_site = pd.Index(sites).get_indexer(pd.Index(stacked["site"].tolist())).astype(np.intp)
    read = engine.survival.read(stacked, at)  # type: ignore[attr-defined]
    return Refits(
        tuple(pairs),
        tuple(sites),
        rows,
        solution,
        codes[fitted.rows].astype(np.intp),
        fitted.codes,
        fitted,
        read,
        cell_site,
        weights[:, used],
    )


def _far(found: Solution, data: Rows) -> bool:
    """Whether some coefficient or piece may be on its way to infinity."""
    columns = data.columns @ found.beta[: data.columns.shape[1]]
    return bool(max(np.ptp(columns), np.ptp(np.append(found.alpha, 0.0))) > _FAR)
