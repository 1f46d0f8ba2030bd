"""Mean days alive out of the first so many by group, and differences between groups.

A difference is told from the sites that hold both groups, with plants weighted so that
both have the same share of each site: were one group more often at the better sites,
its plain mean would speak of them. Limits of a difference go by plot: each plot is left
out in turn, the others of its site weighted up in its stead; they are never narrower
than those of independent seedlings.

References: Klein and Moeschberger (2003), section 4.5, for the mean; Cole and Hernan
(2004), Computer Methods and Programs in Biomedicine 75, 45-49, for curves of weighted
plants; the jackknife as in ``survivor.curves.limits``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.curves.limits import quantile
from survivor.curves.restricted import MeanDays, mean_days, restricted_mean, wider
from survivor.curves.samples import Sample, collect
from survivor.errors import CurveError
from survivor.intervals import check_intervals, cluster_columns, entries, group_codes

UNIT = "days alive"


@dataclass(frozen=True, repr=False)
class MeanDaysAlive:
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
    intervals: pd.DataFrame,
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
    """
    check_intervals(intervals)
    labels, samples = collect(intervals, by, cluster, strata)
    names = labels.tolist()
    base = names[0] if against is None else against
    if base not in names:
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
    lines = [_difference(intervals, by, name, base, until, cluster, strata) for name in names if name != base]
    differences = pd.DataFrame(lines, columns=_DIFFERENCE)
    others = [name for name in names if name != base]
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
    """Why the mean cannot be told; empty where it can."""
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
    name: Any,
    base: Any,
    until: float,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> dict[str, Any]:
    """One line of the differences."""
    pair = intervals[intervals[by].isin([name, base])]
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
    variance, df = wider(*_variance(means, own, other), means[0].independent + means[1].independent)
    line |= {"mean": means[0].mean, "mean_against": means[1].mean, "estimate": estimate}
    line["n_plots"] = len(np.union1d(own.plot, other.plot)) if cluster else 0
    if not variance > 0 or (df is not None and not df > 0):
        return line | {"reason": "the plots leave no degree of freedom for limits"}
    error = variance**0.5
    half = quantile(df) * error
    spread = stats.norm if df is None else stats.t(df)
    return line | {
        "std_error": error,
        "df": np.inf if df is None else df,
        "lower": estimate - half,
        "upper": estimate + half,
        "p_value": float(2 * spread.sf(abs(estimate) / error)),
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


def _variance(means: tuple[MeanDays, MeanDays], own: Sample, other: Sample) -> tuple[float, float | None]:
    """Variance of a difference, and its degrees of freedom (None: normal)."""
    first, second = means
    if first.df is None or second.df is None:
        return first.variance + second.variance, None
    plots = np.union1d(own.plot, other.plot)
    pull = np.zeros(len(plots))
    pull[np.searchsorted(plots, own.plot)] += first.pulls
    pull[np.searchsorted(plots, other.plot)] -= second.pulls
    variance = float(pull @ pull)
    if len(plots) < len(own.plot) + len(other.plot):  # plots that hold both
        return variance, float(min(first.df, second.df))
    parts = first.variance**2 / max(first.df, 1) + second.variance**2 / max(second.df, 1)
    return variance, variance**2 / parts if parts > 0 else float("nan")
