"""The grouped model with an unspecified baseline: hazards free to jump anywhere.

No pieces are chosen: the baseline is whatever makes the records most likely, jumps on
the innermost intervals of the risk intervals (``survivor.models.innermost``), shared by
the strata up to a level each. With visits shared by all it is the model with a piece
between each two visits; without terms it is Turnbull's curve.

Sources: Finkelstein (1986), Biometrics 42, 845-854 (the model, and observed information
with the jumps that are nought held there); Zeng, Mao and Lin (2016), Biometrika 103,
253-271 (why the terms have normal limits all the same).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import gammaln

from survivor.errors import ModelError
from survivor.intervals import Codes, sum_by, tally
from survivor.models.design import Design, build_design, independent_columns, refuse_aliased
from survivor.models.grouped import strata_with_hazard
from survivor.models.innermost import Innermost, Watched, innermost_of
from survivor.models.jackknife import Deletions, groups_of
from survivor.models.result import Fit, coefficient_table
from survivor.models.separation import said_of_levels, separation
from survivor.models.unspecified_solver import Fitted, maximise_profile, problem_of
from survivor.models.unspecified_survival import Baseline, Refits, UnspecifiedEngine

Floats = NDArray[np.float64]

_MOST_REFITS = 2000


def fit_unspecified(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
) -> Fit:
    """Fit the grouped model with an unspecified baseline; see ``survivor.fit`` for the parameters.

    Limits come from the delete-one-cluster jackknife, counted as for the Cox model
    (``survivor.models.jackknife``); with ``cluster=None`` from the curvature of the
    profile likelihood (``variance`` is then ``profile``). ``checks`` says how far a jump
    anywhere could still raise the likelihood. Survival inside an innermost interval is
    not determined and not given.
    """
    if frame["died"].sum() == 0:
        raise ModelError(
            "nobody died, so there is no hazard to compare", where="grouped model", mend="see the curves"
        )
    design = build_design(frame, formula, strata, cluster)
    kept, lost, checks = strata_with_hazard(design, frame)
    place = _places(design, frame["died"].to_numpy(float), kept, lost)
    used = np.flatnonzero(place[design.strata_codes] >= 0)
    rows = _watched(frame, design, place, used)
    against = " and ".join(design.strata) + " levels" if design.strata else "the baseline"
    refuse_aliased(rows.columns, design.terms, rows.stratum, against)
    _refuse_separated(rows, frame.iloc[used], design)
    # Levels take up what lies between strata, so that none has to go far to make up for its columns.
    centre = np.array([rows.columns[rows.stratum == level].mean(axis=0) for level in range(len(kept))])
    whole = innermost_of(rows)
    problem = problem_of(whole, len(kept), centre)
    if not whole.rows.died.sum():
        raise ModelError(
            "wherever seedlings died, all that were left died, so no hazard can be told",
            where="grouped model",
            mend="read the survival from the curves",
        )
    theta = np.zeros(problem.terms.shape[1])
    fitted = maximise_profile(problem, theta)
    astray = fitted.runaway[fitted.runaway >= problem.levels] - problem.levels
    if len(astray):
        raise _runs_away([design.terms[at] for at in astray])
    baseline = Baseline.of(whole, fitted, len(kept), centre)
    checks += _said(whole, fitted, baseline, rows)
    checks += [
        f"{' / '.join(design.strata_levels[place == at + 1].astype(str).iloc[0])} has no finite level, since "
        "deaths there came when nothing else was watched"
        for at in fitted.runaway
    ]
    terms = len(design.terms)
    refits: Refits | None = None
    if cluster is None:
        variance, df = "profile", np.full(terms, np.inf)
        covariance = fitted.inverse[len(fitted.inverse) - terms :, len(fitted.inverse) - terms :]
        checks.append("standard errors by the curvature of the profile likelihood, rows independent")
    else:
        refits = _refit(rows, baseline, fitted)
        variance, df = "jackknife", refits.deletions.groups.df
        covariance = refits.deletions.covariance(baseline.beta)
        checks += _said_of_refits(refits.deletions, design)
    engine = UnspecifiedEngine(design, place, baseline, fitted, refits)
    table = coefficient_table(
        design.terms, baseline.beta, np.sqrt(np.diag(covariance)), df, variance, "hazard_ratio"
    )
    counts = tally(frame)
    return Fit(
        model="grouped",
        formula=formula,
        variance=variance,
        at=None,
        table=table,
        log_likelihood=fitted.value + (_constant(rows) if design.cluster else _constant(frame.iloc[used])),
        n_seedlings=counts["seedlings"],
        n_died=counts["died"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        checks=tuple(checks),
        data=frame,
        cluster=design.cluster,
        strata=design.strata,
        n_clusters=len(np.unique(design.cluster_codes[used])),
        variables=design.variables,
        engine=engine,
    )


def _places(design: Design, died: Floats, kept: Codes, lost: Codes) -> Codes:
    """Level of each stratum of the design; -1 nobody died there, -2 everybody.

    The first is the one that the others are told from: it must not stand on one cluster, nor on few deaths.
    """
    pairs = np.unique(np.column_stack([design.strata_codes, design.cluster_codes]), axis=0)[:, 0]
    clusters = np.bincount(pairs, minlength=len(design.strata_levels))
    place = np.full(len(design.strata_levels), -1, dtype=np.intp)
    place[lost] = -2
    deaths = sum_by(design.strata_codes, died, len(place))
    place[kept[np.lexsort((-deaths[kept], clusters[kept] < 2))]] = np.arange(len(kept))
    return place


def _watched(frame: pd.DataFrame, design: Design, place: Codes, used: Codes) -> Watched:
    """Rows on arrays, equal ones joined."""
    codes = np.unique(design.cluster_codes[used], return_inverse=True)[1]
    table = pd.DataFrame(design.columns[used]).assign(
        stratum=place[design.strata_codes[used]],
        cluster=codes if design.cluster else 0,
        start=frame["start_day"].to_numpy(float)[used],
        stop=frame["stop_day"].to_numpy(float)[used],
    )
    keys = list(table.columns)
    counts = table.assign(**{name: frame[name].to_numpy(float)[used] for name in ("at_risk", "died")})
    joined = counts.groupby(keys, sort=False)[["at_risk", "died"]].sum().reset_index()
    number = design.columns.shape[1]
    return Watched(
        joined[keys[:number]].to_numpy(float).reshape(len(joined), number),
        joined["stratum"].to_numpy(np.intp),
        joined["start"].to_numpy(float),
        joined["stop"].to_numpy(float),
        joined["at_risk"].to_numpy(float),
        joined["died"].to_numpy(float),
        joined["cluster"].to_numpy(np.intp),
    )


def _refuse_separated(rows: Watched, frame: pd.DataFrame, design: Design) -> None:
    lived = rows.at_risk - rows.died
    found = separation(rows.columns, np.ones((len(lived), 1), dtype=bool), rows.stratum, rows.died, lived)
    if found is not None:
        moved = [term for term, way in zip(design.terms, found.direction, strict=True) if way]
        raise _runs_away(moved, said_of_levels(frame, design.variables))


def _runs_away(terms: Sequence[str], who: str = "") -> ModelError:
    return ModelError(
        f"{', '.join(terms)} has no finite estimate"
        + (f": {who}" if who else ", since those who died and those who lived are told apart without fail"),
        where="unspecified baseline",
        mend='use baseline="pieces", which is then penalised, or join that level with another',
    )


def _constant(rows: Watched | pd.DataFrame) -> float:
    """Logarithm of the binomial coefficients of the rows."""
    at_risk, died = np.asarray(rows.at_risk, dtype=float), np.asarray(rows.died, dtype=float)
    return float(np.sum(gammaln(at_risk + 1) - gammaln(died + 1) - gammaln(at_risk - died + 1)))


def _said(whole: Innermost, fitted: Fitted, baseline: Baseline, rows: Watched) -> list[str]:
    terms = len(fitted.theta)
    said = [
        f"baseline unspecified: its hazard may jump in {len(whole.left)} innermost intervals and does in "
        f"{len(fitted.held)} of them",
        "the maximum is certified: a further jump on any day would gain at most "
        f"{1 + max(baseline.excess(rows), fitted.excess):.9f} of what it costs"
        + (f", and the slope in the terms is {fitted.slope:.1e} of a standard error" if terms else ""),
    ]
    said += [
        f"nobody was seen to live through days {begin:g} to {end:g}: all who were left died"
        for begin, end in whole.endless
    ]
    return said


def _refit(rows: Watched, full: Baseline, fitted: Fitted) -> Refits:
    """Fit again without each cluster, from the full estimate."""
    groups = groups_of(rows.columns, rows.cluster, rows.stratum)
    if groups.count > _MOST_REFITS:
        raise ModelError(
            f"{groups.count} clusters are too many to fit again without each",
            where="unspecified baseline",
            mend='use baseline="pieces", or cluster=None for rows that are independent',
        )
    found = [_without(rows, full, cluster) for cluster in range(groups.count)]
    beta = np.array([each.beta for each, _ in found]).reshape(groups.count, rows.columns.shape[1])
    known = np.array([told for _, told in found]).reshape(beta.shape)
    return Refits(Deletions(groups, beta, known, {}, True), tuple(each for each, _ in found), rows, fitted)


def _without(rows: Watched, full: Baseline, cluster: int) -> tuple[Baseline, NDArray[np.bool_]]:
    """Baseline and terms without a cluster, and which terms have a finite estimate then."""
    strata = len(full.level)
    rest = rows.pick(rows.cluster != cluster)
    seen = np.bincount(rest.stratum, minlength=strata) > 0
    deaths = sum_by(rest.stratum, rest.died, strata)
    kept = np.argsort(-deaths, kind="stable")[: int((deaths > 0).sum())]
    told = np.zeros(len(full.beta), dtype=bool)
    if not len(kept):
        return full.with_levels(np.where(seen, -np.inf, full.level)), told
    rest = rest.pick(deaths[rest.stratum] > 0)
    place = np.zeros(strata, dtype=np.intp)
    place[kept] = np.arange(len(kept))
    stratum = place[rest.stratum]
    usable = independent_columns(rest.columns, stratum)
    told[usable] = True
    part = Watched(
        rest.columns[:, usable], stratum, rest.start, rest.stop, rest.at_risk, rest.died, rest.cluster
    )
    whole = innermost_of(part)
    centre = full.centre[kept][:, usable]
    problem = problem_of(whole, len(kept), centre)
    level = full.level[kept]
    try:
        found = maximise_profile(problem, np.concatenate([level[1:] - level[0], full.beta[usable]]))
    except ModelError:
        return full, np.zeros(len(full.beta), dtype=bool)
    told[usable[found.runaway[found.runaway >= problem.levels] - problem.levels]] = False
    small = Baseline.of(whole, found, len(kept), centre)
    beta = full.beta.copy()
    beta[usable] = small.beta
    loose = np.setdiff1d(np.arange(len(beta)), usable)
    levels = np.where(seen, -np.inf, full.level)
    # The levels found are those of rows with the loose columns as they are held.
    levels[kept] = small.level - (rest.columns[:1, loose] - full.centre[kept][:, loose]) @ beta[loose]
    return small.spread(levels, beta, full.centre, loose, rest.columns[:1]), told


def _said_of_refits(deletions: Deletions, design: Design) -> list[str]:
    groups, what = deletions.groups, design.cluster[-1]
    clusters, strata, columns = groups.counted
    said = [f"limits by leaving out one {what} at a time ({groups.count} {what}s)"]
    if not groups.within.all():
        said.append(
            f"limits of terms constant within a {what} by t on {clusters} {what}s less {strata} "
            f"{'/'.join(design.strata) + ' levels' if design.strata else 'for the baseline'} less {columns} "
            f"columns constant within a {what}"
        )
    if groups.within.any():
        said.append(f"limits of terms that vary within a {what} by t on the {what}s in which they do, less 1")
    for place, term in enumerate(design.terms):
        without = int((~deletions.known[:, place]).sum())
        if np.isnan(groups.df[place]):
            said.append(f"no limits for {term}: no degree of freedom is left")
        elif without:
            said.append(
                f"no limits for {term}: it has no finite estimate without one {what} ({without} such {what}s)"
            )
    return said
