"""Mean days alive out of the first so many by group, and differences between groups.

A difference is told from the sites that hold both groups, with plants weighted so that
both have the same share of each site: were one group more often at the better sites,
its plain mean would speak of them. Limits of a difference go by plot: each plot is left
out in turn, the others of its site weighted up in its stead; they are never narrower
than those of independent seedlings.

References: Klein and Moeschberger (2003), section 4.5, for the mean; Cole and Hernan
(2004), Computer Methods and Programs in Biomedicine 75, 45-49, for curves of weighted
plants; the jackknife as in ``survivor.curves.limits``.

Mean days alive out of the first so many: the area under a Kaplan-Meier curve, exactly.

Reference: Klein and Moeschberger 2003, Survival Analysis, section 4.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from survivor.arguments import is_number, is_one_of
from survivor.arrays import Floats
from survivor.curves.limits import replicates
from survivor.curves.product_limit import of_all, product_limit, risk_sets
from survivor.curves.samples import Sample, collect
from survivor.errors import CurveError
from survivor.frames import Table, own_frame
from survivor.intervals import check_intervals, cluster_columns, entries, group_codes, refuse_blank_places
from survivor.limits import half_width, no_less_than_independent, t_test
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE


def area(days: Floats, survival: Floats, first: float, until: float) -> Floats:
    """Area under steps from ``first`` to ``until``; days run along the last axis of ``survival``."""
    edges = np.clip(np.concatenate([[first], days, [max(until, days[-1])]]), first, until)
    ones = np.ones((*survival.shape[:-1], 1))
    heights = np.concatenate([ones, survival], axis=-1)
    return np.asarray(heights @ np.diff(edges))


@dataclass(frozen=True)
class MeanDays:
    """A restricted mean and what its variance is made of.

    Attributes
    ----------
    mean, variance
        Days, and days squared.
    pulls
        How far the mean moves without each plot, times the root of what that counts:
        their squares sum to the variance; shape (plots,). Empty where seedlings are independent.
    df
        Degrees of freedom; infinite where seedlings are independent.
    independent
        Variance with seedlings independent (Greenwood).
    """

    mean: float
    variance: float
    pulls: Floats
    df: float
    independent: float


def mean_days(sample: Sample, until: float) -> MeanDays:
    """Mean days alive from the start of the watch to day ``until``.

    By the jackknife over plots with t on plots less strata (NaN where none is left), or
    Greenwood's formula and the normal where seedlings are independent.
    """
    first = float(sample.start.min())
    days = np.unique(sample.stop)
    at_risk, died = of_all(sample, days)
    survival = product_limit(at_risk, died)
    mean = float(area(days, survival, first, until))
    ahead = mean - np.array([float(area(days, survival, first, min(day, until))) for day in days])
    alive = at_risk - died
    left = (alive > 1e-9) & (days <= until)
    plain = float((ahead[left] ** 2 * died[left] / (at_risk[left] * alive[left])).sum())
    if sample.clustered:
        pulls = np.full(sample.plots, np.nan)
        if sample.df >= 1:
            size = np.bincount(sample.stratum).astype(float)
            for curves, plots in replicates(sample, lambda s, u, n: risk_sets(s, days, u, n)):
                share = ((size - 1) / size)[sample.stratum[plots]]
                pulls[plots] = np.sqrt(share) * (area(days, curves, first, until) - mean)
        return MeanDays(mean, float(pulls @ pulls), pulls, float(sample.df), plain)
    return MeanDays(mean, plain, np.empty(0), np.inf, plain)


def restricted_mean(
    sample: Sample, until: float, level: float = CONFIDENCE
) -> tuple[float, float, float, float, float]:
    """Mean days alive from the start of the watch to day ``until``, with limits.

    Returns
    -------
    mean, std_error, df, lower, upper
        Days; see :func:`mean_days` and ``survivor.limits``. Limits are cut at 0 and the
        length of the watch.
    """
    found = mean_days(sample, until)
    if np.isnan(found.variance):
        return found.mean, float("nan"), found.df, float("nan"), float("nan")
    error = _error(found.variance, found.df, found.independent)
    half = float(half_width(error, found.df, level)[0])
    longest = until - float(sample.start.min())
    return found.mean, float(error[0]), found.df, max(found.mean - half, 0.0), min(found.mean + half, longest)


def _error(variance: float, df: float, independent: float) -> Floats:
    """Return the standard error, shape (1,), by the one rule for limits."""
    return no_less_than_independent(np.sqrt([variance]), df, np.sqrt([independent]))


UNIT = "days alive"


@dataclass(frozen=True, repr=False)
class MeanDaysAlive(Shown):
    """Restricted means of groups and their differences.

    Attributes
    ----------
    by
        Column of groups.
    day
        Days since planting over which the mean is taken.
    table
        ``<by>, estimate, std_error, df, lower, upper, unit, n_plots, note``: as they were.
    differences
        ``<by>, against, estimate, std_error, df, lower, upper`` (days, first less second),
        ``p_value, mean, mean_against`` (with the same share of each site), ``unit,
        n_plots, n_sites, reason`` where there is no difference. Limits are of the one
        difference, not adjusted.
    checks
        Plain sentences.
    """

    by: str
    day: float
    table: pd.DataFrame
    differences: pd.DataFrame
    checks: tuple[str, ...]

    def __repr__(self) -> str:
        return f"{self.table.to_string(index=False)}\n{self.differences.to_string(index=False)}"

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False)) + str(self.differences.to_html(index=False))


def mean_days_alive(
    intervals: Table,
    by: str = "method",
    until: float = 365,
    cluster: str | Sequence[str] | None = "plot",
    strata: str | Sequence[str] | None = "site",
    against: Any = None,
) -> MeanDaysAlive:
    """Restricted mean survival time of each group up to day ``until``, and differences.

    Parameters
    ----------
    intervals
        Risk intervals of one cohort.
    by
        Column of groups; the first, or ``against``, is compared with.
    until
        Days since planting; a group must have been watched to it, or have died out.
    cluster
        Column(s) of a plot; None: seedlings independent, Greenwood's variance.
    strata
        Column(s) of the places that differences are told within; None: one place.
    against
        Group to compare with; None: the first.

    Returns
    -------
    MeanDaysAlive

    Raises
    ------
    IntervalsError
        When the table is not one of risk intervals.
    CurveError
        When a column is absent or ``against`` is not a group.

    Notes
    -----
    A death counts on the day it was found, so means are up to a visit's gap too long,
    alike in groups that were visited together.

    Examples
    --------
    >>> survivor.mean_days_alive(intervals, until=365).table[["method", "estimate"]].round(0)
      method  estimate
    0  usual     319.0
    1  auger     325.0
    2    rip     340.0
    """
    intervals = own_frame(intervals)
    check_intervals(intervals)
    refuse_blank_places(intervals, CurveError, cluster, strata)
    if not is_number(until) or not 0 < until < np.inf:
        raise CurveError(f"{until!r} is no number of days", where="until", mend="for example until=365")
    labels, samples = collect(intervals, by, cluster, strata)
    names = labels.tolist()
    base = names[0] if against is None else against
    if not is_one_of(base, names):
        raise CurveError(
            f"{against!r} is no group of {by}",
            where="against",
            mend=f"name one of: {', '.join(map(str, names))}",
        )
    rows = []
    for sample in samples:
        note = _unwatched(sample, until)
        if note:
            found = (np.nan, np.nan, float(sample.df) if sample.clustered else np.inf, np.nan, np.nan)
        else:
            found = restricted_mean(sample, until)
        rows.append((*found, UNIT, sample.plots if cluster else 0, note))
    columns = ["estimate", "std_error", "df", "lower", "upper", "unit", "n_plots", "note"]
    table = pd.DataFrame(rows, columns=columns)
    table.insert(0, by, labels.reset_index(drop=True))
    others = [name for name in names if name != base]
    lines = [_difference(intervals, by, (name, base), until, cluster, strata) for name in others]
    differences = pd.DataFrame(lines, columns=_DIFFERENCE)
    differences.insert(0, "against", pd.Series([base] * len(others), dtype=labels.dtype))
    differences.insert(0, by, pd.Series(others, dtype=labels.dtype))
    said = (
        "a death counts on the day it was found, so means are somewhat long, alike where visits were shared",
    )
    return MeanDaysAlive(by, float(until), table, differences, said)


_DIFFERENCE = [
    "estimate",
    "std_error",
    "df",
    "lower",
    "upper",
    "p_value",
    "mean",
    "mean_against",
    "unit",
    "n_plots",
    "n_sites",
    "reason",
]


def _unwatched(sample: Sample, until: float) -> str:
    """Why the mean cannot be determined; empty where it can."""
    first, last = float(sample.start.min()), sample.last_day
    ended = sample.stop == last
    if until <= first:
        return f"watched from day {first:g} only"
    if last < until and float((sample.at_risk - sample.died)[ended].sum()) > 0:
        return f"watched to day {last:g} only"
    return ""


def _difference(
    intervals: pd.DataFrame,
    by: str,
    names: tuple[Any, Any],
    until: float,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> dict[str, Any]:
    """One line of the differences."""
    name, base = names
    pair = intervals[intervals[by].isin(names)]
    place, count = _places(pair, strata)
    first = (pair[by] == name).to_numpy()
    shared = np.intersect1d(place[first], place[~first])
    line: dict[str, Any] = dict.fromkeys(_DIFFERENCE, np.nan) | {
        "unit": UNIT,
        "n_plots": 0,
        "n_sites": len(shared) if count else 0,
        "reason": "",
    }
    if not len(shared):
        return line | {"reason": f"no {'site' if strata == 'site' else 'place'} holds both"}
    together = np.isin(place, shared)
    weighted = _alike(pair[together], first[together], place[together])
    labels, samples = collect(weighted, by, cluster, strata)
    own = samples[labels.tolist().index(name)]
    other = samples[labels.tolist().index(base)]
    reasons = [
        f"{who}: {why}"
        for who, why in ((n, _unwatched(s, until)) for n, s in ((name, own), (base, other)))
        if why
    ]
    if own.start.min() != other.start.min():
        reasons.append("the two were not watched from the same day on")
    if reasons:
        return line | {"reason": "; ".join(reasons)}
    means = mean_days(own, until), mean_days(other, until)
    estimate = means[0].mean - means[1].mean
    variance, df = _variance(means, own, other)
    error = _error(variance, df, means[0].independent + means[1].independent)
    line |= {"mean": means[0].mean, "mean_against": means[1].mean, "estimate": estimate}
    line["n_plots"] = len(np.union1d(own.plot, other.plot)) if cluster else 0
    if not (error[0] > 0 and df > 0):
        return line | {"reason": "the plots leave no degree of freedom for limits"}
    half = float(half_width(error, df)[0])
    return line | {
        "std_error": float(error[0]),
        "df": df,
        "lower": estimate - half,
        "upper": estimate + half,
        "p_value": float(t_test(np.array([estimate]), error, np.array([df]))[0]),
    }


def _places(frame: pd.DataFrame, strata: str | Sequence[str] | None) -> tuple[np.ndarray[Any, Any], int]:
    if strata is None:
        return np.zeros(len(frame), dtype=np.intp), 0
    codes, levels = group_codes(frame, cluster_columns(frame, strata))
    return codes, len(levels)


def _alike(frame: pd.DataFrame, first: np.ndarray[Any, Any], place: np.ndarray[Any, Any]) -> pd.DataFrame:
    """Weight plants so that both groups have each place's share of all plants.

    The weights of a group sum to its effective number (Kish 1965, Survey Sampling, section
    11.7), so that Greenwood's variance is not that of more plants than there were.
    """
    arm = place * 2 + first
    began = entries(frame.assign(_arm=arm, _place=place))
    plants = began.groupby("_arm")["at_risk"].sum().astype(float)
    both = began.groupby("_place")["at_risk"].sum().astype(float)
    share = pd.Series(both.loc[plants.index // 2].to_numpy() / plants.to_numpy(), index=plants.index)
    group = plants.index % 2
    scale = (plants * share).groupby(group).sum() / (plants * share**2).groupby(group).sum()
    weight = share.loc[arm].to_numpy() * scale.loc[arm % 2].to_numpy()
    return frame.assign(at_risk=frame["at_risk"] * weight, died=frame["died"] * weight)


def _variance(means: tuple[MeanDays, MeanDays], own: Sample, other: Sample) -> tuple[float, float]:
    """Variance of a difference, and its degrees of freedom."""
    first, second = means
    if np.isinf(first.df) or np.isinf(second.df):
        return first.variance + second.variance, np.inf
    plots = np.union1d(own.plot, other.plot)
    pull = np.zeros(len(plots))
    pull[np.searchsorted(plots, own.plot)] += first.pulls
    pull[np.searchsorted(plots, other.plot)] -= second.pulls
    variance = float(pull @ pull)
    if len(plots) < len(own.plot) + len(other.plot):  # plots that hold both
        return variance, float(min(first.df, second.df))
    parts = first.variance**2 / max(first.df, 1) + second.variance**2 / max(second.df, 1)
    return variance, variance**2 / parts if parts > 0 else float(min(first.df, second.df))
