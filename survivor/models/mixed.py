"""The ``mixed`` model: normal effects of plots, of sites, of methods at sites.

Without ``at`` it is the interval-censored proportional-hazards model of
``survivor.models.likelihood`` with ``b`` added to the log hazard of a plot; with
``at`` the odds of being alive at that day, as in ``survivor.models.logistic``.
Coefficients are conditional on the effects: a hazard ratio compares two plots that
share them. Survival is averaged over them.

Survival averaged over the random effects of a mixed model, and tests of its terms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import expit

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import sum_by, tally
from survivor.limits import Errors
from survivor.models.cells import ALIVE, Cells, Reader, strata_with_hazard, strata_with_odds
from survivor.models.clusters import WaldTest
from survivor.models.design import Design, build_design, joined, refuse_aliased
from survivor.models.fitted import Estimates
from survivor.models.likelihood import NoFiniteBaseline, has_deaths
from survivor.models.logistic import MEANING, rows_with_outcome
from survivor.models.mixed_likelihood import MixedRows, likelihood
from survivor.models.mixed_solver import PROFILED, PieceDiverges, Solution, solve_mixed
from survivor.models.outcome import outcomes
from survivor.models.paths import total
from survivor.models.pieces import DayPieces, Merged, SeasonPieces, absorb, choose_pieces
from survivor.models.quadrature import Link, hermite
from survivor.models.random_effects import Degrees, Effects, check_effects, degrees, read_effects
from survivor.models.result import RATIOS, Fit, FitParts, coefficient_table
from survivor.models.separation import refuse_no_deaths
from survivor.models.variance_components import Objective, Profile, variance_components
from survivor.vocabulary import DRY_SEASON, PLANTED
from survivor.words import counted, term_words

_NODES = 60
_LARGEST = 700.0


@dataclass(frozen=True)
class _Point:
    """Parameters at which survival is asked for: levels (S,), alpha, beta, sd (L,)."""

    level: Floats
    alpha: Floats
    beta: Floats
    sd: Floats

    @property
    def joint(self) -> float:
        """Standard deviation of all effects of a cell together."""
        return float(np.sqrt(np.sum(self.sd**2)))


@dataclass(frozen=True)
class MixedEngine:
    """Averages by the delta method, with the effects integrated out.

    An effect of a plot and one of its site add up to one normal effect of a cell, so
    that survival there is one integral over it, whatever the levels.

    Attributes
    ----------
    read
        How to read cells.
    solution, degrees
        The fit.
    rows
        What was fitted.
    """

    read: Reader
    solution: Solution
    degrees: Degrees
    rows: MixedRows

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; the standard deviations' own uncertainty is carried along."""
        read = self.read(cells, at)
        alive, slope, by_sd = self._alive(read, self._point)
        level, alpha, beta, sd = self._gradient(read, weights, slope, by_sd)
        contrasts = self.solution.arrange(level=level, alpha=alpha, beta=beta, sd=sd)
        pulled = self.solution.covariance_times(contrasts)
        # What comes from the level of survival where terms are at their means, from the
        # spread, and from each term: however factors are coded.
        middle = np.average(self.rows.columns, axis=0, weights=self.rows.at_risk)
        centred = beta - level.sum(axis=1, keepdims=True) * middle
        of_terms = centred * pulled[:, self.solution.places]
        free = int(self.solution.free.sum())
        of_sd = (contrasts * pulled)[:, contrasts.shape[1] - free :].sum(axis=1)
        of_level = (contrasts * pulled).sum(axis=1) - of_terms.sum(axis=1) - of_sd
        df = self.degrees.of_parts(np.column_stack([of_level, of_sd, of_terms]))
        return Estimates(weights @ alive, self.solution.covariance_of(contrasts), df)

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test with the fewest degrees of freedom of the terms."""
        count = len(terms)
        beta = self.solution.beta
        picks = np.zeros((count, len(beta)))
        picks[np.arange(count), list(terms)] = 1.0
        value = picks @ beta
        quadratic = float(value @ np.linalg.solve(self.covariance_of_terms(picks), value)) / count
        left = float(np.min(self.degrees.terms[list(terms)]))
        return WaldTest(quadratic, count, left, float(stats.f.sf(quadratic, count, left)))

    def errors(self, picks: Floats) -> Errors:
        """Return what limits of combinations of coefficients rest on: the fewest df of their terms."""
        df = np.min(np.where(picks != 0, self.degrees.terms, np.inf), axis=1, initial=np.inf)
        return Errors(self.covariance_of_terms(picks), df, np.zeros(len(picks), dtype=bool))

    def covariance_of_terms(self, picks: Floats) -> Floats:
        """Covariance of combinations of the coefficients, shape (m, m) for picks (m, q)."""
        return self.solution.covariance_of(self.solution.arrange(beta=picks))

    @property
    def _point(self) -> _Point:
        found = self.solution
        return _Point(found.level, found.alpha, found.beta, found.sd)

    def _alive(self, read: Cells, found: _Point) -> tuple[Floats, Floats, Floats]:
        """Survival of each cell, and its derivative in the predictor and in the effects' joint sd."""
        level, (linear, relative) = found.level[read.level], _relative(read, found.beta)
        days = total(relative * (read.lengths @ np.exp(np.concatenate([[0.0], found.alpha]))), read.first)
        with np.errstate(divide="ignore"):  # no days yet in a piece with a hazard: everybody is alive
            predictor = level + linear + np.log(days)
        nodes, log_weights = hermite(_NODES) if found.joint > 0 else hermite(1)
        shifted = predictor[:, None] + found.joint * nodes
        if read.link == "logit":
            alive = expit(shifted)
            slope = alive * (1 - alive)
        else:
            hazard = np.exp(np.minimum(shifted, np.log(_LARGEST)))
            alive = np.exp(-hazard)
            slope = -hazard * alive
        weight = np.exp(log_weights)
        return (
            np.where(read.fixed, read.place == ALIVE, alive @ weight),
            np.where(read.fixed, 0.0, slope @ weight),
            np.where(read.fixed, 0.0, slope @ (weight * nodes)),
        )

    def _gradient(
        self, read: Cells, weights: Floats, slope: Floats, by_sd: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        found = self._point
        weighted = weights * slope
        level = np.array([sum_by(read.level, row, len(found.level)) for row in weighted])
        by_piece = read.lengths * np.exp(np.concatenate([[0.0], found.alpha]))
        own = _relative(read, found.beta)[1][:, None] * by_piece
        days = np.maximum(total(own.sum(axis=1), read.first), 1e-300)[:, None]
        share = total(own[:, 1:], read.first) / days
        columns = total(own.sum(axis=1, keepdims=True) * read.columns, read.first) / days
        part = found.sd / found.joint if found.joint > 0 else np.zeros(len(found.sd))
        return level, weighted @ share, weighted @ columns, np.outer(weights @ by_sd, part)


def _relative(read: Cells, beta: Floats) -> tuple[Floats, Floats]:
    """Log hazard of each cell's first stretch by the columns, and the hazard of each over its."""
    linear = read.columns @ beta
    return linear[read.first], np.exp(linear - linear[read.first][read.cell])


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
        return super()._repr_html_() + self.variance_components.to_html(index=False)


@dataclass(frozen=True)
class _Data:
    """What is fitted, whichever the link."""

    design: Design
    chains: pd.DataFrame  # rows of the likelihood, before equal ones are joined
    counted: Floats  # died, or alive where odds are fitted
    at_risk: Floats
    shown: pd.DataFrame  # rows that the fit carries
    place: Codes  # level of each stratum, or why it has none
    link: Link
    checks: list[str]
    counts: dict[str, int]
    at: float | None = None  # the day, where odds are fitted


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
    the rank of what is constant within them (``survivor.models.random_effects``).
    ``restricted`` estimates standard deviations by ``survivor.models.variance_components``.
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
    refuse_aliased(columns, design.terms, stratum, design.against())
    check_effects(effects, codes, stratum, design.strata)
    counts = _point_counts(points, len(effects.names))
    nodes = tuple(hermite(count) for count in counts)
    checks, chosen = data.checks, None
    start, stop = rows["start_day"].to_numpy(float), rows["stop_day"].to_numpy(float)
    lengths, numbers = np.ones((len(rows), 1)), (data.at_risk[used], data.counted[used])
    if at is None:
        chosen, said = choose_pieces(rows, pieces, stratum)
    while True:
        if chosen is not None:
            lengths = chosen.lengths(rows, start, stop)
        fitted = MixedRows(
            columns, lengths, stratum, *numbers, design.terms, link=data.link, groups=codes
        ).joined()
        try:
            only_to = PROFILED if restricted else None
            solution = solve_mixed(fitted, counts, fixed_sd=fixed_sd, only_to=only_to)
            objective = Objective(likelihood(fitted), nodes, restricted)
            if restricted:
                free = solution.free | solution.at_zero
                best = objective.best(replace(solution, at_zero=np.zeros_like(free)), free)
                solution = objective.informed(best)
            break
        except PieceDiverges as found:
            if chosen is None:
                raise
            if has_deaths(lengths, numbers[1], found.piece):
                raise NoFiniteBaseline("mixed model") from found
            chosen = absorb(chosen, found.piece, lengths, numbers[1])
    if chosen is not None:
        checks += [said[0], *chosen.said()]
    return _result(formula, data, effects, chosen, fitted, Profile(objective, solution))


def _hazard(frame: pd.DataFrame, formula: str, strata: str | Sequence[str] | None, effects: Effects) -> _Data:
    inner = list(effects.columns[-1])
    refuse_no_deaths(frame["died"], "mixed model")
    others = [name for level in effects.columns for name in level]
    chains = joined(frame, formula, strata, inner, PLANTED, DRY_SEASON, *others)[0]
    design = build_design(chains, formula, strata, inner)
    place, checks = strata_with_hazard(design, chains)
    died, at_risk = chains["died"].to_numpy(float), chains["at_risk"].to_numpy(float)
    return _Data(design, chains, died, at_risk, frame, place, "hazard", checks, tally(frame))


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
    judged = outcomes(frame, at, window, list(read))
    design = build_design(judged.chains, formula, strata, inner)
    place, checks = strata_with_odds(design, judged.chains, "mixed model")
    shown, unread = rows_with_outcome(judged.rows, design)
    checks_of_odds = [*judged.checks, MEANING, *checks, *unread]
    alive = judged.chains["alive"].to_numpy(float)
    at_risk = alive + judged.chains["dead"].to_numpy(float)
    return _Data(
        design, judged.chains, alive, at_risk, shown, place, "logit", checks_of_odds, judged.counts, at
    )


def _point_counts(points: int | Sequence[int], levels: int) -> tuple[int, ...]:
    counts = (points,) * levels if isinstance(points, int) else tuple(points)
    if len(counts) != levels or min(counts) < 1:
        raise ModelError(
            f"random effects of {counted(levels, 'level')} need as many numbers of points, each at least 1",
            where=f"points={points!r}",
            mend=f"for example points={POINTS}, or points=1 for Laplace",
        )
    return counts


def _result(
    formula: str,
    data: _Data,
    effects: Effects,
    chosen: Merged | None,
    fitted: MixedRows,
    profile: Profile,
) -> MixedFit:
    design, solution, objective = data.design, profile.solution, profile.objective
    left = degrees(fitted.columns, fitted.stratum, fitted.groups)
    engine = MixedEngine(
        Reader(design, chosen, data.place), replace(solution, ready=None, scored=None), left, fitted
    )
    error = np.sqrt(np.diag(engine.covariance_of_terms(np.eye(len(design.terms)))))
    table = coefficient_table(design.terms, solution.beta, error, left.terms, VARIANCE, RATIOS[fitted.link])
    groups = [number for number, _ in left.counted]
    counts = tuple(len(rule[0]) for rule in objective.nodes)
    checks = _said(effects, solution, left, counts, design, objective.restricted)
    return FitParts(VARIANCE, table, solution.log_likelihood, engine, checks).fit(
        MixedFit,
        design,
        data.shown,
        data.checks,
        data.counts,
        model="mixed",
        formula=formula,
        n_clusters=groups[-1],
        at=data.at,
        cluster=effects.columns[-1],
        variance_components=variance_components(profile, effects.names, groups),
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
    sentences = [
        f"normal effects of {', of '.join(how)}; coefficients compare plants that share these effects, "
        "survival is averaged over them"
    ]
    sentences += [
        f"no variation between {name} beyond chance was found: its standard deviation is estimated as 0"
        for name, zero in zip(effects.names, solution.at_zero, strict=True)
        if zero
    ]
    number, rank = left.counted[-1][0], left.fixed
    if restricted:
        sentences.append(
            "standard deviations maximise the restricted likelihood, which allows for the levels and terms "
            "estimated beside them; the log-likelihood is the full one at these estimates"
        )
    elif number > rank and np.sqrt((number - rank) / number) < _LOW:
        sentences.append(
            f"maximum likelihood: {rank} levels and terms were estimated from {number} groups, so expect the "
            f"standard deviation of {effects.names[-1]}, and the standard errors of terms compared between "
            f"them, to be low by a factor of about {np.sqrt((number - rank) / number):.2f}"
        )
    sentences += [
        f"no limits for {term_words(term)}: no {effects.names[level]} is left over to tell its variation"
        for term, level, df in zip(design.terms, left.level, left.terms, strict=True)
        if np.isnan(df)
    ]
    return sentences
