"""The ``mixed`` model: normal effects of plots, of sites, of methods at sites.

Without ``at`` it is the interval-censored proportional-hazards model of
``survivor.models.likelihood`` with ``b`` added to the log hazard of a plot; with
``at`` the odds of being alive at that day, as in ``survivor.models.logistic``.
Coefficients are conditional on the effects: a hazard ratio compares two plots that
share them. Survival is averaged over them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.figures.words import many
from survivor.intervals import Codes, sum_by, tally
from survivor.models.containment import Degrees, degrees
from survivor.models.design import Design, build_design, joined, refuse_aliased
from survivor.models.grouped import strata_with_hazard
from survivor.models.likelihood import NoFiniteBaseline, has_deaths
from survivor.models.logistic import rows_with_outcome, strata_with_odds
from survivor.models.mixed_likelihood import MixedRows, likelihood
from survivor.models.mixed_solver import PieceRunsAway, Solution, solve_mixed
from survivor.models.mixed_survival import ALIVE, DEAD, MixedEngine
from survivor.models.outcome import outcomes
from survivor.models.pieces import DayPieces, Merged, SeasonPieces, choose_pieces, silence
from survivor.models.quadrature import hermite
from survivor.models.random_effects import Effects, check_effects, read_effects
from survivor.models.restricted import Objective
from survivor.models.result import Fit, coefficient_table
from survivor.models.row_terms import Floats
from survivor.models.variance_components import Profile, variance_components

VARIANCE = "observed information"
POINTS = 7

_LOW = 0.95  # an sd that estimating the levels makes smaller than this share of itself is worth a word


@dataclass(frozen=True, repr=False)
class MixedFit(Fit):
    """A fitted mixed model; ``table`` holds coefficients conditional on the effects.

    Attributes
    ----------
    variance_components
        One row a level of effects, outermost first: effect, groups, sd (of the log
        hazard or log odds), std_error, lower, upper, limits, statistic, p_value; see
        ``survivor.models.variance_components``.
    points
        Quadrature points of each level; 1 is Laplace.
    restricted
        Whether standard deviations maximise the restricted likelihood.
    """

    variance_components: pd.DataFrame = field(repr=False)
    points: tuple[int, ...]
    restricted: bool

    def __repr__(self) -> str:
        return f"{super().__repr__()}\n{self.variance_components.to_string(index=False)}"

    def _repr_html_(self) -> str:
        html: str = super()._repr_html_() + self.variance_components.to_html(index=False)
        return html


@dataclass(frozen=True)
class _Data:
    """What is fitted, whichever the link."""

    design: Design
    chains: pd.DataFrame  # rows of the likelihood, before equal ones are joined
    counted: Floats  # died, or alive where odds are fitted
    at_risk: Floats
    shown: pd.DataFrame  # rows that the fit carries
    place: Codes  # level of each stratum, ALIVE or DEAD
    checks: list[str]


def fit_mixed(
    frame: pd.DataFrame,
    formula: str,
    *,
    cluster: str | Sequence[str] | None,
    strata: str | Sequence[str] | None,
    at: float | None = None,
    pieces: Sequence[float] | SeasonPieces | DayPieces | None = None,
    window: float = 30.0,
    random: str | None = None,
    points: int | Sequence[int] = POINTS,
    restricted: bool = False,
    fixed_sd: Sequence[float | None] | None = None,
) -> MixedFit:
    """Fit a mixed model; see ``survivor.fit`` for the parameters.

    One level of effects is integrated by adaptive Gauss-Hermite quadrature, nested
    levels by the same within each node of the outer one; a point at a level is
    Laplace there, and one point at every level is Laplace's approximation of the
    joint integral. Limits of coefficients: observed information, t on groups less
    the rank of what is constant within them (``survivor.models.containment``).
    ``restricted`` estimates standard deviations by ``survivor.models.restricted``.
    ``fixed_sd`` holds standard deviations, one a level (None: estimate it).
    """
    effects = read_effects(frame, random, cluster)
    inner = list(effects.columns[-1])
    data = (
        _hazard(frame, formula, strata, effects)
        if at is None
        else _odds(frame, formula, strata, inner, at, window)
    )
    used = data.place[data.design.strata_codes] >= 0
    design, rows = data.design, data.chains[used]
    stratum = data.place[design.strata_codes[used]]
    columns, codes = design.columns[used], effects.codes(rows)
    against = " and ".join(design.strata) + " levels" if design.strata else "the baseline"
    refuse_aliased(columns, design.terms, stratum, against)
    check_effects(effects, codes, stratum, design.strata)
    counts = _point_counts(points, len(effects.names))
    checks = data.checks
    chosen: Merged | None = None
    said: tuple[str, ...] = ()
    if at is None:
        chosen, said = choose_pieces(rows, pieces, stratum)
    while True:
        lengths = _lengths(chosen, rows)
        fitted = _joined(
            columns, lengths, stratum, codes, data.at_risk[used], data.counted[used], at, design.terms
        )
        try:
            solution = solve_mixed(fitted, counts, fixed_sd=fixed_sd)
            break
        except PieceRunsAway as found:
            if chosen is None:
                raise
            if has_deaths(lengths, data.counted[used], found.piece):
                raise NoFiniteBaseline("mixed model") from found
            chosen = silence(chosen, found.piece)
    if chosen is not None:
        checks += [said[0], *chosen.said()]
    nodes = tuple(hermite(count) for count in counts)
    objective = Objective(likelihood(fitted), nodes, fitted.names, fitted.strata, restricted)
    if restricted:
        free = solution.free | solution.at_zero
        solution = objective.informed(objective.best(replace(solution, at_zero=np.zeros_like(free)), free))
    return _result(frame, formula, at, data, effects, chosen, fitted, solution, objective)


def _hazard(frame: pd.DataFrame, formula: str, strata: str | Sequence[str] | None, effects: Effects) -> _Data:
    inner = list(effects.columns[-1])
    if frame["died"].sum() == 0:
        raise ModelError(
            "nobody died, so there is no hazard to compare", where="mixed model", mend="see the curves"
        )
    others = [name for level in effects.columns for name in level]
    chains = joined(frame, formula, strata, inner, "planted_date", *others)[0]
    design = build_design(chains, formula, strata, inner)
    kept, lost, checks = strata_with_hazard(design, chains)
    place = np.full(len(design.strata_levels), ALIVE, dtype=np.intp)
    place[lost] = DEAD
    place[kept] = np.arange(len(kept))
    died, at_risk = chains["died"].to_numpy(float), chains["at_risk"].to_numpy(float)
    return _Data(design, chains, died, at_risk, frame, place, checks)


def _odds(
    frame: pd.DataFrame,
    formula: str,
    strata: str | Sequence[str] | None,
    inner: Sequence[str],
    at: float,
    window: float,
) -> _Data:
    whole = build_design(frame, formula, strata, inner)
    read = dict.fromkeys([*whole.variables, *whole.strata, *inner])
    found = outcomes(frame, at, window, list(read))
    design = build_design(found.chains, formula, strata, inner)
    place, checks = strata_with_odds(design, found.chains)
    if not (place >= 0).any():
        raise ModelError(
            "in every stratum everybody is alive, or everybody dead, so no odds can be compared",
            where="mixed model",
            mend="use wider strata, another day, or read the survival from the curves",
        )
    shown, unread = rows_with_outcome(found.rows, design)
    said = [*found.checks, "odds ratios are of being alive: above 1 is better survival", *checks, *unread]
    alive = found.chains["alive"].to_numpy(float)
    return _Data(
        design, found.chains, alive, alive + found.chains["dead"].to_numpy(float), shown, place, said
    )


def _point_counts(points: int | Sequence[int], levels: int) -> tuple[int, ...]:
    counts = (points,) * levels if isinstance(points, int) else tuple(points)
    if len(counts) != levels or min(counts) < 1:
        raise ModelError(
            f"random effects of {many(levels, 'level')} need as many numbers of points, each at least 1",
            where=f"points={points!r}",
            mend=f"for example points={POINTS}, or points=1 for Laplace",
        )
    return counts


def _lengths(chosen: Merged | None, rows: pd.DataFrame) -> Floats:
    if chosen is None:
        return np.ones((len(rows), 1))
    return chosen.lengths(rows, rows["start_day"].to_numpy(float), rows["stop_day"].to_numpy(float))


def _joined(
    columns: Floats,
    lengths: Floats,
    stratum: Codes,
    groups: Codes,
    at_risk: Floats,
    counted: Floats,
    at: float | None,
    terms: tuple[str, ...],
) -> MixedRows:
    """Join rows alike in all that the likelihood reads: it does not change.

    Rows that lie within pieces without a hazard say nothing and are left out.
    """
    tells = lengths.sum(axis=1) > 0
    columns, lengths, stratum, groups = columns[tells], lengths[tells], stratum[tells], groups[tells]
    at_risk, counted = at_risk[tells], counted[tells]
    key: NDArray[np.int64] = np.zeros(len(at_risk), dtype=np.int64)
    for column in (*groups.T, stratum, *columns.T, *lengths.T):
        codes, distinct = pd.factorize(column)
        # Made small again each time, so that the product of codes stays an integer.
        key = pd.factorize(key * len(distinct) + codes)[0].astype(np.int64)
    first = np.unique(key, return_index=True)[1]
    return MixedRows(
        columns[first],
        lengths[first],
        stratum[first],
        groups[first],
        sum_by(key.astype(np.intp), at_risk),
        sum_by(key.astype(np.intp), counted),
        "hazard" if at is None else "logit",
        terms,
    )


def _result(
    frame: pd.DataFrame,
    formula: str,
    at: float | None,
    data: _Data,
    effects: Effects,
    chosen: Merged | None,
    fitted: MixedRows,
    solution: Solution,
    objective: Objective,
) -> MixedFit:
    design = data.design
    left = degrees(fitted.columns, fitted.stratum, fitted.groups)
    engine = MixedEngine(design, chosen, solution, left, data.place, fitted, objective.nodes)
    picks = np.eye(len(design.terms))
    error = np.sqrt(np.diag(engine.covariance_of_terms(picks))) if design.terms else np.empty(0)
    ratio = "hazard_ratio" if at is None else "odds_ratio"
    groups = [number for number, _ in left.counted]
    components = variance_components(Profile(objective, solution), effects.names, groups)
    counts = tuple(len(rule[0]) for rule in objective.nodes)
    odds = at is not None
    numbers = tally(data.chains if odds else frame)
    return MixedFit(
        model="mixed",
        formula=formula,
        variance=VARIANCE,
        at=at,
        table=coefficient_table(design.terms, solution.beta, error, left.terms, VARIANCE, ratio),
        log_likelihood=solution.log_likelihood,
        n_seedlings=int(data.at_risk.sum()) if odds else numbers["seedlings"],
        n_died=int((data.at_risk - data.counted).sum()) if odds else numbers["died"],
        n_plots=numbers["plots"],
        n_sites=numbers["sites"],
        checks=(*data.checks, *_said(effects, solution, left, counts, design, objective.restricted)),
        data=data.shown if odds else frame,
        cluster=effects.columns[-1],
        strata=design.strata,
        n_clusters=groups[-1],
        variables=design.variables,
        engine=engine,
        variance_components=components,
        points=counts,
        restricted=objective.restricted,
    )


def _said(
    effects: Effects,
    solution: Solution,
    left: Degrees,
    counts: tuple[int, ...],
    design: Design,
    restricted: bool,
) -> list[str]:
    how = [
        f"{name} ({number} of them, {'Laplace' if points == 1 else f'{points} quadrature points'})"
        for name, (number, _), points in zip(effects.names, left.counted, counts, strict=True)
    ]
    said = [
        f"normal effects of {', of '.join(how)}; coefficients compare plants that share these effects, "
        "survival is averaged over them"
    ]
    said += [
        f"no variation between {name} beyond chance was found: its standard deviation is estimated as 0"
        for name, zero in zip(effects.names, solution.at_zero, strict=True)
        if zero
    ]
    number, rank = left.counted[-1][0], left.fixed
    if restricted:
        said.append(
            "standard deviations maximise the restricted likelihood, which allows for the levels and terms "
            "estimated beside them; the log-likelihood is the full one at these estimates"
        )
    elif number > rank and np.sqrt((number - rank) / number) < _LOW:
        said.append(
            f"maximum likelihood: {rank} levels and terms were estimated from {number} groups, so expect the "
            f"standard deviation of {effects.names[-1]}, and the standard errors of terms compared between "
            f"them, to be low by a factor of about {np.sqrt((number - rank) / number):.2f}"
        )
    said += [
        f"no limits for {term}: no {effects.names[level]} is left over to tell its variation"
        for term, level, df in zip(design.terms, left.level, left.terms, strict=True)
        if np.isnan(df)
    ]
    return said
