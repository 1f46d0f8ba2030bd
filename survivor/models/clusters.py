"""Cluster-robust covariances that need only each cluster's score and information.

For a model with independent working rows, let X be the rows scaled to unit
working variance, B_g = X_g' X_g the information of cluster g, s_g its score,
M = (sum B_g)^-1 = R R' and T_g = I - R' B_g R. The bias-reduced adjustment
A_g = (I - X_g M X_g')^(-1/2) then gives

    X_g' A_g e_g = R'^-1 T_g^(-1/2) R' s_g,

so that nothing of the size of a cluster is ever formed, and joining or splitting
equal rows changes nothing.

Strata levels are a border: a cluster that lies within one stratum touches its own
level and the common parameters only. With S strata and q common parameters every
step then costs clusters x q^2 and never S^2.

Where one cluster alone decides a direction (a site with one plot, a method on one
plot) T_g is singular there and the residual is zero: nothing can be learnt of how
such clusters vary. Its pseudo-inverse would leave that part of a variance out. The
variance of a contrast is therefore divided by the share that it does tell of, which
keeps CR2 unbiased under the working model; where the share is small there is none.

Sources: Bell and McCaffrey (2002), Survey Methodology 28, 169-181; Pustejovsky
and Tipton (2018), Journal of Business and Economic Statistics 36, 672-683.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from scipy import sparse, stats

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import sum_by, sums_of
from survivor.limits import Errors, floored, floored_f, no_spread, root_of_diagonal

Kind = Literal["CR0", "CR1", "CR2", "model"]

_FULL_LEVERAGE = 1e-9  # eigenvalues of T_g below this: a direction that one cluster alone decides
_PADDED = 2  # how many times the rows may grow when clusters are made equally long
_BLOCK = 2_000_000  # numbers held at once
_LEAST_INFORMED = 0.1  # least share of a contrast's variance that the clusters must tell of


def share_informed(lost: Floats, whole: Floats) -> Floats:
    """Share of variances that clusters tell of, which they are divided by; NaN where it is small.

    How a stratum with a single cluster varies cannot be determined: that part of a variance is ``lost``.
    """
    share = 1 - np.divide(lost, whole, out=np.zeros(len(whole)), where=whole > 0)
    return np.where(share < _LEAST_INFORMED, np.nan, share)


@dataclass(frozen=True)
class WaldTest:
    """An F test: statistic, its degrees of freedom and its p-value."""

    statistic: float
    df1: float
    df2: float
    p_value: float


@dataclass(frozen=True)
class Bread:
    """Inverse of an information matrix with a border of S diagonal strata levels.

    Parameters are ordered strata levels first. S may be 0.

    Attributes
    ----------
    common
        Inverse of the Schur complement: the covariance of the common parameters, (q, q).
    level
        Information of each stratum level, shape (S,).
    slope
        Minus the regression of the common parameters on each level, shape (S, q).
    """

    common: Floats
    level: Floats
    slope: Floats

    @property
    def size(self) -> int:
        """Number of parameters, S + q."""
        return len(self.level) + len(self.common)

    def times(self, contrasts: Floats) -> tuple[Floats, Floats]:
        """Rows of ``contrasts @ M``, split into levels (m, S) and common (m, q)."""
        strata = len(self.level)
        through = (contrasts[:, strata:] + contrasts[:, :strata] @ self.slope) @ self.common
        return contrasts[:, :strata] / self.level + through @ self.slope.T, through

    def local(self) -> Floats:
        """M over one level and the common parameters, shape (max(S, 1), b + q, b + q), b = S > 0."""
        if not len(self.level):
            return self.common[None]
        through = self.slope @ self.common
        size = 1 + len(self.common)
        blocks = np.empty((len(self.level), size, size))
        blocks[:, 0, 0] = 1 / self.level + np.einsum("sq,sq->s", through, self.slope)
        blocks[:, 0, 1:] = blocks[:, 1:, 0] = through
        blocks[:, 1:, 1:] = self.common
        return blocks


def bread_of(level: Floats, across: Floats, common: Floats) -> Bread:
    """Invert a bordered information: levels (S,), level by common (S, q), common (q, q)."""
    slope = -across / level[:, None]
    inverse = np.linalg.inv(common + across.T @ slope)
    return Bread((inverse + inverse.T) / 2, level, slope)


@dataclass(frozen=True)
class _Spread:
    """Working variances of contrasts, taken apart by cluster.

    The variance estimate of contrast s is a quadratic form whose clusters g, h meet as
    delta_gh own[s, g] . own[s, g] - level[s, g] level[s, h] (one stratum) - common[s, g] . common[s, h].
    """

    own: Floats
    level: Floats
    common: Floats

    @cached_property
    def own_square(self) -> Floats:
        """Shape (m, G)."""
        return np.asarray(np.einsum("mgj,mgj->mg", self.own, self.own))

    @cached_property
    def square(self) -> Floats:
        """What a cluster has of its own in the other two parts, shape (m, G)."""
        return np.asarray(self.level**2 + np.einsum("mgj,mgj->mg", self.common, self.common))


@dataclass(frozen=True)
class Sandwich:
    """Covariance of any contrasts of the parameters, with degrees of freedom.

    Attributes
    ----------
    kind
        ``CR0`` without correction, ``CR1`` times G/(G-1), ``CR2`` bias-reduced,
        ``model`` the inverse information (rows independent).
    clusters
        Number of clusters G.
    bread
        Inverse information.
    """

    kind: Kind
    clusters: int
    bread: Bread
    _stratum: Codes  # stratum of each cluster; zeros where there is no border
    _pull: Floats  # adjusted score of each cluster on its own parameters, shape (G, b + q)
    _turn: Floats  # of each cluster: V' R^-1, V the eigenvectors of T_g; shape (G, b + q, b + q)
    _values: Floats  # eigenvalues of T_g

    @property
    def covariance(self) -> Floats:
        """Covariance of all parameters, shape (S + q, S + q); for models of moderate size."""
        return self.covariance_of(np.eye(self.bread.size))

    def covariance_of(self, contrasts: Floats) -> Floats:
        """Covariance of ``contrasts @ parameters``, shape (m, m).

        NaN for a CR2 contrast that one cluster alone decides.
        """
        contrasts = np.atleast_2d(contrasts)
        levels, common = self.bread.times(contrasts)
        if self.kind == "model":
            return self.independent(contrasts)
        pulled = np.einsum("mq,gq->mg", common, self._pull[:, -len(self.bread.common) :])
        if len(self.bread.level):
            pulled += levels[:, self._stratum] * self._pull[:, 0]
        if self.kind == "CR2":
            pulled = pulled / np.sqrt(self._informed(contrasts))[:, None]
        covariance: Floats = pulled @ pulled.T
        return covariance * (self.clusters / (self.clusters - 1) if self.kind == "CR1" else 1.0)

    def independent(self, contrasts: Floats) -> Floats:
        """Covariance of ``contrasts @ parameters`` were rows independent, shape (m, m)."""
        contrasts = np.atleast_2d(contrasts)
        levels, common = self.bread.times(contrasts)
        strata = len(self.bread.level)
        covariance = levels @ contrasts[:, :strata].T + common @ contrasts[:, strata:].T
        return np.asarray((covariance + covariance.T) / 2)

    @property
    def leverage(self) -> Floats:
        """Share of the information on the parameters that each cluster has (CR2), shape (G,).

        The trace of the cluster's block of the hat matrix: all together make the number of parameters.
        """
        return np.asarray((1 - self._values).sum(axis=1))

    def errors(self, contrasts: Floats) -> Errors:
        """Return what limits of ``contrasts @ parameters`` rest on, by the rule of ``survivor.limits``.

        CR0 and CR1 stand as they are: they are there to be compared with.
        """
        contrasts = np.atleast_2d(contrasts)
        covariance, df = self.covariance_of(contrasts), self.degrees(contrasts)
        if self.kind != "CR2":
            return Errors(covariance, df, np.zeros(len(df), dtype=bool))
        return floored(covariance, df, self.independent(contrasts))

    def _informed(self, contrasts: Floats) -> Floats:
        """Share of each contrast's working variance that residuals tell of; NaN where it is small."""
        alone = self._values <= _FULL_LEVERAGE
        if not alone.any():
            return np.ones(len(contrasts))
        squares = self._rotated(contrasts) ** 2
        whole = np.einsum("gj,mgj->m", 1 - self._values, squares)
        lost = np.einsum("gj,mgj->m", (1 - self._values) * alone, squares)
        return share_informed(lost, whole)

    def _rotated(self, contrasts: Floats) -> Floats:
        """Each contrast on the eigenvectors of each cluster's T_g, shape (m, G, b + q)."""
        levels, common = self.bread.times(contrasts)
        local = np.broadcast_to(common[:, None, :], (len(contrasts), self.clusters, common.shape[1]))
        if len(self.bread.level):
            local = np.concatenate([levels[:, self._stratum, None], local], axis=2)
        return _each(self._turn, local)

    def degrees(self, contrasts: Floats) -> Floats:
        """Degrees of freedom of each contrast, shape (m,) for contrasts of shape (m, S + q).

        Satterthwaite under the working model for CR2; clusters less one for CR0
        and CR1; infinite for the model's own covariance.
        """
        contrasts = np.atleast_2d(contrasts)
        if self.kind == "model":
            return np.full(len(contrasts), np.inf)
        if self.kind != "CR2":
            return np.full(len(contrasts), float(self.clusters - 1))
        df, at_once = np.empty(len(contrasts)), max(_BLOCK // self._pull.size, 1)
        for begin in range(0, len(contrasts), at_once):
            parts = self._spread(contrasts[begin : begin + at_once])
            for row, (own, square) in enumerate(zip(parts.own_square, parts.square, strict=True)):
                spread = self._variance(parts, row, row) / 2
                df[begin + row] = float(np.sum(own - square)) ** 2 / spread if spread > 0 else np.nan
        return np.where(np.isnan(self._informed(contrasts)), np.nan, df)

    def _spread(self, contrasts: Floats) -> _Spread:
        """Take apart the working variance of the sandwich of each pair of contrasts."""
        kept = self._values > _FULL_LEVERAGE
        safe = np.where(kept, self._values, 1.0)
        leverage = np.maximum(1 - safe, 0.0)
        own = np.sqrt(leverage / safe) * self._rotated(contrasts)
        back = _each(self._turn.transpose(0, 2, 1), np.sqrt(leverage) * own)
        half = np.linalg.cholesky(self.bread.common)
        if not len(self.bread.level):
            return _Spread(own, np.zeros(back.shape[:2]), back @ half)
        slope = self.bread.slope[self._stratum]
        on_level = back[:, :, 0] / np.sqrt(self.bread.level[self._stratum])
        return _Spread(own, on_level, (back[:, :, 1:] + back[:, :, :1] * slope) @ half)

    @cached_property
    def _to_strata(self) -> sparse.csr_array:
        return sums_of(self._stratum, max(len(self.bread.level), 1))

    def _variance(self, parts: _Spread, s: int, t: int) -> float:
        """Working variance of element (s, t) of the sandwich."""
        vs, vt, ls, lt = parts.common[s], parts.common[t], parts.level[s], parts.level[t]
        own_s, own_t, square_s, square_t = *parts.own_square[[s, t]], *parts.square[[s, t]]
        both, inner = (
            (own_s, square_s)
            if s == t
            else (_products(parts.own[s], parts.own[t]), ls * lt + _products(vs, vt))
        )
        levels, across = self._to_strata @ (ls * lt), self._to_strata @ (ls[:, None] * vt)
        back = across if s == t else self._to_strata @ (lt[:, None] * vs)
        shared = vs.T @ vt
        straight = np.sum(levels**2) + np.sum(across**2) + np.sum(back**2) + np.sum(shared**2)
        crossed = np.sum(levels**2) + 2 * np.sum(across * back) + np.sum(shared * shared.T)
        first = np.sum(own_s * own_t - own_s * square_t - own_t * square_s) + straight
        second = np.sum(both**2 - 2 * both * inner) + crossed
        return float(first + second)

    def wald(self, contrasts: Floats, parameters: Floats) -> WaldTest:
        """Test that ``contrasts @ parameters = 0``.

        For CR2 the approximate Hotelling test of Pustejovsky and Tipton (2018);
        with one contrast it is the square of the Satterthwaite t test.
        """
        contrasts = np.atleast_2d(contrasts)
        value, count = contrasts @ parameters, len(contrasts)
        covariance, independent = self.covariance_of(contrasts), self.independent(contrasts)
        if self.kind == "model":
            quadratic = squared_length(value, covariance)
            return WaldTest(quadratic / count, count, np.inf, float(stats.chi2.sf(quadratic, count)))
        if self.kind == "CR2":
            return hotelling(value, covariance, self._hotelling(contrasts), independent)
        return hotelling(value, covariance, float(self.clusters - 1))

    def _hotelling(self, contrasts: Floats) -> float:
        values, vectors = np.linalg.eigh(self.independent(contrasts))
        parts = self._spread((vectors / np.sqrt(values)) @ vectors.T @ contrasts)
        count = len(contrasts)
        # Element (t, s) varies as (s, t) does.
        pairs = [(s, t) for s in range(count) for t in range(s, count)]
        total = sum((1 + (s < t)) * self._variance(parts, s, t) for s, t in pairs)
        return count * (count + 1) / total if total > 0 else np.nan


def hotelling(value: Floats, covariance: Floats, df: float, independent: Floats | None = None) -> WaldTest:
    """F test that estimates are zero, by Hotelling's T squared on ``df``.

    ``independent``: their covariance with seedlings independent, for the rule of
    ``survivor.limits``; None: no such floor.
    """
    count = len(value)
    df2 = df - count + 1
    alike = independent is not None and no_spread(*map(root_of_diagonal, (covariance, independent))).all()
    quadratic = np.inf if alike else squared_length(value, covariance)
    if not df2 > 0:
        return WaldTest(np.nan, count, df2, np.nan)
    statistic = quadratic * df2 / (df * count)
    if independent is not None:
        statistic = floored_f(statistic, count, df2, squared_length(value, independent))
    return WaldTest(statistic, count, df2, float(stats.f.sf(statistic, count, df2)))


def squared_length(value: Floats, covariance: Floats) -> float:
    """Length of estimates in units of their covariance, squared: what a Wald test is made of."""
    if np.isnan(covariance).any() or not np.linalg.cond(covariance) < 1 / np.finfo(float).eps:
        raise ModelError(
            "the clusters give these terms no variance that a test could be made of",
            where="test",
            mend="more plots in each arm, or test fewer terms at once",
        )
    return float(value @ np.linalg.solve(covariance, value))


def sandwich(
    scores: Floats, information: Floats, kind: Kind = "CR2", stratum: Codes | None = None
) -> Sandwich:
    """Build a cluster-robust covariance.

    Parameters
    ----------
    scores
        Score of each cluster at the estimate, shape (G, b + q): on its own stratum's
        level first where ``stratum`` is given (b = 1), then on the common parameters.
    information
        Information of each cluster (expected information for CR2), (G, b + q, b + q).
    kind
        Which covariance.
    stratum
        Stratum of each cluster, 0 to S - 1, every cluster within one; None: no border.
    """
    clusters, size = scores.shape
    if stratum is None:
        codes = np.zeros(clusters, dtype=np.intp)
        bread = bread_of(np.empty(0), np.empty((0, size)), information.sum(axis=0))
    else:
        codes = stratum
        strata = int(codes.max()) + 1
        level = sum_by(codes, information[:, 0, 0], strata)
        across = sum_by(codes, information[:, 0, 1:], strata)
        bread = bread_of(level, across, information[:, 1:, 1:].sum(axis=0))
    root: Floats = np.asarray(np.linalg.cholesky(bread.local()), dtype=np.float64)
    values, turn = np.empty((0, size)), np.empty((0, size, size))
    pull = scores
    if kind == "CR2":
        mine = root[codes]
        leverage = mine.transpose(0, 2, 1) @ information @ mine
        values, vectors = np.linalg.eigh(np.eye(size) - (leverage + leverage.transpose(0, 2, 1)) / 2)
        kept = values > _FULL_LEVERAGE
        rotated = np.einsum("gij,gi->gj", vectors, np.einsum("gij,gi->gj", mine, scores))
        adjusted = np.where(kept, 1 / np.sqrt(np.where(kept, values, 1.0)), 0.0) * rotated
        turn = np.matmul(vectors.transpose(0, 2, 1), np.linalg.inv(root)[codes])
        pull = np.einsum("gji,gj->gi", turn, adjusted)
    return Sandwich(kind, clusters, bread, codes, pull, turn, values)


def _each(matrices: Floats, vectors: Floats) -> Floats:
    """Each cluster's matrix times its vector, (G, p, p) and (m, G, p): shape (m, G, p)."""
    return np.asarray(np.matmul(matrices, vectors.transpose(1, 2, 0)).transpose(2, 0, 1))


def _products(first: Floats, second: Floats) -> Floats:
    """Product of each row with the same row of another, shape (n,)."""
    return np.asarray(np.einsum("gj,gj->g", first, second))


def by_cluster(
    codes: Codes, clusters: int, rows: Floats, score: Floats, weight: Floats
) -> tuple[Floats, Floats]:
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
    scores = sums_of(codes, clusters) @ (rows * score[:, None])
    size, counts = rows.shape[1], np.bincount(codes, minlength=clusters)
    order = np.argsort(codes, kind="stable")
    begins = np.cumsum(counts) - counts
    width = int(counts.max())
    if clusters * width <= _PADDED * len(rows):
        # Clusters of much the same size: one product of all of them, the short filled up with noughts.
        place = np.empty(len(rows), dtype=np.intp)
        place[order] = np.arange(len(rows)) + np.repeat(np.arange(clusters) * width - begins, counts)
        own, weighted = np.zeros((2, clusters * width, size))
        own[place], weighted[place] = rows, rows * weight[:, None]
        own, weighted = (part.reshape(clusters, width, size) for part in (own, weighted))
        return scores, np.matmul(weighted.transpose(0, 2, 1), own)
    information = np.empty((clusters, size, size))
    rows, weight = rows[order], weight[order, None]
    for cluster, (begin, count) in enumerate(zip(begins.tolist(), counts.tolist(), strict=True)):
        mine = slice(begin, begin + count)
        np.matmul((rows[mine] * weight[mine]).T, rows[mine], out=information[cluster])
    return scores, information
