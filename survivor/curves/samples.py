"""Risk intervals of each curve as small arrays: equal rows once, plots as codes."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.errors import CurveError
from survivor.intervals import alike, cluster_columns, collapse_rows, group_codes, whole_names

BLANK: Final = "not recorded"


def sums(codes: Codes, values: Floats, size: int) -> Floats:
    """Sum values by code, shape (size,)."""
    return np.bincount(codes, weights=values, minlength=size).astype(np.float64, copy=False)


@dataclass(frozen=True)
class Sample:
    """Risk intervals of one group.

    Attributes
    ----------
    start, stop
        Days since planting, shape (rows,); the convention is (start, stop].
    at_risk, died
        Seedlings, shape (rows,).
    cluster
        Which plot each row is of, shape (rows,), in ascending order.
    stratum
        Which stratum each plot is of, shape (plots,).
    plot
        Code of each plot in the whole table, shape (plots,): the same in every group.
    clustered
        False where seedlings are taken as independent; then there is one "plot".
    lonely
        Strata that held one plot only and were put together with others.
    """

    start: Floats
    stop: Floats
    at_risk: Floats
    died: Floats
    cluster: Codes
    stratum: Codes
    plot: Codes
    clustered: bool
    lonely: int

    @property
    def plots(self) -> int:
        """Number of clusters."""
        return len(self.stratum)

    @property
    def df(self) -> int:
        """Plots less strata."""
        return self.plots - int(self.stratum.max()) - 1

    @property
    def last_day(self) -> float:
        """Last visit."""
        return float(self.stop.max())

    @property
    def two_plots_until(self) -> float:
        """Last day on which two plots were watched; -inf with one plot."""
        last = np.zeros(self.plots)
        np.maximum.at(last, self.cluster, self.stop)
        return float(np.sort(last)[-2]) if self.plots > 1 else -np.inf

    def net(self, unit: Codes) -> tuple[Codes, Floats, Floats]:
        """Seedlings that left alive (above 0) or entered (below 0), by unit and day.

        Who leaves one interval alive and enters the next on the same day does neither.

        Returns
        -------
        unit, day, count
            One entry per unit and day on which somebody did.
        """
        days, code = np.unique(np.concatenate([self.stop, self.start]), return_inverse=True)
        key, inverse = np.unique(np.concatenate([unit, unit]) * len(days) + code, return_inverse=True)
        count = sums(inverse, np.concatenate([self.at_risk - self.died, -self.at_risk]), len(key))
        moved = np.abs(count) > 1e-9
        return key[moved] // len(days), days[key[moved] % len(days)], count[moved]

    def entered(self) -> Floats:
        """Seedlings that entered the watch, by plot."""
        unit, _, count = self.net(self.cluster)
        return sums(unit, np.maximum(-count, 0.0), self.plots)


def collect(
    frame: pd.DataFrame,
    by: str | None,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> tuple[pd.Series, list[Sample]]:
    """Split risk intervals into one sample a group.

    Parameters
    ----------
    frame
        A risk-interval table.
    by
        Column that names the group; None puts all in the group ``all``.
    cluster
        Column(s) that name a plot; None takes seedlings as independent.
    strata
        Column(s) within which plots are compared; None makes one stratum.

    Returns
    -------
    labels, samples
        The groups in the order of the column (categories in theirs), and a sample each.

    Raises
    ------
    CurveError
        When a column is absent or a plot lies in two strata.
    """
    names = [*([] if cluster is None else cluster_columns(frame, cluster)), *_known(frame, by, strata)]
    frame = alike(frame, names)[0]
    labels, group = _groups(frame, by)
    if cluster is None:
        plot: Codes = np.zeros(len(frame), dtype=np.intp)
        stratum = plot
    else:
        plot = group_codes(frame, cluster_columns(frame, cluster))[0]
        stratum = _strata(frame, strata, plot)
    start, stop = (frame[name].to_numpy(dtype=float) for name in ("start_day", "stop_day"))
    days, code = _day_codes(np.concatenate([start, stop]))
    pair = _dense(code[: len(frame)] * len(days) + code[len(frame) :])
    plots = int(plot.max()) + 1
    key = (group * plots + plot) * (int(pair.max()) + 1) + pair
    first, at_risk, died = collapse_rows(
        key, frame["at_risk"].to_numpy(dtype=float), frame["died"].to_numpy(dtype=float)
    )
    samples = []
    edges = np.searchsorted(group[first], np.arange(len(labels) + 1))
    for low, high in pairwise(edges):
        rows = first[low:high]
        own, where, codes = np.unique(plot[rows], return_index=True, return_inverse=True)
        joined, lonely = _join_lonely(np.unique(stratum[rows[where]], return_inverse=True)[1])
        samples.append(
            Sample(
                start[rows], stop[rows], at_risk[low:high], died[low:high],
                codes, joined, own, clustered=cluster is not None, lonely=lonely,
            )
        )  # fmt: skip
    return labels, samples


def _known(frame: pd.DataFrame, by: str | None, strata: str | Sequence[str] | None) -> list[str]:
    """Columns that are there of those that curves are drawn by and plots compared within."""
    asked = [*([] if strata is None else whole_names(frame, strata)[0]), by]
    return [name for name in asked if isinstance(name, str) and name in frame.columns]


def _groups(frame: pd.DataFrame, by: str | None) -> tuple[pd.Series, Codes]:
    if by is None:
        return pd.Series(["all"], name="group"), np.zeros(len(frame), dtype=np.intp)
    if not isinstance(by, Hashable) or by not in frame.columns:
        raise CurveError(
            f"the intervals have no column {by!r} to draw curves by",
            where="risk intervals",
            mend=f"name one of: {', '.join(map(str, frame.columns))}",
        )
    codes, levels = group_codes(frame, [by])
    labels = levels[by].rename(by)
    blank = labels.isna() | (labels.astype(str).str.strip() == "")
    if blank.any():
        # Nobody is dropped for want of a label.
        labels = labels.astype(object).mask(blank, BLANK)
    return labels.reset_index(drop=True), codes


def _strata(frame: pd.DataFrame, strata: str | Sequence[str] | None, plot: Codes) -> Codes:
    if strata is None:
        return np.zeros(len(frame), dtype=np.intp)
    asked = [strata] if isinstance(strata, str) else list(strata)
    absent = [name for name in asked if name not in frame.columns]
    if absent:
        raise CurveError(
            f"the intervals have no column {', '.join(absent)} to use as strata",
            where="risk intervals",
            mend="name columns of the table, or strata=None",
        )
    codes = group_codes(frame, cluster_columns(frame, asked))[0]
    pairs = np.unique(plot * (int(codes.max()) + 1) + codes)
    if len(pairs) > len(np.unique(plot)):
        raise CurveError(
            f"a plot lies in two strata ({', '.join(asked)})",
            where="risk intervals",
            mend="strata hold whole plots: check the plot labels, or name other strata",
        )
    return codes


def _join_lonely(stratum: Codes) -> tuple[Codes, int]:
    """Put strata of one plot together: alone, none shows how far plots differ."""
    sizes = np.bincount(stratum)
    lonely = sizes == 1
    count = int(lonely.sum())
    if count == 0 or len(sizes) == 1:
        return stratum, 0
    target = np.arange(len(sizes))
    target[lonely] = np.flatnonzero(lonely)[0]
    if count == 1:  # one alone joins the smallest of the others
        target[lonely] = int(np.argmin(np.where(lonely, np.iinfo(np.int64).max, sizes)))
    return np.unique(target[stratum], return_inverse=True)[1].astype(np.intp), count


def _day_codes(days: Floats) -> tuple[Floats, Codes]:
    """Distinct days and the place of each; whole days need no sorting."""
    top = days.max()
    if top < 1e6 and np.all(days == np.floor(days)):
        whole = days.astype(np.intp)
        seen = np.zeros(int(top) + 1, dtype=bool)
        seen[whole] = True
        return np.flatnonzero(seen).astype(float), (np.cumsum(seen) - 1)[whole]
    distinct, code = np.unique(days, return_inverse=True)
    return distinct, code


def _dense(key: Codes) -> Codes:
    """Renumber keys without gaps where they run high, so that their product fits an integer."""
    if int(key.max()) < 1_000_000:
        return key
    return np.unique(key, return_inverse=True)[1].astype(np.intp)
