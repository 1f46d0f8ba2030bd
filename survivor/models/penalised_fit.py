"""What a penalised fit gives: coefficients, averages of survival and tests, by profiles.

Plots without a death, or without a survivor, do not tell how much plots differ. Limits
are therefore those of independent seedlings with the fall that they allow, in
log-likelihood, multiplied by the design effect of the other arms and by the square of
its t quantile instead of the normal one; tests are F tests on the same scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd
from scipy.special import expit

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.limits import Errors
from survivor.models.cells import Cells, Reader
from survivor.models.clusters import WaldTest
from survivor.models.fitted import Estimates
from survivor.models.jeffreys import Jeffreys
from survivor.models.likelihood import Rows
from survivor.models.penalised import Profile, Quantity, coefficient, maximise
from survivor.models.result import RATIOS, FitParts, coefficient_table
from survivor.models.separation import Separation
from survivor.models.working import INDEPENDENT, DesignEffect, design_effect
from survivor.words import term_words


@dataclass(frozen=True)
class _Average:
    """A weighted sum of survival on a scale without ends: log odds of where it lies in its range."""

    cells: Cells
    weights: Floats

    @property
    def low(self) -> float:
        """Its least possible value."""
        return float(np.minimum(self.weights, 0.0).sum())

    @property
    def range(self) -> float:
        """How far its greatest possible value lies above the least."""
        return float(np.abs(self.weights).sum())

    def raw(self, parameters: Floats) -> tuple[float, Floats]:
        """Its value and derivative."""
        alive, _, slope = self.cells.shares(self.weights, parameters)
        return float(self.weights @ alive), slope

    def __call__(self, parameters: Floats) -> tuple[float, Floats]:
        alive, dead, slope = self.cells.shares(self.weights, parameters)
        # Sums of positive parts, so that nothing is lost near the ends.
        up, down = np.maximum(self.weights, 0.0), np.maximum(-self.weights, 0.0)
        above, below = (
            max(float(up @ alive + down @ dead), 1e-300),
            max(float(up @ dead + down @ alive), 1e-300),
        )
        return float(np.log(above) - np.log(below)), slope * (1 / above + 1 / below)

    def at(self, odds: float) -> float:
        """Read the value back from its log odds."""
        return self.low + self.range * float(expit(odds))


@dataclass(frozen=True)
class PenalisedEngine:
    """A penalised fit for ``Fit``.

    Attributes
    ----------
    profile, spread
        The maximum with its profiles, and how far clusters vary.
    offset
        Where the terms start in the parameters.
    read
        Reads cells for a day.
    """

    profile: Profile
    spread: DesignEffect
    offset: int
    read: Reader

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; ``lower``, ``upper`` and ``p_value`` are by the profile.

        The p-value is that of a difference of zero, NaN for a sum without negative
        weights; where the profile does not settle, limits, p and df are NaN. The
        covariance is that of the delta method times the design effect.
        """
        read = self.read(cells, at)
        sums = [self._one(read, row) for row in weights]
        slopes = np.array([slope for _, slope, _ in sums])
        spread = np.hstack(self.profile.best.point.bread.times(slopes)) @ slopes.T
        limits = np.array([ends for _, _, ends in sums])
        # Without the profile's own limits there are none: those of a standard error would mislead.
        limited = np.isfinite(limits[:, :2]).all(axis=1) | ~slopes.any(axis=1)
        return Estimates(
            np.array([value for value, _, _ in sums]),
            self.spread.effect * (spread + spread.T) / 2,
            np.where(limited, self.spread.df, np.nan),
            limits[:, 0],
            limits[:, 1],
            limits[:, 2],
            anew=partial(self._limits_at, read, weights),
        )

    def _limits_at(self, read: Cells, weights: Floats, level: float) -> tuple[Floats, Floats]:
        """Limits of weighted sums at a level, by their profiles; NaN where one does not settle."""
        engine = self.at_level(level)
        limits = np.array([engine._one(read, row)[2][:2] for row in weights]).reshape(len(weights), 2)
        return limits[:, 0], limits[:, 1]

    def at_level(self, level: float) -> PenalisedEngine:
        """Return the same engine with limits at a level of confidence."""
        return replace(self, profile=replace(self.profile, allowed=self.spread.allowed_at(level)))

    def _one(self, read: Cells, weights: Floats) -> tuple[float, Floats, tuple[float, float, float]]:
        """Estimate, derivative, and (lower, upper, p) of one weighted sum."""
        parameters, fixed = self.profile.best.parameters, read.fixed
        apart = np.flatnonzero((weights != 0) & fixed)
        settled = float(weights[apart] @ read.pick(apart).shares(weights[apart], parameters)[0])
        live = np.flatnonzero((weights != 0) & ~fixed)
        if not len(live):
            return settled, np.zeros(len(parameters)), (np.nan, np.nan, np.nan)
        quantity = _Average(read.pick(live), weights[live])
        value, slope = quantity.raw(parameters)
        try:
            return settled + value, slope, self._ends(quantity, settled, bool((weights < 0).any()))
        except ModelError:  # the profile does not settle: the estimate stands without limits
            return settled + value, slope, (np.nan, np.nan, np.nan)

    def _ends(self, quantity: _Average, settled: float, signed: bool) -> tuple[float, float, float]:
        """Limits and p of a weighted sum; ``signed`` where it is a difference."""
        lower, upper = (settled + quantity.at(end) for end in self.profile.limits(quantity))
        p_value = np.nan
        place = (-settled - quantity.low) / quantity.range
        if signed and 0 < place < 1:
            odds = float(np.log(place) - np.log1p(-place))
            p_value = self.spread.p_value(self.profile.fall([quantity], [odds]))
        return lower, upper, p_value

    def errors(self, picks: Floats) -> Errors:
        """Return the covariance of combinations of the coefficients, times the design effect."""
        padded = self._padded(picks)
        spread = np.hstack(self.profile.best.point.bread.times(padded)) @ padded.T
        covariance = self.spread.effect * (spread + spread.T) / 2
        return Errors(covariance, np.full(len(picks), self.spread.df), np.zeros(len(picks), dtype=bool))

    def joint(self, picks: Floats, against: Floats) -> WaldTest:
        """F test by the penalised likelihood ratio that combinations of the coefficients are ``against``."""
        fall = self.profile.fall([_linear(row) for row in self._padded(picks)], against.tolist())
        statistic, p_value = self.spread.statistic(fall, len(picks)), self.spread.p_value(fall, len(picks))
        return WaldTest(statistic, len(picks), self.spread.df, p_value)

    def profile_limits(self, pick: Floats) -> tuple[float, float]:
        """Limits of one combination of the coefficients, by the profile; NaN where it does not settle."""
        whole = self._padded(pick[None])[0]
        # Per range of a column, so that a small unit does not look like a far limit.
        widest = float((np.abs(pick) / np.ptp(self.profile.likelihood.data.columns, axis=0)).max(initial=0.0))
        scale = 1 / widest if widest > 0 else 1.0
        try:
            lower, upper = self.profile.limits(_linear(scale * whole))
        except ModelError:
            return np.nan, np.nan
        return lower / scale, upper / scale

    def _padded(self, picks: Floats) -> Floats:
        padded = np.zeros((len(picks), len(self.profile.best.parameters)))
        padded[:, self.offset : self.offset + picks.shape[1]] = picks
        return padded

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test by the penalised likelihood ratio that these coefficients are all zero."""
        size = len(self.profile.best.parameters)
        held = [coefficient(self.offset + term, size) for term in terms]
        fall = self.profile.fall(held, [0.0] * len(held))
        count = len(held)
        return WaldTest(
            self.spread.statistic(fall, count), count, self.spread.df, self.spread.p_value(fall, count)
        )


def _linear(pick: Floats) -> Quantity:
    """Give a combination of the parameters as a quantity of a profile."""

    def value(parameters: Floats) -> tuple[float, Floats]:
        return float(pick @ parameters), pick

    return value


def penalised_parts(
    data: Rows, found: Separation, who: str, cluster: Codes, plants: float, read: Reader
) -> FitParts:
    """Maximise a penalised likelihood and make of it what a ``Fit`` needs.

    Parameters
    ----------
    data
        The rows fitted.
    found
        Why: the separation, with the rows of the other arms, whose clusters tell how
        clusters vary.
    who
        The levels at which nobody, or everybody, died; empty where it is a combination.
    cluster, plants
        Cluster of each row, and mean number of plants in one.
    read
        Reads cells for a day.
    """
    design = read.design
    seen = np.flatnonzero(data.lengths.any(axis=1))  # the others lie in pieces without a hazard
    at_risk, died = data.weighted
    counted = replace(data, at_risk=at_risk, died=died, weight=None)
    likelihood, cluster = Jeffreys(counted.pick(seen, data.stratum[seen])), cluster[seen]
    spread = INDEPENDENT
    if design.cluster:
        spread = design_effect(likelihood, np.flatnonzero(found.overlap[seen]), cluster, plants)
    profile = Profile(likelihood, maximise(likelihood, likelihood.data.start()), spread.allowed)
    table = penalised_table(profile, spread, design.terms, RATIOS[data.link])
    offset = len(profile.best.parameters) - len(design.terms)
    engine = PenalisedEngine(profile, spread, offset, read)
    moved = [term for term, way in zip(design.terms, found.direction, strict=True) if way]
    checks = said_of_penalty(who, moved, spread, design.cluster[-1] if design.cluster else "row")
    return FitParts("penalised", table, profile.best.point.log_likelihood, engine, checks)


def penalised_table(profile: Profile, spread: DesignEffect, terms: Sequence[str], ratio: str) -> pd.DataFrame:
    """Coefficients with profile limits and likelihood-ratio p-values, as ``coefficient_table``."""
    size, columns = len(profile.best.parameters), profile.likelihood.data.columns
    offset = size - len(terms)
    reach = np.ptp(columns, axis=0)
    held: list[Quantity] = [
        coefficient(offset + place, size, float(scale)) for place, scale in enumerate(reach)
    ]
    estimate = profile.best.parameters[offset:]
    error = np.array([profile.std_error(quantity) for quantity in held]) / reach * np.sqrt(spread.effect)
    df = np.full(len(terms), spread.df)
    table = coefficient_table(terms, estimate, error, df, "penalised", ratio)
    ends = np.array([_limits_and_p(profile, spread, quantity) for quantity in held]).reshape(len(held), 3)
    limits = ends[:, :2] / reach[:, None]
    table["lower"], table["upper"] = limits[:, 0], limits[:, 1]
    table["p_value"] = ends[:, 2]
    with np.errstate(over="ignore"):  # in a very small unit a ratio is beyond all numbers
        table[f"{ratio}_lower"], table[f"{ratio}_upper"] = np.exp(limits[:, 0]), np.exp(limits[:, 1])
    return table


def _limits_and_p(profile: Profile, spread: DesignEffect, quantity: Quantity) -> tuple[float, float, float]:
    """Limits and p of a coefficient; NaN where its profile does not settle, so that others still stand."""
    try:
        lower, upper = profile.limits(quantity)
        return lower, upper, spread.p_value(profile.fall([quantity], [0.0]))
    except ModelError:
        return np.nan, np.nan, np.nan


def said_of_penalty(who: str, terms: Sequence[str], spread: DesignEffect, what: str) -> list[str]:
    """Sentences on why a fit is penalised and where its limits come from.

    Parameters
    ----------
    who
        The levels at which nobody, or everybody, died; empty where it is a combination.
    terms
        Terms without a finite estimate by maximum likelihood; none where only the baseline has none.
    what
        Name of a cluster.
    """
    why = who or "those who died and those who lived are told apart without fail"
    which = ", ".join(map(term_words, terms)) or "the baseline"
    sentences = [
        f"{why}, so {which} would have no finite estimate by maximum likelihood: all estimates "
        "are penalised (Firth), which draws them, and survival, a little towards the middle"
    ]
    profile = "limits and p-values are by the profile of the penalised likelihood"
    count = f"{spread.effect:.2f}, from {spread.clusters} {what}s with {spread.df:.1f} degrees of freedom"
    if spread.how == "independent":
        sentences.append(f"{profile}, seedlings independent")
    elif spread.how == "one plant":
        sentences.append(
            f"{profile}; nothing tells how much {what}s differ, so that a {what} counts as one plant (design "
            f"effect {spread.effect:.1f})"
        )
    elif spread.how == "between":
        sentences.append(
            f"{profile}, widened by the design effect of the other arms ({count}); differences between "
            f"strata are counted in, since these hold too few {what}s of the other arms"
        )
    else:
        sentences.append(f"{profile}, widened by the design effect of the other arms ({count})")
    return sentences
