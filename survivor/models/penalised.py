"""Maximum of a penalised likelihood, and limits from its profile.

A quantity's profile is the largest penalised likelihood at each of its values. Its
limits are the values at which that lies a stated amount below the maximum: they need
not be symmetric, and where an estimate is finite only through the penalty limits from
a standard error would mislead (Heinze and Schemper 2002, Statistics in Medicine 21,
2409-2419). Limits are found for any smooth quantity, a coefficient or an average of
survival, by Newton steps on the root of twice the fall (Venzon and Moolgavkar 1988,
Applied Statistics 37, 87-94).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from survivor.arrays import Floats
from survivor.climbing import CONVERGED, Curvature, Halving, halved
from survivor.errors import ModelError
from survivor.models.jeffreys import Jeffreys, Point

# Value of a quantity at some parameters and its derivative in them.
Quantity = Callable[[Floats], tuple[float, Floats]]

_STEPS = 200
_LONGEST = 4.0  # a step moves no predictor further than this by one parameter
_CONVERGED_HELD = 1e-13  # ends a climb where quantities are held: only the height is read then
_ON_TARGET = 1e-9  # how near a held quantity must be to its target
_ROOT = 1e-7  # how near the root of twice the fall must be to what is allowed
_SEARCH = 60
_LEAST = 1e-10  # part of a step
_ABSURD = 1e50  # no slope, multiplier or variance is so large but where a quantity ends and nothing settles
_FARTHEST = 15.0  # a quantity on a log scale beyond this has no limit on that side


@dataclass(frozen=True)
class Maximum:
    """Where a penalised likelihood is largest, with ``multipliers`` of the quantities held."""

    parameters: Floats
    point: Point
    multipliers: Floats


def maximise(
    likelihood: Jeffreys, start: Floats, held: Sequence[Quantity] = (), targets: Sequence[float] = ()
) -> Maximum:
    """Climb to the maximum, with some quantities held at targets.

    Steps are Fisher's scoring with the penalised score and held quantities made
    linear; curvature that this leaves out is learnt from the steps on the Lagrangian
    (Nocedal and Wright 2006, Numerical Optimization, section 18.3).

    Raises
    ------
    ModelError
        When the information is singular (a term cannot be distinguished from the pieces
        of the baseline) or the steps do not settle.
    """
    point = likelihood.at(start)
    if point is None:
        raise _flat()
    target = np.array(targets, dtype=float)
    now = _Stand(start, point, *_read(held, start), point.value)
    reach = np.ones(len(start))
    columns = likelihood.data.columns
    reach[len(start) - columns.shape[1] :] = np.ptp(columns, axis=0)
    converged = _CONVERGED_HELD if len(target) else CONVERGED
    curvature = Curvature()
    weight = 0.0  # of the distance from the targets, in what each step must raise

    def stand(start: Floats, step: Floats, part: float) -> _Stand:
        parameters = start + part * step
        point = likelihood.at(parameters)
        if point is None:
            return replace(now, value=-np.inf)
        values, slopes = _read(held, parameters)
        height = point.value - weight * float(np.abs(target - values).sum())
        return _Stand(parameters, point, values, slopes, height if _sane(point, slopes) else -np.inf)

    for _ in range(_STEPS):
        gradient, slopes, away = now.point.gradient, now.slopes, target - now.held
        pulled = curvature.inverse_times(now.point.bread.times, np.vstack([gradient, *slopes]))
        try:
            multipliers = np.linalg.solve(slopes @ pulled[1:].T, slopes @ pulled[0] - away)
        except np.linalg.LinAlgError as fault:  # a quantity at its end, which no parameter moves any more
            raise _unsettled() from fault
        if not np.abs(multipliers).max(initial=0.0) < _ABSURD:
            raise _unsettled()
        step = pulled[0] - multipliers @ pulled[1:]
        left = gradient - multipliers @ slopes
        on_target = bool(np.all(np.abs(away) <= _ON_TARGET * (1 + np.abs(target))))
        if on_target and float(left @ step) < converged:
            return Maximum(now.parameters, now.point, multipliers)
        weight = max(weight, 2 * float(np.abs(multipliers).max(initial=0.0)))
        missed = weight * float(np.abs(away).sum())
        # Where nearly all is settled the information is slight and a step can be far too long.
        longest = float((np.abs(step) * reach).max(initial=0.0)) / _LONGEST
        part, trial = halved(
            now.point.value - missed,
            float(gradient @ step) + missed,
            partial(stand, now.parameters, step),
            Halving(share=1e-4, slack=1e-11, least=_LEAST),
            part=1.0 / max(1.0, longest),
        )
        if part < _LEAST:
            raise _unsettled()
        curvature.learn(
            trial.parameters - now.parameters, left - (trial.point.gradient - multipliers @ trial.slopes)
        )
        now = trial
    raise _unsettled()


@dataclass(frozen=True)
class _Stand:
    """Parameters with the likelihood there, the held quantities and their slopes, and what is climbed."""

    parameters: Floats
    point: Point
    held: Floats
    slopes: Floats
    value: float


def _sane(point: Point, slopes: Floats) -> bool:
    """Whether there is still something to climb by: past it products of such numbers overflow."""
    sizes = (slopes, point.bread.common, 1 / point.bread.level)
    return max(float(np.abs(each).max(initial=0.0)) for each in sizes) < _ABSURD


def _flat() -> ModelError:
    return ModelError(
        "a term cannot be distinguished from the pieces of the baseline",
        where="penalised model",
        mend="leave the term out, or use fewer pieces (pieces= in days)",
    )


def _unsettled() -> ModelError:
    return ModelError(
        "the penalised fit did not settle", where="penalised model", mend="use fewer terms or pieces"
    )


def _read(held: Sequence[Quantity], parameters: Floats) -> tuple[Floats, Floats]:
    """Values (k,) and derivatives (k, p) of the held quantities."""
    pairs = [quantity(parameters) for quantity in held]
    values = np.array([value for value, _ in pairs], dtype=float)
    slopes = np.array([slope for _, slope in pairs], dtype=float).reshape(len(pairs), len(parameters))
    return values, slopes


def coefficient(place: int, size: int, scale: float = 1.0) -> Quantity:
    """One of ``size`` parameters as a quantity, times ``scale``: the range of its column."""
    slope = np.zeros(size)
    slope[place] = scale
    return lambda parameters: (scale * float(parameters[place]), slope)


@dataclass(frozen=True)
class Profile:
    """Profiles of quantities about one maximum.

    ``allowed`` is how far below the maximum the limits lie, in log-likelihood.
    """

    likelihood: Jeffreys
    best: Maximum
    allowed: float

    def fall(self, held: Sequence[Quantity], targets: Sequence[float]) -> float:
        """How far below the maximum it is with quantities held at targets."""
        constrained = maximise(self.likelihood, self.best.parameters, held, targets)
        return max(self.best.point.value - constrained.point.value, 0.0)

    def limits(self, quantity: Quantity) -> tuple[float, float]:
        """Values at which the profile has fallen by ``allowed``; infinite where it never does."""
        return self._limit(quantity, -1.0), self._limit(quantity, 1.0)

    def std_error(self, quantity: Quantity) -> float:
        """Give the standard error by the information at the maximum."""
        _, slope = quantity(self.best.parameters)
        return float(np.sqrt(max(np.hstack(self.best.point.bread.times(slope[None]))[0] @ slope, 0.0)))

    def _limit(self, quantity: Quantity, side: float) -> float:
        middle, _ = quantity(self.best.parameters)
        goal = float(np.sqrt(2 * self.allowed))
        near = 0.0  # a distance at which the profile has not fallen far enough
        far = np.inf  # one at which it has fallen too far, or cannot be had
        aim = goal * self.std_error(quantity)
        if not aim > 0:
            return middle
        last = self.best
        for _ in range(_SEARCH):
            try:
                constrained = maximise(self.likelihood, last.parameters, [quantity], [middle + side * aim])
            except ModelError:
                far, aim = aim, (near + aim) / 2
                continue
            fall = max(self.best.point.value - constrained.point.value, 0.0)
            root = float(np.sqrt(2 * fall))
            if abs(root - goal) < _ROOT * goal or far - near < _ROOT * near:
                return middle + side * aim
            slope = -side * float(constrained.multipliers[0]) / max(root, 1e-12)
            if root < goal:
                near, last = aim, constrained
                if abs(middle + side * aim) > _FARTHEST:
                    return side * np.inf
            else:
                far = aim
            step = (goal - root) / slope if slope > 0 else np.inf
            aim = aim + step
            if not near < aim < far:
                aim = 2 * max(near, 1e-6) if np.isinf(far) else (near + far) / 2
            aim = min(aim, 4 * max(near, goal * self.std_error(quantity)))
        raise _unsettled()
