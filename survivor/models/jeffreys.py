"""Likelihoods with Jeffreys' penalty: log-likelihood plus half the log determinant of the information.

The penalty (Firth 1993, Biometrika 80, 27-38) takes away the first-order bias of a
logistic model and keeps every estimate finite, also where nobody or everybody died at
a level of a term (Kosmidis and Firth 2021, Biometrika 108, 71-82, for the logistic and
the complementary log-log link). The information is the expected one, over the levels
of the strata, the pieces of the baseline and the terms together.

A row touches the level of its own stratum and the common parameters only, so that
the determinant and its derivative never need a matrix of the size of the strata.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, gammaln

from survivor.intervals import Codes, sum_by
from survivor.models.clusters import Bread, bread_of

Floats = NDArray[np.float64]

_REACH = 60.0  # predictors beyond this are as good as infinite
_LARGEST = 700.0  # exp() of more overflows


@dataclass(frozen=True)
class Point:
    """A penalised likelihood at one vector of parameters: strata levels, then common ones.

    Attributes
    ----------
    value
        Penalised log-likelihood without the binomial constant.
    log_likelihood
        Log-likelihood without the penalty and with the constant.
    gradient
        Of ``value``, shape (S + c,).
    bread
        Inverse of the expected information.
    rows, score, weight
        Of each row: derivative of its hazard (log odds) in its own level, then in the
        common parameters, shape (n, 1 + c); score and information weight, as
        ``survivor.models.clusters.by_cluster`` takes them.
    """

    value: float
    log_likelihood: float
    gradient: Floats
    bread: Bread
    rows: Floats
    score: Floats
    weight: Floats


class PenalisedLikelihood(Protocol):
    """What the maximisation needs of a likelihood."""

    @property
    def stratum(self) -> Codes:
        """Stratum of each row."""
        ...

    @property
    def columns(self) -> Floats:
        """Covariates, shape (n, q): the last q parameters are their coefficients."""
        ...

    def start(self) -> Floats:
        """Parameters to start from."""
        ...

    def at(self, parameters: Floats) -> Point | None:
        """Evaluate; None where the information is not positive."""
        ...

    def pick(self, rows: Codes, columns: Codes, stratum: Codes) -> PenalisedLikelihood:
        """Only these rows and columns, in other strata."""
        ...


@dataclass(frozen=True)
class GroupedJeffreys:
    """Grouped proportional hazards; see ``survivor.models.likelihood`` for the likelihood.

    ``columns`` (n, q), ``lengths`` (n, K) days in each piece, ``stratum`` codes 0 to
    S - 1, counts ``at_risk`` and ``died``. Parameters: log hazard a day of each stratum
    in the first piece, log ratios of the later pieces to it, coefficients.
    """

    columns: Floats
    lengths: Floats
    stratum: Codes
    at_risk: Floats
    died: Floats

    def start(self) -> Floats:
        """Levels from the deaths of each stratum, everything else nought."""
        time = sum_by(self.stratum, self.at_risk * self.lengths.sum(axis=1))
        deaths = sum_by(self.stratum, self.died)
        level = np.log((deaths + 0.5) / (time + 0.5 * time.sum() / max(deaths.sum(), 0.5)))
        return np.concatenate([level, np.zeros(self.lengths.shape[1] - 1 + self.columns.shape[1])])

    def at(self, parameters: Floats) -> Point | None:
        """Evaluate; None where the information is not positive."""
        strata, later = int(self.stratum.max()) + 1, self.lengths.shape[1] - 1
        level, alpha, beta = np.split(parameters, [strata, strata + later])
        linear = level[self.stratum] + self.columns @ beta
        with np.errstate(divide="ignore"):
            pieces = np.log(self.lengths) + np.concatenate([[0.0], alpha])
        by_piece = np.exp(np.clip(linear[:, None] + pieces, -_LARGEST, _REACH)) * (self.lengths > 0)
        hazard = np.maximum(by_piece.sum(axis=1), 1e-300)
        alive = self.at_risk - self.died
        value = float(np.sum(self.died * np.log(-np.expm1(-hazard))) - alive @ hazard)
        odds = 1 / np.expm1(np.minimum(hazard, _LARGEST))  # (1 - p) / p
        rows = np.hstack([hazard[:, None], by_piece[:, 1:], hazard[:, None] * self.columns])
        score, weight = self.died * odds - alive, self.at_risk * odds
        known = _determinant(self.stratum, rows, weight, strata)
        if known is None:
            return None
        bread, half_log = known
        # d log det / 2: through the weight of each row, and through the derivative of its hazard.
        through = np.einsum("nij,nj->ni", bread.local()[self.stratum], rows)
        leverage = np.einsum("ni,ni->n", through, rows)
        each = through[:, :1] + (through[:, 1 + later :] * self.columns).sum(axis=1)[:, None]
        each = each + np.hstack([np.zeros((len(rows), 1)), through[:, 1 : 1 + later]])
        change = -0.5 * leverage * weight * (1 + odds)
        own = by_piece[:, 1:] * (change[:, None] + weight[:, None] * each[:, 1:])
        total = change * hazard + weight * leverage
        gradient = np.concatenate(
            [
                sum_by(self.stratum, score * hazard + total, strata),
                score @ by_piece[:, 1:] + own.sum(axis=0),
                (score * hazard + total) @ self.columns,
            ]
        )
        return Point(
            value + half_log,
            value + _constant(self.at_risk, self.died),
            gradient,
            bread,
            rows,
            score,
            weight,
        )

    def pick(self, rows: Codes, columns: Codes, stratum: Codes) -> GroupedJeffreys:
        """Only these rows and columns, in other strata; pieces that no row reaches fall away."""
        lengths = self.lengths[rows]
        return GroupedJeffreys(
            self.columns[np.ix_(rows, columns)],
            lengths[:, lengths.any(axis=0)],
            stratum,
            self.at_risk[rows],
            self.died[rows],
        )


@dataclass(frozen=True)
class LogisticJeffreys:
    """Log odds of being counted: ``columns`` (n, q), ``stratum``, ``counted`` out of ``number``."""

    columns: Floats
    stratum: Codes
    counted: Floats
    number: Floats

    def start(self) -> Floats:
        """Levels from the counts of each stratum, coefficients nought."""
        counted, number = sum_by(self.stratum, self.counted), sum_by(self.stratum, self.number)
        level = np.log((counted + 0.5) / (number - counted + 0.5))
        return np.concatenate([level, np.zeros(self.columns.shape[1])])

    def at(self, parameters: Floats) -> Point | None:
        """Evaluate; None where the information is not positive."""
        strata = int(self.stratum.max()) + 1
        linear = parameters[:strata][self.stratum] + self.columns @ parameters[strata:]
        share = expit(linear)
        value = float(np.sum(self.counted * linear - self.number * np.logaddexp(0.0, linear)))
        score, weight = self.counted - self.number * share, self.number * share * expit(-linear)
        rows = np.hstack([np.ones((len(linear), 1)), self.columns])
        known = _determinant(self.stratum, rows, weight, strata)
        if known is None:
            return None
        bread, half_log = known
        leverage = np.einsum("ni,nij,nj->n", rows, bread.local()[self.stratum], rows)
        total = score + weight * (0.5 - share) * leverage
        gradient = np.concatenate([sum_by(self.stratum, total, strata), total @ self.columns])
        constant = _constant(self.number, self.counted)
        return Point(value + half_log, value + constant, gradient, bread, rows, score, weight)

    def pick(self, rows: Codes, columns: Codes, stratum: Codes) -> LogisticJeffreys:
        """Only these rows and columns, in other strata."""
        return LogisticJeffreys(
            self.columns[np.ix_(rows, columns)], stratum, self.counted[rows], self.number[rows]
        )


def _constant(number: Floats, counted: Floats) -> float:
    return float(np.sum(gammaln(number + 1) - gammaln(counted + 1) - gammaln(number - counted + 1)))


def _determinant(stratum: Codes, rows: Floats, weight: Floats, strata: int) -> tuple[Bread, float] | None:
    """Inverse information and half its log determinant, with the strata levels as a border."""
    weighted = weight[:, None] * rows
    level = sum_by(stratum, weighted[:, 0] * rows[:, 0], strata)
    if not (level > 0).all():
        return None
    across = np.empty((strata, rows.shape[1] - 1))
    for column in range(across.shape[1]):
        across[:, column] = sum_by(stratum, weighted[:, 0] * rows[:, 1 + column], strata)
    common = weighted[:, 1:].T @ rows[:, 1:]
    sign, size = np.linalg.slogdet(common - across.T @ (across / level[:, None]))
    if not (sign > 0 and np.isfinite(size)):
        return None
    return bread_of(level, across, common), float(np.sum(np.log(level)) + size) / 2
