"""Proportions of plants: limits, differences, and how far plots carry fewer plants' worth.

Seedlings of one plot share its ground, so 400 seedlings in 20 plots tell less than
400 seedlings would. The design effect says how much less: the *effective number* is
the number of seedlings divided by it.
"""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Real

import numpy as np
from numpy.typing import ArrayLike

from survivor.arguments import amount, is_number, numbers
from survivor.arrays import Floats
from survivor.errors import SurvivorError
from survivor.vocabulary import CONFIDENCE

ASSUMED_ICC = 0.2  # middle of what plots of seedlings show, used only where no plot differs


@dataclass(frozen=True)
class Difference:
    """A difference between two proportions with its limits, each from -1 to 1."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class DesignEffect:
    """Survival over plots of unequal size, with the error that respects plots.

    Attributes
    ----------
    proportion, std_error
        Alive over planted, 0 to 1.
    design_effect
        Variance over that of independent seedlings; NaN at 0 or 100 %.
    """

    proportion: float
    std_error: float
    design_effect: float


@dataclass(frozen=True)
class PlotCorrelation:
    """How alike seedlings of one plot are, by analysis of variance of 0 and 1.

    Attributes
    ----------
    between, within
        Mean squares between and within plots.
    mean_size
        Seedlings a plot, corrected for unequal sizes (n0).
    icc
        Intraclass correlation; below 0 where plots are more alike than chance makes
        them, NaN where every seedling did the same.
    """

    between: float
    within: float
    mean_size: float
    icc: float


def wilson(alive: ArrayLike, number: ArrayLike, level: float = CONFIDENCE) -> tuple[Floats, Floats]:
    """Score limits of a proportion, which stay honest at 0 and 100 %.

    Parameters
    ----------
    alive, number
        Counts, any shape; an effective number need not be whole.
    level
        Confidence level.

    Returns
    -------
    lower, upper
        From 0 to 1; NaN where the number is not positive.

    Raises
    ------
    SurvivorError
        When more are alive than there were, something is no number, or lists differ in length.

    Notes
    -----
    Wilson 1927; recommended by Newcombe 1998a (Statistics in Medicine 17, 857-872).

    Examples
    --------
    >>> [round(float(end), 4) for end in wilson(81, 263)]  # Newcombe (1998): .2553, .3662
    [0.2553, 0.3662]
    """
    from statsmodels.stats.proportion import proportion_confint

    alive, number = _broadcast(alive=alive, number=number)
    if np.any(alive < 0) or np.any(alive > number):
        raise SurvivorError(
            "more alive than there were, or fewer than none", mend="give 0 <= alive <= number"
        )
    _check_level(level)
    known = number > 0
    lower, upper = proportion_confint(
        np.where(known, alive, 0.0), np.where(known, number, 1.0), alpha=1 - level, method="wilson"
    )
    # Exactly 0 and 1 where none or all are alive, but for rounding.
    lower, upper = np.where(alive == 0, 0.0, lower), np.where(alive == number, 1.0, upper)
    return np.where(known, lower, np.nan), np.where(known, upper, np.nan)


def newcombe(
    alive: float, number: float, alive_other: float, number_other: float, level: float = CONFIDENCE
) -> Difference:
    """Difference of two proportions, first less second, with hybrid score limits.

    Give effective numbers (and counts in proportion) where seedlings share plots.

    Parameters
    ----------
    alive, number
        Alive of how many in the first group.
    alive_other, number_other
        Alive of how many in the second.
    level
        Confidence level.

    Returns
    -------
    Difference
        ``estimate, lower, upper``, from -1 to 1.

    Raises
    ------
    SurvivorError
        When a number is not positive or there are more alive than that.

    Notes
    -----
    Method 10 of Newcombe 1998b (Statistics in Medicine 17, 873-890).

    Examples
    --------
    >>> found = newcombe(56, 70, 48, 80)  # Newcombe (1998): .0524, .3339
    >>> round(found.lower, 4), round(found.upper, 4)
    (0.0524, 0.3339)
    """
    from statsmodels.stats.proportion import confint_proportions_2indep

    for count, out_of in ((alive, number), (alive_other, number_other)):
        known = is_number(count) and is_number(out_of)
        if not known or not 0 <= count <= out_of or not out_of > 0:
            raise SurvivorError(
                f"{count} of {out_of} is no proportion", mend="give 0 <= alive <= number, number > 0"
            )
    _check_level(level)
    lower, upper = confint_proportions_2indep(
        alive, number, alive_other, number_other, method="newcomb", compare="diff", alpha=1 - level
    )
    return Difference(alive / number - alive_other / number_other, float(lower), float(upper))


def design_effect(alive: ArrayLike, number: ArrayLike) -> DesignEffect:
    """Design effect of survival over plots, as a ratio of totals.

    Parameters
    ----------
    alive, number
        One entry a plot, shape (plots,).

    Returns
    -------
    DesignEffect
        ``proportion``, its ``std_error`` over plots and ``design_effect``.

    Raises
    ------
    SurvivorError
        When there are fewer than two plots, or a count is impossible.

    Notes
    -----
    Rao and Scott 1992 (Biometrics 48, 577-585): with m plots, N seedlings and
    survival p, v = m / (m - 1) * sum (y - n p)^2 / N^2 and the design effect is
    N v / (p (1 - p)).

    Examples
    --------
    >>> round(design_effect([18, 12, 15, 9], [20, 20, 20, 20]).design_effect, 2)
    3.42
    """
    y, n = _plots(alive, number)
    total = n.sum()
    proportion = float(y.sum() / total)
    residual = y - n * proportion
    variance = float(len(n) / (len(n) - 1) * (residual**2).sum() / total**2)
    independent = proportion * (1 - proportion) / total
    ratio = variance / independent if independent > 0 else float("nan")
    return DesignEffect(proportion, variance**0.5, float(ratio))


def plot_correlation(alive: ArrayLike, number: ArrayLike, group: ArrayLike | None = None) -> PlotCorrelation:
    """Intraclass correlation of seedlings within plots, by analysis of variance.

    Parameters
    ----------
    alive, number
        One entry a plot, shape (plots,).
    group
        Method (or other group) of each plot, whole numbers; plots are compared
        within their group only. None: all plots are one group.

    Returns
    -------
    PlotCorrelation
        ``icc`` and what it is made of.

    Raises
    ------
    SurvivorError
        When no group has two plots, no plot two seedlings, or a count is impossible.

    Notes
    -----
    Donner and Klar 2000, Design and Analysis of Cluster Randomization Trials, ch. 1.

    Examples
    --------
    >>> round(plot_correlation([18, 12, 15, 9], [20, 20, 20, 20]).icc, 3)
    0.12
    """
    y, n = _plots(alive, number)
    if group is not None and np.shape(group) != n.shape:
        raise SurvivorError(
            f"there are {len(n)} plots, and groups of another number",
            where="group",
            mend="give one group a plot",
        )
    code = (
        np.zeros(len(n), dtype=np.intp)
        if group is None
        else np.unique(np.asarray(group), return_inverse=True)[1]
    )
    totals = np.bincount(code, weights=n)
    shares = np.bincount(code, weights=y) / totals
    df_between = len(n) - len(totals)
    df_within = float(n.sum()) - len(n)
    if df_between < 1 or df_within <= 0:
        raise SurvivorError(
            "plots cannot be distinguished from seedlings here",
            mend="give at least two plots of a group, and two seedlings in one",
        )
    share = y / n
    between = float((n * (share - shares[code]) ** 2).sum() / df_between)
    within = float((n * share * (1 - share)).sum() / df_within)
    mean_size = float((n.sum() - (np.bincount(code, weights=n**2) / totals).sum()) / df_between)
    spread = between + (mean_size - 1) * within
    icc = (between - within) / spread if spread > 0 else float("nan")
    return PlotCorrelation(between, within, mean_size, icc)


def design_effect_from_icc(mean_size: float, icc: float, variation: float = 0.0) -> float:
    """Design effect of plots of a mean size, for planning.

    Parameters
    ----------
    mean_size
        Seedlings a plot.
    icc
        Intraclass correlation, 0 to 1.
    variation
        Standard deviation of plot sizes over their mean.

    Returns
    -------
    float
        1 where seedlings are independent.

    Raises
    ------
    SurvivorError
        When a size, correlation or variation is impossible.

    Notes
    -----
    1 + ((1 + cv^2) m - 1) rho: Donner and Klar 2000, and Eldridge, Ashby and Kerry
    2006 (International Journal of Epidemiology 35, 1292-1300) for unequal sizes.

    Examples
    --------
    >>> round(design_effect_from_icc(20, 0.05), 2)
    1.95
    """
    amount(mean_size, "mean_size", SurvivorError, "give seedlings a plot, 1 or more", bounds=(1, np.inf))
    amount(icc, "icc", SurvivorError, "give a correlation from 0 to 1", bounds=(-1, 1))
    amount(variation, "variation", SurvivorError, "give 0 or more", bounds=(0, np.inf))
    return 1 + ((1 + variation**2) * mean_size - 1) * icc


def effective_number(
    number: ArrayLike, effect: ArrayLike, df: float | None = None, level: float = CONFIDENCE
) -> Floats:
    """How many independent seedlings the seen ones are worth.

    Parameters
    ----------
    number
        Seedlings.
    effect
        Design effect; below 1 it counts as 1, since few plots seldom prove otherwise.
    df
        Degrees of freedom of the design effect, usually plots less strata. Where
        given, the number is cut further by (z / t)^2, so that limits from few plots
        are as wide as a t interval would be (Korn and Graubard 1998, Survey
        Methodology 24, 193-201).
    level
        Confidence level of the limits that it goes into.

    Returns
    -------
    array
        Of the shape of ``number``; NaN where ``df`` is not above 0.

    Raises
    ------
    SurvivorError
        When a number is below 0, is none, or lists differ in length.

    Examples
    --------
    >>> float(effective_number(100, 2.5))
    40.0
    """
    from scipy.special import ndtri, stdtrit

    seen, counted_as = _broadcast(number=number, effect=effect)
    if np.any(seen < 0) or np.any(counted_as < 0):
        raise SurvivorError("fewer seedlings than none, or a design effect below 0", mend="give 0 or more")
    worth: Floats = seen / np.maximum(counted_as, 1.0)
    if df is None:
        return worth
    if not isinstance(df, Real):
        raise SurvivorError(f"{df!r} is no number", where="df", mend="give degrees of freedom")
    if not df > 0:
        return np.full_like(worth, np.nan)
    _check_level(level)
    tail = 0.5 + level / 2
    return worth * float(ndtri(tail) / stdtrit(df, tail)) ** 2


def _check_level(level: float) -> None:
    mend = "give a share, for example level=0.9"
    amount(level, "level", SurvivorError, mend, bounds=(0, 1 - 1e-12), above=0)


def _broadcast(**given: ArrayLike) -> list[Floats]:
    """Numbers of two arguments, one for each of the other; anything else is refused."""
    found = [numbers(value, name, SurvivorError, "give numbers") for name, value in given.items()]
    try:
        return [np.array(part) for part in np.broadcast_arrays(*found)]
    except ValueError:
        lengths = " and ".join(str(part.size) for part in found)
        raise SurvivorError(
            f"there are {lengths} of them", where=", ".join(given), mend="give lists of one length"
        ) from None


def _plots(alive: ArrayLike, number: ArrayLike) -> tuple[Floats, Floats]:
    mend = "give a list of numbers, an entry a plot"
    y = numbers(alive, "alive", SurvivorError, mend)
    n = numbers(number, "number", SurvivorError, mend)
    if y.ndim != 1 or y.shape != n.shape or len(n) < 2:
        raise SurvivorError(
            "a design effect needs two plots or more, one count each",
            where="alive, number",
            mend="give two lists of one length, an entry a plot",
        )
    if not (np.all(n > 0) and np.all(y >= 0) and np.all(y <= n)):
        raise SurvivorError(
            "a plot has more alive than planted, or none planted", mend="leave empty plots out"
        )
    return y, n
