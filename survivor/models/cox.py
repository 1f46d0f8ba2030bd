"""The ``cox`` model: Cox regression at the visit days with Efron's ties, limits by cluster.

Coefficients come from lifelines on the counts spelt out as single seedlings,
since its weights are not the same as repeated rows where deaths are tied. They are
brought to full precision on the counts themselves (``survivor.models.partial``), where the
jackknife starts. lifelines is given no clusters: its robust standard error
does not allow for ties and is too small on visit data.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Literal

import numpy as np
import pandas as pd

from survivor.errors import ModelError
from survivor.intervals import Codes, group_codes, sum_by, tally
from survivor.models.clusters import Sandwich, sandwich
from survivor.models.cox_survival import CoxEngine
from survivor.models.design import Design, build_design, refuse_aliased
from survivor.models.jackknife import Deletions, delete_each
from survivor.models.partial import Floats, Maximum, RiskSets, maximise, residuals, risk_sets
from survivor.models.result import Fit, coefficient_table

CoxVariance = Literal["jackknife", "CR0"]

# Above this many seedlings lifelines takes longer than all the rest; the counts alone give the same maximum.
_MOST_SPELT_OUT = 100_000


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
    if frame["died"].sum() == 0:
        raise ModelError(
            "nobody died, so there is no hazard to compare", where="cox model", mend="see the curves"
        )
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
    checks = _without_deaths(whole, deaths)
    sets = _arrange(frame, whole, kept, used)
    estimate = _estimate(sets, whole.terms)
    limits: Deletions | Sandwich
    if cluster is None or variance == "CR0":
        kind: Literal["model", "CR0"] = "model" if cluster is None else "CR0"
        scores = np.zeros((int(sets.cluster.max()) + 1, len(whole.terms)))
        np.add.at(scores, sets.cluster, residuals(sets, estimate.beta))
        limits = sandwich(scores, estimate.at.information[None], kind)
        named, covariance, df = str(kind), limits.covariance, limits.degrees(np.eye(len(whole.terms)))
    else:
        limits = delete_each(sets, estimate)
        named, covariance = "jackknife", limits.covariance(estimate.beta)
        df = limits.groups.df
        checks += _said(limits, whole)
    engine = CoxEngine(whole, sets, estimate, kept, _last_visit(frame, whole), limits)
    error = np.sqrt(np.diag(covariance))
    table = coefficient_table(whole.terms, estimate.beta, error, df, named, "hazard_ratio")
    counts = tally(frame)
    return Fit(
        model="cox",
        formula=formula,
        variance=named,
        at=None,
        table=table,
        log_likelihood=estimate.at.log_likelihood,
        n_seedlings=counts["seedlings"],
        n_died=counts["died"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=tuple(checks),
        data=frame,
        cluster=whole.cluster,
        strata=whole.strata,
        n_clusters=len(np.unique(whole.cluster_codes[used])),
        variables=whole.variables,
        engine=engine,
    )


def _last_visit(frame: pd.DataFrame, design: Design) -> Floats:
    """Last day seen in each stratum; infinite where nobody was left alive to be visited."""
    codes, stop = design.strata_codes, frame["stop_day"].to_numpy(float)
    last = np.full(len(design.strata_levels), -np.inf)
    np.maximum.at(last, codes, stop)
    alive = (frame["at_risk"] - frame["died"]).to_numpy(float) * (stop == last[codes])
    return np.where(sum_by(codes, alive, len(last)) > 0, last, np.inf)


def _without_deaths(design: Design, deaths: Floats) -> list[str]:
    empty = np.flatnonzero(deaths == 0)
    if not len(empty):
        return []
    named = design.strata_levels.iloc[empty].astype(str).agg(" / ".join, axis=1)
    return [
        f"nobody died at {', '.join(named)}: no hazard can be compared there, and the standardised survival "
        "takes it as 100 alive per 100"
    ]


def _arrange(
    frame: pd.DataFrame, design: Design, kept: Codes, used: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> RiskSets:
    columns, codes = design.columns[used], np.searchsorted(kept, design.strata_codes[used]).astype(np.intp)
    against = " and ".join(design.strata) + " baselines" if design.strata else "the baseline"
    refuse_aliased(columns, design.terms, codes, against)
    rows = frame[used]
    # Without clusters rows need not be kept apart.
    clusters = design.cluster_codes[used] if design.cluster else np.zeros(len(rows), dtype=np.intp)
    sets = risk_sets(
        columns,
        codes,
        clusters,
        rows["start_day"].to_numpy(float),
        rows["stop_day"].to_numpy(float),
        rows["at_risk"].to_numpy(float),
        rows["died"].to_numpy(float),
    )
    return sets


def _estimate(sets: RiskSets, terms: Sequence[str]) -> Maximum:
    estimate = maximise(sets, _from_lifelines(sets))
    unknown = [term for term, known in zip(terms, estimate.known, strict=True) if not known]
    if estimate.flat.shape[1]:
        raise ModelError(
            f"{', '.join(unknown)} cannot be told apart from the baselines: whenever a seedling died, all at "
            "risk were alike in it",
            where="cox model",
            mend="leave the term out, or compare it where it varies within a stratum",
        )
    if unknown:
        raise ModelError(
            f"{', '.join(unknown)} has no finite estimate: at one of its levels nobody, or everybody, died",
            where="cox model",
            mend="join that level with another, leave the term out, or read its survival from the curves",
        )
    if not estimate.settled:
        raise ModelError("the fit did not settle", where="cox model", mend="use fewer terms")
    return estimate


def _from_lifelines(sets: RiskSets) -> Floats:
    """Coefficients from lifelines; zeros, to start our own steps from, where it finds none."""
    start = np.zeros(sets.columns.shape[1])
    if not len(start) or sets.at_risk.sum() > 20 * _MOST_SPELT_OUT:
        return start
    single = seedlings(sets)
    if len(single) > _MOST_SPELT_OUT:
        return start
    from lifelines import CoxPHFitter
    from lifelines.exceptions import ConvergenceError, ConvergenceWarning

    fitter = CoxPHFitter()
    with warnings.catch_warnings():
        # It warns of columns that nearly separate; ``maximise`` decides, and names the term.
        warnings.simplefilter("ignore", ConvergenceWarning)
        warnings.simplefilter("ignore", RuntimeWarning)
        try:
            fitter.fit(
                single,
                "stop",
                "died",
                strata=["stratum"],
                entry_col="start" if single["start"].any() else None,
            )
        except (ConvergenceError, ValueError):  # its check of separation asks for two seedlings
            return start
    found = fitter.params_.to_numpy(dtype=float)
    return (
        found
        if np.isfinite(found).all() and np.abs(found * np.ptp(sets.columns, axis=0)).max() < 10
        else start
    )


def seedlings(sets: RiskSets) -> pd.DataFrame:
    """Spell counts out: one row a seedling, with the same risk sets and so the same likelihood.

    Times are the numbers of the days of death. Within a stratum and a set of equal
    columns only how many enter, leave and die on each day matters: who leaves alive
    on the day that as many enter is the same seedling going on.

    Returns
    -------
    DataFrame
        ``stratum, start, stop, died`` and one column a coefficient.
    """
    counts = pd.DataFrame(sets.columns).assign(stratum=sets.strata)
    cell = group_codes(counts, list(counts.columns))[0]
    days, cells = len(sets.days) + 1, int(cell.max()) + 1
    shape = cells * days
    enter = sum_by(cell * days + sets.first, sets.at_risk, shape)
    leave = sum_by(cell * days + sets.last, sets.at_risk - sets.died, shape)
    died = sum_by(cell * days + sets.last, sets.died, shape)
    both = np.minimum(enter, leave)
    first, last, found_dead = (np.rint(part).astype(np.intp) for part in (enter - both, leave - both, died))
    moments = np.arange(shape)
    starts = np.repeat(moments, first)
    # Pair the first to enter with the first to go: never earlier, and the risk sets are the same.
    stops = np.concatenate([np.repeat(moments, last), np.repeat(moments, found_dead)])
    dead = np.concatenate([np.zeros(last.sum()), np.ones(found_dead.sum())])
    order = np.argsort(stops, kind="stable")
    first_row = np.full(cells, len(cell), dtype=np.intp)
    np.minimum.at(first_row, cell, np.arange(len(cell)))
    row = first_row[starts // days]
    found = pd.DataFrame(
        sets.columns[row], columns=[f"column {place}" for place in range(sets.columns.shape[1])]
    )
    found["stratum"] = sets.strata[row]
    earliest = np.full(int(sets.strata.max()) + 1, len(sets.days), dtype=np.intp)
    np.minimum.at(earliest, sets.strata, sets.first)
    found["start"] = starts % days - earliest[found["stratum"]]
    found["stop"] = stops[order] % days - earliest[found["stratum"]]
    found["died"] = dead[order]
    return found


def _said(deletions: Deletions, design: Design) -> list[str]:
    groups, what = deletions.groups, design.cluster[-1]
    clusters, strata, columns = groups.counted
    count = f"{clusters} {what}s" + (
        f" less {strata} {'/'.join(design.strata)} baselines" if design.strata else " less 1"
    )
    count += f" less {columns} columns constant within a {what}" if columns else ""
    how = "refitted without each" if deletions.full else "one Newton step without each"
    said = [f"limits by leaving out one {what} at a time ({groups.count} {what}s, {how})"]
    if not groups.within.all():
        said.append(f"limits of terms constant within a {what} by t on {count}")
    if groups.within.any():
        said.append(f"limits of terms that vary within a {what} by t on the {what}s in which they do, less 1")
    said += [
        f"no limits for {term}: no degree of freedom is left"
        for term, df in zip(design.terms, groups.df, strict=True)
        if np.isnan(df)
    ]
    for place, term in enumerate(design.terms):
        lost = int((~deletions.known[:, place]).sum())
        if lost:
            said.append(
                f"no limits for {term}: it has no finite estimate without one {what} ({lost} such {what}s)"
            )
    return said
