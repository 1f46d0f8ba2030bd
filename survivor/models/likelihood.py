"""Likelihood of interval-censored proportional hazards on grouped counts.

For a row of ``n`` seedlings at risk over (start, stop] of which ``d`` died,

    d ~ Binomial(n, 1 - exp(-H)),   H = sum_k length_k exp(alpha_k + x beta),

with ``length_k`` the days of the row spent in piece ``k`` of the baseline. With
visits shared by all this is the grouped proportional-hazards model of Prentice
and Gloeckler (1978), Biometrics 34, 57-67; with irregular visits it is a
composite link in the sense of Thompson and Baker (1981), Applied Statistics 30,
125-131. Fitted by Fisher scoring; the information reported is the expected one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from survivor.errors import ModelError

Floats = NDArray[np.float64]

_STEPS = 100
_CONVERGED = 1e-18  # squared length of the step in units of standard errors
_RUNAWAY = 12.0  # a level of the linear predictor this far from the mean is running to infinity


@dataclass(frozen=True)
class Solution:
    """A fitted grouped model on arrays.

    Attributes
    ----------
    alpha, beta
        Log hazard of each piece and coefficients, shapes (K,) and (q,).
    log_likelihood
        With the binomial constant.
    rows, score, weight
        Derivative of each row's cumulative hazard, shape (n, K + q), its score and
        its expected information weight, shape (n,); see ``clusters.by_cluster``.
    runaway
        Index of a piece whose log hazard runs to minus infinity, or None.
    """

    alpha: Floats
    beta: Floats
    log_likelihood: float
    rows: Floats
    score: Floats
    weight: Floats
    steps: int
    runaway: int | None = None

    @property
    def parameters(self) -> Floats:
        """Pieces, then coefficients, shape (K + q,)."""
        return np.concatenate([self.alpha, self.beta])


def solve(columns: Floats, lengths: Floats, at_risk: Floats, died: Floats, names: tuple[str, ...] = ()) -> Solution:
    """Maximise the grouped likelihood.

    Parameters
    ----------
    columns
        Covariates (strata included), shape (n, q).
    lengths
        Days in each piece, shape (n, K).
    at_risk, died
        Counts, shape (n,).
    names
        Names of the q columns, for messages.

    Raises
    ------
    ModelError
        When nobody died, or a coefficient runs to infinity because nobody, or
        everybody, died at one level of a term.
    """
    if died.sum() == 0:
        raise ModelError("nobody died, so there is no hazard to compare", where="grouped model", mend="see the curves")
    pieces = lengths.shape[1]
    # Any constant scale of time moves only the baseline; one near the data keeps exp() tame.
    scale = lengths.sum(axis=1).mean()
    scaled = lengths / scale
    start = np.log(died.sum() / (at_risk @ scaled.sum(axis=1)))
    theta = np.zeros(pieces + columns.shape[1])
    theta[:pieces] = start
    value, rows, score, weight = _evaluate(theta, columns, scaled, at_risk, died)
    for step_number in range(1, _STEPS + 1):
        information = (weight[:, None] * rows).T @ rows
        gradient = score @ rows
        try:
            step = np.linalg.solve(information, gradient)
        except np.linalg.LinAlgError:
            step = np.linalg.lstsq(information, gradient, rcond=None)[0]
        gain = float(gradient @ step)
        # Expected information can overshoot far from the maximum: halve until the likelihood rises.
        size = 1.0
        while True:
            trial = theta + size * step
            found = _evaluate(trial, columns, scaled, at_risk, died)
            if found[0] >= value - 1e-10 * abs(value) or size < 1e-8:
                break
            size /= 2
        theta = trial
        value, rows, score, weight = found
        if gain * size < _CONVERGED:
            break
        runaway = _runaway(theta, pieces, columns, start, names)
        if runaway is not None:
            return Solution(theta[:pieces], theta[pieces:], value, rows, score, weight, step_number, runaway)
    alpha = theta[:pieces] - np.log(scale)
    constant = float(np.sum(gammaln(at_risk + 1) - gammaln(died + 1) - gammaln(at_risk - died + 1)))
    return Solution(alpha, theta[pieces:], value + constant, rows, score, weight, step_number)


def _evaluate(
    theta: Floats, columns: Floats, lengths: Floats, at_risk: Floats, died: Floats
) -> tuple[float, Floats, Floats, Floats]:
    pieces = lengths.shape[1]
    relative = np.exp(np.clip(columns @ theta[pieces:], -50, 50))
    by_piece = relative[:, None] * lengths * np.exp(np.clip(theta[:pieces], -50, 50))
    hazard = np.maximum(by_piece.sum(axis=1), 1e-300)
    dead = -np.expm1(-hazard)
    value = float(np.sum(died * np.log(dead)) - (at_risk - died) @ hazard)
    rows = np.hstack([by_piece, hazard[:, None] * columns])
    odds = 1 / np.expm1(np.minimum(hazard, 700.0))  # (1 - p) / p
    # d log L / d H = d (1 - p) / p - (n - d); expected information in H: n (1 - p) / p.
    return value, rows, died * odds - (at_risk - died), at_risk * odds


def _runaway(theta: Floats, pieces: int, columns: Floats, start: float, names: tuple[str, ...]) -> int | None:
    if pieces > 1 and theta[:pieces].min() < start - _RUNAWAY:
        return int(np.argmin(theta[:pieces]))
    if columns.shape[1]:
        reach = np.abs(theta[pieces:]) * (columns.max(axis=0) - columns.min(axis=0))
        if reach.max() > _RUNAWAY:
            worst = int(np.argmax(reach))
            name = names[worst] if worst < len(names) else f"column {worst}"
            raise ModelError(
                f"{name} has no finite estimate: at one of its levels nobody, or everybody, died",
                where="grouped model",
                mend="join that level with another, leave the term out, or read its survival from the curves",
            )
    return None
