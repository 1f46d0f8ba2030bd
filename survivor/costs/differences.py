"""Differences in survival between methods over one and the same planting, each with its own limits.

Contrasts of the report are standardised over the places that hold both methods of a
pair. Money is compared over the whole planting, so that the increments from method to
method add up; the degrees of freedom are still those of each difference, not of the
survival of either method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.costs.draws import root
from survivor.effects.cells import levels_of, study_cells, under_levels
from survivor.effects.confounding import BETWEEN, WITHIN, layout
from survivor.effects.limits import Floats, at_edge, limits_of_differences
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from survivor.models.result import Fit


@dataclass(frozen=True)
class Gaps:
    """Survival of each method and how far the methods lie apart, as shares (0 to 1).

    Attributes
    ----------
    methods
        In the order of the fit, the usual practice first.
    survival
        Shape (m,).
    estimate, std_error, df, lower, upper, p_value
        Of row less column, shape (m, m); NaN where there are no limits, and on the diagonal.
    covariance
        Of the survivals, shape (m, m).
    ratio_error, ratio_df
        Of log(survival of row / survival of column), shape (m, m).
    basis
        ``within sites`` where some site holds both, else ``between sites only``; shape (m, m).
    """

    methods: tuple[Any, ...]
    survival: Floats
    estimate: Floats
    std_error: Floats
    df: Floats
    lower: Floats
    upper: Floats
    p_value: Floats
    covariance: Floats
    ratio_error: Floats
    ratio_df: Floats
    basis: NDArray[np.object_]

    def known(self, first: int, second: int) -> bool:
        """Whether a difference has limits."""
        return bool(np.isfinite(self.lower[first, second]))

    @property
    def between(self) -> tuple[tuple[Any, Any], ...]:
        """Pairs of methods that no site holds both of."""
        return tuple(
            (first, second)
            for (i, first), (j, second) in combinations(enumerate(self.methods), 2)
            if self.basis[i, j] == BETWEEN
        )


def gaps(
    fit: Fit, by: str, at: float, methods: Sequence[Any], population: pd.DataFrame | None = None
) -> Gaps:
    """Differences between all pairs of methods, averaged over one planting.

    Parameters
    ----------
    fit
        A fitted model that holds ``by``.
    at
        Days since planting.
    methods
        Levels of ``by``; others are left out.
    population
        Plants of the whole planting as weights; None: the plants of the records.
    """
    cells = study_cells(fit, [by], population)
    every = levels_of(fit.data, by)
    stacked = under_levels(cells.frame, by, every, fit.data[by])
    share = cells.plants / cells.plants.sum()
    chosen = [every.index(method) for method in methods]
    one = np.zeros((len(chosen), len(every)))
    one[np.arange(len(chosen)), chosen] = 1.0
    alone = fit.average_survival(stacked, np.kron(one, share), at)
    survival = np.asarray(alone.estimate, dtype=float)
    pairs = list(combinations(range(len(chosen)), 2))
    numbers = np.full((8, len(chosen), len(chosen)), np.nan)
    if pairs:
        rows = np.array([np.kron(one[second] - one[first], share) for first, second in pairs])
        found = fit.average_survival(stacked, rows, at)
        lower, upper, p_value = limits_of_differences(found)
        known = (found.std_error > 0) & (np.asarray(found.df) > 0)
        ratio_error, ratio_df = _ratios(fit, stacked, one, share, pairs, at, survival, found.df)
        columns = np.column_stack(
            [found.estimate, found.std_error, found.df, lower, upper, p_value, ratio_error, ratio_df]
        )
        columns[~known, 1:6] = np.nan
        for (first, second), line in zip(pairs, columns, strict=True):
            numbers[:, second, first] = line
            numbers[:, first, second] = line
            numbers[0, first, second] = -line[0]
            numbers[3, first, second], numbers[4, first, second] = -line[4], -line[3]
    np.fill_diagonal(numbers[0], 0.0)
    return Gaps(
        tuple(methods),
        survival,
        estimate=numbers[0],
        std_error=numbers[1],
        df=numbers[2],
        lower=numbers[3],
        upper=numbers[4],
        p_value=numbers[5],
        covariance=np.asarray(alone.covariance, dtype=float),
        ratio_error=numbers[6],
        ratio_df=numbers[7],
        basis=_basis(fit, by, methods),
    )


def _ratios(
    fit: Fit,
    stacked: pd.DataFrame,
    one: Floats,
    share: Floats,
    pairs: Sequence[tuple[int, int]],
    at: float,
    survival: Floats,
    df: Floats,
) -> tuple[Floats, Floats]:
    """Tell the standard error and df of each log ratio of survivals, by its derivative in both."""
    told = [place for place, pair in enumerate(pairs) if not at_edge(survival[list(pair)]).any()]
    error, own = np.full(len(pairs), np.nan), np.asarray(df, dtype=float).copy()
    if not told:
        return error, own
    rows = np.array(
        [
            np.kron(one[second] / survival[second] - one[first] / survival[first], share)
            for first, second in (pairs[place] for place in told)
        ]
    )
    found = fit.average_survival(stacked, rows, at)
    error[told] = np.where(found.std_error > 0, found.std_error, np.nan)
    own[told] = np.asarray(found.df, dtype=float)
    return error, own


def _basis(fit: Fit, by: str, methods: Sequence[Any]) -> NDArray[np.object_]:
    places = ["site"] if "site" in fit.data.columns else []
    grid = layout(fit.data, by, places)
    found = np.full((len(methods), len(methods)), WITHIN, dtype=object)
    for (i, first), (j, second) in combinations(enumerate(methods), 2):
        if not grid.shared(first, second).any():
            found[i, j] = found[j, i] = BETWEEN
    return found


def draw_gaps(found: Gaps, base: int, draws: int, rng: np.random.Generator) -> Floats:
    """Joint draws of every method's survival less that of the base, as shares.

    A multivariate t: normals with the covariance of the differences, each over the root of a
    chi-square by its degrees of freedom. The chi-squares of all differences share their rank, so
    that with equal degrees of freedom this is the usual multivariate t (Kotz and Nadarajah 2004,
    section 1.1), and without, each difference has its own t. Each side is as wide as the printed
    limits.

    Returns
    -------
    ndarray
        Shape (draws, methods); nought for the base, NaN for a method whose difference to it
        has no limits.
    """
    size = len(found.methods)
    drawn = np.full((draws, size), np.nan)
    drawn[:, base] = 0.0
    told = [place for place in range(size) if place != base and found.known(place, base)]
    if not told:
        return drawn
    apart = np.zeros((len(told), size))
    apart[np.arange(len(told)), told] = 1.0
    apart[:, base] = -1.0
    covariance = apart @ found.covariance @ apart.T
    spread = np.sqrt(np.clip(np.diag(covariance), 0, None))
    safe = np.where(spread > 0, spread, 1.0)
    normal = rng.standard_normal((draws, len(told))) @ root(covariance / np.outer(safe, safe)).T
    rank = rng.random(draws)[:, None]
    df = found.df[told, base][None, :]
    finite = np.where(np.isposinf(df), 1.0, df)
    scale = np.where(np.isposinf(df), 1.0, np.sqrt(stats.chi2.ppf(rank, finite) / finite))
    t = normal / scale
    tail = 0.5 + CONFIDENCE / 2
    quantile = np.where(np.isposinf(df), stats.norm.ppf(tail), stats.t.ppf(tail, finite))
    centre = found.estimate[told, base]
    better = (found.upper[told, base] - centre) / quantile
    worse = (centre - found.lower[told, base]) / quantile
    drawn[:, told] = centre + np.where(t > 0, better, worse) * t
    return drawn
