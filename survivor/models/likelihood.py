"""Likelihood of interval-censored proportional hazards on grouped counts.

For a row of ``n`` seedlings at risk over (start, stop] of which ``d`` died,

    d ~ Binomial(n, 1 - exp(-H)),   H = exp(level + x beta) sum_k length_k exp(alpha_k),

with ``length_k`` the days of the row spent in piece ``k`` of the baseline, a level
for each stratum and ``alpha_1 = 0``. A row may also have an effect that is another in
each piece: it then stands within the sum. With visits shared by all this is the grouped
proportional-hazards model of Prentice and Gloeckler (1978), Biometrics 34, 57-67;
with irregular visits it is a composite link in the sense of Thompson and Baker
(1981), Applied Statistics 30, 125-131. Fitted by Fisher scoring with the strata
levels as a border of the information, and by Newton's steps near the maximum; the
information that is given back is the expected one.

With the link ``logit`` the same climb fits odds at one moment: ``d`` of ``n`` are counted, with
log odds ``level + x beta``, there is one piece, and ``H`` stands for the log odds.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any, Self

import numpy as np
from scipy.special import expit

from survivor.arrays import Codes, Flags, Floats
from survivor.climbing import CONVERGED, MOST_STEPS, Curvature, climb
from survivor.errors import ModelError
from survivor.intervals import log_ways, row_codes, sum_by, sums_of
from survivor.models.clusters import Bread, Kind, Sandwich, bread_of, by_cluster, sandwich
from survivor.models.quadrature import Link
from survivor.models.separation import (
    FAR,
    diverges,
    errors_from,
    no_finite_estimate,
    range_within,
    refuse_no_deaths,
)
from survivor.words import term_words

_NEAR = (
    1.0  # squared length of the last step, in units of standard errors, from which Newton's steps are safe
)
_LEARN_FROM = 8  # scoring has usually settled by this step; where not, curvature is learnt from the steps
_FLAT = 1e-10  # least eigenvalue of the scaled information at which the terms are told apart
_FEW = 1000  # rows up to which looking for those alike costs more than it saves
_DIVERGENT = 12.0  # a piece whose log hazard lies this far below another's is running to zero


class NoFiniteBaseline(ModelError):
    """Somewhere in the season everybody died, and the hazard of a piece and a level there has no end."""

    def __init__(self, where: str) -> None:
        super().__init__(
            "everybody who reached some part of the season died in it, so its hazard has no finite estimate",
            where=where,
            mend="use fewer pieces (pieces= in days), or read the survival from the curves",
        )


@dataclass(frozen=True)
class Rows:
    """Data of the grouped likelihood, n rows in S strata.

    ``columns`` (n, q) covariates; ``lengths`` (n, K) days in each piece; ``stratum``
    (n,) codes 0 to S - 1; ``at_risk`` and ``died`` (n,) counts; ``effect`` (n, K) which
    of r effects a row has in each piece, -1 for none, or None; ``names`` of the q + r
    covariates; ``weight`` (n,) that the log-likelihood of each row, and with it its score
    and information, is multiplied by, or None. With the ``link`` ``logit`` ``died`` stands for
    whatever is counted and ``lengths`` are ones, shape (n, 1).
    """

    columns: Floats
    lengths: Floats
    stratum: Codes
    at_risk: Floats
    died: Floats
    names: tuple[str, ...] = ()
    effect: Codes | None = None
    effects: int = 0
    weight: Floats | None = None
    link: Link = "hazard"

    @property
    def weighted(self) -> tuple[Floats, Floats]:
        """At risk and died times the weight of the row: what the likelihood is linear in."""
        if self.weight is None:
            return self.at_risk, self.died
        return self.weight * self.at_risk, self.weight * self.died

    @property
    def strata(self) -> int:
        """Number of strata."""
        return int(self.stratum.max()) + 1

    @property
    def covariates(self) -> int:
        """Number of covariates q + r."""
        return int(self.columns.shape[1] + self.effects)

    @property
    def model(self) -> str:
        """What an error calls the model."""
        return "logistic model" if self.link == "logit" else "grouped model"

    def pick(self, rows: Flags | Codes, stratum: Codes) -> Self:
        """Only these rows, in other strata."""
        parts = {field.name: getattr(self, field.name) for field in fields(self)}
        arrays: dict[str, Any] = {
            name: part[rows] for name, part in parts.items() if isinstance(part, np.ndarray)
        }
        return replace(self, **(arrays | {"stratum": stratum}))

    def start(self) -> Floats:
        """Levels from the counts of each stratum, all else zero: shape (S + K - 1 + q + r,)."""
        at_risk, died = self.weighted
        counted = sum_by(self.stratum, died)
        if self.link == "logit":
            level = np.log((counted + 0.5) / (sum_by(self.stratum, at_risk) - counted + 0.5))
        else:
            time = sum_by(self.stratum, at_risk * self.lengths.sum(axis=1))
            level = np.log((counted + 0.5) / (time + 0.5 * time.sum() / max(counted.sum(), 0.5)))
        return np.concatenate([level, np.zeros(self.lengths.shape[1] - 1 + self.covariates)])


@dataclass(frozen=True)
class Solution:
    """A fitted grouped model on arrays.

    Attributes
    ----------
    level, alpha, beta
        Log hazard per day of each stratum in the first piece, shape (S,); log ratio of
        the later pieces to the first, shape (K - 1,); coefficients, shape (q + r,).
    log_likelihood
        With the binomial constant; each row times its weight.
    data, by_piece
        The rows, and their cumulative hazard in each piece, shape (n, K).
    score, weight
        Score and expected information weight of each row, shape (n,).
    divergent
        Index of a piece whose hazard runs to zero, or None.
    """

    level: Floats
    alpha: Floats
    beta: Floats
    log_likelihood: float
    data: Rows
    by_piece: Floats
    score: Floats
    weight: Floats
    steps: int
    divergent: int | None = None
    link: Link = "hazard"

    @cached_property
    def hazard(self) -> Floats:
        """Each row's cumulative hazard, which is its derivative in its own level; ones for odds; (n,)."""
        return np.asarray(np.maximum(self.by_piece.sum(axis=1), 1e-300))

    @property
    def rows(self) -> Floats:
        """Derivative of each row's hazard in the common parameters, shape (n, K - 1 + q + r)."""
        data, by_piece = self.data, self.by_piece
        moved = [] if data.effect is None else [_by_effect(by_piece, data.effect, data.effects)]
        return np.hstack([by_piece[:, 1:], self.hazard[:, None] * data.columns, *moved])

    @property
    def parameters(self) -> Floats:
        """Levels, pieces after the first, coefficients: shape (S + K - 1 + q + r,)."""
        return np.concatenate([self.level, self.alpha, self.beta])


def solve(data: Rows, start: Floats | None = None, converged: float = CONVERGED) -> Solution:
    """Maximise the grouped likelihood.

    Parameters
    ----------
    data
        The rows.
    start
        Parameters to start from; None: ``Rows.start``.
    converged
        Squared length of a step, in units of standard errors, at which to stop.

    Raises
    ------
    ModelError
        When nobody died, a coefficient runs to infinity because nobody, or
        everybody, died at one level of a term, or a term cannot be distinguished from
        the pieces of the baseline; ``NoFiniteBaseline`` where only the baseline has no
        finite estimate.
    """
    if data.link == "hazard":
        refuse_no_deaths(data.died, data.model)
    # Any constant scale of time moves only the levels; one near the data keeps exp() tame.
    scale = data.lengths.sum(axis=1).mean()
    lengths = data.lengths / scale
    level, common = np.split(data.start() if start is None else start, [data.strata])
    level = level + np.log(scale)
    way = _Way(data, lengths)
    state = way.sums.evaluate(level, common)
    if data.link == "hazard":
        _refuse_flat(way.sums.expected(state), data)
    climbed = climb(state, way.step, way.reach, converged=converged)
    if not climbed.settled:
        raise ModelError(
            f"the fit did not settle in {MOST_STEPS} steps",
            where=data.model,
            mend="use fewer terms or pieces",
        )
    divergent = way.divergent(climbed.at)
    return _solution(climbed.at, way.sums, scale, climbed.steps, divergent)


class _Way:
    """The steps of one climb, and what it learns on the way."""

    def __init__(self, data: Rows, lengths: Floats) -> None:
        self.data, self.sums, self.spread = data, _Sums(data, lengths), _spread(data)
        self.later = lengths.shape[1] - 1
        self.middle = piece_means(data.columns, lengths, data.weighted[0])
        self._curvature, self._steps, self._gain = Curvature(), 0, np.inf
        self._before: tuple[Floats, Floats] | None = None

    def divergent(self, now: _State) -> int | None:
        """Place of a piece whose hazard runs to zero."""
        return running_to_zero(now.common[: self.later], now.common[self.later :], self.middle)

    def reach(self, now: _State, step: Floats, part: float) -> _State:
        level, common = np.split(part * step, [len(now.level)])
        return self.sums.evaluate(now.level + level, now.common + common)

    def step(self, now: _State) -> tuple[Floats, float] | None:
        """Step by the expected information, or Newton's near the maximum; None where a piece runs away."""
        data = self.data
        divergent = self.divergent(now)
        if divergent is not None:
            if has_deaths(data.lengths, data.died, divergent):
                raise NoFiniteBaseline("grouped model")
            return None
        beta = now.common[self.later :]
        if (np.abs(beta) * self.spread).max(initial=0.0) > FAR:
            error = errors_from(self.sums.expected(now).bread.common)[self.later :]
            _refuse_divergence(beta, self.spread, error, data)
        score = self.sums.score(now)
        place = np.concatenate([now.level, now.common])
        if self._before is not None and self._steps >= _LEARN_FROM:
            self._curvature.learn(place - self._before[0], self._before[1] - score)
        self._before, self._steps = (place, score), self._steps + 1
        step = self._newton(now, score) if self._gain < _NEAR else None
        if step is None:
            step = self._curvature.inverse_times(self.sums.expected(now).bread.times, score[None])[0]
        self._gain = float(score @ step)
        return step, self._gain

    def _newton(self, now: _State, score: Floats) -> Floats | None:
        """Newton's step by the observed information; None where it leads down or is dear."""
        if self.data.link == "logit":
            return None
        information = self.sums.observed(now)
        if information.level.min() <= 0:
            return None
        step: Floats = np.hstack(information.bread.times(score[None]))[0]
        return step if score @ step > 0 else None


def read_rows(data: Rows, found: Solution) -> Solution:
    """Hazard, score and weight of each row at the parameters of a solution of the same model."""
    scale = data.lengths.sum(axis=1).mean()
    level, common = found.level + np.log(scale), np.concatenate([found.alpha, found.beta])
    sums = _Sums(data, data.lengths / scale)
    return _solution(sums.evaluate(level, common), sums, scale, found.steps, found.divergent)


@dataclass(frozen=True)
class _State:
    """Parameters, log-likelihood, and what rows say there.

    ``parts`` of the hazard of each row in each piece that it lies in (ones for odds), as in
    ``_Sums``; ``score`` and ``weight`` of each row.
    """

    level: Floats
    common: Floats
    value: float
    parts: Floats
    score: Floats
    weight: Floats


@dataclass(frozen=True)
class _Information:
    """Information with the strata levels as a border: (S,), levels by common (S, p), common (p, p)."""

    level: Floats
    across: Floats
    common: Floats

    @property
    def bread(self) -> Bread:
        """Its inverse."""
        return bread_of(self.level, self.across, self.common)


class _Sums:
    """Sums over rows, made by what rows share.

    A row's hazard is a sum of parts, one a piece that it lies in, and each part is its days times the
    exponential of a sum of parameters: those of its kind (covariates and effects), stratum and piece.
    Every derivative follows from sums of the parts, and of products of two of them, over rows of a kind
    in a stratum: those are few where rows are many.
    """

    def __init__(self, data: Rows, lengths: Floats) -> None:
        self.data, self.pieces = data, lengths.shape[1]
        self.at_risk, self.died = data.weighted
        kind, first, self.group, where = _kinds(data)
        self.columns, self.effect = data.columns[first], None if data.effect is None else data.effect[first]
        self.kind, self.stratum = kind[where], data.stratum[where]
        self.row, self.piece = np.nonzero(lengths)
        self.days = lengths[self.row, self.piece]
        self.place = self.group[self.row] * self.pieces + self.piece
        self.every = np.arange(len(first))
        self.to_kinds = sums_of(self.kind, len(first))
        self.to_strata = sums_of(self.stratum, data.strata)
        self.moved = (
            [] if self.effect is None else [sums_of(own + 1, data.effects + 1) for own in self.effect.T]
        )
        pairs = [np.arange(len(self.row))] * 2
        apart = 1
        while len(more := np.flatnonzero(self.row[apart:] == self.row[:-apart])):
            pairs = [np.append(pairs[0], more), np.append(pairs[1], more + apart)]
            apart += 1
        self.pairs = pairs
        self.pair_row = self.row[pairs[0]]
        self.pair_place = self.place[pairs[0]] * self.pieces + self.piece[pairs[1]]

    def evaluate(self, level: Floats, common: Floats) -> _State:
        """Log-likelihood, and what each row says."""
        data, later, fixed = self.data, self.pieces - 1, self.columns.shape[1]
        linear = level[self.stratum] + (self.columns @ common[later : later + fixed])[self.kind]
        if data.link == "logit":
            linear = linear[self.group]
            value = float(self.died @ linear - self.at_risk @ np.logaddexp(0.0, linear))
            share = expit(linear)
            spread = self.at_risk * share * expit(-linear)
            return _State(level, common, value, self.days, self.died - self.at_risk * share, spread)
        alpha = np.concatenate([[0.0], common[:later]])
        rate = np.exp(np.clip(linear, -60, 60))[:, None] * np.exp(np.clip(alpha, -60, 60))
        if self.effect is not None:
            # -1 takes the last, which is of no effect.
            own = np.append(np.exp(np.clip(common[later + fixed :], -60, 60)), 1.0)[self.effect]
            rate *= own[self.kind]
        parts = rate.ravel()[self.place] * self.days
        hazard = np.maximum(sum_by(self.row, parts, len(self.died)), 1e-300)
        odds = 1 / np.expm1(np.minimum(hazard, 700.0))  # (1 - p) / p
        lived = self.at_risk - self.died
        value = -float(self.died @ np.log1p(odds) + lived @ hazard)
        # d log L / d H = d (1 - p) / p - (n - d); expected information in H: n (1 - p) / p.
        return _State(level, common, value, parts, self.died * odds - lived, self.at_risk * odds)

    def by_piece(self, now: _State) -> Floats:
        """Parts of each row, noughts too, shape (n, K)."""
        found = np.zeros((len(self.died), self.pieces))
        found[self.row, self.piece] = now.parts
        return found

    def score(self, now: _State) -> Floats:
        """Score of levels and common parameters, shape (S + p,)."""
        own = self._own(now)
        level = self.to_strata @ own.sum(axis=1)
        return np.concatenate([level, self._pulled(self.to_kinds @ own, self.every).sum(axis=0)])

    def expected(self, now: _State) -> _Information:
        """Give the expected information."""
        return self._information(self._products(now, now.weight))

    def observed(self, now: _State) -> _Information:
        """Give the observed information: the second derivatives of a row's hazard are its parts again."""
        odds = now.weight / self.at_risk
        products = self._products(now, self.died * odds * (1 + odds))
        each = np.arange(self.pieces)
        products[:, each, each] -= self._own(now)
        return self._information(products)

    def _own(self, now: _State) -> Floats:
        """Score of each stratum and kind by piece, shape (G, K)."""
        sums = sum_by(self.place, now.score[self.row] * now.parts, len(self.stratum) * self.pieces)
        return sums.reshape(-1, self.pieces)

    def _products(self, now: _State, weight: Floats) -> Floats:
        """Weighted products of the parts of rows, by stratum and kind, shape (G, K, K)."""
        one, other = self.pairs
        values = weight[self.pair_row] * now.parts[one] * now.parts[other]
        sums = sum_by(self.pair_place, values, len(self.stratum) * self.pieces**2)
        half = sums.reshape(-1, self.pieces, self.pieces)
        both = half + half.transpose(0, 2, 1)
        each = np.arange(self.pieces)
        both[:, each, each] = half[:, each, each]
        return both

    def _information(self, products: Floats) -> _Information:
        whole = products.sum(axis=2)
        across = self.to_strata @ self._pulled(whole, self.kind)
        by_kind = (self.to_kinds @ products.reshape(len(products), -1)).reshape(-1, self.pieces, self.pieces)
        later, last = self.pieces - 1, self.pieces - 1 + self.columns.shape[1]
        common = np.zeros((across.shape[1],) * 2)
        common[later:last] = self.columns.T @ self._pulled(by_kind.sum(axis=2), self.every)
        for piece in range(self.pieces):
            pulled = self._pulled(by_kind[:, piece], self.every)
            if piece:
                common[piece - 1] = pulled.sum(axis=0)
            if self.moved:
                common[last:] += (self.moved[piece] @ pulled)[1:]
        return _Information(self.to_strata @ whole.sum(axis=1), across, (common + common.T) / 2)

    def _pulled(self, by_piece: Floats, kind: Codes) -> Floats:
        """Take sums by piece (m, K), each of rows of one kind, to the common parameters; shape (m, p)."""
        fixed = by_piece.sum(axis=1)[:, None] * self.columns[kind]
        if self.effect is None:
            return np.hstack([by_piece[:, 1:], fixed])
        return np.hstack([by_piece[:, 1:], fixed, _by_effect(by_piece, self.effect[kind], self.data.effects)])


def _by_effect(by_piece: Floats, effect: Codes, effects: int) -> Floats:
    """Take sums by piece (m, K) to the effect that there is in each; shape (m, r)."""
    found = np.zeros((len(by_piece), effects + 1))  # -1 takes the last, which is of no effect
    every = np.arange(len(by_piece))
    for own, part in zip(effect.T, by_piece.T, strict=True):
        found[every, own] += part
    return found[:, :-1]


def _kinds(data: Rows) -> tuple[Codes, Codes, Codes, Codes]:
    """Tell the kind of each row by covariates and effects, and its group by stratum too; a row of each."""
    if len(data.died) <= _FEW:
        every = np.arange(len(data.died))
        return every, every, every, every
    effects = [] if data.effect is None else [*data.effect.T]
    kind, first = row_codes(
        [np.zeros(len(data.died), dtype=np.intp), *data.columns.T, *effects], in_order=False
    )
    return kind, first, *row_codes([data.stratum, kind], in_order=False)


def _refuse_flat(information: _Information, data: Rows) -> None:
    """Raise where a column follows the pieces, strata and other columns exactly."""
    across = information.across
    schur = information.common - across.T @ (across / information.level[:, None])
    scale = np.sqrt(np.maximum(np.diag(information.common), 1e-300))
    values, vectors = np.linalg.eigh(schur / np.outer(scale, scale))
    if len(values) and values[0] < _FLAT:
        share = np.abs(vectors[len(scale) - data.covariates :, 0])
        named = [name for name, part in zip(data.names, share, strict=False) if part > 0.1 * share.max()]
        raise ModelError(
            f"{', '.join(map(term_words, named)) or 'a term'} cannot be distinguished from the "
            "pieces of the baseline",
            where="grouped model",
            mend="leave the term out, or use fewer pieces (pieces= in days)",
        )


def _spread(data: Rows) -> Floats:
    """Range of each covariate within strata, shape (q + r,)."""
    return np.concatenate([range_within(data.columns, data.stratum), np.ones(data.effects)])


def piece_means(columns: Floats, lengths: Floats, at_risk: Floats) -> Floats:
    """Mean of each covariate over the days watched in each piece, shape (K, q)."""
    days = lengths * at_risk[:, None]
    return np.asarray(days.T @ columns / np.maximum(days.sum(axis=0), 1e-300)[:, None])


def running_to_zero(later: Floats, beta: Floats, middle: Floats) -> int | None:
    """Place of a piece whose hazard runs to zero.

    Of plants as they were in each piece: where a covariate goes with the season its coefficient
    and the pieces' levels offset one another, and each may lie far from zero.

    Parameters
    ----------
    later
        Log ratios of the later pieces to the first, shape (K - 1,).
    beta
        Coefficients, of which the first q are of ``middle``.
    middle
        From ``piece_means``, shape (K, q).
    """
    alpha = np.concatenate([[0.0], later]) + middle @ beta[: middle.shape[1]]
    return int(np.argmin(alpha)) if np.ptp(alpha) > _DIVERGENT else None


def has_deaths(lengths: Floats, died: Floats, piece: int) -> bool:
    """Whether somebody died in an interval that lies in this piece alone: its hazard is not zero."""
    elsewhere = np.delete(lengths, piece, axis=1)
    return bool((died[~elsewhere.any(axis=1)] > 0).any())


def _refuse_divergence(beta: Floats, spread: Floats, error: Floats, data: Rows) -> None:
    gone = diverges(beta, spread, error)
    if gone.any():
        worst = int(np.argmax(np.where(gone, np.abs(beta) * spread, 0.0)))
        name = data.names[worst] if worst < len(data.names) else f"column {worst}"
        who = (
            "everybody is alive, or everybody dead" if data.link == "logit" else "nobody, or everybody, died"
        )
        raise no_finite_estimate([name], data.model, who)


def _solution(state: _State, sums: _Sums, scale: float, steps: int, divergent: int | None) -> Solution:
    data, later = sums.data, sums.pieces - 1
    by_piece = sums.by_piece(state)
    return Solution(
        state.level - np.log(scale),
        state.common[:later],
        state.common[later:],
        state.value + log_ways(data.at_risk, data.died, data.weight),
        data,
        by_piece,
        state.score,
        state.weight,
        steps,
        divergent,
        data.link,
    )


def covariance_by(codes: Codes, clusters: int, data: Rows, solution: Solution, kind: Kind) -> Sandwich:
    """Covariance by cluster; strata are a border where every cluster lies within one."""
    if kind == "model":  # the inverse information, whatever the clusters
        codes, clusters = data.stratum, data.strata
    stratum = np.empty(clusters, dtype=np.intp)
    stratum[codes] = data.stratum
    if np.array_equal(stratum[codes], data.stratum):
        local = np.column_stack([solution.hazard, solution.rows])
        return sandwich(*by_cluster(codes, clusters, local, solution.score, solution.weight), kind, stratum)
    levels = (data.stratum[:, None] == np.arange(data.strata)) * solution.hazard[:, None]
    local = np.hstack([levels, solution.rows])
    return sandwich(*by_cluster(codes, clusters, local, solution.score, solution.weight), kind)
