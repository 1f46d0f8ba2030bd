"""The grouped model fitted again without each cluster, for quantities with no derivative at hand."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.models.likelihood import Rows, Solution, solve

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]


@dataclass(frozen=True)
class LeaveOut:
    """What was fitted, with the cluster of each row, 0 to ``clusters`` - 1."""

    data: Rows
    solution: Solution
    codes: Codes
    clusters: int

    def solutions(self) -> list[Solution]:
        """Fit again without each cluster, from the full estimate: one solution a cluster.

        A stratum left without deaths has a level of minus infinity (everybody alive);
        one left without plots keeps its level; a fit without a finite estimate keeps
        the full estimate and so adds nothing to a jackknife.
        """
        return [self._without(cluster) for cluster in range(self.clusters)]

    def _without(self, cluster: int) -> Solution:
        data, full = self.data, self.solution
        rest = self.codes != cluster
        deaths = sum_by(data.stratum[rest], data.died[rest], data.strata)
        seen = np.bincount(data.stratum[rest], minlength=data.strata)
        kept = np.flatnonzero(deaths > 0)
        rows = rest & (deaths > 0)[data.stratum]
        smaller = Rows(
            data.columns[rows],
            data.lengths[rows],
            np.searchsorted(kept, data.stratum[rows]).astype(np.intp),
            data.at_risk[rows],
            data.died[rows],
            data.names,
            weight=None if data.weight is None else data.weight[rows],
        )
        level = np.where((seen > 0) & (deaths == 0), -np.inf, full.level)
        try:
            found = solve(smaller, start=replace(full, level=full.level[kept]))
        except ModelError:
            return replace(full, level=level)
        if found.runaway is not None:
            return replace(full, level=level)
        level[kept] = found.level
        return replace(found, level=level)
