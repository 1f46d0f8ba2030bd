"""The ``grouped`` model: interval-censored proportional hazards, limits by cluster."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.intervals import row_codes, sum_by, tally
from survivor.models.clusters import Kind, Sandwich, by_cluster, sandwich
from survivor.models.design import Design, build_design, joined, refuse_aliased
from survivor.models.grouped_survival import GroupedCells, read_cells
from survivor.models.jeffreys import GroupedJeffreys
from survivor.models.leave_out import LeaveOut
from survivor.models.likelihood import NoFiniteBaseline, Rows, Solution, read_rows, solve
from survivor.models.penalised_fit import penalised_parts
from survivor.models.pieces import DayPieces, Merged, SeasonPieces, choose_pieces, silence
from survivor.models.result import DeltaEngine, Fit, FitParts, coefficient_table, without_limits
from survivor.models.separation import Separation, said_of_levels, separation
from survivor.models.working import INDEPENDENCE, Working, check_working, plots_within, weights_to_the_end

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

_MANY = 20_000  # rows from which joining those of a kind pays


@dataclass(frozen=True)
class Arranged:
    """What a grouped model was fitted to, on arrays, for those who fit it again.

    Attributes
    ----------
    design
        Of all rows of the table, single seedlings that are alike joined.
    pieces
        Pieces of the baseline.
    rows
        Place in the table of one row of each group of equal rows that was fitted, shape (n,).
    left_out
        The rows fitted (``data``, n rows), their ``solution``, and the cluster of each
        (``codes``, 0 to ``clusters`` - 1).
    kind
        Which covariance.
    kept, lost
        Strata with a level in the likelihood, in order; strata where everybody died:
        nobody is alive there.
    row_of
        Place among the rows of ``design`` of each row of the table.
    """

    design: Design
    pieces: Merged
    rows: Codes
    left_out: LeaveOut
    kind: Kind
    kept: Codes
    lost: Codes
    row_of: Codes

    @property
    def cluster_codes(self) -> Codes:
        """Cluster of each row of the table, as ``design`` numbers clusters."""
        codes: Codes = self.design.cluster_codes[self.row_of]
        return codes

    @property
    def data(self) -> Rows:
        """The rows fitted."""
        return self.left_out.data

    @property
    def solution(self) -> Solution:
        """The maximum."""
        return self.left_out.solution


@dataclass(frozen=True)
class _Survival:
    """Survival for new cells, with its derivative in levels, pieces and terms."""

    fitted: Arranged

    def _read(self, cells: pd.DataFrame, at: float) -> GroupedCells:
        fitted = self.fitted
        return read_cells(fitted.design, fitted.pieces, fitted.kept, fitted.lost, cells, at)

    def __call__(self, cells: pd.DataFrame, at: float) -> tuple[Floats, Floats]:
        read, found = self._read(cells, at), self.fitted.solution
        by_piece = read.by_piece(found.level, found.alpha, found.beta)
        return read.alive(by_piece), read.derivative(by_piece, len(found.level))

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        read = self._read(cells, at)
        each = [
            read.by_piece(found.level, found.alpha, found.beta) for found in self.fitted.left_out.solutions()
        ]
        return np.array([weights @ read.alive(by_piece) for by_piece in each])


def fit_grouped(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    variance: Kind = "CR2",
    working: Working = INDEPENDENCE,
) -> Fit:
    """Fit the grouped model; see ``survivor.fit`` for the parameters."""
    check_working(working, cluster)
    if frame["died"].sum() == 0:
        raise ModelError(
            "nobody died, so there is no hazard to compare", where="grouped model", mend="see the curves"
        )
    plots = plots_within(working, frame, cluster)
    table, place, row_of = joined(frame, formula, strata, cluster, "planted_date", *plots)
    design = build_design(table, formula, strata, cluster)
    kept, lost, checks = strata_with_hazard(design, table)
    used = np.isin(design.strata_codes, kept)
    rows, columns = table[used], design.columns[used]
    stratum = np.searchsorted(kept, design.strata_codes[used]).astype(np.intp)
    refuse_aliased(
        columns,
        design.terms,
        stratum,
        " and ".join(design.strata) + " levels" if design.strata else "the baseline",
    )
    chosen, said = choose_pieces(rows, pieces, stratum)
    start, stop = rows["start_day"].to_numpy(float), rows["stop_day"].to_numpy(float)
    levels, codes = np.unique(design.cluster_codes[used], return_inverse=True)
    clusters = len(levels)
    weights = weights_to_the_end(working, frame, plots, design)
    checks += weights.checks
    weight = None if weights.of_row is None else weights.of_row[place][used]
    apart = [] if weight is None else [weight]

    at_risk, died = (rows[name].to_numpy(dtype=float) for name in ("at_risk", "died"))

    def collapsed() -> tuple[Rows, Codes, Codes]:
        """Equal rows of a cluster as one, a row of the table for each, and its kind whatever the cluster."""
        lengths = chosen.lengths(rows, start, stop)
        kind = row_codes([stratum, *columns.T, *lengths.T], in_order=False)[0]
        row, first = row_codes([kind, codes, *apart], in_order=False)
        counts = sum_by(row, at_risk), sum_by(row, died)
        own = None if weight is None else weight[first]
        data = Rows(columns[first], lengths[first], stratum[first], *counts, design.terms, weight=own)
        return data, first, kind[first]

    data, first, kinds = collapsed()
    found = separation(data.columns, data.lengths > 0, data.stratum, data.died, data.at_risk - data.died)
    counts = tally(frame)
    if found is None:
        try:
            while (solution := _solve(data, kinds)).runaway is not None:
                chosen = silence(chosen, solution.runaway)
                data, first, kinds = collapsed()
        except NoFiniteBaseline:  # the terms have estimates, levels and pieces have not
            found = Separation(np.zeros(len(design.terms)), np.ones(len(data.died), dtype=bool))
    checks += [said[0], *chosen.said()]
    if found is not None:
        # Where a piece has no hazard nobody was seen to be at risk.
        seen = rows.iloc[np.flatnonzero(chosen.lengths(rows, start, stop).any(axis=1))]
        who = said_of_levels(seen, design.variables)
        of_row, plants = codes[first].astype(np.intp), counts["seedlings"] / len(design.cluster_levels)
        read = partial(read_cells, design, chosen, kept, lost)
        parts = _penalised(data, found, who, of_row, plants, design, read)
    else:
        left_out = LeaveOut(data, solution, codes[first].astype(np.intp), clusters)
        limits: Kind = "model" if cluster is None else variance
        at = place[np.flatnonzero(used)[first]]
        fitted = Arranged(design, chosen, at, left_out, limits, kept, lost, row_of)
        parts = _likeliest(fitted)
    return Fit(
        model="grouped",
        formula=formula,
        variance=parts.variance,
        at=None,
        table=parts.table,
        log_likelihood=parts.log_likelihood,
        n_seedlings=counts["seedlings"],
        n_died=counts["died"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=(*checks, *parts.checks),
        data=frame,
        cluster=design.cluster,
        strata=design.strata,
        n_clusters=clusters,
        variables=design.variables,
        engine=parts.engine,
        working=working,
        correlation=weights.correlation,
    )


def _likeliest(fitted: Arranged) -> FitParts:
    """By maximum likelihood, with a covariance by cluster."""
    design, solution, left_out = fitted.design, fitted.solution, fitted.left_out
    covariance = covariance_by(left_out.codes, left_out.clusters, fitted.data, solution, fitted.kind)
    offset = len(solution.parameters) - len(design.terms)
    picks = np.eye(len(design.terms), len(solution.parameters), offset)
    table = coefficient_table(
        design.terms,
        solution.beta,
        np.sqrt(np.diag(covariance.covariance_of(picks))) if design.terms else np.empty(0),
        covariance.degrees(picks),
        fitted.kind,
        "hazard_ratio",
    )
    survival = _Survival(fitted)
    engine = DeltaEngine(solution.parameters, covariance, survival, offset, survival.without_each)
    checks = without_limits(table, design.cluster)
    return FitParts(fitted.kind, table, solution.log_likelihood, engine, checks)


def _penalised(
    data: Rows,
    found: Separation,
    who: str,
    codes: Codes,
    plants: float,
    design: Design,
    read: Callable[[pd.DataFrame, float], GroupedCells],
) -> FitParts:
    """With Jeffreys' penalty, since maximum likelihood has no finite estimate."""
    seen = np.flatnonzero((data.lengths > 0).any(axis=1))  # the others lie in pieces without a hazard
    at_risk, died = data.weighted
    likelihood = GroupedJeffreys(
        data.columns[seen], data.lengths[seen], data.stratum[seen], at_risk[seen], died[seen]
    )
    of_row = codes[seen]
    found = replace(found, overlap=found.overlap[seen])
    return penalised_parts(likelihood, found, who, of_row, plants, design, "hazard_ratio", read)


def strata_with_hazard(design: Design, frame: pd.DataFrame) -> tuple[Codes, Codes, list[str]]:
    """Strata that inform the hazard, those where everybody died at once, and what to say."""
    count = len(design.strata_levels)
    deaths = sum_by(design.strata_codes, frame["died"].to_numpy(), count)
    survivors = sum_by(design.strata_codes, (frame["at_risk"] - frame["died"]).to_numpy(), count)
    kept = np.flatnonzero((deaths > 0) & (survivors > 0)).astype(np.intp)
    lost = np.flatnonzero((deaths > 0) & (survivors == 0)).astype(np.intp)
    checks = []
    if (deaths == 0).any():
        checks.append(
            f"nobody died at {_named(design, np.flatnonzero(deaths == 0))}: no hazard can be compared there, "
            "and the standardised survival takes it as 100 alive per 100"
        )
    if len(lost):
        checks.append(
            f"everybody died by the first visit at {_named(design, lost)}: no hazard can be compared "
            "there, and the standardised survival takes it as 0 alive per 100"
        )
    if not len(kept):
        raise ModelError(
            "wherever seedlings died, all of them died by the first visit, so no hazard can be told",
            where="grouped model",
            mend="read the survival from the curves",
        )
    return kept, lost, checks


def _named(design: Design, strata: Codes) -> str:
    if not design.strata:
        return "the study"
    return ", ".join(design.strata_levels.iloc[strata].astype(str).agg(" / ".join, axis=1))


def arranged(fit: Fit) -> Arranged:
    """Give what a grouped fit was fitted to, on arrays.

    Raises
    ------
    ModelError
        When the fit is of another model.
    """
    engine = fit.engine
    if isinstance(engine, DeltaEngine) and isinstance(engine.survival, _Survival):
        return engine.survival.fitted
    if fit.variance == "penalised":
        raise ModelError(
            "nobody, or everybody, died at a level of a term, and the fit is a penalised one",
            where="fit",
            mend="join that level with another or leave the term out",
        )
    raise ModelError(
        f"this needs a grouped fit, not a {fit.model} one", where="fit", mend='fit with model="grouped"'
    )


def covariance_by(codes: Codes, clusters: int, data: Rows, solution: Solution, kind: Kind) -> Sandwich:
    """Covariance by cluster; strata are a border where every cluster lies within one."""
    stratum = np.empty(clusters, dtype=np.intp)
    stratum[codes] = data.stratum
    if np.array_equal(stratum[codes], data.stratum):
        local = np.column_stack([solution.hazard, solution.rows])
        return sandwich(*by_cluster(codes, clusters, local, solution.score, solution.weight), kind, stratum)
    levels = (data.stratum[:, None] == np.arange(data.strata)) * solution.hazard[:, None]
    local = np.hstack([levels, solution.rows])
    return sandwich(*by_cluster(codes, clusters, local, solution.score, solution.weight), kind)


def _solve(data: Rows, kinds: Codes) -> Solution:
    """Maximise the likelihood, which knows no clusters, on rows of a kind joined; then read every row."""
    count = int(kinds.max()) + 1
    if len(kinds) < _MANY or 2 * count > len(kinds):
        return solve(data)
    one = np.empty(count, dtype=np.intp)
    one[kinds[::-1]] = np.arange(len(kinds))[::-1]
    at_risk, died = data.weighted
    sums = sum_by(kinds, at_risk), sum_by(kinds, died)
    found = solve(Rows(data.columns[one], data.lengths[one], data.stratum[one], *sums, data.names))
    return found if found.runaway is not None else read_rows(data, found)
