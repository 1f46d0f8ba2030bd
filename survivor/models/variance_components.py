"""Standard deviations of random effects with limits, and tests that there is no such effect.

Limits come from the profile likelihood: the values at which twice the log-likelihood,
maximised over everything else, lies 3.84 below its maximum (the restricted
likelihood where that was fitted). Where that would take
long they are symmetric on the log scale instead; the table says which. A variance
that is zero lies on the edge of what it can be, so twice the gain in log-likelihood
is then 0 half of the time and chi-square on 1 degree of freedom otherwise.

Source of the test: Self and Liang (1987), Journal of the American Statistical
Association 82, 605-610; Stram and Lee (1994), Biometrics 50, 1171-1177.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import optimize, stats

from survivor.errors import ModelError
from survivor.models.mixed_solver import Solution
from survivor.models.restricted import Objective
from survivor.models.row_terms import Floats
from survivor.vocabulary import CONFIDENCE

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
    found = profile.solution
    if not (found.free[level] or found.at_zero[level]):
        return np.nan, np.nan, HELD
    # A restricted profile over several levels is a search within a search.
    nested = profile.objective.restricted and len(found.sd) > 1
    if found.at_zero[level] or (profile.objective.work <= _MOST_WORK and not nested):
        try:
            lower, upper = profile.limits(level, 2 * error if found.free[level] else 0.25)
        except ModelError:
            return np.nan, np.nan, "none: with that effect held, a term has no finite estimate"
        return lower, upper, PROFILE
    sd = float(found.sd[level])
    half = float(stats.norm.ppf((1 + CONFIDENCE) / 2)) * error / sd
    return sd * np.exp(-half), sd * np.exp(half), LOG_SD


def _test(profile: Profile, level: int) -> tuple[float, float]:
    """Twice the log-likelihood that an effect gains, and the p-value of no such effect."""
    found = profile.solution
    if found.at_zero[level]:
        return 0.0, 1.0
    if not found.free[level]:
        return np.nan, np.nan
    try:
        statistic = profile.drop(level, 0.0)
    except ModelError:
        return np.nan, np.nan
    return statistic, float(stats.chi2.sf(statistic, 1)) / 2 if statistic > 0 else 1.0


def _errors(found: Solution) -> Floats:
    """Take standard errors of the standard deviations from the observed information."""
    levels = len(found.sd)
    errors = np.full(levels, np.nan)
    picks = np.eye(levels)[found.free]
    if len(picks):
        sizes = len(found.level), len(found.alpha), len(found.beta)
        level, alpha, beta = (np.zeros((len(picks), size)) for size in sizes)
        covariance = found.covariance_of(found.arrange(level, alpha, beta, picks))
        errors[found.free] = np.sqrt(np.diag(covariance))
    return errors
