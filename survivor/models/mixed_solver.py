"""Maximise the marginal log-likelihood of a mixed model.

Scoring steps near the modes bring the parameters close; then Newton steps with the
observed information, and the gradient of the approximated likelihood itself, end
where that gradient vanishes. A standard deviation that shrinks to nothing is held
at zero, and let go again if the likelihood rises from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np

from survivor.arrays import Flags, Floats
from survivor.climbing import CONVERGED, halved
from survivor.errors import ModelError
from survivor.models.clusters import Bread
from survivor.models.likelihood import running_to_zero
from survivor.models.mixed_likelihood import Evaluation, Likelihood, MixedRows, Parameters, likelihood
from survivor.models.quadrature import Nodes, hermite
from survivor.models.separation import FAR, diverges, errors_from, no_finite_estimate

_STEPS = 200
_NEAR = 1e-8  # squared length of a step from which the observed information is worth its cost
PROFILED = 1e-12  # squared length of the last step where a maximum is compared with others
_SLOW = 0.1  # a step that leaves more than this of the squared distance is slow
_SAME_PLACE = 1e-10  # the information is computed anew when the estimate has moved further
_NOTHING = 1e-3  # a standard deviation on the log hazard or odds below this is none
_LEAST_EIGENVALUE = 0.2
_PATIENCE = 3  # slow steps in a row before the observed information is computed
_WILD = 10.0  # no plots differ by this standard deviation


class PieceDiverges(ModelError):
    """The hazard of one piece of the baseline runs to zero: it has to be joined to a neighbour."""

    def __init__(self, piece: int) -> None:
        super().__init__(
            f"the hazard of piece {piece + 1} of the baseline runs to zero",
            where="mixed model",
            mend="join it to a neighbour",
        )
        self.piece = piece


@dataclass(frozen=True)
class Solution:
    """A fitted mixed model on arrays.

    Attributes
    ----------
    at
        Parameters in the likelihood's own order.
    log_likelihood
        With the binomial constant.
    free
        Which standard deviations were estimated and are not at zero, shape (L,).
    at_zero
        Which were estimated as zero.
    bread
        Inverse observed information over levels, common parameters and free standard
        deviations; None where it was not asked for.
    border, pieces, strata
        How the parameters lie: see ``level``, ``alpha``, ``beta``.
    adjustment
        What a restricted likelihood adds to the log-likelihood; 0 for a full one.
    ready, scored
        The likelihood there and its approximate information, where known, for those who go on from it.
    """

    at: Parameters
    log_likelihood: float
    free: Flags
    at_zero: Flags
    bread: Bread | None
    border: int
    pieces: int
    strata: int
    steps: int
    adjustment: float = 0.0
    ready: Evaluation | None = None
    scored: Bread | None = None

    @property
    def level(self) -> Floats:
        """Level of each stratum, shape (S,)."""
        first = self.pieces - 1
        return self.at.level if self.border else self.at.common[first : first + self.strata]

    @property
    def alpha(self) -> Floats:
        """Log ratio of the later pieces to the first, shape (K - 1,)."""
        return self.at.common[: self.pieces - 1]

    @property
    def beta(self) -> Floats:
        """Coefficients, shape (q,)."""
        return self.at.common[self.offset :]

    @property
    def offset(self) -> int:
        """Where the coefficients start in the common parameters."""
        return self.pieces - 1 + (0 if self.border else self.strata)

    @property
    def sd(self) -> Floats:
        """Standard deviation of each level of effects, outermost first, shape (L,)."""
        return self.at.sd

    def arrange(self, **parts: Floats) -> Floats:
        """Contrasts over all parameters in the order of ``bread``, shape (m, parameters).

        ``parts``: those of ``level``, ``alpha``, ``beta``, ``sd``, shape (m, their number); zero elsewhere.
        """
        rows = len(next(iter(parts.values())))
        order = ("level", "alpha", "beta", "sd") if self.border else ("alpha", "level", "beta", "sd")
        all_parts = [parts.get(name, np.zeros((rows, len(getattr(self, name))))) for name in order]
        return np.hstack([*all_parts[:3], all_parts[3][:, self.free]])

    @property
    def places(self) -> slice:
        """Where the coefficients stand in ``arrange``."""
        first = self.border + self.offset
        return slice(first, first + len(self.beta))

    def covariance_times(self, contrasts: Floats) -> Floats:
        """Contrasts times the covariance of all parameters, shape (m, parameters)."""
        if self.bread is None:
            raise ModelError("no information was computed", where="mixed model", mend="fit with it")
        return np.hstack(self.bread.times(np.atleast_2d(contrasts)))

    def covariance_of(self, contrasts: Floats) -> Floats:
        """Covariance of contrasts in the order of ``bread``, shape (m, m)."""
        covariance = self.covariance_times(contrasts) @ np.atleast_2d(contrasts).T
        return np.asarray((covariance + covariance.T) / 2)


def solve_mixed(
    rows: MixedRows,
    points: Sequence[int],
    *,
    fixed_sd: Sequence[float | None] | None = None,
    only_to: float | None = None,
) -> Solution:
    """Fit a mixed model to arrays.

    Parameters
    ----------
    rows
        The data.
    points
        Quadrature points of each level of effects, outermost first; 1 is Laplace.
    fixed_sd
        For each level a standard deviation to hold, or None to estimate it.
    only_to
        As for `solve_from`.

    Raises
    ------
    ModelError
        When a term or a standard deviation has no finite estimate, or the fit does
        not settle.
    """
    likely = likelihood(rows)
    levels = likely.levels
    nodes = [hermite(count) for count in points]
    held = [None] * levels if fixed_sd is None else list(fixed_sd)
    free = np.array([value is None for value in held])
    fixed = np.array([0.0 if value is None else float(value) for value in held])
    plain = [hermite(1)] * levels
    start = _Climb(likely, plain, np.zeros(levels, dtype=bool))
    first, ready = start.run(_beginning(rows, likely, fixed), _NEAR)
    if free.any():
        first = replace(first, sd=np.where(free, _first_sd(ready), fixed))
    return solve_from(likely, nodes, first, free, only_to=only_to)


def solve_from(
    likely: Likelihood,
    nodes: Sequence[Nodes],
    start: Parameters,
    free: Flags,
    *,
    only_to: float | None = None,
    near: Evaluation | None = None,
) -> Solution:
    """Fit from given parameters.

    Parameters
    ----------
    likely, nodes
        The likelihood, and the quadrature rule of each level of effects.
    start, free
        Where to start, and which standard deviations are estimated.
    only_to
        Squared length of the last step where only the maximum is wanted; None: its information too.
    near
        The likelihood at parameters near the start, whose modes are started from.
    """
    climb = _Climb(likely, nodes, free.copy())
    climb.informed = only_to is None
    goal = CONVERGED if only_to is None else only_to
    at, ready = climb.run(start, goal, near)
    for level in np.flatnonzero(free & ~climb.free):
        # A minimum at zero, not a maximum: the likelihood rises when the effect is let in.
        trial = replace(at, sd=np.where(np.arange(len(at.sd)) == level, _NOTHING, at.sd))
        if likely.evaluate(trial, nodes, ready.peaks).sd[level] > 0:
            climb.free[level] = True
            trial = replace(at, sd=np.where(np.arange(len(at.sd)) == level, 20 * _NOTHING, at.sd))
            at, ready = climb.run(trial, goal)
    bread = climb.bread_at(at, ready) if only_to is None else None
    return Solution(
        at,
        ready.value + likely.constant,
        climb.free,
        free & ~climb.free,
        bread,
        likely.border,
        likely.pieces,
        likely.strata,
        climb.steps,
        ready=ready,
        scored=climb.scored,
    )


def _beginning(rows: MixedRows, likely: Likelihood, sd: Floats) -> Parameters:
    """Levels from the crude rates of each stratum, everything else zero."""
    level, alpha, beta = np.split(rows.start(), [rows.strata, rows.strata + likely.pieces - 1])
    return likely.parameters(level, alpha, beta, sd)


def _first_sd(ready: Evaluation) -> Floats:
    """First standard deviations: one scoring step in each variance from zero."""
    above: Floats = np.zeros(1)
    below: Floats = np.zeros(1)
    for peak in ready.peaks:
        tree = peak.curvature.tree
        pulls = np.array([np.sum(tree.from_rows(k, peak.slopes[0]) ** 2) for k in range(tree.depth)])
        weights = [tree.from_rows(k, -peak.slopes[1]) for k in range(tree.depth)]
        above = above + pulls - np.array([weight.sum() for weight in weights])
        below = below + np.array([np.sum(weight**2) for weight in weights])
    return np.sqrt(np.clip(above / np.maximum(below, 1e-300), 0.1**2, 1.0))


def _variance_step(variance: Floats, score: Floats, information: Floats) -> Floats:
    """Step of the variances, uphill, in which each sd at most halves or doubles."""
    low, high = -0.75 * variance, 3 * variance
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    if np.linalg.eigvalsh(information / np.outer(scale, scale))[0] > _LEAST_EIGENVALUE:
        step: Floats = np.clip(np.linalg.solve(information, score), low, high)
        if score @ step > 0 or not score.any():
            return step
    # Pairs of groups were left out of the information; one variance at a time is surely uphill.
    return np.asarray(np.clip(score / np.maximum(information.sum(axis=1), 1e-300), low, high))


class _Stand(NamedTuple):
    at: Parameters
    ready: Evaluation

    @property
    def value(self) -> float:
        return self.ready.value


class _Climb:
    """One climb to the maximum; counts its steps and remembers the information it met."""

    def __init__(self, likely: Likelihood, nodes: Sequence[Nodes], free: Flags) -> None:
        self.likely, self.nodes, self.free = likely, nodes, free
        self.steps, self.informed = 0, False
        self.scored: Bread | None = None  # approximate information where the climb stands, where it was made
        self._bread: Bread | None = None
        self._moved = 0.0  # squared distance from where the information was computed

    def run(
        self, at: Parameters, goal: float, near: Evaluation | None = None
    ) -> tuple[Parameters, Evaluation]:
        """Climb until the squared step, in standard errors, is below ``goal``."""
        ready = self.likely.evaluate(at, self.nodes, None if near is None else near.peaks)
        self._bread = None
        before, slow = np.inf, 0
        for _ in range(_STEPS):
            step, gain = self._step(at, ready)
            if gain < goal:
                return at, ready
            _, (at, ready) = halved(ready.value, gain, partial(self._reach, at, ready, step))
            self.steps += 1
            self._moved += gain
            self._refuse_divergence(at, ready)
            gone = self.free & (at.sd < _NOTHING)
            if gone.any():
                self.free = self.free & ~gone
                at = replace(at, sd=np.where(gone, 0.0, at.sd))
                ready = self.likely.evaluate(at, self.nodes, ready.peaks)
                self._bread, before = None, np.inf
                continue
            slow = slow + 1 if gain > _SLOW * before and gain < 1.0 else 0
            close = self.informed and gain < _NEAR and self._bread is None
            if close or slow >= _PATIENCE or (slow and self._bread is not None):
                self._bread, slow = self._observed(at, ready), 0
            before = gain
        raise ModelError(
            f"the fit did not settle in {_STEPS} steps",
            where="mixed model",
            mend="use fewer terms, pieces or random effects",
        )

    def bread_at(self, at: Parameters, ready: Evaluation) -> Bread:
        """Inverse observed information at the maximum."""
        if self._bread is None or self._moved > _SAME_PLACE:
            self._bread = self._observed(at, ready)
        if self._bread is None:
            raise ModelError(
                "the likelihood has no proper maximum: its information is not positive there",
                where="mixed model",
                mend="use fewer and longer pieces (pieces=), terms or random effects",
            )
        return self._bread

    def _observed(self, at: Parameters, ready: Evaluation) -> Bread | None:
        self._moved = 0.0
        return self.likely.information(at, self.nodes, self.free, ready.peaks).inverse()

    def _step(self, at: Parameters, ready: Evaluation) -> tuple[Parameters, float]:
        sds = np.flatnonzero(self.free)
        sd_step = np.zeros(len(at.sd))
        self.scored = None
        if self._bread is not None:
            gradient = np.concatenate([ready.level, ready.common, ready.sd[sds]])
            level, inner = (part[0] for part in self._bread.times(gradient[None]))
            sd_step[sds] = inner[len(at.common) :]
            step = Parameters(level, inner[: len(at.common)], sd_step)
            return step, float(gradient @ np.concatenate([level, inner]))
        try:
            bread, variances = self.likely.scoring(at, ready.peaks)
            self.scored = bread
        except np.linalg.LinAlgError as problem:
            raise ModelError(
                "terms, levels and pieces of the baseline cannot all be told apart",
                where="mixed model",
                mend="use fewer terms, or fewer and longer pieces",
            ) from problem
        gradient = np.concatenate([ready.level, ready.common])
        level, common = (part[0] for part in bread.times(gradient[None]))
        gain = float(gradient @ np.concatenate([level, common]))
        if len(sds):
            variance = at.sd[sds] ** 2
            score = ready.sd[sds] / (2 * at.sd[sds])
            change = _variance_step(variance, score, variances[np.ix_(sds, sds)])
            sd_step[sds] = np.sqrt(variance + change) - at.sd[sds]
            gain += float(score @ change)
        return Parameters(level, common, sd_step), gain

    def _reach(self, at: Parameters, ready: Evaluation, step: Parameters, part: float) -> _Stand:
        moved = at.moved(part * step.level, part * step.common, part * step.sd)
        # The likelihood is even in every standard deviation.
        moved = replace(moved, sd=np.abs(moved.sd))
        return _Stand(moved, self.likely.evaluate(moved, self.nodes, ready.peaks))

    def _refuse_divergence(self, at: Parameters, ready: Evaluation) -> None:
        if self.free.any() and at.sd[self.free].max() > _WILD:
            raise ModelError(
                "a random effect has no finite standard deviation: groups are all dead or all alive",
                where="mixed model",
                mend="leave that effect out, or use coarser groups",
            )
        alpha, others = np.split(at.common, [self.likely.pieces - 1])
        piece = running_to_zero(alpha, others, self.likely.middle)
        if piece is not None:
            raise PieceDiverges(piece)
        first = len(at.common) - len(self.likely.names)
        reach = np.abs(at.common[first:]) * self.likely.scale[first:]
        if not reach.max(initial=0.0) > FAR:
            return
        try:
            error = errors_from(self.likely.scoring(at, ready.peaks)[0].common)[first:]
        except np.linalg.LinAlgError:
            error = np.full(len(reach), np.inf)
        gone = diverges(at.common[first:], self.likely.scale[first:], error)
        if gone.any():
            name = self.likely.names[int(np.argmax(np.where(gone, reach, 0.0)))]
            raise no_finite_estimate([name], "mixed model")
