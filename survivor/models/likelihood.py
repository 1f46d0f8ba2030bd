"""Likelihood of interval-censored proportional hazards on grouped counts.

For a row of ``n`` seedlings at risk over (start, stop] of which ``d`` died,

    d ~ Binomial(n, 1 - exp(-H)),   H = exp(level + x beta) sum_k length_k exp(alpha_k),

with ``length_k`` the days of the row spent in piece ``k`` of the baseline, a level
for each stratum and ``alpha_1 = 0``. Columns may also vary between the pieces of a
row: then ``x_k beta`` stands within the sum. With visits shared by all this is the grouped
proportional-hazards model of Prentice and Gloeckler (1978), Biometrics 34, 57-67;
with irregular visits it is a composite link in the sense of Thompson and Baker
(1981), Applied Statistics 30, 125-131. Fitted by Fisher scoring with the strata
levels as a border of the information, and by Newton's steps near the maximum; the
information that is given back is the expected one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import gammaln

from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.models.clusters import Bread, bread_of
from survivor.models.learnt import Steps, learn, times
from survivor.models.runaway import FAR, errors_from, range_within, runs_away

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_STEPS = 100
_NEAR = (
    1.0  # squared length of the last step, in units of standard errors, from which Newton's steps are safe
)
_LEARN_FROM = 8  # scoring has usually settled by this step; where not, curvature is learnt from the steps
_CONVERGED = 1e-18  # squared length of the step in units of standard errors
_FLAT = 1e-10  # least eigenvalue of the scaled information at which the terms are told apart
_RUNAWAY = 12.0  # a piece whose log hazard lies this far below another's is running to nought


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
    (n,) codes 0 to S - 1; ``at_risk`` and ``died`` (n,) counts; ``varying`` (n, K, r)
    covariates that differ between the pieces of a row, or None; ``names`` of the q + r
    covariates; ``weight`` (n,) that the log-likelihood of each row, and with it its score
    and information, is multiplied by, or None.
    """

    columns: Floats
    lengths: Floats
    stratum: Codes
    at_risk: Floats
    died: Floats
    names: tuple[str, ...] = ()
    varying: Floats | None = None
    weight: Floats | None = None

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
        varying = 0 if self.varying is None else self.varying.shape[2]
        return int(self.columns.shape[1] + varying)


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
    hazard, rows
        Each row's cumulative hazard, shape (n,): its derivative in its own level; and
        its derivative in the common parameters, shape (n, K - 1 + q + r).
    score, weight
        Score and expected information weight of each row, shape (n,).
    runaway
        Index of a piece whose hazard runs to zero, or None.
    """

    level: Floats
    alpha: Floats
    beta: Floats
    log_likelihood: float
    hazard: Floats
    rows: Floats
    score: Floats
    weight: Floats
    steps: int
    runaway: int | None = None

    @property
    def parameters(self) -> Floats:
        """Levels, pieces after the first, coefficients: shape (S + K - 1 + q + r,)."""
        return np.concatenate([self.level, self.alpha, self.beta])


def solve(data: Rows, start: Solution | None = None, converged: float = _CONVERGED) -> Solution:
    """Maximise the grouped likelihood.

    Parameters
    ----------
    data
        The rows.
    start
        Where to start from: a solution with as many levels, pieces and columns.
    converged
        Squared length of a step, in units of standard errors, at which to stop.

    Raises
    ------
    ModelError
        When nobody died, a coefficient runs to infinity because nobody, or
        everybody, died at one level of a term, or a term cannot be told apart from
        the pieces of the baseline; ``NoFiniteBaseline`` where only the baseline has no
        finite estimate.
    """
    if data.died.sum() == 0:
        raise ModelError(
            "nobody died, so there is no hazard to compare", where="grouped model", mend="see the curves"
        )
    # Any constant scale of time moves only the levels; one near the data keeps exp() tame.
    scale = data.lengths.sum(axis=1).mean()
    lengths = data.lengths / scale
    if start is None:
        at_risk, died = data.weighted
        time = sum_by(data.stratum, at_risk * lengths.sum(axis=1))
        deaths = sum_by(data.stratum, died)
        level = np.log((deaths + 0.5) / (time + 0.5 * time.sum() / deaths.sum()))
        common = np.zeros(lengths.shape[1] - 1 + data.covariates)
    else:
        level, common = start.level + np.log(scale), np.concatenate([start.alpha, start.beta])
    to_strata, spread = _indicator(data), _spread(data)
    later = lengths.shape[1] - 1
    state = _evaluate(level, common, data, lengths)
    _refuse_flat(state, data, to_strata)
    learnt: Steps = ()
    moved = before = np.zeros(len(level) + len(common))
    gain = np.inf
    for step_number in range(1, _STEPS + 1):
        score = np.concatenate([to_strata @ (state.score * state.hazard), state.score @ state.rows])
        if step_number > _LEARN_FROM:
            learnt = learn(learnt, moved, before - score)
        step = _newton(state, data, to_strata, score) if gain < _NEAR else None
        if step is None:
            step = times(_expected(state, to_strata), score[None], learnt)[0]
        gain = float(score @ step)
        step_level, step_common = step[: len(level)], step[len(level) :]
        # Expected information can overshoot far from the maximum: halve until the likelihood rises.
        size = 1.0
        while True:
            trial = _evaluate(level + size * step_level, common + size * step_common, data, lengths)
            if trial.value >= state.value - 1e-10 * abs(state.value) or size < 1e-8:
                break
            size /= 2
        level, common, state = level + size * step_level, common + size * step_common, trial
        moved, before = size * step, score
        if gain * size < converged:
            break
        runaway = _runaway(common[:later])
        if runaway is not None:
            if has_deaths(data.lengths, data.died, runaway):
                raise NoFiniteBaseline("grouped model")
            return _solution(level, common, state, data, scale, step_number, runaway)
        if (np.abs(common[later:]) * spread).max(initial=0.0) > FAR:
            error = errors_from(_expected(state, to_strata).common)[later:]
            _refuse_runaway(common[later:], spread, error, data.names)
    else:
        raise ModelError(
            f"the fit did not settle in {_STEPS} steps",
            where="grouped model",
            mend="use fewer terms or pieces",
        )
    return _solution(level, common, state, data, scale, step_number, None)


def read_rows(data: Rows, found: Solution) -> Solution:
    """Hazard, score and weight of each row at the parameters of a solution of the same model."""
    scale = data.lengths.sum(axis=1).mean()
    level, common = found.level + np.log(scale), np.concatenate([found.alpha, found.beta])
    state = _evaluate(level, common, data, data.lengths / scale)
    return _solution(level, common, state, data, scale, found.steps, found.runaway)


@dataclass(frozen=True)
class _State:
    value: float
    hazard: Floats
    rows: Floats
    score: Floats
    weight: Floats


def _indicator(data: Rows) -> sparse.csr_array:
    """Matrix that sums rows by stratum, shape (S, n)."""
    count = len(data.stratum)
    return sparse.csr_array((np.ones(count), (data.stratum, np.arange(count))), shape=(data.strata, count))


def _evaluate(level: Floats, common: Floats, data: Rows, lengths: Floats) -> _State:
    later, fixed = lengths.shape[1] - 1, data.columns.shape[1]
    alpha = np.concatenate([[0.0], common[:later]])
    relative = np.exp(np.clip(level[data.stratum] + data.columns @ common[later : later + fixed], -60, 60))
    by_piece = relative[:, None] * (lengths * np.exp(np.clip(alpha, -60, 60)))
    moved = []
    if data.varying is not None:
        by_piece *= np.exp(np.clip(data.varying @ common[later + fixed :], -60, 60))
        moved.append(np.einsum("nk,nkr->nr", by_piece, data.varying))
    hazard = np.maximum(by_piece.sum(axis=1), 1e-300)
    at_risk, died = data.weighted
    value = float(np.sum(died * np.log(-np.expm1(-hazard))) - (at_risk - died) @ hazard)
    rows = np.hstack([by_piece[:, 1:], hazard[:, None] * data.columns, *moved])
    odds = 1 / np.expm1(np.minimum(hazard, 700.0))  # (1 - p) / p
    # d log L / d H = d (1 - p) / p - (n - d); expected information in H: n (1 - p) / p.
    return _State(value, hazard, rows, died * odds - (at_risk - died), at_risk * odds)


def _refuse_flat(state: _State, data: Rows, to_strata: sparse.csr_array) -> None:
    """Raise where a column follows the pieces, strata and other columns exactly."""
    weighted = state.weight[:, None] * state.rows
    level = to_strata @ (state.weight * state.hazard**2)
    sums = to_strata @ (weighted * state.hazard[:, None])
    squares = weighted.T @ state.rows
    schur = squares - sums.T @ (sums / level[:, None])
    scale = np.sqrt(np.maximum(np.diag(squares), 1e-300))
    values, vectors = np.linalg.eigh(schur / np.outer(scale, scale))
    if len(values) and values[0] < _FLAT:
        share = np.abs(vectors[len(scale) - data.covariates :, 0])
        named = [name for name, part in zip(data.names, share, strict=False) if part > 0.1 * share.max()]
        raise ModelError(
            f"{', '.join(named) or 'a term'} cannot be told apart from the pieces of the baseline",
            where="grouped model",
            mend="leave the term out, or use fewer pieces (pieces= in days)",
        )


def _expected(state: _State, to_strata: sparse.csr_array) -> Bread:
    """Inverse of the expected information."""
    weighted = state.weight[:, None] * state.rows
    level = to_strata @ (state.weight * state.hazard**2)
    across = to_strata @ (weighted * state.hazard[:, None])
    return bread_of(level, across, weighted.T @ state.rows)


def _newton(state: _State, data: Rows, to_strata: sparse.csr_array, score: Floats) -> Floats | None:
    """Newton's step by the observed information; None where it leads down or is dear.

    The second derivatives of H are its parts in each piece again: H twice in the level,
    ``rows`` in the level and another, and in later pieces and columns those below.
    """
    if data.varying is not None:
        return None
    at_risk, died = data.weighted
    odds = state.weight / at_risk
    curved = died * odds * (1 + odds)
    off = curved * state.hazard - state.score
    level = to_strata @ (off * state.hazard)
    if level.min() <= 0:
        return None
    later = state.rows.shape[1] - data.columns.shape[1]
    pulled = state.score @ state.rows[:, :later]
    by_column = (state.score[:, None] * state.rows).T @ data.columns
    common = (curved[:, None] * state.rows).T @ state.rows
    common[:later, :later] -= np.diag(pulled)
    common[:later, later:] -= by_column[:later]
    common[later:, :later] -= by_column[:later].T
    common[later:, later:] -= by_column[later:]
    step = times(bread_of(level, to_strata @ (off[:, None] * state.rows), common), score[None])[0]
    return step if score @ step > 0 else None


def _spread(data: Rows) -> Floats:
    """Range of each covariate within strata, shape (q + r,)."""
    spread = range_within(data.columns, data.stratum)
    if data.varying is None:
        return spread
    return np.concatenate([spread, np.ptp(data.varying, axis=(0, 1))])


def _runaway(later: Floats) -> int | None:
    """Place of a piece whose hazard runs to zero, from the log ratios of the later pieces to the first."""
    alpha = np.concatenate([[0.0], later])
    return int(np.argmin(alpha)) if np.ptp(alpha) > _RUNAWAY else None


def has_deaths(lengths: Floats, died: Floats, piece: int) -> bool:
    """Whether somebody died in an interval that lies in this piece alone: its hazard is not nought."""
    elsewhere = np.delete(lengths, piece, axis=1)
    return bool((died[~elsewhere.any(axis=1)] > 0).any())


def _refuse_runaway(beta: Floats, spread: Floats, error: Floats, names: tuple[str, ...]) -> None:
    gone = runs_away(beta, spread, error)
    if gone.any():
        worst = int(np.argmax(np.where(gone, np.abs(beta) * spread, 0.0)))
        name = names[worst] if worst < len(names) else f"column {worst}"
        raise ModelError(
            f"{name} has no finite estimate: at one of its levels nobody, or everybody, died",
            where="grouped model",
            mend="join that level with another, leave the term out, or read its survival from the curves",
        )


def _solution(
    level: Floats, common: Floats, state: _State, data: Rows, scale: float, steps: int, runaway: int | None
) -> Solution:
    pieces = data.lengths.shape[1]
    alive = data.at_risk - data.died
    ways = gammaln(data.at_risk + 1) - gammaln(data.died + 1) - gammaln(alive + 1)
    constant = float(np.sum(ways if data.weight is None else data.weight * ways))
    return Solution(
        level - np.log(scale),
        common[: pieces - 1],
        common[pieces - 1 :],
        state.value + constant,
        state.hazard,
        state.rows,
        state.score,
        state.weight,
        steps,
        runaway,
    )
