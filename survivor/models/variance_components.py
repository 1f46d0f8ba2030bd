"""Standard deviations of random effects with limits, and tests that there is no such effect.

Limits come from the profile likelihood: the values at which twice the log-likelihood,
maximised over everything else, lies 3.84 below its maximum (the restricted
likelihood where that was fitted). Where that would take
long they are symmetric on the log scale instead; the table says which. A variance
that is zero lies on the edge of what it can be, so twice the gain in log-likelihood
is then 0 half of the time and chi-square on 1 degree of freedom otherwise.

Source of the test: Self and Liang (1987), Journal of the American Statistical
Association 82, 605-610; Stram and Lee (1994), Biometrics 50, 1171-1177.

What the standard deviations of effects maximise: the full or a restricted likelihood.

Maximum likelihood takes the strata levels and coefficients as if they were known, and
so finds too little variation between groups where many were estimated from few
groups. The restricted likelihood is the profile likelihood of the standard deviations
less half the log determinant of the information of everything else, at the modes of
the effects: the adjusted profile likelihood of Cox and Reid (1987), Journal of the
Royal Statistical Society B 49, 1-39, which for normal outcomes is REML.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import optimize, stats

from survivor.arrays import Flags, Floats
from survivor.climbing import CONVERGED
from survivor.errors import ModelError
from survivor.models.mixed_likelihood import Evaluation, Information, Likelihood
from survivor.models.mixed_solver import PROFILED, Solution, solve_from
from survivor.models.quadrature import Nodes
from survivor.vocabulary import CONFIDENCE

_NOTHING = 1e-3  # a standard deviation below this is none
_SMALL = 0.2  # one below this is compared with none
_EQUAL = 1e-4  # log-likelihoods this close are as good
_STEP = 0.003  # of differences in the log of a standard deviation
_POLISH = 3


@dataclass(frozen=True)
class Objective:
    """A likelihood to maximise over everything, with standard deviations free or held."""

    likely: Likelihood
    nodes: tuple[Nodes, ...]
    restricted: bool

    @property
    def work(self) -> int:
        """Rows times quadrature nodes: what one evaluation costs."""
        nodes = int(np.prod([len(rule[0]) for rule in self.nodes]))
        return nodes * sum(block.tree.rows for block in self.likely.blocks)

    def value(self, found: Solution) -> float:
        """Give what is maximised, with the binomial constant."""
        return found.log_likelihood + found.adjustment

    def best(self, start: Solution, free: Flags) -> Solution:
        """Maximise over the free standard deviations and all else; no information is computed."""
        if not self.restricted:
            return self._plain(start, free)
        held = self._held(start, start.sd)
        if not free.any():
            return held
        levels = np.flatnonzero(free)
        first = np.log(np.clip(start.sd[levels], 0.05, _LARGEST))
        near = [held]

        def below(log_sd: Floats) -> float:
            near[0] = self._held(near[0], self._with(held, levels, log_sd))  # from where the last one ended
            return -self.value(near[0])

        found = _lowest(below, first)
        held = best = self._held(near[0], self._with(held, levels, found))
        for level in levels[np.exp(found) < _SMALL]:
            # Near zero the likelihood is flat in the log of a standard deviation.
            zero = self._held(best, np.where(np.arange(len(best.sd)) == level, 0.0, best.sd))
            if self.value(zero) > self.value(best) - _EQUAL:
                rest = free & (np.arange(len(free)) != level)
                found_zero = self.best(zero, rest)
                at_zero = found_zero.at_zero | (free & ~rest)
                return replace(found_zero, at_zero=at_zero)
        for _ in range(_POLISH):
            slope, curve = self._differences(held, levels, found)
            if np.linalg.eigvalsh(curve)[0] <= 0:
                break
            found = found + np.clip(np.linalg.solve(curve, slope), -0.05, 0.05)
        return replace(self._held(held, self._with(held, levels, found), CONVERGED), free=free)

    def informed(self, found: Solution) -> Solution:
        """Add the inverse information of the means and the free standard deviations."""
        free = found.free
        raw: Information | None = self.likely.information(
            found.at, self.nodes, free, self._ready(found).peaks
        )
        if self.restricted and raw is not None and free.any():
            levels = np.flatnonzero(free)
            _, curve = self._differences(found, levels, np.log(found.sd[levels]))
            raw = _replaced(raw, curve / np.outer(found.sd[levels], found.sd[levels]))
        bread = None if raw is None else raw.inverse()
        if bread is None:
            raise ModelError(
                "the restricted likelihood has no proper maximum",
                where="mixed model",
                mend="use restricted=False, or fewer terms or random effects",
            )
        return replace(found, bread=bread)

    def _plain(self, start: Solution, free: Flags, goal: float = PROFILED) -> Solution:
        return solve_from(self.likely, self.nodes, start.at, free, only_to=goal, near=start.ready)

    def _ready(self, found: Solution) -> Evaluation:
        return self.likely.evaluate(found.at, self.nodes) if found.ready is None else found.ready

    def _held(self, start: Solution, sd: Floats, goal: float = PROFILED) -> Solution:
        """Maximise over everything but the standard deviations."""
        moved = replace(start, at=replace(start.at, sd=sd))
        solution = self._plain(moved, np.zeros(len(sd), dtype=bool), goal)
        bread = solution.scored
        if bread is None:
            bread = self.likely.scoring(solution.at, self._ready(solution).peaks)[0]
        size = float(np.log(bread.level).sum() - np.linalg.slogdet(bread.common)[1])
        return replace(solution, adjustment=-size / 2, at_zero=start.at_zero)

    def _with(self, found: Solution, levels: NDArray[np.intp], log_sd: Floats) -> Floats:
        sd = found.sd.copy()
        sd[levels] = np.exp(log_sd)
        return sd

    def _differences(self, near: Solution, levels: NDArray[np.intp], at: Floats) -> tuple[Floats, Floats]:
        """Slope, and minus the curvature, of what is maximised, in the logs of standard deviations."""
        count = len(levels)
        moves = _STEP * np.eye(count)

        def value(log_sd: Floats) -> float:
            return self.value(self._held(near, self._with(near, levels, log_sd), CONVERGED))

        middle = value(at)
        high, low = ([value(at + sign * move) for move in moves] for sign in (1, -1))
        slope = (np.array(high) - np.array(low)) / (2 * _STEP)
        curve = np.diag((2 * middle - np.array(high) - np.array(low)) / _STEP**2)
        for i in range(count):
            for j in range(i):
                corners = [a * b * value(at + a * moves[i] + b * moves[j]) for a in (1, -1) for b in (1, -1)]
                curve[i, j] = curve[j, i] = -sum(corners) / (4 * _STEP**2)
        return slope, curve


def _lowest(below: Callable[[Floats], float], first: Floats) -> Floats:
    """Find the logs of standard deviations at which something is lowest, to about 0.001."""
    low, high = np.log(_NOTHING), np.log(_LARGEST)
    if len(first) == 1:

        def one(log_sd: float) -> float:
            return below(np.clip([log_sd], low, high))

        bracket = (first[0], first[0] + 0.3)
        with suppress(RuntimeError):  # no valley was found there: it is looked for between bounds
            found = optimize.minimize_scalar(one, bracket=bracket, options={"xtol": 1e-3}).x
            return np.asarray(np.clip([found], low, high))
    simplex = np.vstack([first, first + 0.3 * np.eye(len(first))])
    options = {"xatol": 1e-3, "fatol": 1e-7, "initial_simplex": simplex}
    bounds = [(low, high)] * len(first)
    return np.asarray(optimize.minimize(below, first, method="Nelder-Mead", bounds=bounds, options=options).x)


def _replaced(raw: Information, curve: Floats) -> Information | None:
    """Put the curvature of the restricted likelihood where that of the full one stands.

    After everything else is eliminated the standard deviations have information ``curve``.
    """
    size = len(raw.common) - len(curve)
    means = Information(raw.level, raw.across[:, :size], raw.common[:size, :size]).inverse()
    if means is None:
        return None
    cross = np.vstack([raw.across[:, size:], raw.common[:size, size:]])
    common = raw.common.copy()
    common[size:, size:] = curve + np.hstack(means.times(cross.T)) @ cross
    return replace(raw, common=common)


PROFILE = "profile likelihood"
LOG_SD = "normal on the log of the standard deviation"
HELD = "held"
COLUMNS = ("effect", "groups", "sd", "std_error", "lower", "upper", "limits", "statistic", "p_value")

_MOST_WORK = 1_000_000  # rows times nodes up to which profiles are drawn
_LARGEST = 8.0  # a standard deviation that no limit needs to pass
_TOLERANCE = 1e-5


@dataclass(frozen=True)
class Profile:
    """A fit that can be done again with one standard deviation held."""

    objective: Objective
    solution: Solution

    def drop(self, level: int, sd: float) -> float:
        """Twice how far the log-likelihood falls when one standard deviation is held."""
        found, objective = self.solution, self.objective
        at = replace(found.at, sd=np.where(np.arange(len(found.sd)) == level, sd, found.sd))
        free = found.free.copy()
        free[level] = False
        held = objective.best(replace(found, at=at), free)
        return max(2 * (objective.value(found) - objective.value(held)), 0.0)

    def limits(self, level: int, step: float) -> tuple[float, float]:
        """Profile limits of one standard deviation; ``step`` is where to look first.

        The lower one is 0 where no effect at all is within the limits, the upper one
        infinite where it passes any value that matters.
        """
        wanted = float(np.sqrt(stats.chi2.ppf(CONFIDENCE, 1)))
        best = float(self.solution.sd[level])

        def beyond(sd: float) -> float:
            return float(np.sqrt(self.drop(level, sd))) - wanted

        lower = 0.0
        if best > 0 and beyond(0.0) > 0:
            lower = float(optimize.brentq(beyond, 0.0, best, xtol=_TOLERANCE))
        high = best + step
        while beyond(high) < 0:
            if high > _LARGEST:
                return lower, np.inf
            high = best + 2 * (high - best)
        return lower, float(optimize.brentq(beyond, best, high, xtol=_TOLERANCE))


def variance_components(profile: Profile, names: Sequence[str], groups: Sequence[int]) -> pd.DataFrame:
    """Tabulate the standard deviations of the effects.

    Parameters
    ----------
    profile
        The fit.
    names, groups
        Name and number of groups of each level of effects, outermost first.

    Returns
    -------
    DataFrame
        effect, groups, sd, std_error, lower, upper, limits (how they were made),
        statistic (twice the log-likelihood gained by the effect), p_value (of no such
        effect, at the edge). ``sd`` is on the log hazard, or log odds. A standard
        deviation that was held has no error, limits or test.
    """
    errors = _errors(profile.solution)
    lines = []
    for level, (name, number) in enumerate(zip(names, groups, strict=True)):
        sd, error = float(profile.solution.sd[level]), float(errors[level])
        lower, upper, how = _limits(profile, level, error)
        statistic, p_value = _test(profile, level)
        lines.append((name, number, sd, error, lower, upper, how, statistic, p_value))
    return pd.DataFrame(lines, columns=list(COLUMNS))


def _limits(profile: Profile, level: int, error: float) -> tuple[float, float, str]:
    """Limits of one standard deviation, and how they were made."""
    solution = profile.solution
    if not (solution.free[level] or solution.at_zero[level]):
        return np.nan, np.nan, HELD
    # A restricted profile over several levels is a search within a search.
    nested = profile.objective.restricted and len(solution.sd) > 1
    if solution.at_zero[level] or (profile.objective.work <= _MOST_WORK and not nested):
        try:
            lower, upper = profile.limits(level, 2 * error if solution.free[level] else 0.25)
        except ModelError:
            return np.nan, np.nan, "none: with that effect held, a term has no finite estimate"
        return lower, upper, PROFILE
    sd = float(solution.sd[level])
    half = float(stats.norm.ppf((1 + CONFIDENCE) / 2)) * error / sd
    return sd * np.exp(-half), sd * np.exp(half), LOG_SD


def _test(profile: Profile, level: int) -> tuple[float, float]:
    """Twice the log-likelihood that an effect gains, and the p-value of no such effect."""
    solution = profile.solution
    if solution.at_zero[level]:
        return 0.0, 1.0
    if not solution.free[level]:
        return np.nan, np.nan
    try:
        statistic = profile.drop(level, 0.0)
    except ModelError:  # without that effect a term has no finite estimate, as its limits say
        return np.nan, np.nan
    return statistic, float(stats.chi2.sf(statistic, 1)) / 2 if statistic > 0 else 1.0


def _errors(found: Solution) -> Floats:
    """Take standard errors of the standard deviations from the observed information."""
    levels = len(found.sd)
    errors = np.full(levels, np.nan)
    picks = np.eye(levels)[found.free]
    if len(picks):
        errors[found.free] = np.sqrt(np.diag(found.covariance_of(found.arrange(sd=picks))))
    return errors
