"""Cluster-robust covariances that need only each cluster's score and information.

For a model with independent working rows, let X be the rows scaled to unit
working variance, B_g = X_g' X_g the information of cluster g, s_g its score,
M = (sum B_g)^-1 = R R' and T_g = I - R' B_g R. The bias-reduced adjustment
A_g = (I - X_g M X_g')^(-1/2) then gives

    M X_g' A_g e_g = R T_g^(-1/2) R' s_g,

so that nothing of the size of a cluster is ever formed, and joining or splitting
equal rows changes nothing.

Sources: Bell and McCaffrey (2002), Survey Methodology 28, 169-181; Pustejovsky
and Tipton (2018), Journal of Business and Economic Statistics 36, 672-683.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
Kind = Literal["CR0", "CR1", "CR2", "model"]

_FULL_LEVERAGE = 1e-9  # eigenvalues of T_g below this: a direction that one cluster alone decides


@dataclass(frozen=True)
class WaldTest:
    """An F test: statistic, its degrees of freedom and its p-value."""

    statistic: float
    df1: float
    df2: float
    p_value: float


@dataclass(frozen=True)
class Sandwich:
    """Covariance of p coefficients with what its degrees of freedom need.

    Attributes
    ----------
    kind
        ``CR0`` without correction, ``CR1`` times G/(G-1), ``CR2`` bias-reduced,
        ``model`` the inverse information (rows independent).
    covariance
        Shape (p, p).
    clusters
        Number of clusters G.
    """

    kind: Kind
    covariance: Floats
    clusters: int
    _root: Floats
    _vectors: Floats
    _values: Floats

    def degrees(self, contrasts: Floats) -> Floats:
        """Degrees of freedom of each contrast, shape (m,) for contrasts of shape (m, p).

        Satterthwaite under the working model for CR2; clusters less one for CR0
        and CR1; infinite for the model's own covariance.
        """
        contrasts = np.atleast_2d(contrasts)
        if self.kind == "model":
            return np.full(len(contrasts), np.inf)
        if self.kind != "CR2":
            return np.full(len(contrasts), float(self.clusters - 1))
        found = np.empty(len(contrasts))
        for row, contrast in enumerate(contrasts):
            own, across = self._parts(contrast)
            square = np.einsum("gp,gp->g", across, across)
            total = float(np.sum(own - square))
            cross = across.T @ across
            spread = float(np.sum(own**2) - 2 * np.sum(own * square) + np.sum(cross**2))
            found[row] = total**2 / spread if spread > 0 else np.nan
        return found

    def _parts(self, contrast: Floats) -> tuple[Floats, Floats]:
        """Own term a_g, shape (G,), and the vectors v_g, shape (G, p), of one contrast."""
        rotated = np.einsum("gij,i->gj", self._vectors, self._root.T @ contrast)
        kept = self._values > _FULL_LEVERAGE
        safe = np.where(kept, self._values, 1.0)
        own = np.sum(np.where(kept, (1 - safe) / safe, 0.0) * rotated**2, axis=1)
        scaled = np.where(kept, (1 - safe) / np.sqrt(safe), 0.0) * rotated
        return own, np.einsum("gij,gj->gi", self._vectors, scaled)

    def wald(self, contrasts: Floats, estimate: Floats) -> WaldTest:
        """Test that ``contrasts @ coefficients = 0``.

        For CR2 the approximate Hotelling test of Pustejovsky and Tipton (2018);
        with one contrast it is the square of the Satterthwaite t test.
        """
        contrasts = np.atleast_2d(contrasts)
        value = contrasts @ estimate
        covariance = contrasts @ self.covariance @ contrasts.T
        quadratic = float(value @ np.linalg.solve(covariance, value))
        count = len(contrasts)
        if self.kind == "model":
            return WaldTest(quadratic / count, count, np.inf, float(stats.chi2.sf(quadratic, count)))
        spread = self._hotelling(contrasts) if self.kind == "CR2" else float(self.clusters - 1)
        df2 = spread - count + 1
        if df2 <= 0:
            return WaldTest(np.nan, count, df2, np.nan)
        statistic = quadratic * df2 / (spread * count)
        return WaldTest(statistic, count, df2, float(stats.f.sf(statistic, count, df2)))

    def _hotelling(self, contrasts: Floats) -> float:
        working = contrasts @ self._root @ self._root.T @ contrasts.T
        values, vectors = np.linalg.eigh(working)
        scaled = (vectors / np.sqrt(values)) @ vectors.T @ contrasts
        count = len(scaled)
        kept = self._values > _FULL_LEVERAGE
        safe = np.where(kept, self._values, 1.0)
        rotated = np.einsum("gij,im->gjm", self._vectors, self._root.T @ scaled.T)
        own = np.einsum("gj,gjs,gjt->gst", np.where(kept, (1 - safe) / safe, 0.0), rotated, rotated)
        across = np.einsum("gij,gj,gjm->gim", self._vectors, np.where(kept, (1 - safe) / np.sqrt(safe), 0.0), rotated)
        total = 0.0
        for s in range(count):
            for t in range(count):
                vs, vt = across[:, :, s], across[:, :, t]
                cross = vs.T @ vt
                inner = np.sum(vs * vt, axis=1)
                total += float(
                    np.sum(own[:, s, s] * own[:, t, t])
                    - np.sum(own[:, s, s] * np.sum(vt * vt, axis=1))
                    - np.sum(own[:, t, t] * np.sum(vs * vs, axis=1))
                    + np.sum(cross**2)
                )
                total += float(np.sum(own[:, s, t] ** 2) - 2 * np.sum(own[:, s, t] * inner) + np.sum(cross * cross.T))
        return count * (count + 1) / total


def sandwich(scores: Floats, information: Floats, kind: Kind = "CR2") -> Sandwich:
    """Build a cluster-robust covariance.

    Parameters
    ----------
    scores
        Score of each cluster at the estimate, shape (G, p).
    information
        Information of each cluster (expected information for CR2), shape (G, p, p).
    kind
        Which covariance.

    Returns
    -------
    Sandwich
    """
    bread = np.linalg.inv(information.sum(axis=0))
    bread = (bread + bread.T) / 2
    root = np.linalg.cholesky(bread)
    clusters, size = scores.shape
    if kind == "CR2":
        values, vectors = np.linalg.eigh(np.eye(size) - root.T @ information @ root)
        kept = values > _FULL_LEVERAGE
        rotated = np.einsum("gij,gi->gj", vectors, scores @ root)
        adjusted = np.where(kept, 1 / np.sqrt(np.where(kept, values, 1.0)), 0.0) * rotated
        pieces = np.einsum("gij,gj->gi", vectors, adjusted) @ root.T
        covariance = pieces.T @ pieces
    else:
        values, vectors = np.empty((0, size)), np.empty((0, size, size))
        pieces = scores @ bread
        covariance = bread if kind == "model" else pieces.T @ pieces
        if kind == "CR1":
            covariance = covariance * clusters / (clusters - 1)
    return Sandwich(kind, covariance, clusters, root, vectors, values)


def by_cluster(codes: NDArray[np.intp], clusters: int, rows: Floats, score: Floats, weight: Floats) -> tuple[
    Floats, Floats
]:
    """Sum row scores and row information by cluster.

    Parameters
    ----------
    codes
        Cluster of each row, 0 to ``clusters`` - 1.
    rows
        Derivative of each row's linear predictor or cumulative hazard, shape (n, p).
    score, weight
        Score and information weight of each row, shape (n,): the score is
        ``score[i] * rows[i]``, the information ``weight[i] * outer(rows[i], rows[i])``.

    Returns
    -------
    scores, information
        Shapes (clusters, p) and (clusters, p, p).
    """
    size = rows.shape[1]
    order = np.argsort(codes, kind="stable")
    bounds = np.searchsorted(codes[order], np.arange(clusters + 1))
    scores = np.zeros((clusters, size))
    information = np.zeros((clusters, size, size))
    for cluster in range(clusters):
        mine = order[bounds[cluster] : bounds[cluster + 1]]
        block = rows[mine]
        scores[cluster] = score[mine] @ block
        information[cluster] = (weight[mine, None] * block).T @ block
    return scores, information
