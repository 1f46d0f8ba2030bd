"""Turnbull's estimate: the survival curve of deaths known only to lie in (L, R].

Deaths between visits have no exact day. The nonparametric maximum likelihood puts
mass on innermost intervals only, each from some L to the next R with nothing between;
inside one the curve is not determined. The likelihood is concave, so one condition
certifies the maximum: the gradient at every innermost interval is at most 1, where 1
is its value on those that hold mass. We iterate until the largest is within 1e-8.

References: Turnbull 1976 (Journal of the Royal Statistical Society B 38, 290-295);
Gentleman and Geyer 1994 (Biometrika 81, 618-623) for the certificate; Wang 2008
(Computational Statistics and Data Analysis 52, 2388-2402) for Newton steps under
non-negativity.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from survivor.arrays import Codes, Floats
from survivor.climbing import Halving, halved, never_below_nought, peaks
from survivor.errors import CurveError

CERTIFIED: Final = 1e-8  # how far above 1 the largest gradient may stay
_EM_FIRST: Final = 40
_MOST_STEPS: Final = 500
_DUST: Final = 1e-13  # mass below this is none


@dataclass(frozen=True)
class Npmle:
    """A certified maximum.

    Attributes
    ----------
    left, right
        Innermost intervals (left, right] in days, shape (J,); the last right may be inf.
    mass
        Probability of dying in each, summing to 1.
    largest_gradient
        At most 1 + 1e-8: the certificate.
    """

    left: Floats
    right: Floats
    mass: Floats
    largest_gradient: float

    def survival(self, days: Floats) -> Floats:
        """Survival at ``days``; inside an innermost interval, its value at the left end."""
        gone = np.concatenate([[0.0], np.cumsum(self.mass)])
        alive: Floats = 1 - gone[np.searchsorted(self.right, days, side="right")]
        return snapped(alive)


def snapped(survival: Floats) -> Floats:
    """Survival with rounding dust at 0 and 1 removed."""
    return np.where(survival < 1e-10, 0.0, np.where(survival > 1 - 1e-10, 1.0, survival))


def innermost(left: Floats, right: Floats) -> tuple[Floats, Floats]:
    """Intervals (q, p] from a left end to the next right end with no end between.

    Left ends are open and right ends closed, so at equal days a right end comes first:
    (0, 5] and (5, 9] share no day.
    """
    ends = np.concatenate([np.unique(right), np.unique(left)])
    is_left = np.concatenate([np.zeros(len(np.unique(right)), bool), np.ones(len(np.unique(left)), bool)])
    order = np.lexsort((is_left, ends))
    ends, is_left = ends[order], is_left[order]
    opening = np.flatnonzero(is_left[:-1] & ~is_left[1:])
    return ends[opening], ends[opening + 1]


@dataclass(frozen=True)
class Problem:
    """Observations as runs of innermost intervals, equal ones once.

    ``first[i]..last[i]`` are the innermost intervals inside observation i; ``row``
    maps what was given to these.
    """

    left: Floats
    right: Floats
    first: Codes
    last: Codes
    row: Codes


def set_up(left: Floats, right: Floats) -> Problem:
    """Find innermost intervals and code observations (left, right] by them.

    Raises
    ------
    CurveError
        When an interval is empty or not in order.
    """
    if len(left) == 0 or not np.all(left < right) or np.any(np.isinf(left)):
        raise CurveError(
            "an interval of death does not end after it begins",
            mend="give (L, R] with L before R; R infinite where the seedling was last seen alive",
        )
    q, p = innermost(left, right)
    first = np.searchsorted(q, left, side="left")
    last = np.searchsorted(p, right, side="right") - 1
    key, row = np.unique(first * len(q) + last, return_inverse=True)
    return Problem(q, p, key // len(q), key % len(q), row)


def solve(problem: Problem, weight: Floats, near: Floats | None = None) -> Npmle:
    """Maximise the likelihood of ``weight`` seedlings on each distinct observation.

    Parameters
    ----------
    problem
        Made by :func:`set_up`.
    weight
        One entry per distinct observation; 0 leaves it out.
    near
        Mass to start from that leaves no observation without any, such as that of the
        whole sample when a plot is left out; where the data leave a choice, the answer
        stays close to it.

    Raises
    ------
    CurveError
        When the maximum could not be certified.
    """
    used = weight > 0
    first, last, weight = problem.first[used], problem.last[used], weight[used]
    count, total = len(problem.left), float(weight.sum())
    mass = np.full(count, 1 / count) if near is None else near
    for _ in range(_EM_FIRST if near is None else 0):
        mass = mass * _gradient(first, last, weight / _inside(first, last, mass), count) / total
        mass /= mass.sum()
    for _ in range(_MOST_STEPS):
        gradient = _gradient(first, last, weight / _inside(first, last, mass), count) / total
        if gradient.max() <= 1 + CERTIFIED:
            return Npmle(problem.left, problem.right, mass, float(gradient.max()))
        mass = _newton(first, last, weight, mass, gradient)
    raise CurveError(
        f"Turnbull's estimate was not certified: the largest gradient is {gradient.max():.9f}, not 1",
        mend='look for very uneven counts; estimator="kaplan-meier" reads the same intervals at visit dates',
    )


def _inside(first: Codes, last: Codes, mass: Floats) -> Floats:
    gone = np.concatenate([[0.0], np.cumsum(mass)])
    return np.asarray(gone[last + 1] - gone[first])


def _gradient(first: Codes, last: Codes, share: Floats, count: int) -> Floats:
    steps = np.bincount(first, share, count + 1) - np.bincount(last + 1, share, count + 1)
    return np.cumsum(steps[:-1])


def _curvature(first: Codes, last: Codes, share: Floats, count: int) -> Floats:
    """Sum of share over the square block first..last x first..last of each observation."""
    wide = count + 1
    corners = np.zeros(wide * wide)
    for rows, columns, sign in (
        (first, first, 1),
        (first, last + 1, -1),
        (last + 1, first, -1),
        (last + 1, last + 1, 1),
    ):
        corners += np.bincount(rows * wide + columns, sign * share, wide * wide)
    return corners.reshape(wide, wide).cumsum(axis=0).cumsum(axis=1)[:-1, :-1]


def _newton(first: Codes, last: Codes, weight: Floats, mass: Floats, gradient: Floats) -> Floats:
    """Take one Newton step with mass kept at 0 or more, halved until the likelihood rises."""
    total = float(weight.sum())
    chosen = np.flatnonzero((mass > _DUST) | peaks(gradient, 1.0))
    held = mass[chosen]
    held = held / held.sum()
    a, b = np.searchsorted(chosen, first, side="left"), np.searchsorted(chosen, last, side="right") - 1
    inside = _inside(a, b, held)
    slope = _gradient(a, b, weight / inside, len(chosen))
    curvature = _curvature(a, b, weight / inside**2, len(chosen))
    move = never_below_nought(held, slope - total, curvature, 1e-9 * np.trace(curvature))

    def reach(part: float) -> _Tried:
        tried = np.maximum(held + part * move, 0.0)
        inside = _inside(a, b, tried)
        if not inside.min() > 0:
            return _Tried(tried, -np.inf)
        return _Tried(tried, float((weight * np.log(inside)).sum()) - total * float(tried.sum()))

    start = float((weight * np.log(inside)).sum()) - total
    rise = float((slope - total) @ move)
    _, found = halved(start, rise, reach, Halving(share=0.3, slack=1e-13, least=1e-12))
    out = np.zeros_like(mass)
    out[chosen] = found.mass / found.mass.sum()
    return out


@dataclass(frozen=True)
class _Tried:
    """Mass that need not sum to 1, and the log-likelihood less what it lies above 1."""

    mass: Floats
    value: float


def survival_variance(problem: Problem, weight: Floats, fitted: Npmle, days: Floats) -> Floats:
    """Variance of survival at ``days`` with seedlings independent.

    From the observed information of the masses that are not 0, which sum to 1
    (Turnbull 1976). With visits shared by all it is Greenwood's.
    """
    used = weight > 0
    chosen = np.flatnonzero(fitted.mass > 1e-9)
    a = np.searchsorted(chosen, problem.first[used], side="left")
    b = np.searchsorted(chosen, problem.last[used], side="right") - 1
    held = fitted.mass[chosen]
    curvature = _curvature(a, b, weight[used] / _inside(a, b, held) ** 2, len(chosen))
    size = len(chosen)
    bordered = np.ones((size + 1, size + 1))
    bordered[:size, :size] = curvature
    bordered[size, size] = 0.0
    covariance = np.linalg.pinv(bordered)[:size, :size]
    later = (fitted.right[chosen][None, :] > days[:, None]).astype(float)
    return np.asarray(np.maximum(((later @ covariance) * later).sum(axis=1), 0.0))


def undetermined(fitted: Iterable[tuple[float, float, float]]) -> tuple[tuple[float, float], ...]:
    """Open intervals inside which the curve falls by an unknown path."""
    return tuple((left, right) for left, right, mass in fitted if mass > 1e-9 and np.isfinite(right))
