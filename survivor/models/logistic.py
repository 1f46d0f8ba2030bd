"""The ``logistic`` model: alive or dead at one milestone, limits by cluster.

Odds are odds of being alive, so that an odds ratio above 1 means better survival.
statsmodels fits; steps of our own bring the estimate to full precision, name a term
that runs away, and do the whole fit where strata are too many for its dense columns.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Flags, Floats
from survivor.intervals import cluster_columns, row_codes, sum_by
from survivor.models.cells import Reader, Survival, strata_with_odds
from survivor.models.clusters import Kind
from survivor.models.design import Design, build_design, refuse_aliased
from survivor.models.formulas import ONE_AT_A_TIME
from survivor.models.likelihood import Rows, covariance_by, solve
from survivor.models.outcome import outcomes
from survivor.models.penalised_fit import penalised_parts
from survivor.models.result import Fit, likeliest_parts
from survivor.models.separation import FAR, range_within, said_of_levels, separation
from survivor.models.working import (
    INDEPENDENCE,
    Working,
    case_weights,
    check_working,
    plots_within,
    weights_at_milestone,
)

MEANING = "odds ratios are of being alive: above 1 is better survival"
_MOST_DENSE = 2_000_000  # numbers in the matrix given to statsmodels


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
    weights: str | None = None,
) -> Fit:
    """Fit odds of being alive at day ``at``; see ``survivor.fit`` for the parameters.

    A stratum where everybody is alive, or everybody dead, leaves the likelihood: it is
    named in ``checks`` and stands at 1 or 0 in ``average_survival``. ``n_seedlings``
    and ``n_died`` count those whose state is known. How states are told:
    ``survivor.models.outcome``; what is left out is counted in ``checks``.
    """
    check_working(working, cluster)
    case_weights(frame, weights, cluster)
    whole = build_design(frame, formula, strata, cluster)
    read = list(dict.fromkeys([*whole.variables, *whole.strata, *whole.cluster]))
    plot = cluster_columns(frame, "plot") if "plot" in frame.columns else (whole.cluster or whole.strata)
    judged = outcomes(frame, at, window, read, plot)
    chains = judged.chains
    design = build_design(chains, formula, strata, cluster)
    place, checks = strata_with_odds(design, chains, "logistic model")
    used = place[design.strata_codes] >= 0
    known = chains.assign(at_risk=chains["alive"] + chains["dead"])
    counting = weights_at_milestone(working, chains, plots_within(working, chains, cluster), design, at)
    counting = counting.times(case_weights(known, weights, cluster))
    rows, codes = _collapse(design, chains, place, used, counting.of_row)
    against = design.against(alone="the intercept")
    refuse_aliased(design.columns[used], design.terms, place[design.strata_codes[used]], against)
    reader, clusters = Reader(design, None, place), int(codes.max()) + 1
    dead = rows.at_risk - rows.died
    runs = separation(rows.columns, rows.lengths > 0, rows.stratum, dead, rows.died)
    if runs is not None:
        counted = chains[used].assign(died=lambda at: at["dead"], at_risk=lambda at: at["dead"] + at["alive"])
        who = said_of_levels(counted, design.variables)
        parts = penalised_parts(rows, runs, who, codes, rows.at_risk.sum() / clusters, reader)
    else:
        kind: Kind = "model" if cluster is None else variance
        best = solve(rows, _start(rows))
        parts = likeliest_parts(
            best,
            covariance_by(codes, clusters, rows, best, kind),
            Survival(reader, best.parameters),
            design.cluster,
            design.terms,
        )
    data, unread = rows_with_outcome(judged.rows, design)
    return replace(parts, checks=[*parts.checks, *unread]).fit(
        Fit,
        design,
        data,
        [*judged.checks, MEANING, *checks, *counting.checks],
        judged.counts,
        model="logistic",
        formula=formula,
        n_clusters=clusters,
        at=at,
        working=working,
        correlation=counting.correlation,
        weights=weights,
    )


def rows_with_outcome(rows: pd.DataFrame, design: Design) -> tuple[pd.DataFrame, list[str]]:
    """Rows of the strata in which some state is known, which alone can be predicted."""
    if not design.strata:
        return rows, []
    names = list(design.strata)
    matched = (
        rows[names]
        .astype(str)
        .merge(design.strata_levels.astype(str), on=names, how="left", indicator="_there")
    )
    there = (matched["_there"] == "both").to_numpy()
    if there.all():
        return rows, []
    lost = sorted(set(rows.loc[~there, names].astype(str).agg(" / ".join, axis=1)))
    return rows[there], [f"no state is known at that visit at {', '.join(lost)}, which is left out"]


def _collapse(
    design: Design, chains: pd.DataFrame, place: Codes, used: Flags, weight: Floats | None
) -> tuple[Rows, Codes]:
    """Chains alike in all that the likelihood reads as one row, and the cluster of each row."""
    stratum = place[design.strata_codes[used]]
    clusters = np.unique(design.cluster_codes[used], return_inverse=True)[1].astype(np.intp)
    apart = [] if weight is None else [weight[used]]
    codes, first = row_codes([clusters, stratum, *design.columns[used].T, *apart])
    alive, dead = (sum_by(codes, chains[name].to_numpy(float)[used]) for name in ("alive", "dead"))
    columns, ones = design.columns[used][first], np.ones((len(first), 1))
    own = None if weight is None else weight[used][first]
    rows = Rows(columns, ones, stratum[first], alive + dead, alive, design.terms, weight=own, link="logit")
    return rows, clusters[first]


def _start(rows: Rows) -> Floats:
    """Estimates of statsmodels; where its columns would be too many, levels from the counts."""
    strata, plain = rows.strata, rows.start()
    if len(rows.died) * len(plain) > _MOST_DENSE:
        return plain
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_linear_model import GLM
    from statsmodels.tools.sm_exceptions import ModelWarning, PerfectSeparationError

    matrix = np.hstack([(rows.stratum[:, None] == np.arange(strata)).astype(float), rows.columns])
    number, alive = rows.weighted
    counts = np.column_stack([alive, number - alive])
    with ONE_AT_A_TIME, warnings.catch_warnings():
        # Separation and its overflows: the steps that follow find the term and name it.
        for known in (RuntimeWarning, ModelWarning):
            warnings.simplefilter("ignore", known)
        try:
            near = np.asarray(GLM(counts, matrix, family=Binomial()).fit().params, dtype=float)
        except (PerfectSeparationError, np.linalg.LinAlgError):
            return plain
    reach = np.abs(near[strata:]) * range_within(rows.columns, rows.stratum)
    tame = np.isfinite(near).all() and reach.max(initial=0.0) < 2 * FAR
    return near if tame else plain
