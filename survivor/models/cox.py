"""The ``cox`` model: Cox regression at the visit days with Efron's ties, limits by cluster.

Coefficients come from lifelines, near the maximum since its weights are not the same as
repeated rows where deaths are tied. They are brought to full precision on the counts
(``survivor.models.partial``), where the jackknife starts. lifelines is given no clusters: its robust
standard error does not allow for ties and is too small on visit data.

Averages of survival from a Cox model, and their limits.

Survival of a cell is ``exp(-H exp(x beta))`` with H the Efron baseline of its
stratum summed over its days of death up to the day asked for: a step function
that changes at visits only. Where many die between two visits, Breslow's baseline
(one step of deaths over risk) would put survival too high; with Efron's it is
close to the product-limit curve.

Schoenfeld residuals of a Cox fit: how an effect moves with the age of the plants.

A residual is what those found dead on a day had more of a covariate than was to be
expected of those at risk. Scaled, it wanders round the coefficient of that day.

Sources: Schoenfeld (1982), Biometrika 69, 239-241; scaling of Grambsch and Therneau
(1994), Biometrika 81, 515-526, with the average covariance for that of each day.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Flags, Floats
from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.limits import Errors, floored
from survivor.models.clusters import Sandwich, WaldTest, sandwich, share_informed
from survivor.models.design import Design, build_design, refuse_aliased
from survivor.models.fitted import Estimates
from survivor.models.formulas import ONE_AT_A_TIME
from survivor.models.jackknife import Deletions, apart, blocks, delete_each, rounds
from survivor.models.partial import (
    Maximum,
    RiskSets,
    by_stratum,
    evaluate,
    maximise,
    residuals,
    risk_sets,
    schoenfeld,
)
from survivor.models.paths import stretches, total
from survivor.models.result import Fit, FitParts, check_fit, coefficient_table, floored_terms
from survivor.models.separation import no_finite_estimate, refuse_no_deaths

_BLOCK: Final = 2_000_000  # numbers held at a time

STALE_DAYS = 30.0  # a stratum last visited longer than this before the day asked for is refused


@dataclass(frozen=True)
class _Cells:
    """Cells as a Cox model sees them: one stretch of life each, or several where a covariate changes.

    ``columns`` (s, q) centred as in the fit; ``strata`` (s,) with -1 for those without deaths;
    ``start`` and ``stop`` (s,) the days of each stretch; ``first`` (n,) the first of each cell;
    ``weights`` (m, n).
    """

    columns: Floats
    strata: Codes
    start: Floats
    stop: Floats
    first: Codes
    weights: Floats

    @property
    def whole(self) -> bool:
        """Whether every cell is one stretch."""
        return len(self.first) == len(self.strata)

    @property
    def cell(self) -> Codes:
        """Cell of each stretch, shape (s,)."""
        return np.repeat(np.arange(len(self.first)), np.diff(self.first, append=len(self.strata)))

    @property
    def stratum(self) -> Codes:
        """Stratum of each cell, shape (n,)."""
        return self.strata[self.first]

    def pick(self, cells: Codes) -> _Cells:
        """Only these cells, in the order given."""
        sizes = np.diff(self.first, append=len(self.strata))[cells]
        ends = np.cumsum(sizes)
        rows = np.repeat(self.first[cells] - (ends - sizes), sizes) + np.arange(sizes.sum())
        parts = (self.columns[rows], self.strata[rows], self.start[rows], self.stop[rows])
        return _Cells(*parts, ends - sizes, self.weights[:, cells])

    def span(self, sets: RiskSets) -> tuple[Codes, Codes]:
        """Return the first day of death within each stretch and the one after its last."""
        wide = max(float(sets.days.max()), float(self.stop.max(initial=0.0))) + 1.0
        key = sets.day_strata * wide + sets.days
        begins, ends = (
            np.searchsorted(key, self.strata * wide + day, "right") for day in (self.start, self.stop)
        )
        return begins, ends

    def within(self, sets: RiskSets, values: Floats) -> Floats:
        """Sum values of the days of death over each stretch, shape (s,); 0 in strata without a death."""
        if self.whole and not self.start.any():
            until = sets.days <= self.stop.max(initial=0.0)
            levels = max(int(sets.day_strata.max()), int(self.strata.max(initial=0))) + 1
            by_stratum = sum_by(sets.day_strata[until], values[until], levels)
            return np.where(self.strata >= 0, by_stratum[self.strata], 0.0)
        begins, ends = self.span(sets)
        running = np.concatenate([[0.0], np.cumsum(values)])
        sums: Floats = running[ends] - running[begins]
        return sums

    def by_stretch(self, baseline: Floats, beta: Floats) -> Floats:
        """Cumulative hazard of each stretch from the baseline's, shape (s,)."""
        return np.asarray(baseline * np.exp(self.columns @ beta))

    def hazard(self, baseline: Floats, beta: Floats) -> Floats:
        """Cumulative hazard of each cell, shape (n,)."""
        return total(self.by_stretch(baseline, beta), self.first)

    def average(self, survival: Floats) -> Floats:
        """Weighted sums, shape (m,), or (m, k) for k columns; NaN where a cell that has weight is NaN."""
        lost = np.isnan(survival)
        sums: Floats = self.weights @ np.where(lost, 0.0, survival)
        return np.where(np.abs(self.weights) @ lost > 0, np.nan, sums)

    def averages_under(self, baseline: Floats, betas: Floats) -> Floats:
        """Weighted sums of survival under each of k coefficients, shape (k, m) for betas of shape (k, q)."""
        averages = np.empty((len(betas), len(self.weights)))
        at_once = max(1, _BLOCK // max(len(baseline), 1))
        for begin in range(0, len(betas), at_once):
            some = slice(begin, begin + at_once)
            stretches = baseline[:, None] * np.exp(self.columns @ betas[some].T)
            averages[some] = self.average(np.exp(-total(stretches, self.first))).T
        return averages


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
    found_dead
        ``start_day, stop_day, died`` of the rows with deaths.
    """

    design: Design
    sets: RiskSets
    estimate: Maximum
    kept: Codes
    last_visit: Floats
    limits: Deletions | Sandwich
    found_dead: pd.DataFrame

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test of the coefficients at these places; Hotelling's with the jackknife's degrees of freedom."""
        picks, beta = np.eye(len(self.estimate.beta))[list(terms)], self.estimate.beta
        if isinstance(self.limits, Sandwich):
            return self.limits.wald(picks, beta)
        return self.limits.wald(terms, beta, self.estimate.independent)

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations of the coefficients rest on."""
        if isinstance(self.limits, Sandwich):
            return self.limits.errors(picks)
        return self.limits.of_sums(picks, self.estimate.beta, self.estimate.independent)

    def residuals(self) -> pd.DataFrame:
        """Scaled Schoenfeld residuals; see :func:`scaled_residuals`."""
        sets, estimate = self.sets, self.estimate
        residuals_of_days = schoenfeld(sets, estimate.beta)
        deaths = np.bincount(sets.last - 1, weights=sets.died, minlength=len(sets.days))
        inverse = np.linalg.inv(estimate.at.information)
        scaled = estimate.beta + deaths.sum() * (residuals_of_days / deaths[:, None]) @ inverse
        places = self.design.strata_levels.iloc[self.kept[sets.day_strata]].reset_index(drop=True)
        parts = [
            places.assign(
                term=term,
                day=sets.days,
                deaths=deaths,
                residual=residuals_of_days[:, column],
                scaled=scaled[:, column],
            )
            for column, term in enumerate(self.design.terms)
        ]
        table = pd.concat(parts, ignore_index=True)
        return table[["term", *places.columns, "day", "deaths", "residual", "scaled"]]

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival at the last visit on or before ``at``; see ``Fit.average_survival``.

        Raises
        ------
        ModelError
            When a stratum was last visited more than 30 days before ``at`` or was not
            fitted, or the covariance is the sandwich, which has none for survival.
        """
        read = self._cells(cells, weights, at)
        survival = np.exp(-read.hazard(_baseline(self, read), self.estimate.beta))
        estimate = weights @ survival
        if isinstance(self.limits, Sandwich) and self.limits.kind != "model":
            raise ModelError(
                "the sandwich of Efron's score residuals has no limits for survival",
                where="variance",
                mend='use variance="jackknife"',
            )
        through, own = _working(self, read)
        independent = np.asarray(through @ through.T + own @ own.T)
        if isinstance(self.limits, Sandwich):
            return Estimates(estimate, independent, np.full(len(estimate), np.inf), checks=self._late(at))
        change = _changes(self, self.limits, read, survival)
        df = np.where(np.isnan(change).any(axis=0), np.nan, self.limits.groups.df_average)
        averages = Estimates.of(estimate, floored(change.T @ change, df, independent))
        return replace(averages, checks=self._late(at))

    def _late(self, at: float) -> tuple[str, ...]:
        """Say how many deaths lie in intervals that span the day, and so do not count yet."""
        dead = self.found_dead
        late = dead[(dead["start_day"] < at) & (at < dead["stop_day"])]
        if late.empty:
            return ()
        number, last = int(late["died"].sum()), late["stop_day"].max()
        return (
            f"{number} of {int(dead['died'].sum())} deaths were found by day {last:g} in plants last seen "
            f"alive before day {at:g}, and a Cox fit counts none of them by then: its survival on day "
            f'{at:g} is too high; for visits on different days use model="grouped"',
        )

    def _cells(self, cells: pd.DataFrame, weights: Floats, at: float) -> _Cells:
        life = stretches(cells, at)
        strata = self.design.strata_for(life.frame)
        early = np.intersect1d(np.flatnonzero(self.last_visit < at - STALE_DAYS), strata)
        if len(early):
            names = self.design.named(early)
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
        columns = self.sets.centred(self.design.columns_for(life.frame), place[strata])
        return _Cells(columns, place[strata], life.start, life.stop, life.first, weights)


def _baseline(engine: CoxEngine, cells: _Cells) -> Floats:
    """Baseline hazard over each stretch, shape (s,)."""
    return cells.within(engine.sets, engine.estimate.at.steps)


def _derivative(engine: CoxEngine, cells: _Cells) -> Floats:
    """Differentiate each cell's survival in the coefficients, through the baselines too; shape (n, q)."""
    now, beta = engine.estimate.at, engine.estimate.beta
    hazard = cells.by_stretch(_baseline(engine, cells), beta)
    slopes = np.empty((len(cells.first), len(beta)))
    for place in range(len(beta)):
        slope = cells.within(engine.sets, now.step_slopes[:, place])
        slopes[:, place] = total(
            hazard * cells.columns[:, place] + cells.by_stretch(slope, beta), cells.first
        )
    return -np.exp(-total(hazard, cells.first))[:, None] * slopes


def _working(engine: CoxEngine, cells: _Cells) -> tuple[Floats, Floats]:
    """Roots of the variance of each average with independent rows, shapes (m, q) and (m, days of death).

    The coefficients vary by the information; given them the steps of each baseline
    vary by themselves (Tsiatis 1981, Annals of Statistics 9, 93-108), here in
    Efron's form.
    """
    now, beta, sets = engine.estimate.at, engine.estimate.beta, engine.sets
    survival = np.exp(-cells.hazard(_baseline(engine, cells), beta))
    fall = -survival[cells.cell] * np.exp(cells.columns @ beta)
    # What each average loses by a step of the baseline on each day of death within a stretch.
    begins, ends = cells.span(sets)
    lost = cells.weights[:, cells.cell] * fall
    running = np.zeros((len(cells.weights), len(sets.days) + 1))
    np.add.at(running.T, begins, lost.T)
    np.add.at(running.T, ends, -lost.T)
    own = np.cumsum(running, axis=1)[:, :-1] * np.sqrt(now.step_variances)
    root = np.linalg.cholesky(engine.estimate.independent)
    return cells.weights @ _derivative(engine, cells) @ root, own


def _informed(engine: CoxEngine, deletions: Deletions, cells: _Cells) -> Floats:
    """Share of each average's working variance that plots tell of, shape (m,); NaN where it is small."""
    through, own = _working(engine, cells)
    alone = engine.sets.strata[deletions.groups.alone[engine.sets.cluster]]
    lonely = np.isin(engine.sets.day_strata, alone)
    whole = np.sum(through**2, axis=1) + np.sum(own**2, axis=1)
    lost = np.sum(own[:, lonely] ** 2, axis=1)
    return share_informed(lost, whole)


def _changes(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """Scaled change of each average when each cluster is left out, shape (G, m)."""
    groups, estimate = deletions.groups, cells.average(survival)
    change = _averages(engine, deletions, cells, survival) - estimate
    inside = np.zeros_like(change)
    if groups.within.any():
        moved = np.where(groups.within, deletions.beta, engine.estimate.beta)
        inside = cells.averages_under(_baseline(engine, cells), moved) - estimate
    return np.asarray(groups.scaled(change, inside) / np.sqrt(_informed(engine, deletions, cells)))


def _averages(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """Averages without each cluster, shape (G, m); NaN where a refit cannot tell."""
    averages = np.empty((deletions.groups.count, len(cells.weights)))
    whole: Sequence[int] = range(len(averages))
    if not deletions.full:
        averages = _one_step(engine, deletions, cells, survival)
        whole = sorted(deletions.flat)
    for cluster in whole:
        averages[cluster] = _refitted(engine, deletions, cells, cluster)
    return averages


def _refitted(engine: CoxEngine, deletions: Deletions, cells: _Cells, cluster: int) -> Floats:
    rest, beta = engine.sets.without(cluster), deletions.beta[cluster]
    left = np.exp(-cells.hazard(_left_baseline(engine, rest, beta, cells), beta))
    for direction in deletions.flat.get(cluster, np.empty((len(beta), 0))).T:
        # What the rows say nothing of must not change the answer; where it does there is none.
        beside = beta + direction
        moved = np.exp(-cells.hazard(_left_baseline(engine, rest, beside, cells), beside))
        left = np.where(np.abs(moved - left) > 1e-6, np.nan, left)
    return cells.average(left)


def _left_baseline(engine: CoxEngine, rest: RiskSets, beta: Floats, cells: _Cells) -> Floats:
    """Baseline over each stretch without a cluster; a stratum that lost its only one keeps the whole one."""
    left = cells.within(rest, evaluate(rest, beta).steps)
    levels = max(int(rest.strata.max()), int(cells.strata.max(initial=0))) + 1
    present = sum_by(rest.strata, rest.at_risk, levels) > 0
    return np.where(present[cells.strata], left, _baseline(engine, cells))


def _one_step(engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats) -> Floats:
    """As refitted, with the strata that a cluster does not touch by their derivative."""
    beta = engine.estimate.beta
    derivative = _derivative(engine, cells)
    whole, slope = cells.weights @ survival, cells.weights @ derivative
    averages = np.empty((deletions.groups.count, len(cells.weights)))
    stratum = cells.stratum
    if apart(engine.sets, deletions.groups) and cells.whole and not cells.start.any():
        return _one_step_in_rounds(engine, deletions, cells, survival, derivative)
    order = np.argsort(stratum, kind="stable")
    for rows, clusters in blocks(engine.sets, deletions.groups):
        strata = np.unique(rows.strata)
        low, high = (np.searchsorted(stratum[order], strata, side=side) for side in ("left", "right"))
        mine = order[np.concatenate([np.arange(a, b) for a, b in zip(low, high, strict=True)])]
        part = cells.pick(mine)
        outside = whole - part.weights @ survival[mine]
        outside_slope = slope - part.weights @ derivative[mine]
        for cluster in clusters:
            rest, moved = rows.without(cluster), deletions.beta[cluster]
            local = _left_baseline(engine, rest, moved, part)
            own = part.average(np.exp(-part.hazard(local, moved)))
            averages[cluster] = outside + outside_slope @ (moved - beta) + own
    return averages


def _one_step_in_rounds(
    engine: CoxEngine, deletions: Deletions, cells: _Cells, survival: Floats, derivative: Floats
) -> Floats:
    """As ``_one_step``, one cluster of every stratum at a time, for cells of one stretch from day 0."""
    sets, beta = engine.sets, engine.estimate.beta
    levels = int(sets.strata.max()) + 1
    inside = np.flatnonzero(cells.strata >= 0)
    home, pairs, terms = cells.strata[inside], len(cells.weights), len(beta)
    weights, base = cells.weights[:, inside].T, _baseline(engine, cells)
    alive = sum_by(home, weights * survival[inside, None], levels)  # of each stratum, shape (S, m)
    pulled = weights[:, :, None] * derivative[inside, None, :]
    slope = sum_by(home, pulled.reshape(len(inside), -1), levels).reshape(levels, pairs, terms)
    whole, whole_slope = cells.weights @ survival, cells.weights @ derivative
    averages = np.empty((deletions.groups.count, pairs))
    for clusters, strata, rest in rounds(sets):
        moved = np.tile(beta, (levels, 1))
        moved[strata] = deletions.beta[clusters]
        present = sum_by(rest.strata, rest.at_risk, levels) > 0
        # A stratum that lost its only cluster keeps the whole baseline.
        local = np.where(present[cells.strata], cells.within(rest, by_stratum(rest, moved)[2]), base)[inside]
        lived = np.exp(-local * np.exp(np.einsum("nq,nq->n", cells.columns[inside], moved[home])))
        own = sum_by(home, weights * lived[:, None], levels)
        outside = whole_slope - slope[strata]
        step = np.einsum("gmq,gq->gm", outside, deletions.beta[clusters] - beta)
        averages[clusters] = whole - alive[strata] + step + own[strata]
    return averages


def scaled_residuals(fit: Fit) -> pd.DataFrame:
    """Scaled Schoenfeld residuals, one row a term and day of death of a stratum.

    Parameters
    ----------
    fit
        A Cox fit.

    Returns
    -------
    DataFrame
        ``term``, the strata's columns, ``day`` (since planting), ``deaths``, ``residual``
        (sum over the dead of the day) and ``scaled`` (a coefficient: the average over
        deaths is the fit's own).

    Raises
    ------
    ModelError
        When the fit is of another model.

    Examples
    --------
    >>> found = survivor.scaled_residuals(survivor.fit(intervals, "method", model="cox"))
    >>> found.groupby("term")["deaths"].sum().tolist()
    [179.0, 179.0]
    """
    check_fit(fit)
    engine = fit.engine
    if not isinstance(engine, CoxEngine):
        raise ModelError(
            f"Schoenfeld residuals are of a Cox fit, not of a {fit.model} one",
            where="fit",
            mend='fit with model="cox"',
        )
    return engine.residuals()


CoxVariance = Literal["jackknife", "CR0"]

_MOST_ROWS = 20_000  # above so many lifelines takes longer than all the rest


def fit_cox(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    variance: CoxVariance = "jackknife",
) -> Fit:
    """Fit a Cox model with a baseline for each stratum; see ``survivor.fit`` for the parameters.

    Limits come from the delete-one-cluster jackknife with t on clusters less strata
    less columns constant within clusters (strata in which no column varies do not
    count); for a column that varies within clusters, on the clusters in which it does,
    less one. Where that leaves no degree of freedom, standard errors are given without
    limits and ``checks`` says so. ``variance="CR0"`` gives the sandwich of
    Efron's score residuals instead, for comparison; it has no limits for survival.
    With ``cluster=None`` rows are independent: limits from the information, normal,
    those of survival by the delta method.

    Survival is that of the last visit on or before the day asked for. A stratum
    without deaths leaves the likelihood and counts as everybody alive.
    """
    refuse_no_deaths(frame["died"], "cox model")
    for name in ("at_risk", "died"):
        if not np.allclose(frame[name], np.rint(frame[name])):
            raise ModelError(
                "Efron's ties need whole seedlings", where=f"column {name}", mend="give whole numbers"
            )
    whole = build_design(frame, formula, strata, cluster)
    levels = len(whole.strata_levels)
    deaths = sum_by(whole.strata_codes, frame["died"].to_numpy(), levels)
    kept = np.flatnonzero(deaths > 0).astype(np.intp)
    used = np.isin(whole.strata_codes, kept)
    checks = whole.left_out(np.flatnonzero(deaths == 0), "nobody died", "hazard", 100)
    sets = _arrange(frame, whole, kept, used)
    estimate = _estimate(sets, whole.terms)
    limits: Deletions | Sandwich
    if cluster is None or variance == "CR0":
        kind: Literal["model", "CR0"] = "model" if cluster is None else "CR0"
        scores = np.zeros((int(sets.cluster.max()) + 1, len(whole.terms)))
        np.add.at(scores, sets.cluster, residuals(sets, estimate.beta))
        limits = sandwich(scores, estimate.at.information[None], kind)
        named, errors = str(kind), limits.errors(np.eye(len(whole.terms)))
    else:
        limits = delete_each(sets, estimate)
        named, errors = "jackknife", limits.errors(estimate.beta, estimate.independent)
        how = ", refitted without each" if limits.full else ", one Newton step without each"
        strata = f"{'/'.join(whole.strata)} baselines" if whole.strata else ""
        checks += limits.said(whole.terms, whole.cluster[-1], strata, how)
    dead = frame.loc[frame["died"] > 0, ["start_day", "stop_day", "died"]]
    engine = CoxEngine(whole, sets, estimate, kept, _last_visit(frame, whole), limits, dead)
    kinds = errors.kinds(named)
    table = coefficient_table(whole.terms, estimate.beta, errors.std_error, errors.df, kinds, "hazard_ratio")
    parts = FitParts(named, table, estimate.at.log_likelihood, engine, floored_terms(table))
    clusters = len(np.unique(whole.cluster_codes[used]))
    return parts.fit(Fit, whole, frame, checks, model="cox", formula=formula, n_clusters=clusters)


def _last_visit(frame: pd.DataFrame, design: Design) -> Floats:
    """Last day seen in each stratum; infinite where nobody was left alive to be visited."""
    codes, stop = design.strata_codes, frame["stop_day"].to_numpy(float)
    last = np.full(len(design.strata_levels), -np.inf)
    np.maximum.at(last, codes, stop)
    alive = (frame["at_risk"] - frame["died"]).to_numpy(float) * (stop == last[codes])
    return np.where(sum_by(codes, alive, len(last)) > 0, last, np.inf)


def _arrange(frame: pd.DataFrame, design: Design, kept: Codes, used: Flags) -> RiskSets:
    columns, codes = design.columns[used], np.searchsorted(kept, design.strata_codes[used]).astype(np.intp)
    refuse_aliased(columns, design.terms, codes, design.against("baselines"))
    rows = frame[used]
    # Without clusters rows need not be kept apart.
    clusters = design.cluster_codes[used] if design.cluster else np.zeros(len(rows), dtype=np.intp)
    return risk_sets(columns, codes, clusters, rows)


def _estimate(sets: RiskSets, terms: Sequence[str]) -> Maximum:
    estimate = maximise(sets, _from_lifelines(sets))
    unknown = [term for term, known in zip(terms, estimate.known, strict=True) if not known]
    if estimate.flat.shape[1]:
        raise ModelError(
            f"{', '.join(unknown)} cannot be distinguished from the baselines: whenever a seedling died, all "
            "at risk were alike in it",
            where="cox model",
            mend="leave the term out, or compare it where it varies within a stratum",
        )
    if unknown:
        raise no_finite_estimate(unknown, "cox model")
    if not estimate.settled:
        raise ModelError("the fit did not settle", where="cox model", mend="use fewer terms")
    return estimate


def _from_lifelines(sets: RiskSets) -> Floats:
    """Coefficients near the maximum from lifelines; zeros, to start from, where it finds none.

    Its weights are not repeated rows where deaths are tied, so these are near only.
    """
    none = np.zeros(sets.columns.shape[1])
    if not len(none) or len(sets.columns) > _MOST_ROWS:
        return none
    try:
        from lifelines import CoxPHFitter
        from lifelines.exceptions import ConvergenceError, ConvergenceWarning
    except ImportError:  # it does not allow pandas 3; the maximum is the same, some steps later
        return none

    earliest = np.full(int(sets.strata.max()) + 1, len(sets.days))
    np.minimum.at(earliest, sets.strata, sets.first)
    rows = pd.DataFrame(sets.columns).add_prefix("column ").assign(stratum=sets.strata)
    rows["start"], rows["stop"] = sets.first - earliest[sets.strata], sets.last - earliest[sets.strata]
    parts = [
        rows.assign(died=died, number=count)
        for died, count in ((1, sets.died), (0, sets.at_risk - sets.died))
    ]
    rows = pd.concat(parts, ignore_index=True).query("number > 0")
    fitter, late = CoxPHFitter(), rows["start"].any()
    with ONE_AT_A_TIME, warnings.catch_warnings():
        # It warns of columns that nearly separate; ``maximise`` decides, and names the term.
        warnings.simplefilter("ignore", ConvergenceWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            fitter.fit(
                rows if late else rows.drop(columns="start"),
                "stop",
                "died",
                weights_col="number",
                strata=["stratum"],
                entry_col="start" if late else None,
            )
        except (ConvergenceError, ValueError):  # its check of separation asks for two seedlings
            return none
    near = fitter.params_.to_numpy(dtype=float)
    tame = np.isfinite(near).all() and np.abs(near * np.ptp(sets.columns, axis=0)).max() < 10
    return near if tame else none
