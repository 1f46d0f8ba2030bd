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

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import expit

from survivor.arrays import Codes, Floats
from survivor.intervals import log_ways, sum_by
from survivor.models.clusters import Bread, bread_of
from survivor.models.likelihood import Rows

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


@dataclass(frozen=True)
class Jeffreys:
    """The likelihood of some rows (``survivor.models.likelihood``) with the penalty.

    Parameters: level of each stratum, log ratios of the later pieces to the first, coefficients.
    """

    data: Rows

    def at(self, parameters: Floats) -> Point | None:
        """Evaluate; None where the information is not positive."""
        data = self.data
        later, strata = data.lengths.shape[1] - 1, data.strata
        level, alpha, beta = np.split(parameters, [strata, strata + later])
        linear = level[data.stratum] + data.columns @ beta
        if data.link == "logit":
            return self._odds(linear)
        with np.errstate(divide="ignore"):
            pieces = np.log(data.lengths) + np.concatenate([[0.0], alpha])
        by_piece = np.exp(np.clip(linear[:, None] + pieces, -_LARGEST, _REACH)) * (data.lengths > 0)
        hazard = np.maximum(by_piece.sum(axis=1), 1e-300)
        alive = data.at_risk - data.died
        value = float(np.sum(data.died * np.log(-np.expm1(-hazard))) - alive @ hazard)
        odds = 1 / np.expm1(np.minimum(hazard, _LARGEST))  # (1 - p) / p
        rows = np.hstack([hazard[:, None], by_piece[:, 1:], hazard[:, None] * data.columns])
        score, weight = data.died * odds - alive, data.at_risk * odds
        penalty = _determinant(data.stratum, rows, weight, strata)
        if penalty is None:
            return None
        bread, half_log = penalty
        # d log det / 2: through the weight of each row, and through the derivative of its hazard.
        through = np.einsum("nij,nj->ni", bread.local()[data.stratum], rows)
        leverage = np.einsum("ni,ni->n", through, rows)
        each = through[:, :1] + (through[:, 1 + later :] * data.columns).sum(axis=1)[:, None]
        each = each + np.hstack([np.zeros((len(rows), 1)), through[:, 1 : 1 + later]])
        change = -0.5 * leverage * weight * (1 + odds)
        own = by_piece[:, 1:] * (change[:, None] + weight[:, None] * each[:, 1:])
        total = score * hazard + change * hazard + weight * leverage
        levels = sum_by(data.stratum, total, strata)
        pieces_too = score @ by_piece[:, 1:] + own.sum(axis=0)
        gradient = np.concatenate([levels, pieces_too, total @ data.columns])
        whole = value + log_ways(data.at_risk, data.died)
        return Point(value + half_log, whole, gradient, bread, rows, score, weight)

    def _odds(self, linear: Floats) -> Point | None:
        data, share = self.data, expit(linear)
        value = float(np.sum(data.died * linear - data.at_risk * np.logaddexp(0.0, linear)))
        score, weight = data.died - data.at_risk * share, data.at_risk * share * expit(-linear)
        rows = np.hstack([np.ones((len(linear), 1)), data.columns])
        penalty = _determinant(data.stratum, rows, weight, data.strata)
        if penalty is None:
            return None
        bread, half_log = penalty
        leverage = np.einsum("ni,nij,nj->n", rows, bread.local()[data.stratum], rows)
        total = score + weight * (0.5 - share) * leverage
        gradient = np.concatenate([sum_by(data.stratum, total, data.strata), total @ data.columns])
        whole = value + log_ways(data.at_risk, data.died)
        return Point(value + half_log, whole, gradient, bread, rows, score, weight)

    def pick(self, rows: Codes, columns: Codes, stratum: Codes) -> Jeffreys:
        """Only these rows and columns, in other strata; pieces that no row reaches fall away."""
        part = self.data.pick(rows, stratum)
        lengths = part.lengths[:, part.lengths.any(axis=0)]
        return Jeffreys(replace(part, columns=part.columns[:, columns], lengths=lengths))


def _determinant(stratum: Codes, rows: Floats, weight: Floats, strata: int) -> tuple[Bread, float] | None:
    """Inverse information and half its log determinant, with the strata levels as a border."""
    weighted = weight[:, None] * rows
    level = sum_by(stratum, weighted[:, 0] * rows[:, 0], strata)
    if not (level > 0).all():
        return None
    across = sum_by(stratum, weighted[:, :1] * rows[:, 1:], strata)
    common = weighted[:, 1:].T @ rows[:, 1:]
    sign, size = np.linalg.slogdet(common - across.T @ (across / level[:, None]))
    if not (sign > 0 and np.isfinite(size)):
        return None
    return bread_of(level, across, common), float(np.sum(np.log(level)) + size) / 2
