"""Whether survival curves of several groups are one curve: weighted log-rank tests that respect plots.

The log-rank test of independent seedlings finds differences that are those of plots. Here
each plot brings one score; its spread between plots gives the test (F on plots less
strata), and where groups were allocated to plots, sharing them out anew within blocks
gives a p-value that rests on the allocation alone. Strata are compared within
themselves: the sums over sites are tested, never one site against another.

Sources: Mantel (1966), Cancer Chemotherapy Reports 50, 163-170 (log-rank, with ties by the
hypergeometric variance); Fleming and Harrington (1991), Counting Processes and Survival
Analysis, chapter 7 (weights); Lin and Wei (1989), Journal of the American Statistical
Association 84, 1074-1078 (the scores by cluster).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd
from scipy import stats

from survivor.arguments import draws_of, is_one_of, seed_of
from survivor.arrays import Codes, Floats
from survivor.effects.cells import levels_of
from survivor.errors import EffectError
from survivor.frames import Table, own_frame
from survivor.intervals import check_intervals, cluster_columns, group_codes, refuse_blank_places, whole_names
from survivor.models.clusters import WaldTest, squared_length
from survivor.models.result import holm
from survivor.shown import Shown

Weights = Literal["log-rank", "wilcoxon", "tarone-ware", "peto"]
_SAME = 1e-9  # statistics closer than this, relatively, are ties


@dataclass(frozen=True, repr=False)
class LogRank(Shown):
    """Log-rank tests of all groups together and of each pair.

    Attributes
    ----------
    by, weights
        Column of groups; how days of death count.
    table
        One row a pair: ``<by>, against, statistic, df1, df2, p_value, p_adjusted`` (Holm's); F
        tests by plots, chi-square where rows are independent (``df2`` infinite).
    test
        All groups together.
    counts
        ``<by>, n_plots, at_risk`` (on the first day), ``observed`` and ``expected`` deaths, were all
        curves of a stratum one.
    checks
        Plain sentences.
    """

    by: str
    weights: Weights
    table: pd.DataFrame
    test: WaldTest
    counts: pd.DataFrame
    checks: tuple[str, ...]
    _watch: _Watch = field(repr=False)

    def randomised(self, draws: int = 999, seed: int = 1) -> pd.DataFrame:
        """Share groups out anew to plots within strata: how often chance alone differs as much.

        Parameters
        ----------
        draws, seed
            How many layouts are drawn, and where drawing starts.

        Returns
        -------
        DataFrame
            ``<by>, against`` (``all`` first, then each pair) and ``p_value``, which no layout makes
            smaller than 1 / (draws + 1).

        Raises
        ------
        EffectError
            When rows are independent, so that nothing was allocated to plots, or a number is none.

        Examples
        --------
        >>> survivor.log_rank(intervals).randomised(draws=99)["p_value"].round(2).tolist()
        [0.03, 0.12, 0.02, 0.04]
        """
        if np.isinf(self.test.df2):
            raise EffectError(
                "no plots are distinguished", where="cluster", mend='compare with cluster="plot"'
            )
        draws = draws_of(draws, EffectError)
        seed = seed_of(seed, EffectError)
        levels = self.counts[self.by].tolist()
        parts = [("all", "", self._watch, len(levels))]
        parts += [
            (levels[b], levels[a], _pair(self._watch, a, b), 2)
            for a, b in combinations(range(len(levels)), 2)
        ]
        rows = [
            (one, other, _randomised(watch, count, self.weights, draws, seed))
            for one, other, watch, count in parts
        ]
        return pd.DataFrame(rows, columns=[self.by, "against", "p_value"])


@dataclass(frozen=True)
class _Watch:
    """What each unit (plot, or kind of row) brings: at risk and died on each day, (units, days)."""

    at_risk: Floats
    died: Floats
    level: Codes
    stratum: Codes


def log_rank(
    intervals: Table,
    by: str = "method",
    *,
    cluster: str | Sequence[str] | None = "plot",
    strata: str | Sequence[str] | None = "site",
    weights: Weights = "log-rank",
) -> LogRank:
    """Compare the survival curves of the groups of ``by``.

    Parameters
    ----------
    intervals
        Risk intervals of one cohort; deaths count on the day they were found, so groups must
        have been visited together.
    by
        Column of groups; every plot is of one.
    cluster
        Column(s) of a plot; None: seedlings independent, chi-square tests.
    strata
        Column(s) within which groups are compared; None: one place.
    weights
        ``log-rank``: every death counts alike; ``wilcoxon`` by the number at risk, ``tarone-ware`` by
        its root, ``peto`` by survival: these look more at early deaths.

    Returns
    -------
    LogRank
        The test of all groups, and a table of pairs with p adjusted by Holm.

    Raises
    ------
    EffectError
        When a column is absent, a plot is of two groups or strata, or nothing can be compared.

    Examples
    --------
    >>> found = log_rank(intervals)
    >>> round(found.test.p_value, 4)
    0.0043
    >>> found.table[["method", "against"]].values.tolist()
    [['auger', 'usual'], ['rip', 'usual'], ['rip', 'auger']]
    """
    frame = own_frame(intervals)
    check_intervals(frame)
    refuse_blank_places(frame, EffectError, cluster, strata)
    _check(frame, by, weights)
    levels = levels_of(frame, by)
    watch = _watch(frame, by, levels, cluster, strata)
    clustered = cluster is not None
    whole, observed, expected = _test(watch, len(levels), weights, clustered)
    lines = []
    for first, second in combinations(range(len(levels)), 2):
        test = _test(_pair(watch, first, second), 2, weights, clustered)[0]
        lines.append((test.statistic, test.df1, test.df2, test.p_value))
    pairs = [(levels[second], levels[first]) for first, second in combinations(range(len(levels)), 2)]
    table = pd.DataFrame(lines, columns=["statistic", "df1", "df2", "p_value"])
    dtype = frame[by].dtype
    table.insert(0, "against", pd.Series([pair[1] for pair in pairs], dtype=dtype))
    table.insert(0, by, pd.Series([pair[0] for pair in pairs], dtype=dtype))
    table.insert(6, "p_adjusted", holm(table["p_value"].to_numpy(float)))
    counts = pd.DataFrame(
        {
            by: pd.Series(levels, dtype=dtype),
            "n_plots": np.bincount(watch.level, minlength=len(levels)) if clustered else 0,
            "at_risk": [watch.at_risk[watch.level == place, 0].sum() for place in range(len(levels))],
            "observed": observed,
            "expected": expected,
        }
    )
    return LogRank(by, weights, table, whole, counts, _said(watch, clustered), watch)


def _check(frame: pd.DataFrame, by: str, weights: str) -> None:
    if not isinstance(by, str) or by not in frame.columns:
        raise EffectError(
            f"there is no column {by}",
            where=f"by={by!r}",
            mend=f"columns there are: {', '.join(map(str, frame.columns))}",
        )
    if not is_one_of(weights, get_args(Weights)):
        raise EffectError(
            f"weights={weights!r} is not known", where="weights", mend=f"use {', '.join(get_args(Weights))}"
        )
    if frame[by].isna().any():
        row = frame.index[frame[by].isna()][0]
        raise EffectError(
            f"row {row} has no {by}",
            where=f"column {by}",
            mend="fill it in, or leave those rows out knowingly",
        )
    if frame[by].nunique() < 2:
        raise EffectError(
            f"there is one level of {by} only", where=f"column {by}", mend="compare two groups or more"
        )


def _watch(
    frame: pd.DataFrame,
    by: str,
    levels: Sequence[Any],
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> _Watch:
    places, absent = ([], []) if strata is None else whole_names(frame, strata)
    if absent:
        raise EffectError(
            f"there is no column {', '.join(absent)}", where=f"strata={strata!r}", mend="or strata=None"
        )
    plots = [] if cluster is None else cluster_columns(frame, cluster)
    unit, named = group_codes(frame, [*dict.fromkeys([*plots, *places, by])])
    if plots and len(group_codes(named, plots)[1]) < len(named):
        twice = named[named.duplicated(plots, keep=False)].iloc[0]
        raise EffectError(
            f"plot {' / '.join(str(twice[name]) for name in plots)} is of two groups, or lies in two strata",
            where=f"column {by}",
            mend="give a plot one group, or compare with cluster=None",
        )
    days = np.unique(frame.loc[frame["died"] > 0, "stop_day"].to_numpy(float))
    if not len(days):
        raise EffectError("nobody died", where="column died", mend="there is nothing to compare")
    start, stop, number, died = (
        frame[name].to_numpy(float) for name in ("start_day", "stop_day", "at_risk", "died")
    )
    # At risk on a death day from after the start to the stop: differences, summed along the days.
    steps = np.zeros((len(named), len(days) + 1))
    np.add.at(steps, (unit, np.searchsorted(days, start, side="right")), number)
    np.add.at(steps, (unit, np.searchsorted(days, stop, side="right")), -number)
    dead = np.zeros((len(named), len(days)))
    found = died > 0
    np.add.at(dead, (unit[found], np.searchsorted(days, stop[found])), died[found])
    place = {level: number for number, level in enumerate(levels)}
    level = np.array([place[value] for value in named[by]], dtype=np.intp)
    stratum = group_codes(named, places)[0] if places else np.zeros(len(named), dtype=np.intp)
    return _Watch(np.cumsum(steps, axis=1)[:, :-1], dead, level, stratum)


def _pair(watch: _Watch, first: int, second: int) -> _Watch:
    """Two groups alone, numbered 0 and 1, and their strata without gaps."""
    units = np.isin(watch.level, (first, second))
    level, stratum = watch.level[units], np.unique(watch.stratum[units], return_inverse=True)[1]
    return _Watch(
        watch.at_risk[units], watch.died[units], (level == second).astype(np.intp), stratum.astype(np.intp)
    )


def _scores(watch: _Watch, levels: int, weights: Weights) -> tuple[Floats, Floats, Floats, Floats]:
    """Scores of units (units, levels), the hypergeometric variance, observed and expected deaths."""
    scores = np.zeros((len(watch.level), levels))
    variance, observed, expected = np.zeros((levels, levels)), np.zeros(levels), np.zeros(levels)
    for stratum in np.unique(watch.stratum):
        mine = np.flatnonzero(watch.stratum == stratum)
        at_risk, died, level = watch.at_risk[mine], watch.died[mine], watch.level[mine]
        total, deaths = at_risk.sum(axis=0), died.sum(axis=0)
        inside = (deaths > 0) & (total > 0)
        at_risk, died, total, deaths = at_risk[:, inside], died[:, inside], total[inside], deaths[inside]
        own = np.zeros((levels, at_risk.shape[1]))
        np.add.at(own, level, at_risk)
        share = own / total
        weight = _weight(total, deaths, weights)
        residual = weight * (died - at_risk * deaths / total)
        scores[mine] = (
            residual.sum(axis=1)[:, None] * (level[:, None] == np.arange(levels)) - residual @ share.T
        )
        spread = weight**2 * deaths * (total - deaths) / np.maximum(total - 1, 1)
        variance += np.diag(share @ spread) - (share * spread) @ share.T
        np.add.at(observed, level, died.sum(axis=1))
        expected += share @ deaths
    return scores, variance, observed, expected


def _weight(total: Floats, deaths: Floats, weights: Weights) -> Floats:
    if weights == "wilcoxon":
        return total
    if weights == "tarone-ware":
        return np.asarray(np.sqrt(total))
    if weights == "peto":
        return np.asarray(np.cumprod(1 - deaths / (total + 1)))
    return np.ones(len(total))


def _statistic(watch: _Watch, levels: int, weights: Weights) -> tuple[float, float]:
    """Quadratic form of the scores in their spread between plots, and its degrees of freedom.

    The spread is of what is left of each plot's score beside its stratum and its group, so that a
    difference between groups does not count as one between plots of a group.
    """
    scores = _scores(watch, levels, weights)[0][:, 1:]
    groups = np.eye(levels)[watch.level][:, 1:]
    design = np.hstack([np.eye(int(watch.stratum.max()) + 1)[watch.stratum], groups])
    basis = np.linalg.svd(design, full_matrices=False)
    kept = basis.U[:, 1e-9 * basis.S[0] < basis.S]
    left = scores - kept @ (kept.T @ scores)
    df = float(len(scores) - kept.shape[1])
    if not df > 0:
        return np.nan, df
    return squared_length(scores.sum(axis=0), len(scores) / df * left.T @ left), df


def _test(watch: _Watch, levels: int, weights: Weights, clustered: bool) -> tuple[WaldTest, Floats, Floats]:
    scores, variance, observed, expected = _scores(watch, levels, weights)
    count = levels - 1
    if not clustered:
        quadratic = squared_length(scores.sum(axis=0)[1:], variance[1:, 1:])
        p_value = float(stats.chi2.sf(quadratic, count))
        return WaldTest(quadratic / count, count, np.inf, p_value), observed, expected
    quadratic, df = _statistic(watch, levels, weights)
    left = df - count + 1
    if not left > 0:
        raise EffectError(
            "too few plots to tell how plots of one group differ", where="cluster", mend="more plots a group"
        )
    statistic = quadratic * left / (df * count)
    return WaldTest(statistic, count, left, float(stats.f.sf(statistic, count, left))), observed, expected


def _randomised(watch: _Watch, levels: int, weights: Weights, draws: int, seed: int) -> float:
    """Share of layouts, groups shared out anew within strata, with a statistic as large."""
    rng = np.random.default_rng(seed)
    blocks = [np.flatnonzero(watch.stratum == stratum) for stratum in np.unique(watch.stratum)]
    if all(len(np.unique(watch.level[block])) < 2 for block in blocks):
        return np.nan
    found = _statistic(watch, levels, weights)[0]
    large = 1
    for _ in range(draws):
        level = watch.level.copy()
        for block in blocks:
            level[block] = rng.permutation(level[block])
        again = _statistic(_Watch(watch.at_risk, watch.died, level, watch.stratum), levels, weights)[0]
        large += again >= found * (1 - _SAME)
    return large / (draws + 1)


def _said(watch: _Watch, clustered: bool) -> tuple[str, ...]:
    said = []
    if not clustered:
        said.append("Seedlings are taken as independent; where they stand in plots this finds too much.")
    mixed = [len(np.unique(watch.level[watch.stratum == one])) > 1 for one in np.unique(watch.stratum)]
    if not all(mixed):
        said.append(f"{mixed.count(False)} of {len(mixed)} strata hold one group only and compare nothing.")
    return tuple(said)
