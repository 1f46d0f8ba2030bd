"""Efron's partial likelihood on collapsed counts: value, score, information, residuals.

With ``r = exp(x beta)``, a day ``t`` of one stratum on which ``d`` seedlings were
found dead contributes, over ``k = 0 .. d - 1`` and with ``f = k / d``,

    sum over the dead of x beta  -  sum_k log(S0 - f D0),

where S0 sums r over those at risk (start < t <= stop) and D0 over those found
dead. All that the score, the information, the residuals and the baseline need of
the sum over k are five numbers a day, so the cost grows with distinct rows and
days of death, not with seedlings. Rows carry counts; a row of n seedlings is
exactly n rows of one.

Sources: Efron (1977), Journal of the American Statistical Association 72,
557-565; residuals under ties as in Therneau and Grambsch (2000), Modeling
Survival Data, section 3.3 and 4.2; the baseline is their "Efron" one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import digamma, gammaln, zeta

from survivor.arrays import Codes, Floats
from survivor.climbing import MOST_STEPS, climb
from survivor.intervals import row_codes, running, sum_by, sums_of
from survivor.models.clusters import by_cluster
from survivor.models.separation import FAR, diverges, errors_of, range_within

_SETTLED = (
    1e-10  # squared length of the step in units of standard errors, where rounding lets no step be shorter
)
_MANY_TIES = 64  # deaths of one day up to which the sums over them are made one by one
_LARGEST = 300.0  # log hazards are kept to this, so that squares of their sums stay finite
_FLAT = 1e-9  # eigenvalues of the scaled information below this: nothing is known in that direction


@dataclass(frozen=True)
class RiskSets:
    """Rows of counts arranged along the days of death of each stratum.

    Attributes
    ----------
    columns
        Covariates, shape (n, q), less the ``centre`` of their stratum.
    centre
        Mean of those at risk in each stratum, shape (S, q). A baseline of its own takes up
        what lies between strata, so columns that differ by much more between than within
        strata lose nothing.
    first, last
        Row i is at risk at the days of death ``first[i] <= j < last[i]``; its dead
        were found at day ``last[i] - 1``.
    at_risk, died
        Counts, shape (n,).
    cluster, strata
        Cluster and stratum of each row.
    days, day_strata
        Day and stratum of each of the T days of death; sorted by stratum, then day.
    """

    columns: Floats
    centre: Floats
    first: Codes
    last: Codes
    at_risk: Floats
    died: Floats
    cluster: Codes
    strata: Codes
    days: Floats
    day_strata: Codes
    _shift: Codes
    _enter_leave: sparse.csr_array
    _death: sparse.csr_array

    @property
    def _sizes(self) -> Codes:
        """Days of death of each stratum in order, shape (S,)."""
        starts = np.flatnonzero(np.diff(self.day_strata, prepend=-1))
        return np.diff(starts, append=len(self.days))

    @property
    def _after(self) -> Codes:
        """Place after each day of death, where each stratum has one more place than days; shape (T,)."""
        sizes = self._sizes
        return np.arange(len(self.days)) + np.repeat(np.arange(len(sizes)), sizes) + 1

    def pick(self, rows: Codes) -> RiskSets:
        """Only these rows, which must hold whole strata, and the days of those strata."""
        kept = np.isin(self.day_strata, np.unique(self.strata[rows]))
        place = np.concatenate([[0], np.cumsum(kept)])
        first, last = place[self.first[rows]], place[self.last[rows]]
        return replace(
            self,
            columns=self.columns[rows],
            first=first,
            last=last,
            at_risk=self.at_risk[rows],
            died=self.died[rows],
            cluster=self.cluster[rows],
            strata=self.strata[rows],
            days=self.days[kept],
            day_strata=self.day_strata[kept],
            **_placed(first, last, self.strata[rows], self.day_strata[kept]),
        )

    def centred(self, columns: Floats, strata: Codes) -> Floats:
        """Columns of other rows less the centre of their stratum; 0 in strata without a death (-1)."""
        return np.where((strata >= 0)[:, None], columns - self.centre[strata], 0.0)

    def without(self, cluster: int) -> RiskSets:
        """Leave one cluster out: its rows and days of death stay, with nobody in them."""
        kept = self.cluster != cluster
        return replace(self, at_risk=self.at_risk * kept, died=self.died * kept)


@dataclass(frozen=True)
class Evaluation:
    """Efron's likelihood at one vector of coefficients.

    Attributes
    ----------
    beta
        The coefficients, shape (q,).
    log_likelihood, gradient, information
        Shapes (), (q,), (q, q).
    steps
        Baseline hazard of each day of death at the ``centre`` of its stratum, shape (T,).
    step_slopes
        Derivative of ``steps`` in the coefficients, shape (T, q).
    step_variances
        Variance of ``steps`` with the coefficients known, shape (T,).
    """

    beta: Floats
    log_likelihood: float
    gradient: Floats
    information: Floats
    steps: Floats
    step_slopes: Floats
    step_variances: Floats

    @property
    def value(self) -> float:
        """What is climbed: the log-likelihood."""
        return self.log_likelihood


def risk_sets(columns: Floats, strata: Codes, cluster: Codes, rows: pd.DataFrame) -> RiskSets:
    """Arrange rows of counts and join equal ones.

    Parameters
    ----------
    columns
        Covariates, shape (n, q).
    strata, cluster
        One integer a row; strata from 0 without gaps, each with a death. Clusters are
        numbered again from 0, without those never at risk on a day of death.
    rows
        Risk intervals: at risk on (``start_day, stop_day``], the dead found at ``stop_day``;
        ``at_risk, died``.
    """
    start, stop, at_risk, died = (
        rows[name].to_numpy(float) for name in ("start_day", "stop_day", "at_risk", "died")
    )
    moments = np.unique(stop[died > 0])
    reach = len(moments) + 1
    dead = np.unique(strata[died > 0] * reach + np.searchsorted(moments, stop[died > 0]))
    first = np.searchsorted(dead, strata * reach + np.searchsorted(moments, start, side="right"))
    last = np.searchsorted(dead, strata * reach + np.searchsorted(moments, stop, side="right"))
    used = last > first  # the others are at risk on no day of death
    of, weight = strata[used], at_risk[used]
    centre = sum_by(of, weight[:, None] * columns[used]) / sum_by(of, weight)[:, None]
    codes, pick = row_codes([first[used], last[used], cluster[used], *columns[used].T])
    count, kept = len(pick), np.flatnonzero(used)[pick]
    first, last = first[kept].astype(np.intp), last[kept].astype(np.intp)
    return RiskSets(
        columns=columns[kept] - centre[strata[kept]],
        centre=centre,
        first=first,
        last=last,
        at_risk=sum_by(codes, at_risk[used], count),
        died=sum_by(codes, died[used], count),
        cluster=np.unique(cluster[kept], return_inverse=True)[1].astype(np.intp),
        strata=strata[kept],
        days=moments[dead % reach],
        day_strata=(dead // reach).astype(np.intp),
        **_placed(first, last, strata[kept], dead // reach),
    )


def _placed(first: Codes, last: Codes, strata: Codes, day_strata: Codes) -> dict[str, Any]:
    """Where rows enter and leave, with a place after the last day of each stratum, and where they die."""
    levels = np.unique(day_strata)
    shift, places = np.searchsorted(levels, strata).astype(np.intp), len(day_strata) + len(levels)
    return {
        "_shift": shift,
        "_enter_leave": sums_of(first + shift, places) - sums_of(last + shift, places),
        "_death": sums_of(last - 1, len(day_strata)),
    }


@dataclass(frozen=True)
class _Sums:
    """What the sums over k of each day of death need and give, one row a day."""

    linear: Floats
    relative: Floats
    deaths: Floats
    s1: Floats
    d1: Floats
    logs: float
    a1: Floats
    a2: Floats
    b0: Floats
    b1: Floats
    b2: Floats


def _sums(sets: RiskSets, beta: Floats) -> _Sums:
    x = sets.columns
    linear = x @ beta if beta.ndim == 1 else np.einsum("nq,nq->n", x, beta[sets.strata])
    linear = np.clip(linear, -_LARGEST, _LARGEST)
    relative = np.exp(linear)
    one_and_x = np.column_stack([np.ones(len(x)), x])
    # Each stratum for itself, and from its last day: those of high hazards leave early, and taking
    # large numbers away again would leave their rounding behind.
    moves = sets._enter_leave @ ((sets.at_risk * relative)[:, None] * one_and_x)
    risk = -running(moves[::-1], sets._sizes[::-1] + 1)[::-1][sets._after]
    dead = sets._death @ ((sets.died * relative)[:, None] * one_and_x)
    deaths = sets._death @ sets.died
    # Differences of sums leave rounding behind: those at risk are at least the dead.
    s0, d0 = np.maximum(risk[:, 0], dead[:, 0]), dead[:, 0]
    logs, *sums = _over_ties(s0, d0, np.rint(deaths))
    return _Sums(linear, relative, deaths, risk[:, 1:], dead[:, 1:], float(logs.sum()), *sums)


def _over_ties(s0: Floats, d0: Floats, deaths: Floats) -> tuple[Floats, ...]:
    """Sum over k for each day of death.

    Returns
    -------
    tuple
        With ``left = s0 - f d0`` and ``f = k / deaths``: the sums of log(left), 1 / left, f / left,
        1 / left^2, f / left^2 and f^2 / left^2, each of shape (T,).
    """
    many = deaths > _MANY_TIES
    count = np.where(many, 0, deaths).astype(np.intp)
    day, days = np.repeat(np.arange(len(count)), count), len(count)
    f = (np.arange(len(day)) - np.repeat(np.cumsum(count) - count, count)) / deaths[day]
    left = s0[day] - f * d0[day]
    terms = (np.log(left), 1 / left, f / left, 1 / left**2, f / left**2, f**2 / left**2)
    sums = tuple(sum_by(day, term, days) for term in terms)
    for place, of_many in zip(sums, _over_many_ties(s0[many], d0[many], deaths[many]), strict=True):
        place[many] = of_many
    return sums


def _over_many_ties(s0: Floats, d0: Floats, deaths: Floats) -> tuple[Floats, ...]:
    """As ``_over_ties``, at the same cost for any number of deaths.

    In units of ``d0 / deaths`` what is left falls by 1 from one k to the next, and the sums of its powers
    are differences of the gamma function's logarithm and its derivatives (Abramowitz and Stegun 1964, 6.3.6
    and 6.4.10).
    """
    unit = d0 / deaths
    whole = s0 / unit
    most, least = whole + 1, whole - deaths + 1
    logs = deaths * np.log(unit) + gammaln(most) - gammaln(least)
    first = digamma(most) - digamma(least)
    second = zeta(2, least) - zeta(2, most)
    return (
        logs,
        first / unit,
        (whole * first - deaths) / d0,
        second / unit**2,
        (whole * second - first) / (d0 * unit),
        (whole**2 * second - 2 * whole * first + deaths) / d0**2,
    )


def evaluate(sets: RiskSets, beta: Floats) -> Evaluation:
    """Efron's partial likelihood with its derivatives and baseline."""
    x, at_risk, died = sets.columns, sets.at_risk, sets.died
    sums = _sums(sets, beta)
    s1, d1, a1, a2 = sums.s1, sums.d1, sums.a1[:, None], sums.a2[:, None]
    risk_steps = _between(sums.a1, sets)
    weight = sums.relative * (at_risk * risk_steps - died * sums.a2[sets.last - 1])
    cross = s1.T @ (sums.b1[:, None] * d1)
    squares = s1.T @ (sums.b0[:, None] * s1) - cross - cross.T + d1.T @ (sums.b2[:, None] * d1)
    return Evaluation(
        beta=beta,
        log_likelihood=float(died @ sums.linear) - sums.logs,
        gradient=died @ x - np.sum(a1 * s1 - a2 * d1, axis=0),
        information=x.T @ (weight[:, None] * x) - squares,
        steps=sums.a1,
        step_slopes=sums.b1[:, None] * d1 - sums.b0[:, None] * s1,
        step_variances=sums.b0,
    )


def by_stratum(sets: RiskSets, beta: Floats) -> tuple[Floats, Floats, Floats]:
    """Efron's partial likelihood of each of S strata for itself.

    Parameters
    ----------
    sets
        The rows.
    beta
        Coefficients, shape (q,), or those of each stratum, (S, q).

    Returns
    -------
    gradient, information, steps
        Shapes (S, q) and (S, q, q), and the baseline's step on each day of death, (T,).
    """
    x, sums, strata = sets.columns, _sums(sets, beta), int(sets.strata.max()) + 1
    s1, d1, a1, a2 = sums.s1, sums.d1, sums.a1[:, None], sums.a2[:, None]
    weight = sums.relative * (sets.at_risk * _between(sums.a1, sets) - sets.died * sums.a2[sets.last - 1])
    cross = sums.b1[:, None, None] * (s1[:, :, None] * d1[:, None, :] + d1[:, :, None] * s1[:, None, :])
    squares = sums.b0[:, None, None] * s1[:, :, None] * s1[:, None, :] - cross
    squares += sums.b2[:, None, None] * d1[:, :, None] * d1[:, None, :]
    of_rows = by_cluster(sets.strata, strata, x, sets.died, weight)
    gradient = of_rows[0] - sum_by(sets.day_strata, a1 * s1 - a2 * d1, strata)
    days = sums_of(sets.day_strata, strata) @ squares.reshape(len(squares), -1)
    return gradient, of_rows[1] - days.reshape(of_rows[1].shape), sums.a1


def residuals(sets: RiskSets, beta: Floats) -> Floats:
    """Score of each row (of all its seedlings), shape (n, q); they sum to the gradient."""
    x, found, at = sets.columns, _sums(sets, beta), sets.last - 1
    a1, a2, b1 = found.a1[:, None], found.a2[:, None], found.b1[:, None]
    at_risk, died = (found.relative * number for number in (sets.at_risk, sets.died))
    slopes = found.b0[:, None] * found.s1 - b1 * found.d1
    dead_slopes = b1 * found.s1 - found.b2[:, None] * found.d1
    mean = (a1 * found.s1 - a2 * found.d1) / np.maximum(found.deaths, 1)[:, None]
    return (
        sets.died[:, None] * (x - mean[at])
        - at_risk[:, None] * (x * _between(found.a1, sets)[:, None] - _between(slopes, sets))
        + died[:, None] * (x * a2[at] - dead_slopes[at])
    )


def schoenfeld(sets: RiskSets, beta: Floats) -> Floats:
    """Covariates of those found dead on each day less what was to be expected, shape (T, q).

    Sums over the dead of a day; over the days they sum to the gradient.
    """
    sums = _sums(sets, beta)
    expected = sums.a1[:, None] * sums.s1 - sums.a2[:, None] * sums.d1
    seen: Floats = sets._death @ (sets.died[:, None] * sets.columns)
    return seen - expected


def _between(values: Floats, sets: RiskSets) -> Floats:
    """Sum of daily values over the days at which each row is at risk."""
    summed = np.zeros((len(values) + len(sets._sizes), *values.shape[1:]))
    summed[sets._after] = running(values, sets._sizes)
    return np.asarray(summed[sets.last + sets._shift] - summed[sets.first + sets._shift])


@dataclass(frozen=True)
class Maximum:
    """Where Newton steps ended.

    Attributes
    ----------
    beta
        Coefficients, shape (q,); those that run away stand where they were left.
    divergent
        Which coefficients run to infinity, shape (q,).
    settled
        Whether the last step was next to nothing.
    flat
        Directions of which the rows say nothing, shape (q, flat directions);
        ``beta`` keeps its starting value along them.
    """

    beta: Floats
    at: Evaluation
    divergent: NDArray[np.bool_]
    flat: Floats
    settled: bool

    @property
    def known(self) -> NDArray[np.bool_]:
        """Which coefficients have a finite estimate of their own."""
        touched = np.abs(self.flat).max(axis=1, initial=0.0) > 1e-6
        return np.asarray(~self.divergent & ~touched)

    @property
    def independent(self) -> Floats:
        """Covariance of the coefficients were rows independent, shape (q, q)."""
        return np.asarray(np.linalg.inv(self.at.information), dtype=np.float64)


def maximise(sets: RiskSets, start: Floats, limit: int = MOST_STEPS) -> Maximum:
    """Newton steps from ``start``; at most ``limit`` of them."""
    first = evaluate(sets, start)
    present = sets.columns[sets.at_risk > 0]
    usable, flat = _directions(first.information, sets.died.sum() * np.max(present**2, axis=0))
    spread = range_within(present, sets.strata[sets.at_risk > 0])

    def gone(now: Evaluation) -> NDArray[np.bool_]:
        if (np.abs(now.beta) * spread > FAR).any():
            return diverges(now.beta, spread, errors_of(now.information))
        return np.zeros(len(start), dtype=bool)

    def step(now: Evaluation) -> tuple[Floats, float] | None:
        if gone(now).any():
            return None
        slope = usable.T @ now.gradient
        move = np.linalg.lstsq(usable.T @ now.information @ usable, slope, rcond=None)[0]
        return usable @ move, float(slope @ move)

    climbed = climb(first, step, lambda now, move, part: evaluate(sets, now.beta + part * move), most=limit)
    return Maximum(climbed.at.beta, climbed.at, gone(climbed.at), flat, climbed.left < _SETTLED)


def _directions(information: Floats, most: Floats) -> tuple[Floats, Floats]:
    """Directions in which the likelihood is curved, and those in which it is flat.

    ``most`` is what each coefficient's information could be at most, shape (q,).
    """
    own = np.diag(information)
    informed = own > _FLAT * most
    inverse = 1 / np.sqrt(np.where(informed, own, np.maximum(most, 1e-300)))
    values, vectors = np.linalg.eigh(information * np.outer(inverse, inverse))
    curved = values > _FLAT
    if curved.all():
        return np.diag(inverse), np.empty((len(own), 0))
    flat = inverse[:, None] * vectors[:, ~curved]
    return inverse[:, None] * vectors[:, curved], flat / np.abs(flat).max(axis=0)
