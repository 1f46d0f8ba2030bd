"""From risk intervals to deaths known to lie in (L, R], for Turnbull's estimate.

A death found at ``stop`` lies in (start, stop]. Who leaves alive is censored on that
day. One who leaves an interval alive and enters the next on the same day is the same
seedling, or stands for it: P(alive at t) P(later | alive at t) is one likelihood
either way. So no tag has to be followed and counts need no tags.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from survivor.arrays import Codes, Floats
from survivor.curves.samples import Sample, sums
from survivor.curves.turnbull import Npmle, Problem, set_up, solve
from survivor.errors import CurveError
from survivor.words import counted

_MOST_REPLICATES: Final = 120
_GROUPS: Final = 60  # of plots, where there are too many to leave out one by one


@dataclass(frozen=True)
class Bounded:
    """Seedlings by plot and distinct (L, R].

    Attributes
    ----------
    left, right
        Days, shape (n,); right is inf where last seen alive.
    weight
        Seedlings, shape (n,).
    cluster
        Plot of each, shape (n,).
    """

    left: Floats
    right: Floats
    weight: Floats
    cluster: Codes


@dataclass(frozen=True)
class Fitted:
    """Turnbull's estimate of a sample, with what is needed to leave plots out."""

    problem: Problem
    bounded: Bounded
    weight: Floats
    estimate: Npmle

    def known(self, days: Floats) -> Floats:
        """Seedlings known to be alive or dead on each day."""
        # Days ascend: each seedling counts as alive up to its left end, as dead from its right end on.
        upto = np.searchsorted(days, self.bounded.left, side="right")
        since = np.searchsorted(days, self.bounded.right, side="left")
        size = len(days) + 1
        alive = sums(upto, self.bounded.weight, size)[::-1].cumsum()[::-1][1:]
        dead = sums(since, self.bounded.weight, size)[:-1].cumsum()
        return np.asarray(alive + dead)


def bounded(sample: Sample, label: str) -> Bounded:
    """Read (L, R] of every seedling from a sample.

    Raises
    ------
    CurveError
        When seedlings enter the watch after others did: late entry makes Turnbull's
        estimate fragile, often without a single maximum, so it is refused.
    """
    unit, day, count = sample.net(sample.cluster)
    first = float(sample.start.min())
    late = (count < 0) & (day > first)
    if late.any():
        raise CurveError(
            f"{counted(float(-count[late].sum()), 'seedling')} entered the watch after day {first:g} (the "
            f"first on day {day[late].min():g}); Turnbull's estimate does not take late entry",
            where=f"curve of {label}",
            mend='use estimator="kaplan-meier", which does, or keep the plants watched from the start',
        )
    left_alive = count > 0
    dead = sample.died > 0
    return Bounded(
        np.concatenate([sample.start[dead], day[left_alive]]),
        np.concatenate([sample.stop[dead], np.full(int(left_alive.sum()), np.inf)]),
        np.concatenate([sample.died[dead], count[left_alive]]),
        np.concatenate([sample.cluster[dead], unit[left_alive]]),
    )


def fit(sample: Sample, label: str) -> Fitted:
    """Turnbull's estimate of a sample, certified."""
    known = bounded(sample, label)
    problem = set_up(known.left, known.right)
    weight = sums(problem.row, known.weight, len(problem.first))
    return Fitted(problem, known, weight, solve(problem, weight))


def grouped(sample: Sample) -> Sample:
    """Deal plots into groups to leave out in turn, where there are too many for one by one.

    Dealt in the order of strata, so that each group holds a share of every stratum
    (delete-a-group jackknife; Kott 2001, Journal of Official Statistics 17, 521-526).
    """
    if sample.plots <= _MOST_REPLICATES:
        return sample
    place = np.empty(sample.plots, dtype=np.intp)
    place[np.argsort(sample.stratum, kind="stable")] = np.arange(sample.plots) % _GROUPS
    cluster = place[sample.cluster]
    order = np.argsort(cluster, kind="stable")
    return replace(
        sample,
        start=sample.start[order], stop=sample.stop[order],
        at_risk=sample.at_risk[order], died=sample.died[order],
        cluster=cluster[order], stratum=np.zeros(_GROUPS, dtype=np.intp),
    )  # fmt: skip


def replicates(fitted: Fitted, sample: Sample, days: Floats) -> Iterator[tuple[Floats, Codes]]:
    """Turnbull's curves at ``days`` with one plot (or group of plots) left out at a time.

    Parameters
    ----------
    fitted
        The whole sample's.
    sample
        The sample, or :func:`grouped` plots of it, whose clusters are left out.
    days
        Shape (days,).

    Yields
    ------
    survival, plots
        Shape (1, days), and the one left out.
    """
    known = bounded(sample, "")
    row = _rows(fitted.problem, known)
    count = len(fitted.problem.first)
    size = np.bincount(sample.stratum)
    home = sample.stratum[known.cluster]
    for plot in range(sample.plots):
        stratum = sample.stratum[plot]
        n = float(size[stratum])
        mine = known.cluster == plot
        own = sums(row[mine], known.weight[mine], count)
        beside = home == stratum
        together = sums(row[beside], known.weight[beside], count)
        weight = fitted.weight + (together - n * own) / (n - 1)
        weight[weight < 1e-9] = 0.0
        yield (
            solve(fitted.problem, weight, near=fitted.estimate.mass).survival(days)[None, :],
            np.array([plot]),
        )


def _rows(problem: Problem, known: Bounded) -> Codes:
    """Place of each bounded time among the distinct observations of the whole sample."""
    first = np.searchsorted(problem.left, known.left, side="left")
    last = np.searchsorted(problem.right, known.right, side="right") - 1
    key = problem.first * len(problem.left) + problem.last
    return np.searchsorted(key, first * len(problem.left) + last)


def ragged_end(sample: Sample) -> tuple[float, float] | None:
    """First and last day over which plots left while deaths elsewhere were still to be found.

    Kaplan-Meier at visit dates is led astray there: survivors of a plot seen on day 365
    leave before the deaths of one seen on day 370 are counted, though these died over
    the same weeks. None where no interval with deaths spans a day on which seedlings left.
    """
    _, day, count = sample.net(np.zeros(len(sample.cluster), dtype=np.intp))
    left = np.sort(day[count > 0])
    dead = sample.died > 0
    if len(left) == 0 or not dead.any():
        return None
    start, stop = sample.start[dead], sample.stop[dead]
    first_after = np.searchsorted(left, start, side="right")
    spanned = np.where(first_after < len(left), left[np.minimum(first_after, len(left) - 1)], np.inf) < stop
    if not spanned.any():
        return None
    return float(left[first_after[spanned]].min()), float(stop[spanned].max())
