"""What a penalised fit gives: coefficients, averages of survival and tests, by profiles.

Plots without a death, or without a survivor, do not tell how much plots differ. Limits
are therefore those of independent seedlings with the fall that they allow, in
log-likelihood, multiplied by the design effect of the other arms and by the square of
its t quantile instead of the normal one; tests are F tests on the same scale.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit

from survivor.errors import ModelError
from survivor.intervals import Codes
from survivor.models.clusters import WaldTest
from survivor.models.design import Design
from survivor.models.design_effect import INDEPENDENT, DesignEffect, design_effect
from survivor.models.jeffreys import PenalisedLikelihood
from survivor.models.penalised import Profile, Quantity, coefficient, maximise
from survivor.models.result import Estimates, FitParts, coefficient_table
from survivor.models.separation import Separation

Floats = NDArray[np.float64]


class PredictedCells(Protocol):
    """Cells read for one day, to predict for under any parameters."""

    @property
    def fixed(self) -> NDArray[np.bool_]:
        """Whether survival is 0 or 1 whatever the parameters."""
        ...

    def pick(self, rows: Codes) -> PredictedCells:
        """Only these cells."""
        ...

    def shares(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats, Floats]:
        """Share alive and share dead of each, and the derivative of their weighted sum alive."""
        ...


@dataclass(frozen=True)
class _Average:
    """A weighted sum of survival on a scale without ends: log odds of where it lies in its range."""

    cells: PredictedCells
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
    cluster, clusters
        Cluster of each row of the likelihood, and how many there are.
    """

    profile: Profile
    spread: DesignEffect
    offset: int
    read: Callable[[pd.DataFrame, float], PredictedCells]
    cluster: Codes
    clusters: int

    def average(self, cells: pd.DataFrame, weights: Floats, at: float) -> Estimates:
        """Weighted sums of survival; ``lower``, ``upper`` and ``p_value`` are by the profile.

        The p-value is that of a difference of nought, NaN for a sum without negative
        weights; where the profile does not settle, limits, p and df are NaN. The
        covariance is that of the delta method times the design effect.
        """
        read = self.read(cells, at)
        each = [self._one(read, row) for row in weights]
        slopes = np.array([slope for _, slope, _ in each])
        spread = np.hstack(self.profile.best.point.bread.times(slopes)) @ slopes.T
        limits = np.array([ends for _, _, ends in each])
        # Without the profile's own limits there are none: those of a standard error would mislead.
        told = np.isfinite(limits[:, :2]).all(axis=1) | ~slopes.any(axis=1)
        return Estimates(
            np.array([value for value, _, _ in each]),
            self.spread.effect * (spread + spread.T) / 2,
            np.where(told, self.spread.df, np.nan),
            limits[:, 0],
            limits[:, 1],
            limits[:, 2],
        )

    def _one(self, read: PredictedCells, weights: Floats) -> tuple[float, Floats, tuple[float, float, float]]:
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

    def without_each(self, cells: pd.DataFrame, weights: Floats, at: float) -> Floats:
        """Weighted sums of survival from the penalised fit without each cluster.

        A stratum left without rows keeps its level; a fit that cannot be had keeps the
        full estimate and so adds nothing to a jackknife.
        """
        read = self.read(cells, at)
        return np.array(
            [weights @ read.shares(weights[0], self._without(each))[0] for each in range(self.clusters)]
        )

    def _without(self, cluster: int) -> Floats:
        likelihood, full = self.profile.likelihood, self.profile.best.parameters
        rest = np.flatnonzero(self.cluster != cluster)
        strata = int(likelihood.stratum.max()) + 1
        kept, stratum = np.unique(likelihood.stratum[rest], return_inverse=True)
        part = likelihood.pick(rest, np.arange(likelihood.columns.shape[1]), stratum.astype(np.intp))
        places = np.concatenate([kept, np.arange(strata, len(full))])
        if len(part.start()) != len(places):  # a piece that only this cluster reached
            return full
        try:
            found = maximise(part, full[places]).parameters
        except ModelError:
            return full
        parameters = full.copy()
        parameters[places] = found
        return parameters

    def wald(self, terms: Sequence[int]) -> WaldTest:
        """F test by the penalised likelihood ratio that these coefficients are all zero."""
        size = len(self.profile.best.parameters)
        held = [coefficient(self.offset + term, size) for term in terms]
        fall = self.profile.fall(held, [0.0] * len(held))
        count = len(held)
        return WaldTest(
            self.spread.statistic(fall, count), count, self.spread.df, self.spread.p_value(fall, count)
        )


def penalised_parts(
    likelihood: PenalisedLikelihood,
    found: Separation,
    who: str,
    cluster: Codes,
    plants: float,
    design: Design,
    ratio: str,
    read: Callable[[pd.DataFrame, float], PredictedCells],
) -> FitParts:
    """Maximise a penalised likelihood and make of it what a ``Fit`` needs.

    Parameters
    ----------
    found
        Why: the separation, with the rows of the other arms, whose clusters tell how
        clusters vary.
    who
        The levels at which nobody, or everybody, died; empty where it is a combination.
    cluster, plants
        Cluster of each row of the likelihood, and mean number of plants in one.
    ratio
        ``hazard_ratio`` or ``odds_ratio``.
    read
        Reads cells for a day.
    """
    spread = INDEPENDENT
    if design.cluster:
        spread = design_effect(likelihood, np.flatnonzero(found.overlap), cluster, plants)
    profile = Profile(likelihood, maximise(likelihood, likelihood.start()), spread.allowed)
    table = penalised_table(profile, spread, design.terms, ratio)
    offset = len(profile.best.parameters) - len(design.terms)
    engine = PenalisedEngine(profile, spread, offset, read, cluster, int(cluster.max()) + 1)
    moved = [term for term, way in zip(design.terms, found.direction, strict=True) if way]
    checks = said_of_penalty(who, moved, spread, design.cluster[-1] if design.cluster else "row")
    return FitParts("penalised", table, profile.best.point.log_likelihood, engine, checks)


def penalised_table(profile: Profile, spread: DesignEffect, terms: Sequence[str], ratio: str) -> pd.DataFrame:
    """Coefficients with profile limits and likelihood-ratio p-values, as ``coefficient_table``."""
    size, columns = len(profile.best.parameters), profile.likelihood.columns
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
    which = ", ".join(terms) or "the baseline"
    said = [
        f"{why}, so {which} would have no finite estimate by maximum likelihood: all estimates "
        "are penalised (Firth), which draws them, and survival, a little towards the middle"
    ]
    profile = "limits and p-values are by the profile of the penalised likelihood"
    count = f"{spread.effect:.2f}, from {spread.clusters} {what}s with {spread.df:.1f} degrees of freedom"
    if spread.how == "independent":
        said.append(f"{profile}, seedlings independent")
    elif spread.how == "one plant":
        said.append(
            f"{profile}; nothing tells how much {what}s differ, so that a {what} counts as one plant (design "
            f"effect {spread.effect:.1f})"
        )
    elif spread.how == "between":
        said.append(
            f"{profile}, widened by the design effect of the other arms ({count}); differences between "
            f"strata are counted in, since these hold too few {what}s of the other arms"
        )
    else:
        said.append(f"{profile}, widened by the design effect of the other arms ({count})")
    return said
