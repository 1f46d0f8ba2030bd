"""Sample sizes by closed form: the events formula and that of two proportions, for seedlings in plots.

Both divide what seedlings tell by the design effect ``1 + (m - 1) rho`` (Donner and
Klar 2000, Design and Analysis of Cluster Randomization Trials in Health Research),
and both take the t distribution for the normal, since plots are few.

They hold for plots of equal size that stand in pairs or blocks, every seedling
followed to the milestone, hazards in proportion and not far apart, and variation
between plots that the correlation ``rho`` sums up.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.special import ndtr

from survivor.arguments import amount, count, is_number, must_be
from survivor.errors import PlanError
from survivor.proportions import design_effect_from_icc
from survivor.vocabulary import CONFIDENCE

_MOST_PLOTS = 100_000
_STEPS = 2000
ALPHA = 1 - CONFIDENCE


@dataclass(frozen=True)
class Arms:
    """Two methods to be told apart.

    Attributes
    ----------
    survival, other
        Survival at the milestone, 0 to 1.
    variance, other_variance
        Of one seedling's 0 or 1 about its site's mean; p (1 - p) where sites are alike.
    correlation
        Of two seedlings of a plot, given their site.
    unequal
        Standard deviation of seedlings a plot over their mean.
    alpha
        Two-sided level at which a difference counts as shown.

    Raises
    ------
    PlanError
        When one of these is no number or cannot be true.
    """

    survival: float
    other: float
    variance: float
    other_variance: float
    correlation: float
    unequal: float = 0.0
    alpha: float = ALPHA

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            least = -1 if name == "correlation" else 0
            most = math.inf if name in ("variance", "other_variance", "unequal") else 1
            mend = f"give {least} or more" if math.isinf(most) else f"give a number from {least} to {most}"
            amount(value, name, PlanError, mend, bounds=(least, most))

    @property
    def log_hazard_ratio(self) -> float:
        """Of the other against the first, for hazards in proportion."""
        return math.log(math.log(self.other) / math.log(self.survival))


def degrees(plots: int) -> int:
    """Degrees of freedom of one comparison in blocks of one plot a method: blocks less one."""
    return plots - 1


def standard_error(arms: Arms, plots: float, seedlings: float) -> float:
    """Of the difference in survival (0 to 1) between two methods of ``plots`` plots each."""
    effect = design_effect_from_icc(seedlings, arms.correlation, arms.unequal)
    return math.sqrt((arms.variance + arms.other_variance) * effect / (plots * seedlings))


def power_of_proportions(arms: Arms, plots: int, seedlings: float) -> float:
    """Chance that a t test by plot shows the difference, 0 to 1.

    Parameters
    ----------
    arms
        The two methods.
    plots, seedlings
        Plots of each method; seedlings of each plot.

    Returns
    -------
    float
        From 0 to 1.

    Raises
    ------
    PlanError
        When the arms or the plots are none, or a plot has less than one seedling.

    Examples
    --------
    >>> arms = Arms(survival=0.6, other=0.75, variance=0.24, other_variance=0.1875, correlation=0.08)
    >>> round(power_of_proportions(arms, plots=21, seedlings=20), 2)
    0.8
    """
    _check(arms, plots, seedlings)
    if degrees(plots) < 1:
        return 0.0
    return _t_power((arms.other - arms.survival) / standard_error(arms, plots, seedlings), plots, arms.alpha)


def power_of_events(arms: Arms, plots: int, seedlings: float) -> float:
    """Chance that the hazards are told apart, by the deaths expected, 0 to 1.

    Parameters
    ----------
    arms
        The two methods; somebody lives and somebody dies with each.
    plots, seedlings
        Plots of each method; seedlings of each plot.

    Returns
    -------
    float
        From 0 to 1.

    Raises
    ------
    PlanError
        When the arms or the plots are none, nobody or everybody lives with one, or a plot has less than
        one seedling.

    Examples
    --------
    >>> arms = Arms(survival=0.6, other=0.75, variance=0.24, other_variance=0.1875, correlation=0.08)
    >>> round(power_of_events(arms, plots=21, seedlings=20), 2)
    0.81
    """
    _check(arms, plots, seedlings)
    if not (0 < arms.survival < 1 and 0 < arms.other < 1):
        raise PlanError(
            "nobody, or everybody, lives with one of them, so their hazards have no ratio",
            where="arms",
            mend="give survival between 0 and 1, or ask power_of_proportions",
        )
    if degrees(plots) < 1:
        return 0.0
    effect = design_effect_from_icc(seedlings, arms.correlation, arms.unequal)
    deaths = plots * seedlings * (2 - arms.survival - arms.other)
    information = deaths / 4 / effect
    return _t_power(arms.log_hazard_ratio * math.sqrt(information), plots, arms.alpha)


def _check(arms: object, plots: object, seedlings: object) -> None:
    must_be(arms, Arms, "Arms", "arms", PlanError, "give Arms(...)")
    count(plots, "plots", PlanError, "give a whole number of plots of each method", least=0)
    amount(seedlings, "seedlings", PlanError, "give seedlings a plot, 1 or more", bounds=(1, math.inf))


def power_of_shift(shift: float, df: int, alpha: float) -> float:
    """Chance that a t test on ``df`` degrees of freedom shows a difference of ``shift`` standard errors."""
    return _t_power(shift, df + 1, alpha)


def _t_power(shift: float, plots: int, alpha: float) -> float:
    """Chance that a t test rejects, either way, when the statistic's mean is moved by ``shift`` errors.

    The non-central t averaged over its estimated error by a fine midpoint rule: library
    functions give no number where the shift is large.
    """
    df = degrees(plots)
    if df < 1:
        return 0.0
    errors = _errors(df)
    edge = float(stats.t.ppf(1 - alpha / 2, df)) * errors
    return float(np.mean(ndtr(abs(shift) - edge) + ndtr(-abs(shift) - edge)))


@lru_cache(maxsize=1024)
def _errors(df: int) -> NDArray[np.float64]:
    """Estimated over true standard error at equal steps of chance."""
    chances = (np.arange(_STEPS) + 0.5) / _STEPS
    ratios: NDArray[np.float64] = np.sqrt(stats.chi2.ppf(chances, df) / df)
    return ratios


def plots_needed(power_at: Callable[[int], float], power: float = 0.8) -> int | None:
    """Fewest plots of each method with at least that power; None where no number gives it.

    Parameters
    ----------
    power_at
        Power (0 to 1) by plots of each method, rising.
    power
        Asked for, between 0 and 1.

    Returns
    -------
    int or None
        Plots of each method.

    Raises
    ------
    PlanError
        When ``power_at`` cannot be called, or the power is none.

    Examples
    --------
    >>> arms = Arms(survival=0.6, other=0.75, variance=0.24, other_variance=0.1875, correlation=0.08)
    >>> plots_needed(lambda plots: power_of_proportions(arms, plots, seedlings=20))
    21
    """
    if not callable(power_at):
        raise PlanError(f"{power_at!r} cannot be called", where="power_at", mend="give power by plots")
    if not is_number(power) or not 0 < power < 1:
        raise PlanError(
            f"power={power!r} is no chance", where="power", mend="give one, for example power=0.8"
        )
    low, high = 1, 2
    while power_at(high) < power:
        low, high = high, high * 2
        if high > _MOST_PLOTS:
            return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if power_at(middle) >= power else (middle, high)
    return high


def half_width(arms: Arms, plots: int, seedlings: float) -> float:
    """Half the width of the 95 % CI to expect round a difference, 0 to 1."""
    if plots < 2:
        return math.inf
    t = float(stats.t.ppf((1 + CONFIDENCE) / 2, degrees(plots)))
    return t * standard_error(arms, plots, seedlings)
