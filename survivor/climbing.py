"""Climbing to a maximum: one rule of steps, of halving them and of stopping, for every likelihood.

A likelihood gives places to stand on, anything with a ``value``, and the step from each.
A step that does not lead up by a part of what its slope promises is halved (Armijo's
rule); a climb ends at the step whose squared length, in units of standard errors, is
next to nothing.

Where the information is a poor guide to the curvature of a likelihood (intervals that
reach over most of a seedling's life, a penalty) scoring creeps. Limited-memory BFGS
mends the inverse information by how the slope fell along the last steps, without a
matrix of its own.

Source: Nocedal and Wright (2006), Numerical Optimization, sections 3.1 and 7.2.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final, Generic, Protocol, TypeVar

import numpy as np
from scipy.linalg import cholesky, solve_triangular
from scipy.optimize import nnls

from survivor.arrays import Flags, Floats

MOST_STEPS: Final = 100
CONVERGED: Final = 1e-18  # squared length of the step in units of standard errors
_MEMORY: Final = 10


class Place(Protocol):
    """Somewhere on the way up."""

    @property
    def value(self) -> float:
        """How high it is: a log-likelihood."""
        ...


P = TypeVar("P", bound=Place)


@dataclass(frozen=True)
class Climbed(Generic[P]):
    """Where a climb ended.

    Attributes
    ----------
    at
        The last place.
    steps
        How many were taken.
    left
        Squared length of the last, in units of standard errors; infinite before the first.
    settled
        Whether the climb ended by itself: that length was next to nothing, or no step was given.
    """

    at: P
    steps: int
    left: float
    settled: bool


@dataclass(frozen=True)
class Halving:
    """When a part of a step is taken.

    Attributes
    ----------
    share, slack
        A part leads up when it gains this share of its slope, less this share of the height:
        rounding.
    least
        A part below this is taken wherever it leads.
    """

    share: float = 0.0
    slack: float = 1e-10
    least: float = 1e-8


_PLAIN: Final = Halving()


def climb(
    at: P,
    step: Callable[[P], tuple[Floats, float] | None],
    reach: Callable[[P, Floats, float], P],
    *,
    most: int = MOST_STEPS,
    converged: float = CONVERGED,
    halving: Halving = _PLAIN,
) -> Climbed[P]:
    """Step up until steps are next to nothing.

    Parameters
    ----------
    at
        Where to start.
    step
        Gives the step from a place and its squared length in units of standard errors (the
        slope along it), or None to stop there; raises where there is no maximum.
    reach
        The place that a part of a step leads to.
    most, converged
        Number of steps, and squared length of one, at which to stop.
    halving
        Which part of a step is taken.
    """
    left = np.inf
    for number in range(most):
        found = step(at)
        if found is None:
            return Climbed(at, number, left, True)
        move, gain = found
        part, at = halved(at.value, gain, partial(reach, at, move), halving)
        left = abs(gain) * part
        if left < converged:
            return Climbed(at, number + 1, left, True)
    return Climbed(at, most, left, False)


def halved(
    value: float,
    gain: float,
    reach: Callable[[float], P],
    halving: Halving = _PLAIN,
    part: float = 1.0,
) -> tuple[float, P]:
    """Halve a step until it leads up.

    Parameters
    ----------
    value
        How high the climb stands.
    gain
        Slope along the whole step.
    reach
        The place that a part of the step leads to.
    halving
        Which part is taken.
    part
        The first to be tried.

    Returns
    -------
    part, place
    """
    while True:
        place = reach(part)
        up = value + halving.share * part * gain - halving.slack * abs(value)
        if part < halving.least or place.value >= up:
            return part, place
        part /= 2


class Curvature:
    """What the last steps of a climb taught of its curvature."""

    def __init__(self) -> None:
        self._steps: tuple[tuple[Floats, Floats], ...] = ()  # how parameters moved, how the slope fell

    def learn(self, moved: Floats, fell: Floats) -> None:
        """Add a step; one along which the slope rose teaches nothing and is left out."""
        if float(fell @ moved) > 1e-8 * float(np.linalg.norm(fell) * np.linalg.norm(moved)):
            self._steps = (*self._steps[1 - _MEMORY :], (moved, fell))

    def inverse_times(self, inverse: Callable[[Floats], Sequence[Floats]], rows: Floats) -> Floats:
        """Rows (m, p) times the inverse curvature.

        ``inverse`` gives rows times the inverse information, in parts that stand side by side.
        """
        found, shares = rows, []
        for moved, fell in reversed(self._steps):
            share = found @ moved / (fell @ moved)
            found = found - share[:, None] * fell
            shares.append(share)
        found = np.hstack(inverse(found))
        for (moved, fell), share in zip(self._steps, reversed(shares), strict=True):
            found = found + (share - found @ fell / (fell @ moved))[:, None] * moved
        return found


def peaks(slope: Floats, above: float) -> Flags:
    """Whether each slope is above a value and at least those beside it, shape (n,)."""
    padded = np.concatenate([[-np.inf], slope, [-np.inf]])
    return np.asarray(slope > above) & (slope >= padded[:-2]) & (slope >= padded[2:])


def never_below_nought(now: Floats, slope: Floats, curvature: Floats, ridge: float) -> Floats:
    """Newton's step from ``now`` that keeps all of it at zero or more.

    A pull of ``ridge`` towards where it stands moves no maximum and settles what the data leave
    open. Source: Wang (2008), Computational Statistics and Data Analysis 52, 2388-2402.
    """
    curvature = curvature + ridge * np.eye(len(now))
    root = cholesky(curvature)
    aim = solve_triangular(root, slope + curvature @ now, trans="T")
    return np.asarray(nnls(root, aim, maxiter=30 * len(now))[0] - now, dtype=np.float64)
