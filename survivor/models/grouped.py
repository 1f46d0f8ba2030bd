"""The ``grouped`` model: interval-censored proportional hazards, limits by cluster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.intervals import tally
from survivor.models.clusters import Kind, by_cluster, sandwich
from survivor.models.design import Design, build_design, refuse_aliased
from survivor.models.likelihood import Solution, solve
from survivor.models.pieces import DayPieces, Merged, SeasonPieces, choose_pieces, join_piece
from survivor.models.result import DeltaEngine, Fit, coefficient_table

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class _Survival:
    """Survival and its derivative for new cells: pieces, then strata, then terms."""

    design: Design
    pieces: Merged
    solution: Solution
    kept: tuple[int, ...]  # strata with a level in the likelihood; the first is the baseline's own

    def __call__(self, cells: pd.DataFrame, at: float) -> tuple[Floats, Floats]:
        columns = self.design.columns_for(cells)
        strata = self.design.strata_for(cells)
        rows = len(cells)
        lengths = self.pieces.lengths(cells, np.zeros(rows), np.full(rows, float(at)))
        covariates = np.hstack([_indicators(strata, self.kept[1:]), columns])
        by_piece = np.exp(covariates @ self.solution.beta)[:, None] * lengths * np.exp(self.solution.alpha)
        # A stratum without deaths left the likelihood: everybody there is taken as alive.
        by_piece[~np.isin(strata, self.kept)] = 0.0
        hazard = by_piece.sum(axis=1)
        alive = np.exp(-hazard)
        derivative = -alive[:, None] * np.hstack([by_piece, hazard[:, None] * covariates])
        return alive, derivative


def _indicators(codes: NDArray[np.intp], levels: Sequence[int]) -> Floats:
    found: Floats = (codes[:, None] == np.asarray(levels, dtype=np.intp)[None, :]).astype(float)
    return found


def fit_grouped(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    variance: Kind = "CR2",
) -> Fit:
    """Fit the grouped model; see ``survivor.fit`` for the parameters."""
    if frame["died"].sum() == 0:
        raise ModelError("nobody died, so there is no hazard to compare", where="grouped model", mend="see the curves")
    whole = build_design(frame, formula, strata, cluster)
    deaths = np.bincount(whole.strata_codes, weights=frame["died"], minlength=len(whole.strata_levels))
    kept = tuple(int(level) for level in np.flatnonzero(deaths > 0))
    used = np.isin(whole.strata_codes, kept)
    checks: list[str] = []
    if not used.all():
        named = whole.strata_levels.iloc[np.flatnonzero(deaths == 0)].astype(str).agg(" / ".join, axis=1)
        checks.append(
            f"nobody died at {', '.join(named)}: no hazard can be compared there, and the standardised survival "
            "takes it as 100 alive per 100"
        )
    rows = frame[used]
    columns = whole.columns[used]
    strata_columns = _indicators(whole.strata_codes[used], kept)
    against = " and ".join(whole.strata) + " levels" if whole.strata else "the baseline"
    refuse_aliased(columns, whole.terms, strata_columns, against)
    chosen, said = choose_pieces(rows, pieces)
    checks += said
    covariates = np.hstack([strata_columns[:, 1:], columns])
    names = (*_stratum_names(whole, kept[1:]), *whole.terms)
    start, stop = rows["start_day"].to_numpy(float), rows["stop_day"].to_numpy(float)
    clusters, cluster_codes = _dense_codes(whole.cluster_codes[used])
    while True:
        lengths = chosen.lengths(rows, start, stop)
        first, at_risk, died = _equal_rows(covariates, lengths, cluster_codes, rows)
        solution = solve(covariates[first], lengths[first], at_risk, died, names)
        if solution.runaway is None:
            break
        chosen = join_piece(chosen, solution.runaway)
        checks.append(f"a piece whose hazard ran to zero was joined; pieces used: {'; '.join(chosen.names)}")
    kind: Kind = "model" if cluster is None else variance
    covariance = sandwich(
        *by_cluster(cluster_codes[first], clusters, solution.rows, solution.score, solution.weight), kind=kind
    )
    offset = len(solution.parameters) - len(whole.terms)
    picks = np.eye(len(solution.parameters))[offset:]
    table = coefficient_table(
        whole.terms,
        solution.parameters[offset:],
        np.sqrt(np.diag(covariance.covariance)[offset:]),
        covariance.degrees(picks) if len(picks) else np.empty(0),
        kind,
        "hazard_ratio",
    )
    counts = tally(frame)
    engine = DeltaEngine(solution.parameters, covariance, _Survival(whole, chosen, solution, kept), offset)
    return Fit(
        model="grouped",
        formula=formula,
        variance=kind,
        at=None,
        table=table,
        log_likelihood=solution.log_likelihood,
        n_seedlings=counts["seedlings"],
        n_died=counts["died"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=tuple(checks),
        data=frame,
        cluster=whole.cluster,
        strata=whole.strata,
        n_clusters=clusters,
        variables=whole.variables,
        engine=engine,
    )


def _stratum_names(design: Design, levels: Sequence[int]) -> tuple[str, ...]:
    if not design.strata:
        return ()
    text = design.strata_levels.astype(str).agg(" / ".join, axis=1)
    return tuple(f"{' / '.join(design.strata)} {text.iloc[level]}" for level in levels)


def _dense_codes(codes: NDArray[np.intp]) -> tuple[int, NDArray[np.intp]]:
    levels, dense = np.unique(codes, return_inverse=True)
    return len(levels), dense.astype(np.intp)


def _equal_rows(
    covariates: Floats, lengths: Floats, clusters: NDArray[np.intp], rows: pd.DataFrame
) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Join rows alike in covariates, lengths and cluster: the likelihood does not change."""
    key = pd.DataFrame(np.hstack([clusters[:, None], covariates, lengths]))
    codes = key.groupby(list(key.columns), sort=False).ngroup().to_numpy()
    count = int(codes.max()) + 1
    first = np.full(count, len(codes), dtype=np.intp)
    np.minimum.at(first, codes, np.arange(len(codes)))
    return (
        first,
        np.bincount(codes, weights=rows["at_risk"].to_numpy(float), minlength=count),
        np.bincount(codes, weights=rows["died"].to_numpy(float), minlength=count),
    )
