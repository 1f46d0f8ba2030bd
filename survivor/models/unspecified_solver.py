"""Proportional hazards with a baseline of jumps on the innermost intervals, at its maximum.

A row of ``n`` seedlings of whom ``d`` died has

    d ~ Binomial(n, 1 - exp(-H)),   H = exp(z theta) (sum of the jumps that it reaches over),

with jumps of zero or more and ``z`` the strata after the first and the covariates.
For given ``theta`` the likelihood is concave in the jumps, so one condition certifies
their maximum: nowhere would another jump raise it. They are found by Newton steps kept
at zero or more (Wang 2008, Computational Statistics and Data Analysis 52, 2388-2402),
after a few steps of EM with Poisson counts (Wang, McMahan, Hudgens and Qureshi 2016,
Biometrics 72, 222-231). ``theta`` climbs the profile, whose slope and curvature are
exact with the jumps that are zero held there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from survivor.arrays import Codes, Flags, Floats
from survivor.climbing import Halving, climb, halved, never_below_nought, peaks
from survivor.errors import ModelError
from survivor.models.innermost import Innermost
from survivor.models.separation import FAR, diverges, errors_of

CERTIFIED = 1e-10  # how far above its cost the gain of a jump may stay, in units of the cost
_EM_FIRST = 20
_MOST_STEPS = 300
_CLIMBS = 60
_CLIMBED = 1e-12  # squared length of a step of theta in units of standard errors
_DUST = 1e-12  # a jump below this share of all is none
_LEVEL_DIVERGENT = 16.0  # a level this far from the first is running to infinity, and is held where it is
_LARGEST = 700.0


@dataclass(frozen=True)
class Problem:
    """Rows along J innermost intervals: ``terms`` (n, m) with runs ``first`` to ``last`` and counts.

    The first ``levels`` terms are those of strata.
    """

    terms: Floats
    first: Codes
    last: Codes
    died: Floats
    lived: Floats
    intervals: int
    levels: int

    def inside(self, jumps: Floats) -> Floats:
        """Sum of the jumps that each row reaches over."""
        reached = np.concatenate([[0.0], np.cumsum(jumps)])
        return np.asarray(reached[self.last + 1] - reached[self.first])

    def over(self, shares: Floats) -> Floats:
        """Sum of shares of the rows that reach over each interval."""
        # From the last interval: those of high hazards are the first to go, and taking large numbers away
        # again would leave their rounding behind.
        leave = np.bincount(self.last + 1, shares, self.intervals + 1)
        enter = np.bincount(self.first, shares, self.intervals + 1)
        return np.cumsum((leave - enter)[:0:-1])[::-1]

    def reach(self, chosen: Codes) -> Floats:
        """Whether each row reaches over each of some intervals, shape (n, chosen)."""
        return ((self.first[:, None] <= chosen) & (chosen <= self.last[:, None])).astype(float)


def problem_of(found: Innermost, strata: int, centre: Floats) -> Problem:
    """Arrange rows for the solver, strata 1 to ``strata`` - 1 and the covariates as terms.

    ``centre`` of the covariates is that of all, shape (q,), or of each stratum, shape (strata, q).
    """
    stratum = found.rows.stratum
    levels = (stratum[:, None] == np.arange(1, strata)).astype(float)
    centres = np.broadcast_to(centre, (strata, found.rows.columns.shape[1]))
    terms = np.hstack([levels, found.rows.columns - centres[stratum]])
    died = found.rows.died
    return Problem(
        terms, found.first, found.last, died, found.rows.at_risk - died, len(found.left), strata - 1
    )


@dataclass(frozen=True)
class Jumps:
    """Jumps at their maximum for one theta.

    ``excess`` is the largest gain of a further jump over its cost, in units of the cost
    (the certificate); ``value`` the log-likelihood without the binomial constant.
    """

    size: Floats
    value: float
    excess: float


@dataclass(frozen=True)
class Fitted:
    """A maximum.

    Attributes
    ----------
    theta, jumps
        Shapes (m,) and (J,).
    value
        Log-likelihood without the binomial constant.
    excess
        As in ``Jumps``.
    slope
        Largest slope of the profile in theta, in units of standard errors.
    inverse
        Inverse of the observed information over the jumps that are not zero
        (``held``), then theta.
    held
        Places of those jumps.
    steps
        Of theta.
    divergent
        Places of theta that run to infinity; at the last step these are as good as infinite.
    """

    theta: Floats
    jumps: Floats
    value: float
    excess: float
    slope: float
    inverse: Floats
    held: Codes
    steps: int
    divergent: Codes

    def of_terms(self, count: int) -> Floats:
        """Covariance of the last ``count`` of theta were rows independent."""
        size = len(self.inverse) - count
        return self.inverse[size:, size:]


def best_jumps(problem: Problem, theta: Floats, near: Floats | None = None) -> Jumps:
    """Maximise over the jumps.

    Raises
    ------
    ModelError
        When the maximum could not be certified.
    """
    relative = np.exp(np.clip(problem.terms @ theta, -_LARGEST / 2, _LARGEST / 2))
    cost = problem.over(problem.lived * relative)
    size = near
    if size is None or not (problem.inside(size)[problem.died > 0] > 0).all():
        size = np.full(problem.intervals, problem.died.sum() / max(cost.sum(), 1e-300))
        for _ in range(_EM_FIRST):
            size = _poisson(problem, relative, size)
    for _ in range(_MOST_STEPS):
        gain = problem.over(_scores(problem, relative, size)[0])
        excess = float((gain / cost).max(initial=1.0)) - 1.0
        held = _some(size)
        lack = float(np.abs(gain / cost - 1.0)[held].max(initial=0.0))
        if excess <= CERTIFIED and lack <= 1e3 * CERTIFIED:
            return Jumps(size, _height(problem, relative, size), excess)
        size = _newton(problem, relative, size, gain - cost)
    raise ModelError(
        f"the jumps of the baseline were not certified: a further one would gain {excess:.2g} of its cost",
        where="unspecified baseline",
        mend='use baseline="pieces"',
    )


def _poisson(problem: Problem, relative: Floats, size: Floats) -> Floats:
    """One step of EM: deaths of a row shared out over its intervals by their jumps."""
    hazard = relative * problem.inside(size)
    expected = problem.died * relative / -np.expm1(-np.maximum(hazard, 1e-300))
    exposure = problem.over((problem.died + problem.lived) * relative)
    return size * problem.over(expected) / exposure


def _scores(problem: Problem, relative: Floats, size: Floats) -> tuple[Floats, Floats]:
    """Slope and curvature of each row's deaths in the sum of its jumps."""
    hazard = np.clip(relative * problem.inside(size), 1e-300, _LARGEST)
    odds = 1 / np.expm1(hazard)
    # Of log(1 - exp(-H)): 1 / (exp(H) - 1), and minus exp(H) / (exp(H) - 1)^2.
    return problem.died * odds * relative, problem.died * odds * (1 + odds) * relative**2


def _height(problem: Problem, relative: Floats, size: Floats) -> float:
    hazard = relative * problem.inside(size)
    dead = problem.died > 0
    if (hazard[dead] <= 0).any():
        return -np.inf
    deaths = problem.died[dead] @ np.log(-np.expm1(-hazard[dead]))
    return float(deaths - problem.lived @ hazard)


def _newton(problem: Problem, relative: Floats, size: Floats, slope: Floats) -> Floats:
    """Take one Newton step with jumps kept at zero or more, halved until the likelihood rises."""
    chosen = np.flatnonzero(_some(size) | peaks(slope, 0.0))
    reach = problem.reach(chosen)
    curvature = reach.T @ (_scores(problem, relative, size)[1][:, None] * reach)
    # In units of the curvature of each jump.
    scale = np.sqrt(np.maximum(np.diag(curvature), 1e-300))
    scaled = curvature / np.outer(scale, scale)
    move = never_below_nought(size[chosen] * scale, slope[chosen] / scale, scaled, 1e-9) / scale

    def reached(part: float) -> Jumps:
        tried = np.zeros_like(size)
        tried[chosen] = np.maximum(size[chosen] + part * move, 0.0)
        return Jumps(tried, _height(problem, relative, tried), np.nan)

    start, rise = _height(problem, relative, size), float(slope[chosen] @ move)
    return halved(start, rise, reached, Halving(share=0.1, slack=1e-13, least=1e-18))[1].size


@dataclass(frozen=True)
class _Stand:
    """A theta with its jumps, and what is seen from there."""

    problem: Problem
    theta: Floats
    jumps: Jumps

    @property
    def value(self) -> float:
        return self.jumps.value

    @cached_property
    def profile(self) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats]]:
        return _profile(self.problem, self.theta, self.jumps.size)

    @cached_property
    def spread(self) -> Floats:
        """Range of each term."""
        terms = self.problem.terms
        return np.ptp(terms, axis=0) if len(terms) else np.ones(len(self.theta))

    @cached_property
    def divergent(self) -> tuple[Flags, Flags]:
        """Levels, and other terms, that run to infinity."""
        levels = np.arange(len(self.theta)) < self.problem.levels
        far = np.abs(self.theta) * self.spread > FAR
        terms = np.zeros(len(levels), dtype=bool)
        if far[~levels].any():
            terms = diverges(self.theta, self.spread, errors_of(self.profile[1])) & ~levels
        return levels & (np.abs(self.theta) > _LEVEL_DIVERGENT), terms

    @cached_property
    def step(self) -> tuple[Floats, float]:
        """Step up the profile and the slope along it."""
        slope, curvature, (_, _, common) = self.profile
        # A stratum as good as without hazard is held where it is, while the rest climbs on.
        free = np.flatnonzero(~self.divergent[0])
        both = np.ix_(free, free)
        step = np.zeros(len(self.theta))
        step[free] = _ascent(slope[free], curvature[both], common[both])
        return step, float(slope @ step)

    def moved(self, step: Floats, part: float) -> _Stand:
        theta = self.theta + part * step
        return _Stand(self.problem, theta, best_jumps(self.problem, theta, self.jumps.size))


def maximise_profile(problem: Problem, theta: Floats) -> Fitted:
    """Maximise over theta and the jumps.

    Parameters
    ----------
    problem
        The rows.
    theta
        Where to start; levels are brought near enough to come back.

    Raises
    ------
    ModelError
        When the jumps are not certified, or theta does not settle.
    """
    levels = np.arange(len(theta)) < problem.levels
    theta = np.where(levels, np.clip(theta, -0.75 * _LEVEL_DIVERGENT, 0.75 * _LEVEL_DIVERGENT), theta)

    def step(now: _Stand) -> tuple[Floats, float] | None:
        move, length = now.step
        if length < _CLIMBED or now.divergent[1].any():
            return None
        longest = float((np.abs(move) * now.spread).max(initial=1e-300))
        return move * min(1.0, 4.0 / longest), length

    climbed = climb(
        _Stand(problem, theta, best_jumps(problem, theta)),
        step,
        _Stand.moved,
        most=_CLIMBS,
        converged=0.0,
        halving=Halving(share=1e-4, slack=1e-12, least=1e-6),
    )
    if not climbed.settled:
        raise ModelError(
            "the terms did not settle",
            where="unspecified baseline",
            mend='use fewer terms, or baseline="pieces"',
        )
    found = climbed.at
    _, curvature, parts = found.profile
    return Fitted(
        found.theta,
        found.jumps.size,
        found.value,
        found.jumps.excess,
        float(np.sqrt(max(found.step[1], 0.0))),
        _inverse(curvature, parts),
        np.flatnonzero(_some(found.jumps.size)).astype(np.intp),
        climbed.steps,
        np.flatnonzero(found.divergent[0] | found.divergent[1]).astype(np.intp),
    )


def _some(size: Floats) -> Flags:
    """Which jumps are not zero."""
    return np.asarray(size > _DUST * size.sum())


def _profile(
    problem: Problem, theta: Floats, size: Floats
) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats]]:
    """Slope and curvature (with sign turned) of the profile in theta; and the parts of the information.

    The parts: over the jumps that are not zero, of these with theta, over theta.
    """
    relative = np.exp(np.clip(problem.terms @ theta, -_LARGEST / 2, _LARGEST / 2))
    inside = problem.inside(size)
    hazard = np.clip(relative * inside, 1e-300, _LARGEST)
    odds = 1 / np.expm1(hazard)
    slope = (problem.died * odds - problem.lived) * hazard @ problem.terms
    # Curvature of a row in its log hazard: always positive.
    bend = hazard * (problem.died * odds * ((1 + odds) * hazard - 1) + problem.lived)
    reach = problem.reach(np.flatnonzero(_some(size)))
    own = reach.T @ ((problem.died * odds * (1 + odds) * relative**2)[:, None] * reach)
    across = reach.T @ ((bend / np.maximum(inside, 1e-300))[:, None] * problem.terms)
    common = problem.terms.T @ (bend[:, None] * problem.terms)
    curvature = common - across.T @ _solve(own, across)
    return slope, (curvature + curvature.T) / 2, (own, across, common)


def _solve(own: Floats, right: Floats) -> Floats:
    """Divide by the information of the jumps; what it leaves open takes no part."""
    scale = np.sqrt(np.maximum(np.diag(own), 1e-300))
    found: Floats = np.linalg.pinv(own / np.outer(scale, scale), rcond=1e-10, hermitian=True) @ (
        right / scale[:, None]
    )
    return found / scale[:, None]


def _ascent(slope: Floats, curvature: Floats, common: Floats) -> Floats:
    """Newton's step where the profile is hollow downwards, else one by the curvature with jumps held."""
    if not len(slope):
        return slope
    values = np.linalg.eigvalsh(curvature / np.sqrt(np.outer(np.diag(common), np.diag(common))))
    if values[0] > 1e-8:
        return np.asarray(np.linalg.solve(curvature, slope), dtype=np.float64)
    return np.asarray(np.linalg.solve(common, slope), dtype=np.float64)


def _inverse(curvature: Floats, parts: tuple[Floats, Floats, Floats]) -> Floats:
    own, across, _ = parts
    through = _solve(own, across)
    scale = np.sqrt(np.maximum(np.abs(np.diag(curvature)), 1e-300))
    unit = np.outer(scale, scale)
    spread = np.linalg.pinv(curvature / unit, hermitian=True) / unit
    top = _solve(own, np.eye(len(own))) + through @ spread @ through.T
    return np.block([[top, -through @ spread], [-spread @ through.T, spread]])
