"""The ``grouped`` model: interval-censored proportional hazards, limits by cluster."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from survivor.arrays import Codes
from survivor.errors import ModelError
from survivor.intervals import row_codes, sum_by, tally
from survivor.models.cells import Reader, Survival, strata_with_hazard
from survivor.models.clusters import Kind
from survivor.models.design import amounts, build_design, joined, refuse_aliased
from survivor.models.fitted import Arranged, DeltaEngine
from survivor.models.likelihood import NoFiniteBaseline, Rows, Solution, covariance_by, read_rows, solve
from survivor.models.penalised_fit import penalised_parts
from survivor.models.pieces import DayPieces, SeasonPieces, absorb, choose_pieces
from survivor.models.result import Fit, likeliest_parts
from survivor.models.separation import Separation, refuse_no_deaths, said_of_levels, separation
from survivor.models.working import (
    INDEPENDENCE,
    Working,
    case_weights,
    check_working,
    plots_within,
    weights_to_the_end,
)
from survivor.vocabulary import DRY_SEASON, PLANTED

_FARTHEST = 300.0  # offset whose hazard can still be reckoned with
_MANY = 20_000  # rows from which joining those of a kind pays


def fit_grouped(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None,
    variance: Kind = "CR2",
    working: Working = INDEPENDENCE,
    offset: str | None = None,
    weights: str | None = None,
) -> Fit:
    """Fit the grouped model; see ``survivor.fit`` for the parameters."""
    check_working(working, cluster)
    own = case_weights(frame, weights, cluster)
    if offset is not None:
        far = np.abs(amounts(frame, offset, "offset")) > _FARTHEST
        if far.any():
            raise ModelError(
                f"row {frame.index[far][0]} has {offset} {frame[offset][far].iloc[0]:g}, and no hazard is so "
                "many times another: an offset is added to its logarithm",
                where=f"offset={offset!r}",
                mend="give the logarithm of the exposure, not the exposure itself",
            )
    refuse_no_deaths(frame["died"], "grouped model")
    plots = plots_within(working, frame, cluster)
    others = [name for name in (offset, weights) if name is not None]
    table, place, row_of = joined(frame, formula, strata, cluster, PLANTED, DRY_SEASON, *plots, *others)
    design = build_design(table, formula, strata, cluster, offset)
    places, checks = strata_with_hazard(design, table)
    used = places[design.strata_codes] >= 0
    rows, columns, stratum = table[used], design.columns[used], places[design.strata_codes[used]]
    refuse_aliased(columns, design.terms, stratum, design.against())
    chosen, said = choose_pieces(rows, pieces, stratum)
    start, stop = rows["start_day"].to_numpy(float), rows["stop_day"].to_numpy(float)
    levels, codes = np.unique(design.cluster_codes[used], return_inverse=True)
    clusters = len(levels)
    counting = weights_to_the_end(working, frame, plots, design).times(own)
    checks += counting.checks
    weight = None if counting.of_row is None else counting.of_row[place][used]
    apart = [] if weight is None else [weight]

    at_risk, died = (rows[name].to_numpy(dtype=float) for name in ("at_risk", "died"))

    def collapsed() -> tuple[Rows, Codes, Codes]:
        """Equal rows of a cluster as one, a row of the table for each, and its kind whatever the cluster."""
        lengths = chosen.lengths(rows, start, stop) * design.times(rows)
        kind = row_codes([stratum, *columns.T, *lengths.T], in_order=False)[0]
        row, first = row_codes([kind, codes, *apart], in_order=False)
        counts = sum_by(row, at_risk), sum_by(row, died)
        own = None if weight is None else weight[first]
        data = Rows(columns[first], lengths[first], stratum[first], *counts, design.terms, weight=own)
        return data, first, kind[first]

    data, first, kinds = collapsed()
    separated = separation(data.columns, data.lengths > 0, data.stratum, data.died, data.at_risk - data.died)
    if separated is None:
        try:
            while (solution := _solve(data, kinds)).divergent is not None:
                chosen = absorb(chosen, solution.divergent, data.lengths, data.died)
                data, first, kinds = collapsed()
        except NoFiniteBaseline:  # the terms have estimates, levels and pieces have not
            separated = Separation(np.zeros(len(design.terms)), np.ones(len(data.died), dtype=bool))
    checks += [said[0], *chosen.said()]
    of_row, read = codes[first].astype(np.intp), Reader(design, chosen, places)
    if separated is not None:
        # Where a piece has no hazard nobody was seen to be at risk.
        seen = rows.iloc[np.flatnonzero(chosen.lengths(rows, start, stop).any(axis=1))]
        who, plants = said_of_levels(seen, design.variables), tally(frame)["seedlings"]
        parts = penalised_parts(data, separated, who, of_row, plants / len(design.cluster_levels), read)
    else:
        kind: Kind = "model" if cluster is None else variance
        at = place[np.flatnonzero(used)[first]]
        fitted = Arranged(read, at, data, solution, of_row, clusters, kind, row_of)
        parts = likeliest_parts(
            solution,
            covariance_by(of_row, clusters, data, solution, kind),
            Survival(read, solution.parameters),
            design.cluster,
            design.terms,
            fitted,
        )
    return parts.fit(
        Fit,
        design,
        frame,
        checks,
        model="grouped",
        formula=formula,
        n_clusters=clusters,
        working=working,
        correlation=counting.correlation,
        weights=weights,
    )


def arranged(fit: Fit) -> Arranged:
    """Give what a grouped fit was fitted to, on arrays.

    Raises
    ------
    ModelError
        When the fit is of another model.
    """
    engine = fit.engine
    if isinstance(engine, DeltaEngine) and engine.fitted is not None:
        return engine.fitted
    if fit.variance == "penalised":
        raise ModelError(
            "nobody, or everybody, died at a level of a term, and the fit is a penalised one",
            where="fit",
            mend="join that level with another or leave the term out",
        )
    raise ModelError(
        f"this needs a grouped fit, not a {fit.model} one", where="fit", mend='fit with model="grouped"'
    )


def _solve(data: Rows, kinds: Codes) -> Solution:
    """Maximise the likelihood, which knows no clusters, on rows of a kind joined; then read every row."""
    count = int(kinds.max()) + 1
    if len(kinds) < _MANY or 2 * count > len(kinds):
        return solve(data)
    one = np.empty(count, dtype=np.intp)
    one[kinds[::-1]] = np.arange(len(kinds))[::-1]
    at_risk, died = data.weighted
    sums = sum_by(kinds, at_risk), sum_by(kinds, died)
    solution = solve(Rows(data.columns[one], data.lengths[one], data.stratum[one], *sums, data.names))
    return solution if solution.divergent is not None else read_rows(data, solution)
