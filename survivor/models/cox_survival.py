"""Averages of survival from a Cox model, and their limits.

Survival of a cell is ``exp(-H exp(x beta))`` with H the Efron baseline of its
stratum summed over its days of death up to the day asked for: a step function
that changes at visits only. Where many die between two visits, Breslow's baseline
(one step of deaths over risk) would put survival too high; with Efron's it is
close to the product-limit curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from survivor.errors import ModelError
from survivor.intervals import Codes, sum_by
from survivor.models.clusters import LEAST_TOLD, Sandwich, WaldTest
from survivor.models.design import Design
from survivor.models.jackknife import Deletions, blocks
from survivor.models.partial import Evaluation, Floats, Maximum, RiskSets, evaluate
from survivor.models.result import Estimates

STALE_DAYS = 30.0  # a stratum last visited longer than this before the day asked for is refused


@dataclass(frozen=True)
class _Cells:
    """Cells as a Cox model sees them.

    ``columns`` (n, q) centred as in the fit; ``strata`` (n,) with -1 for those without deaths;
    ``weights`` (m, n); ``at`` the day.
    """

    columns: Floats
    strata: Codes
    weights: Floats
    at: float

    def hazard(self, baseline: Floats, beta: Floats) -> Floats:
        """Cumulative hazard of each cell; 0 where the stratum has no baseline."""
        found: Floats = np.where(self.strata >= 0, baseline[self.strata], 0.0) * np.exp(self.columns @ beta)
        return found

    def average(self, survival: Floats) -> Floats:
        """Weighted sums, shape (m,); NaN where a cell that has weight is NaN."""
        lost = np.isnan(survival)
        found: Floats = self.weights @ np.where(lost, 0.0, survival)
        return np.where(np.abs(self.weights) @ lost > 0, np.nan, found)


@dataclass(frozen=True)
class CoxEngine:
    """A fitted Cox model for ``Fit``: averages of survival and tests of terms.

    Attributes
    ----------
    kept
        Strata (places in ``design.strata_levels``) with deaths; ``sets`` numbers them from 0.
    last_visit
        Last day seen in each stratum of the design; infinite where all had died by then.
    limits
        The jackknife, or a sandwich: the model's own covariance or that of Efron's score residuals.
    """

    design: Design
    sets: RiskSets
    estimate: Maximum
    kept: Codes
    last_visit: Floats
    limits: Deletions | Sandwich

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places; Hotelling's with the jackknife's degrees of freedom."""
        picks, beta = np.eye(len(self.estimate.beta))[list(terms)], self.estimate.beta
        if isinstance(self.limits, Sandwich):
            return self.limits.wald(picks, beta)
        return self.limits.wald(terms, beta)

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival at the last visit on or before ``at``; see ``Fit.average_survival``.

        Raises
        ------
        ModelError
            When a stratum was last visited more than 30 days before ``at`` or was not
            fitted, or the covariance is the sandwich, which has none for survival.
        """
        found = self._cells(cells, weights, at)
        beta = self.estimate.beta
        survival = np.exp(-found.hazard(_baseline(self.sets, self.estimate.at, at), beta))
        estimate = weights @ survival
        if isinstance(self.limits, Sandwich):
            covariance = _by_delta(self, self.limits, found)
            return Estimates(estimate, covariance, np.full(len(estimate), np.inf))
        change = _changes(self, self.limits, found, survival)
        df = np.where(np.isnan(change).any(axis=0), np.nan, self.limits.groups.df_average)
        return Estimates(estimate, change.T @ change, df)

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival without each cluster, shape (G, m); needs the jackknife."""
        if isinstance(self.limits, Sandwich):
            raise ModelError(
                "there is no fit without each cluster",
                where="cluster",
                mend='use cluster="plot", the jackknife',
            )
        found = self._cells(cells, weights, at)
        survival = np.exp(-found.hazard(_baseline(self.sets, self.estimate.at, at), self.estimate.beta))
        return _averages(self, self.limits, found, survival)

    def _cells(self, cells: pd.DataFrame, weights: Floats, at: float) -> _Cells:
        strata = self.design.strata_for(cells)
        early = np.intersect1d(np.flatnonzero(self.last_visit < at - STALE_DAYS), strata)
        if len(early):
            names = self.design.strata_levels.iloc[early].astype(str).agg(" / ".join, axis=1)
            seen = "; ".join(
                f"{name} day {day:g}" for name, day in zip(names, self.last_visit[early], strict=True)
            )
            raise ModelError(
                f"last visited more than {STALE_DAYS:g} days before day {at:g}: {seen}",
                where="at",
                mend="ask for an earlier day, or leave those strata out knowingly",
            )
        place = np.full(len(self.design.strata_levels), -1, dtype=np.intp)
        place[self.kept] = np.arange(len(self.kept))
        columns = self.sets.centred(self.design.columns_for(cells), place[strata])
        return _Cells(columns, place[strata], weights, at)


def _by_stratum(sets: RiskSets, values: Floats, at: float) -> Floats:
    """Sum of daily values over the days of death up to ``at`` in each stratum."""
    until = sets.days <= at
    return sum_by(sets.day_strata[until], values[until], int(sets.day_strata.max()) + 1)


def _baseline(sets: RiskSets, at: Evaluation, day: float) -> Floats:
    return _by_stratum(sets, at.steps, day)


def _derivative(engine: CoxEngine, cells: _Cells) -> Floats:
    """Differentiate each cell's survival in the coefficients, through the baselines too; shape (n, q)."""
    now, beta = engine.estimate.at, engine.estimate.beta
    baseline = _baseline(engine.sets, now, cells.at)
    hazard = cells.hazard(baseline, beta)
    found = np.empty((len(hazard), len(beta)))
    for place in range(len(beta)):
        slope = _by_stratum(engine.sets, now.step_slopes[:, place], cells.at)
        found[:, place] = hazard * cells.columns[:, place] + cells.hazard(slope, beta)
    return -np.exp(-hazard)[:, None] * found


def _by_delta(engine: CoxEngine, limits: Sandwich, cells: _Cells) -> Floats:
    """Covariance of the averages where rows are independent."""
    if limits.kind != "model":
        raise ModelError(
            "the sandwich of Efron's score residuals has no limits for survival",
            where="variance",
            mend='use variance="jackknife"',
        )
    through, own = _working(engine, cells)
    return np.asarray(through @ through.T + own @ own.T)


def _working(engine: CoxEngine, cells: _Cells) -> tuple[Floats, Floats]:
    """Roots of the variance of each average with independent rows, shapes (m, q) and (m, strata).

    The coefficients vary by the information; given them the steps of each baseline
    vary by themselves (Tsiatis 1981, Annals of Statistics 9, 93-108), here in
    Efron's form.
    """
    now, beta = engine.estimate.at, engine.estimate.beta
    baseline = _baseline(engine.sets, now, cells.at)
    fall = -np.exp(-cells.hazard(baseline, beta)) * cells.hazard(np.ones(len(baseline)), beta)
    own = np.zeros((len(cells.weights), len(baseline)))
    has = cells.strata >= 0
    np.add.at(own.T, cells.strata[has], (cells.weights * fall).T[has])
    spread = _by_stratum(engine.sets, now.step_variances, cells.at)
    root = np.linalg.cholesky(np.linalg.inv(now.information))
    return cells.weights @ _derivative(engine, cells) @ root, own * np.sqrt(spread)


def _told(engine: CoxEngine, deletions: Deletions, cells: _Cells) -> Floats:
    """Share of each average's working variance that plots tell of, shape (m,); NaN where it is small.

    How a stratum with a single cluster varies cannot be told. As in
    ``survivor.models.clusters`` the variance is divided by what can.
    """
    through, own = _working(engine, cells)
    groups = deletions.groups
    alone = np.bincount(groups.block)[groups.block] == 1
    lonely = np.zeros(own.shape[1], dtype=bool)
    lonely[engine.sets.strata[alone[engine.sets.cluster]]] = True
    whole = np.sum(through**2, axis=1) + np.sum(own**2, axis=1)
    lost = np.sum(own[:, lonely] ** 2, axis=1)
    told = 1 - np.divide(lost, whole, out=np.zeros(len(whole)), where=whole > 0)
    return np.where(told < LEAST_TOLD, np.nan, told)


def _changes(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """Scaled change of each average when each cluster is left out, shape (G, m).

    The part of a change that comes through columns varying within clusters counts
    as those columns do, the rest as what is compared between clusters does.
    """
    groups, estimate = deletions.groups, cells.average(survival)
    change = _averages(engine, deletions, cells, survival) - estimate
    inside = np.zeros_like(change)
    if groups.within.any():
        baseline = _baseline(engine.sets, engine.estimate.at, cells.at)
        for cluster in range(groups.count):
            moved = np.where(groups.within, deletions.beta[cluster], engine.estimate.beta)
            inside[cluster] = cells.average(np.exp(-cells.hazard(baseline, moved))) - estimate
    between: Floats = np.sqrt(groups.factor)[:, None] * (change - inside)
    scaled = between + np.sqrt(1 - 1 / groups.count) * inside
    return np.asarray(scaled / np.sqrt(_told(engine, deletions, cells)))


def _averages(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """Averages without each cluster, shape (G, m); NaN where a refit cannot tell."""
    found = np.empty((deletions.groups.count, len(cells.weights)))
    whole: Sequence[int] = range(len(found))
    if not deletions.full:
        found = _one_step(engine, deletions, cells, survival)
        whole = sorted(deletions.flat)
    for cluster in whole:
        found[cluster] = _refitted(engine, deletions, cells, cluster)
    return found


def _refitted(engine: CoxEngine, deletions: Deletions, cells: _Cells, cluster: int) -> Floats:
    rest, beta = engine.sets.without(cluster), deletions.beta[cluster]
    left = np.exp(-cells.hazard(_left_baseline(engine, rest, beta, cells.at), beta))
    for direction in deletions.flat.get(cluster, np.empty((len(beta), 0))).T:
        # What the rows say nothing of must not change the answer; where it does there is none.
        other = beta + direction
        moved = np.exp(-cells.hazard(_left_baseline(engine, rest, other, cells.at), other))
        left = np.where(np.abs(moved - left) > 1e-6, np.nan, left)
    return cells.average(left)


def _left_baseline(engine: CoxEngine, rest: RiskSets, beta: Floats, day: float) -> Floats:
    """Baseline of each stratum without a cluster; a stratum that lost its only one keeps the whole one."""
    whole = _baseline(engine.sets, engine.estimate.at, day)
    left = _baseline(rest, evaluate(rest, beta), day)
    present = sum_by(rest.strata, rest.at_risk, len(left)) > 0
    return np.where(present, left, whole[: len(left)])


def _one_step(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """As refitted, with the strata that a cluster does not touch by their derivative."""
    beta = engine.estimate.beta
    derivative = _derivative(engine, cells)
    whole, slope = cells.weights @ survival, cells.weights @ derivative
    found = np.empty((deletions.groups.count, len(cells.weights)))
    order = np.argsort(cells.strata, kind="stable")
    for rows, clusters in blocks(engine.sets, deletions.groups):
        strata = np.unique(rows.strata)
        low, high = (np.searchsorted(cells.strata[order], strata, side=side) for side in ("left", "right"))
        mine = order[np.concatenate([np.arange(a, b) for a, b in zip(low, high, strict=True)])]
        part = _Cells(cells.columns[mine], cells.strata[mine], cells.weights[:, mine], cells.at)
        outside = whole - part.weights @ survival[mine]
        outside_slope = slope - part.weights @ derivative[mine]
        for cluster in clusters:
            rest, moved = rows.without(cluster), deletions.beta[cluster]
            local = _left_baseline(engine, rest, moved, cells.at)
            own = part.average(np.exp(-part.hazard(local, moved)))
            found[cluster] = outside + outside_slope @ (moved - beta) + own
    return found
