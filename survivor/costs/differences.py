"""Differences in survival between methods as money needs them: those of the contrasts, and no others.

A difference has one number wherever it stands: the contrast of the pair, standardised over the
places that hold both. A pair that shares no place has none, so nothing is priced by it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.arrays import Floats
from survivor.costs.draws import root
from survivor.effects.cells import levels_of, study_cells, under_levels
from survivor.effects.confounding import BETWEEN, WITHIN, layout, stands_at
from survivor.effects.contrasts import contrasts, place_columns
from survivor.limits import at_edge
from survivor.models.fitted import Estimates
from survivor.models.result import Fit
from survivor.vocabulary import CONFIDENCE, REFUSED
from survivor.words import level_of


@dataclass(frozen=True)
class Gaps:
    """Survival of each method and how far the methods lie apart, as shares (0 to 1).

    Attributes
    ----------
    methods
        In the order of the fit, the usual practice first.
    survival
        Over the whole planting, shape (m,).
    estimate, std_error, df, lower, upper, p_value
        Of row less column, shape (m, m); NaN where there are no limits, and on the diagonal.
    covariance
        Of the survivals, shape (m, m).
    ratio, ratio_error, ratio_df
        Survival of row over that of column, at the places that hold both; standard error and df of
        its logarithm; shape (m, m).
    basis
        As the contrasts have it; only ``within sites`` has numbers; shape (m, m).
    level
        Confidence level of the limits.
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
    ratio: Floats
    ratio_error: Floats
    ratio_df: Floats
    basis: NDArray[np.object_]
    level: float = CONFIDENCE

    def known(self, first: int, second: int) -> bool:
        """Whether a difference has limits."""
        return bool(np.isfinite(self.lower[first, second]))

    @property
    def between(self) -> tuple[tuple[Any, Any], ...]:
        """Pairs of methods that no site holds both of, or that cannot be compared."""
        return tuple(
            (first, second)
            for (i, first), (j, second) in combinations(enumerate(self.methods), 2)
            if self.basis[i, j] in (BETWEEN, REFUSED)
        )


def gaps(
    fit: Fit,
    by: str,
    at: float,
    methods: Sequence[Any],
    population: pd.DataFrame | None = None,
    told: pd.DataFrame | None = None,
) -> Gaps:
    """Differences between all pairs of methods, as the contrasts have them.

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
    told
        Table of the contrasts of all pairs (``survivor.contrasts``), whose level of confidence is that
        of the gaps; None: made from the fit.
    """
    if told is None:
        told = contrasts(fit, by, at, pairs="all", population=population).table
    lines = {(line[by], line["against"]): line for line in told.to_dict("records")}
    every, size = levels_of(fit.data, by), len(methods)
    cells = study_cells(fit, [by], population)
    stacked = under_levels(cells.frame, by, every, fit.data[by])
    over = _Planting(fit, stacked, [every.index(method) for method in methods], len(every), at)
    everywhere = cells.plants / cells.plants.sum()
    alone = over.average(np.array([over.row({place: everywhere}) for place in range(size)]))
    numbers = {name: np.full((size, size), np.nan) for name in (*_TOLD, "ratio", "ratio_error", "ratio_df")}
    for name in ("estimate", "ratio"):
        np.fill_diagonal(numbers[name], float(name == "ratio"))
    basis = np.full((size, size), WITHIN, dtype=object)
    grid = layout(fit.data, by, place_columns(fit))
    within, shares = [], []
    for first, second in combinations(range(size), 2):
        line = _line(lines, methods[second], methods[first])
        basis[first, second] = basis[second, first] = line["basis"]
        if line["basis"] in (BETWEEN, REFUSED):
            continue
        for name in _TOLD:
            numbers[name][second, first] = line[name] / (100 if name in _PER_100 else 1)
        for (name, column), sign in _TURNED.items():
            numbers[name][first, second] = sign * numbers[column][second, first]
        shared = grid.shared(methods[first], methods[second])
        plants = cells.plants * stands_at(cells.frame, grid.places[shared])
        within.append((second, first))
        shares.append(plants / plants.sum())
    for (second, first), (ratio, error, df) in zip(within, over.ratios(within, shares), strict=True):
        numbers["ratio"][second, first] = ratio
        numbers["ratio"][first, second] = 1 / ratio if ratio else np.nan
        for name, value in (("ratio_error", error), ("ratio_df", df)):
            numbers[name][first, second] = numbers[name][second, first] = value
    return Gaps(
        tuple(methods),
        np.asarray(alone.estimate, dtype=float),
        covariance=np.asarray(alone.covariance, dtype=float),
        basis=basis,
        level=level_of(told),
        **numbers,
    )


_TOLD = ("estimate", "std_error", "df", "lower", "upper", "p_value")
_PER_100 = ("estimate", "std_error", "lower", "upper")
# The other way round a difference changes sign, and its limits change places.
_TURNED = {
    ("estimate", "estimate"): -1,
    ("lower", "upper"): -1,
    ("upper", "lower"): -1,
    **{(name, name): 1 for name in ("std_error", "df", "p_value")},
}


def _line(lines: Mapping[tuple[Any, Any], dict[Any, Any]], first: Any, second: Any) -> dict[Any, Any]:
    """Give the contrast of first less second, whichever way round it is told."""
    if (first, second) in lines:
        return lines[first, second]
    line = lines[second, first]
    return line | {name: sign * line[column] for (name, column), sign in _TURNED.items()}


@dataclass(frozen=True)
class _Planting:
    """The cells of a planting under every level, and averages over them.

    ``chosen``: level of each method; ``levels``: how many there are.
    """

    fit: Fit
    stacked: pd.DataFrame
    chosen: Sequence[int]
    levels: int
    at: float

    def row(self, weights: Mapping[int, Floats]) -> Floats:
        """Weights of all cells under all levels, from those of some methods."""
        cells = len(self.stacked) // self.levels
        found = np.zeros((self.levels, cells))
        for place, weight in weights.items():
            found[self.chosen[place]] = weight
        return found.ravel()

    def average(self, rows: Floats) -> Estimates:
        """Average survival by each row of weights; cells that none uses are not asked for."""
        used = (rows != 0).any(axis=0)
        return self.fit.average_survival(self.stacked[used].reset_index(drop=True), rows[:, used], self.at)

    def ratios(
        self, pairs: Sequence[tuple[int, int]], shares: Sequence[Floats]
    ) -> list[tuple[float, float, float]]:
        """Ratios of two survivals over some cells, the standard errors of their logarithms, and their df."""
        if not pairs:
            return []
        asked = list(zip(pairs, shares, strict=True))
        both = [self.row({place: share}) for pair, share in asked for place in pair]
        alive = np.asarray(self.average(np.array(both)).estimate, dtype=float).reshape(-1, 2)
        found = [(a / b if b > 0 else math.nan, math.nan, math.nan) for a, b in alive.tolist()]
        told = np.flatnonzero(~at_edge(alive).any(axis=1))
        if not len(told):
            return found
        slopes = [
            self.row({first: share / alive[place, 0], second: -share / alive[place, 1]})
            for place, ((first, second), share) in enumerate(asked)
            if place in told
        ]
        average = self.average(np.array(slopes))
        for place, error, df in zip(told.tolist(), average.std_error, np.asarray(average.df), strict=True):
            found[place] = found[place][0], float(error) if error > 0 else math.nan, float(df)
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
        Shape (draws, methods); zero for the base, NaN for a method whose difference to it
        has no limits.
    """
    size = len(found.methods)
    drawn = np.full((draws, size), np.nan)
    drawn[:, base] = 0.0
    places = [place for place in range(size) if place != base and found.known(place, base)]
    if not places:
        return drawn
    apart = np.zeros((len(places), size))
    apart[np.arange(len(places)), places] = 1.0
    apart[:, base] = -1.0
    covariance = apart @ found.covariance @ apart.T
    spread = np.sqrt(np.clip(np.diag(covariance), 0, None))
    safe = np.where(spread > 0, spread, 1.0)
    normal = rng.standard_normal((draws, len(places))) @ root(covariance / np.outer(safe, safe)).T
    rank = rng.random(draws)[:, None]
    df = found.df[places, base][None, :]
    finite = np.where(np.isposinf(df), 1.0, df)
    scale = np.where(np.isposinf(df), 1.0, np.sqrt(stats.chi2.ppf(rank, finite) / finite))
    t = normal / scale
    tail = 0.5 + found.level / 2
    quantile = np.where(np.isposinf(df), stats.norm.ppf(tail), stats.t.ppf(tail, finite))
    centre = found.estimate[places, base]
    better = (found.upper[places, base] - centre) / quantile
    worse = (centre - found.lower[places, base]) / quantile
    drawn[:, places] = centre + np.where(t > 0, better, worse) * t
    return drawn
