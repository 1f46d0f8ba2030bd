"""Survival under an unspecified baseline, and its limits.

Between the ends of an innermost interval in which the hazard jumps, survival falls by
an unknown path: a day inside one is refused. A fit without one cluster may leave open
what the whole fit tells; there the jump is spread evenly over its interval.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.errors import ModelError
from survivor.intervals import Codes
from survivor.models.clusters import LEAST_TOLD, WaldTest, squared_length
from survivor.models.design import Design
from survivor.models.innermost import Innermost, Watched
from survivor.models.jackknife import Deletions
from survivor.models.result import Estimates
from survivor.models.unspecified_solver import Fitted

Floats = NDArray[np.float64]

_DUST = 1e-9  # a jump below this share of all determines nothing
_LARGEST = 700.0


@dataclass(frozen=True)
class Baseline:
    """A baseline with levels and terms.

    Attributes
    ----------
    left, right, jumps
        Innermost intervals and the share of the whole hazard in each, shape (J,).
    endless
        Intervals in which all who were left died, shape (E, 2).
    level
        Log of the whole hazard of each stratum at ``centre``, shape (S,).
    beta, centre
        Coefficients, shape (q,), and where the columns are centred in each stratum, shape (S, q).
    loose, held_at
        Columns of which nothing is known, and the value at which the rest of the rows hold them.
    """

    left: Floats
    right: Floats
    jumps: Floats
    endless: Floats
    level: Floats
    beta: Floats
    centre: Floats
    loose: Codes
    held_at: Floats

    @classmethod
    def of(cls, whole: Innermost, fitted: Fitted, strata: int, centre: Floats) -> Baseline:
        """Take apart what was fitted."""
        size = float(fitted.jumps.sum())
        level = np.concatenate([[0.0], fitted.theta[: strata - 1]]) + np.log(size)
        none = np.empty(0, dtype=np.intp)
        return cls(
            whole.left,
            whole.right,
            fitted.jumps / size,
            whole.endless,
            level,
            fitted.theta[strata - 1 :],
            centre,
            none,
            np.empty((1, 0)),
        )

    def centred(self, columns: Floats, place: Codes) -> Floats:
        """Columns less the centre of their stratum; 0 where nobody, or everybody, died (-1, -2)."""
        found: Floats = np.where((place >= 0)[:, None], columns - self.centre[place], 0.0)
        return found

    def with_levels(self, level: Floats) -> Baseline:
        """Change the levels."""
        return replace(self, level=level)

    def spread(self, level: Floats, beta: Floats, centre: Floats, loose: Codes, rows: Floats) -> Baseline:
        """Give back strata and columns that the fit was made without."""
        return replace(self, level=level, beta=beta, centre=centre, loose=loose, held_at=rows[:, loose])

    def cumulative(self, at: float) -> float:
        """Share of the hazard up to a day; infinite once all have died."""
        if (self.endless[:, 0] < at).any():
            done = self.endless[:, 1] <= at
            return np.inf if done.any() else float(self.jumps.sum())
        share = np.clip((at - self.left) / (self.right - self.left), 0.0, 1.0)
        return float(self.jumps @ share)

    def open_at(self, at: float) -> tuple[float, float] | None:
        """Interval around a day within which survival falls by an unknown path."""
        some = self.jumps > _DUST
        ends = [*zip(self.left[some], self.right[some], strict=True), *self.endless]
        return next(((float(a), float(b)) for a, b in ends if a < at < b), None)

    def excess(self, rows: Watched) -> float:
        """Largest gain of a further jump on any day at all over its cost, less 1."""
        for _, end in self.endless:
            rows = rows.pick(~((rows.start < end) & (end <= rows.stop)))
        reached = np.concatenate([[0.0], np.cumsum(self.jumps)])
        inside = (
            reached[np.searchsorted(self.right, rows.stop, side="right")]
            - reached[np.searchsorted(self.right, rows.start, side="right")]
        )
        relative = np.exp(self.level[rows.stratum] + self.centred(rows.columns, rows.stratum) @ self.beta)
        hazard = np.clip(relative * inside, 1e-300, _LARGEST)
        died = np.where(rows.died > 0, rows.died / np.expm1(hazard), 0.0)
        days = np.unique(np.concatenate([rows.start, rows.stop]))
        start, stop = np.searchsorted(days, rows.start), np.searchsorted(days, rows.stop)

        def over(shares: Floats) -> Floats:
            steps = np.bincount(start, shares, len(days)) - np.bincount(stop, shares, len(days))
            return np.asarray(np.cumsum(steps)[:-1])

        gain, cost = over(died * relative), over((rows.at_risk - rows.died) * relative)
        some = over(rows.died) > 0.5 * rows.died[rows.died > 0].min(initial=np.inf)
        return float((gain[some] / cost[some]).max(initial=1.0)) - 1.0


@dataclass(frozen=True)
class Refits:
    """The fits without each cluster, the rows of the whole one and its information."""

    deletions: Deletions
    each: tuple[Baseline, ...]
    rows: Watched
    fitted: Fitted


@dataclass(frozen=True)
class _Cells:
    """Cells read for one day: ``columns`` (n, q), ``place`` (n,) as in the engine, ``weights`` (m, n)."""

    columns: Floats
    place: Codes
    weights: Floats
    at: float

    def hazard(self, base: Baseline) -> Floats:
        """Cumulative hazard of each cell; 0 where nobody died, infinite where all did."""
        level = np.where(self.place >= 0, base.level[np.maximum(self.place, 0)], -np.inf)
        level = np.where(self.place == -2, np.inf, level)
        reached = base.cumulative(self.at)
        relative = np.exp(level + base.centred(self.columns, self.place) @ base.beta)
        if np.isinf(reached):
            return np.where(self.place == -1, 0.0, np.inf)
        found: Floats = relative * reached if reached > 0 else np.where(self.place == -2, np.inf, 0.0)
        return found

    def averages(self, base: Baseline) -> Floats:
        """Weighted sums of survival, shape (m,); NaN where they rest on a column that is not known."""
        found: Floats = self.weights @ np.exp(-self.hazard(base))
        if len(base.loose):
            columns, held = self.columns[:, base.loose], base.held_at
            same = 1e-9 * np.maximum(np.abs(columns).max(axis=0), np.abs(held))
            astray = (np.abs(columns - held) > same).any(axis=1)
            found = np.where((np.abs(self.weights) * astray).sum(axis=1) > 0, np.nan, found)
        return found


@dataclass(frozen=True)
class UnspecifiedEngine:
    """A fit with an unspecified baseline for ``Fit``.

    Attributes
    ----------
    place
        Level of each stratum of the design, -1 nobody died there, -2 everybody did.
    refits
        None where rows are independent.
    """

    design: Design
    place: Codes
    baseline: Baseline
    fitted: Fitted
    refits: Refits | None

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; see ``Fit.average_survival``.

        Raises
        ------
        ModelError
            When ``at`` lies inside an innermost interval, where survival is not determined.
        """
        read = self._read(cells, weights, at)
        estimate = read.averages(self.baseline)
        slopes = self._slopes(read)
        working = slopes @ self.fitted.inverse @ slopes.T
        if self.refits is None:
            return Estimates(estimate, working, np.full(len(estimate), np.inf))
        change = self._changes(self.refits, read, estimate)
        change = change / np.sqrt(self._told(self.refits, slopes))
        df = np.where(np.isnan(change).any(axis=0), np.nan, self.refits.deletions.groups.df_average)
        return Estimates(estimate, change.T @ change, df)

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival without each cluster, shape (clusters, m)."""
        if self.refits is None:
            raise ModelError(
                "there is no fit without each cluster",
                where="cluster",
                mend='use cluster="plot", the jackknife',
            )
        read = self._read(cells, weights, at)
        return np.array([read.averages(each) for each in self.refits.each])

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places, as for the Cox model."""
        places, count, beta = list(terms), len(terms), self.baseline.beta
        if self.refits is not None:
            return self.refits.deletions.wald(places, beta)
        size = len(self.fitted.inverse) - len(beta)
        covariance = self.fitted.inverse[size:, size:][np.ix_(places, places)]
        quadratic = squared_length(beta[places], covariance)
        return WaldTest(quadratic / count, count, np.inf, float(stats.chi2.sf(quadratic, count)))

    def _read(self, cells: pd.DataFrame, weights: Floats, at: float) -> _Cells:
        between = self.baseline.open_at(at)
        if between is not None:
            raise ModelError(
                f"survival on day {at:g} is not determined: it falls somewhere between days {between[0]:g} "
                f"and {between[1]:g}",
                where="at",
                mend=f'ask for day {between[0]:g} or {between[1]:g}, or fit with baseline="pieces"',
            )
        place = self.place[self.design.strata_for(cells)]
        return _Cells(self.design.columns_for(cells), place, weights, at)

    def _slopes(self, read: _Cells) -> Floats:
        """Differentiate each average in the jumps held, the levels after the first and the terms."""
        base, held = self.baseline, self.fitted.held
        hazard = read.hazard(base)
        live = (read.place >= 0) & np.isfinite(hazard)
        hazard = np.where(live, hazard, 0.0)
        pull = -read.weights * np.where(live, np.exp(-hazard), 0.0)
        levels = (read.place[:, None] == np.arange(1, len(base.level))).astype(float)
        common = np.hstack([levels, base.centred(read.columns, read.place)]) * hazard[:, None]
        jumped = base.right[held] <= read.at
        reached = base.cumulative(read.at)
        # Hazard per unit of jump: in the units of the solver, whose jumps are not shares.
        unit = hazard / reached / self.fitted.jumps.sum() if 0 < reached < np.inf else np.zeros(len(hazard))
        return np.hstack([(pull @ unit)[:, None] * jumped, pull @ common])

    def _changes(self, refits: Refits, read: _Cells, estimate: Floats) -> Floats:
        """Scaled change of each average when each cluster is left out, shape (G, m).

        The part that comes through columns varying within clusters counts as those
        columns do, the rest as what is compared between clusters does.
        """
        groups = refits.deletions.groups
        change = np.array([read.averages(each) for each in refits.each]) - estimate
        inside = np.zeros_like(change)
        if groups.within.any():
            for cluster, beta in enumerate(refits.deletions.beta):
                moved = replace(self.baseline, beta=np.where(groups.within, beta, self.baseline.beta))
                inside[cluster] = read.averages(moved) - estimate
        between: Floats = np.sqrt(groups.factor)[:, None] * (change - inside)
        found: Floats = between + np.sqrt(1 - 1 / groups.count) * inside
        return found

    def _told(self, refits: Refits, slopes: Floats) -> Floats:
        """Share of each average's variance that clusters tell of; NaN where it is small.

        How a stratum with a single cluster varies cannot be told. As in
        ``survivor.models.clusters`` the variance is divided by what can.
        """
        block = refits.deletions.groups.block
        alone = np.bincount(block)[block] == 1
        lonely = np.unique(refits.rows.stratum[alone[refits.rows.cluster]])
        if not len(lonely):
            return np.ones(len(slopes))
        if 0 in lonely:  # the stratum with most clusters, so every other has one as well
            return np.full(len(slopes), np.nan)
        inverse = self.fitted.inverse
        places = len(self.fitted.held) + lonely - 1
        through = slopes @ inverse[:, places]
        lost = np.einsum("ml,ml->m", through @ np.linalg.pinv(inverse[np.ix_(places, places)]), through)
        whole = np.einsum("mp,mp->m", slopes @ inverse, slopes)
        told = 1 - np.divide(lost, whole, out=np.zeros(len(whole)), where=whole > 0)
        return np.where(told < LEAST_TOLD, np.nan, told)
