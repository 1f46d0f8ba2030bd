"""The ``logistic`` model: alive or dead at one milestone, limits by cluster.

Odds are odds of being alive, so that an odds ratio above 1 means better survival.
statsmodels fits; steps of our own bring the estimate to full precision, name a term
that runs away, and do the whole fit where strata are too many for its dense columns.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, gammaln

from survivor.errors import ModelError
from survivor.intervals import Codes, cluster_columns, group_codes, sum_by, tally
from survivor.models.clusters import Kind, Sandwich, bread_of, by_cluster, sandwich
from survivor.models.design import Design, build_design, refuse_aliased
from survivor.models.jeffreys import LogisticJeffreys
from survivor.models.outcome import outcomes
from survivor.models.penalised_fit import penalised_parts
from survivor.models.result import DeltaEngine, Fit, FitParts, coefficient_table, without_limits
from survivor.models.runaway import FAR, errors_from, range_within, runs_away
from survivor.models.separation import Separation, said_of_levels, separation
from survivor.models.working import INDEPENDENCE, Working, check_working, plots_within, weights_at_milestone

Floats = NDArray[np.float64]

_STEPS = 100
_CONVERGED = 1e-18  # squared length of the step in units of standard errors
# A term that moves the log odds this far over its range is running to infinity. Separation is told before, by
# itself; girls' age at menarche moves them by 14, and that is finite.
_MOST_DENSE = 20_000_000  # numbers in the matrix given to statsmodels


@dataclass(frozen=True)
class _Rows:
    """Collapsed data: columns (n, q), stratum codes 0 to S - 1, counts alive and in all (n,).

    ``weight`` (n,): what the log-likelihood of each row is multiplied by, or None.
    """

    columns: Floats
    stratum: Codes
    cluster: Codes
    alive: Floats
    number: Floats
    weight: Floats | None

    @property
    def strata(self) -> int:
        return int(self.stratum.max()) + 1

    @property
    def weighted(self) -> tuple[Floats, Floats]:
        """Alive and in all times the weight of the row."""
        if self.weight is None:
            return self.alive, self.number
        return self.weight * self.alive, self.weight * self.number


@dataclass(frozen=True)
class LogisticCells:
    """Cells read once, to predict for under any parameters (strata levels, then terms)."""

    columns: Floats
    place: Codes  # level of each cell's stratum, -1 nobody died there, -2 everybody died
    levels: int

    @property
    def fixed(self) -> NDArray[np.bool_]:
        """Whether survival is 0 or 1 whatever the parameters."""
        return self.place < 0

    def pick(self, rows: Codes) -> LogisticCells:
        """Only these cells."""
        return LogisticCells(self.columns[rows], self.place[rows], self.levels)

    def alive(self, parameters: Floats, sign: float = 1.0) -> Floats:
        """Share alive of each cell; with ``sign`` -1 the share dead."""
        linear = parameters[np.maximum(self.place, 0)] + self.columns @ parameters[self.levels :]
        settled = (self.place == (-1 if sign > 0 else -2)).astype(float)
        found: Floats = np.where(self.fixed, settled, expit(sign * linear))
        return found

    def derivative(self, share: Floats) -> Floats:
        """Differentiate the shares alive in all parameters, shape (n, p)."""
        slope = np.where(self.fixed, 0.0, share * (1 - share))
        found = np.zeros((len(share), self.levels + self.columns.shape[1]))
        inside = np.flatnonzero(~self.fixed)
        found[inside, self.place[inside]] = slope[inside]
        found[:, self.levels :] = slope[:, None] * self.columns
        return found

    def shares(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats, Floats]:
        """Share alive and share dead of each, and the derivative of their weighted sum alive."""
        alive, dead = self.alive(parameters), self.alive(parameters, -1.0)
        own = np.where(self.fixed, 0.0, weights * alive * dead)
        levels = sum_by(np.maximum(self.place, 0), own, self.levels)
        return alive, dead, np.concatenate([levels, own @ self.columns])


Read = Callable[[pd.DataFrame, float], LogisticCells]


def _read_cells(design: Design, place: Codes, levels: int, cells: pd.DataFrame, at: float) -> LogisticCells:
    return LogisticCells(design.columns_for(cells), place[design.strata_for(cells)], levels)


def fit_logistic(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    at: float,
    window: float,
    variance: Kind = "CR2",
    working: Working = INDEPENDENCE,
) -> Fit:
    """Fit odds of being alive at day ``at``; see ``survivor.fit`` for the parameters.

    A stratum where everybody is alive, or everybody dead, leaves the likelihood: it is
    named in ``checks`` and stands at 1 or 0 in ``average_survival``. ``n_seedlings``
    and ``n_died`` count those whose state is known. How states are told:
    ``survivor.models.outcome``; what is left out is counted in ``checks``.
    """
    check_working(working, cluster)
    whole = build_design(frame, formula, strata, cluster)
    read = list(dict.fromkeys([*whole.variables, *whole.strata, *whole.cluster]))
    plot = cluster_columns(frame, "plot") if "plot" in frame.columns else (whole.cluster or whole.strata)
    found = outcomes(frame, at, window, read, plot)
    chains = found.chains
    design = build_design(chains, formula, strata, cluster)
    place, checks = strata_with_odds(design, chains)
    used = place[design.strata_codes] >= 0
    if not used.any():
        raise ModelError(
            "in every stratum everybody is alive, or everybody dead, so no odds can be compared",
            where="logistic model",
            mend="use wider strata, another day, or read the survival from the curves",
        )
    weights = weights_at_milestone(working, chains, plots_within(working, chains, cluster), design, at)
    rows = _collapse(design, chains, place, used, weights.of_row)
    against = " and ".join(design.strata) + " levels" if design.strata else "the intercept"
    refuse_aliased(design.columns[used], design.terms, place[design.strata_codes[used]], against)
    reader = partial(_read_cells, design, place, rows.strata)
    dead = rows.number - rows.alive
    runs = separation(rows.columns, np.ones((len(dead), 1), dtype=bool), rows.stratum, dead, rows.alive)
    if runs is not None:
        counted = chains[used].assign(
            died=lambda rows: rows["dead"], at_risk=lambda rows: rows["dead"] + rows["alive"]
        )
        who = said_of_levels(counted, design.variables)
        parts = _penalised(rows, runs, who, design, reader)
    else:
        parts = _likeliest(rows, design, reader, "model" if cluster is None else variance)
    data, unread = rows_with_outcome(found.rows, design)
    counts = tally(chains)
    return Fit(
        model="logistic",
        formula=formula,
        variance=parts.variance,
        at=at,
        table=parts.table,
        log_likelihood=parts.log_likelihood,
        n_seedlings=int(chains["alive"].sum() + chains["dead"].sum()),
        n_died=int(chains["dead"].sum()),
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=(
            *found.checks,
            "odds ratios are of being alive: above 1 is better survival",
            *checks,
            *weights.checks,
            *parts.checks,
            *unread,
        ),
        data=data,
        cluster=design.cluster,
        strata=design.strata,
        n_clusters=int(rows.cluster.max()) + 1,
        variables=design.variables,
        engine=parts.engine,
        working=working,
        correlation=weights.correlation,
    )


def _likeliest(rows: _Rows, design: Design, read: Read, kind: Kind) -> FitParts:
    """By maximum likelihood, with a covariance by cluster."""
    level, beta, value = _solve(rows, design.terms)
    covariance = _covariance(rows, level, beta, kind)
    picks = np.eye(len(beta), len(level) + len(beta), len(level))
    table = coefficient_table(
        design.terms,
        beta,
        np.sqrt(np.diag(covariance.covariance_of(picks))) if design.terms else np.empty(0),
        covariance.degrees(picks),
        kind,
        "odds_ratio",
    )
    parameters = np.concatenate([level, beta])

    def survival(cells: pd.DataFrame, at: float) -> tuple[Floats, Floats]:
        share = (known := read(cells, at)).alive(parameters)
        return share, known.derivative(share)

    engine = DeltaEngine(parameters, covariance, survival, len(level))
    return FitParts(kind, table, value, engine, without_limits(table, design.cluster))


def _penalised(rows: _Rows, runs: Separation, who: str, design: Design, read: Read) -> FitParts:
    """With Jeffreys' penalty, since maximum likelihood has no finite estimate."""
    likelihood = LogisticJeffreys(rows.columns, rows.stratum, *rows.weighted)
    plants = rows.number.sum() / (int(rows.cluster.max()) + 1)
    return penalised_parts(likelihood, runs, who, rows.cluster, plants, design, "odds_ratio", read)


def strata_with_odds(design: Design, chains: pd.DataFrame) -> tuple[Codes, list[str]]:
    """Level of each stratum in the likelihood, -1 nobody died, -2 everybody died; and what to say."""
    count = len(design.strata_levels)
    alive = sum_by(design.strata_codes, chains["alive"].to_numpy(), count)
    dead = sum_by(design.strata_codes, chains["dead"].to_numpy(), count)
    mixed = (alive > 0) & (dead > 0)
    place = np.where(dead == 0, -1, -2).astype(np.intp)
    place[mixed] = np.arange(int(mixed.sum()))
    names = (
        design.strata_levels.astype(str).agg(" / ".join, axis=1)
        if design.strata
        else pd.Series(["the study"])
    )
    checks = []
    for state, per, which in (("alive", 100, dead == 0), ("dead", 0, alive == 0)):
        if which.any():
            checks.append(
                f"everybody was {state} at {', '.join(names[which])}: no odds can be compared there, and the "
                f"standardised survival takes it as {per} alive per 100"
            )
    return place, checks


def rows_with_outcome(rows: pd.DataFrame, design: Design) -> tuple[pd.DataFrame, list[str]]:
    """Rows of the strata in which some state is known, which alone can be predicted."""
    if not design.strata:
        return rows, []
    names = list(design.strata)
    known = (
        rows[names]
        .astype(str)
        .merge(design.strata_levels.astype(str), on=names, how="left", indicator="_there")
    )
    there = (known["_there"] == "both").to_numpy()
    if there.all():
        return rows, []
    lost = sorted(set(rows.loc[~there, names].astype(str).agg(" / ".join, axis=1)))
    return rows[there], [f"no state is known at that visit at {', '.join(lost)}, which is left out"]


def _collapse(
    design: Design, chains: pd.DataFrame, place: Codes, used: NDArray[np.bool_], weight: Floats | None
) -> _Rows:
    stratum = place[design.strata_codes[used]]
    clusters = np.unique(design.cluster_codes[used], return_inverse=True)[1].astype(np.intp)
    apart = [] if weight is None else [weight[used]]
    key = pd.DataFrame(np.column_stack([clusters, stratum, design.columns[used], *apart]))
    codes, levels = group_codes(key, list(key.columns))
    first = np.full(len(levels), len(codes), dtype=np.intp)
    np.minimum.at(first, codes, np.arange(len(codes)))
    alive, dead = (sum_by(codes, chains[name].to_numpy(float)[used]) for name in ("alive", "dead"))
    own = None if weight is None else weight[used][first]
    return _Rows(design.columns[used][first], stratum[first], clusters[first], alive, alive + dead, own)


def _solve(rows: _Rows, terms: Sequence[str]) -> tuple[Floats, Floats, float]:
    """Levels, coefficients and log-likelihood (with the binomial constant) by Newton steps."""
    level, beta = _start(rows)
    alive, number = rows.weighted
    value = _value(rows, level, beta)
    spread = range_within(rows.columns, rows.stratum)
    for _ in range(_STEPS):
        share = expit(level[rows.stratum] + rows.columns @ beta)
        score, weight = alive - number * share, number * share * (1 - share)
        own = sum_by(rows.stratum, score)
        across = np.column_stack(
            [
                np.empty((rows.strata, 0)),
                *(sum_by(rows.stratum, weight * column)[:, None] for column in rows.columns.T),
            ]
        )
        common = rows.columns.T @ (weight[:, None] * rows.columns)
        gradient = np.concatenate([own, score @ rows.columns])
        bread = bread_of(sum_by(rows.stratum, weight), across, common)
        step_level, step_beta = (part[0] for part in bread.times(gradient[None]))
        gain = float(np.concatenate([step_level, step_beta]) @ gradient)
        size = 1.0
        while True:
            trial = _value(rows, level + size * step_level, beta + size * step_beta)
            if trial >= value - 1e-10 * abs(value) or size < 1e-8:
                break
            size /= 2
        level, beta, value = level + size * step_level, beta + size * step_beta, trial
        reach = np.abs(beta) * spread
        # The information before the last step: it only falls on the way to infinity.
        gone = runs_away(beta, spread, errors_from(bread.common))
        if gone.any():
            name = terms[int(np.argmax(np.where(gone, reach, 0.0)))]
            raise ModelError(
                f"{name} has no finite estimate: at one of its levels everybody is alive, or everybody dead",
                where="logistic model",
                mend="join that level with another, leave the term out, or read its survival from the curves",
            )
        if gain * size < _CONVERGED:
            break
    dead = rows.number - rows.alive
    ways = gammaln(rows.number + 1) - gammaln(rows.alive + 1) - gammaln(dead + 1)
    constant = float(np.sum(ways if rows.weight is None else rows.weight * ways))
    return level, beta, value + constant


def _value(rows: _Rows, level: Floats, beta: Floats) -> float:
    linear = level[rows.stratum] + rows.columns @ beta
    alive, number = rows.weighted
    return float(np.sum(alive * linear - number * np.logaddexp(0.0, linear)))


def _start(rows: _Rows) -> tuple[Floats, Floats]:
    """Estimates of statsmodels; where its columns would be too many, levels from the counts."""
    strata, terms = rows.strata, rows.columns.shape[1]
    counted, all_there = rows.weighted
    alive, number = sum_by(rows.stratum, counted), sum_by(rows.stratum, all_there)
    plain = np.log((alive + 0.5) / (number - alive + 0.5)), np.zeros(terms)
    if len(rows.alive) * (strata + terms) > _MOST_DENSE:
        return plain
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import PerfectSeparationError

    matrix = np.hstack([(rows.stratum[:, None] == np.arange(strata)).astype(float), rows.columns])
    counts = np.column_stack([counted, all_there - counted])
    with warnings.catch_warnings():
        # Separation and its overflows: the steps that follow find the term and name it.
        warnings.simplefilter("ignore")
        try:
            found = np.asarray(GLM(counts, matrix, family=Binomial()).fit().params, dtype=float)
        except (PerfectSeparationError, np.linalg.LinAlgError):
            return plain
    reach = np.abs(found[strata:]) * range_within(rows.columns, rows.stratum)
    tame = np.isfinite(found).all() and reach.max(initial=0.0) < 2 * FAR
    return (found[:strata], found[strata:]) if tame else plain


def _covariance(rows: _Rows, level: Floats, beta: Floats, kind: Kind) -> Sandwich:
    """Covariance by cluster; strata are a border where every cluster lies in one."""
    share = expit(level[rows.stratum] + rows.columns @ beta)
    alive, number = rows.weighted
    score, weight = alive - number * share, number * share * (1 - share)
    clusters = int(rows.cluster.max()) + 1
    stratum = np.empty(clusters, dtype=np.intp)
    stratum[rows.cluster] = rows.stratum
    if np.array_equal(stratum[rows.cluster], rows.stratum):
        local = np.column_stack([np.ones(len(share)), rows.columns])
        return sandwich(*by_cluster(rows.cluster, clusters, local, score, weight), kind, stratum)
    levels = (rows.stratum[:, None] == np.arange(rows.strata)).astype(float)
    local = np.hstack([levels, rows.columns])
    return sandwich(*by_cluster(rows.cluster, clusters, local, score, weight), kind)
