"""A grouped fit with an effect of each level in each period, to see whether hazards are proportional.

The periods are the pieces of the fit's own baseline. A row may span several, so a
level has a column for each period that counts only while a row is in it. Periods in
which some level has next to no deaths are joined to a neighbour: an effect there
would run to infinity and the test with it.

Source of the test: the period-by-covariate check of Prentice and Gloeckler (1978),
Biometrics 34, 57-67; here with limits that respect plots.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.intervals import sum_by
from survivor.models.clusters import Codes, Floats, Sandwich, WaldTest
from survivor.models.grouped import Arranged, arranged, covariance_by
from survivor.models.levels import Levels, levels_in
from survivor.models.likelihood import Rows, Solution, solve
from survivor.models.result import Fit


@dataclass(frozen=True)
class ByPeriod:
    """Effects of levels by period.

    Attributes
    ----------
    levels
        The factor's levels, the one compared with first; shape (L,).
    periods
        Names, shape (P,).
    deaths
        Deaths of each level in each period, those of a row shared out over its periods as
        the baseline has it, shape (L, P).
    estimate
        Log hazard ratio to the first level, shape (L - 1, P).
    std_error, df
        By the fit's own kind of variance, shape (L - 1, P).
    proportional
        F test that each level's effect is the same in every period.
    checks
        Plain sentences: periods joined.
    """

    levels: tuple[Any, ...]
    periods: tuple[str, ...]
    deaths: Floats
    estimate: Floats
    std_error: Floats
    df: Floats
    proportional: WaldTest
    checks: tuple[str, ...]


def fit_by_period(fit: Fit, by: str, least_deaths: float = 3.0) -> ByPeriod:
    """Fit again with an effect of each level of ``by`` in each period.

    Parameters
    ----------
    fit
        A grouped fit whose formula holds ``by`` outside of interactions.
    by
        Column of levels.
    least_deaths
        Deaths that every level must have in a period, else it is joined to a neighbour.

    Raises
    ------
    ModelError
        When two periods cannot be told apart: there is one piece only, or too few deaths.
    """
    return _result(periods_told_apart(fit, by, least_deaths))


@dataclass(frozen=True)
class Told:
    """A fit with an effect of each level in each period that can be told apart.

    Attributes
    ----------
    fitted, levels
        The fit on arrays, and its levels.
    period
        Period of each piece, shape (K,).
    periods
        Names, shape (P,).
    deaths
        Of each level in each period, shape (L, P).
    columns
        Which columns of the design stay as they are, shape (q,): those of levels go.
    rows, solution, covariance
        What was fitted, the maximum, and its covariance by the fit's own kind. The last
        (L - 1) P coefficients are the effects, level by level.
    checks
        Plain sentences.
    """

    fitted: Arranged
    levels: Levels
    period: Codes
    periods: tuple[str, ...]
    deaths: Floats
    columns: NDArray[np.bool_]
    rows: Rows
    solution: Solution
    covariance: Sandwich
    checks: tuple[str, ...]


def periods_told_apart(fit: Fit, by: str, least_deaths: float = 3.0) -> Told:
    """Fit again with an effect of each level in each period, periods joined until all can be told.

    Parameters and errors as of :func:`fit_by_period`.
    """
    fitted = arranged(fit)
    levels = levels_in(fit, fitted, by)
    names = fitted.pieces.names
    deaths = _deaths(fitted, levels)
    period = np.arange(len(names))
    while True:
        joined = _joined(deaths, period)
        if joined.shape[1] < 2:
            raise ModelError(
                "too few deaths to tell periods of the season apart"
                if len(names) > 1
                else "the baseline has one piece, so there are no periods to compare",
                where="periods",
                mend="give the study's dry season, or pieces= in days with deaths under every level",
            )
        if joined.min() >= least_deaths:
            try:
                columns, rows, solution, covariance = _solve(fit, fitted, levels, period)
            except ModelError:  # a level without an estimate in the weakest period
                pass
            else:
                break
        period = _join(period, joined)
    found = _named(names, period)
    checks: tuple[str, ...] = ()
    if len(found) < len(names):
        checks = (f"periods were joined where a level had too few deaths; used: {'; '.join(found)}",)
    return Told(fitted, levels, period, found, joined, columns, rows, solution, covariance, checks)


def _deaths(fitted: Arranged, levels: Levels) -> Floats:
    """Deaths by level and piece, shape (L, K)."""
    data = fitted.data
    pace = data.lengths * np.exp(np.concatenate([[0.0], fitted.solution.alpha]))
    share = data.died[:, None] * pace / np.maximum(pace.sum(axis=1, keepdims=True), 1e-300)
    return np.column_stack([sum_by(levels.own, part, len(levels.names)) for part in share.T])


def _joined(deaths: Floats, period: Codes) -> Floats:
    return np.column_stack([deaths[:, period == one].sum(axis=1) for one in range(int(period.max()) + 1)])


def _join(period: Codes, deaths: Floats) -> Codes:
    """Join the period with the fewest deaths under some level to its neighbour with fewer deaths."""
    weak, last = int(deaths.min(axis=0).argmin()), deaths.shape[1] - 1
    beside = [place for place in (weak - 1, weak + 1) if 0 <= place <= last]
    partner = min(beside, key=lambda place: deaths[:, place].sum())
    # The later of the two, and all after it, move one down.
    return np.where(period >= max(weak, partner), period - 1, period)


def _named(names: tuple[str, ...], period: Codes) -> tuple[str, ...]:
    found = []
    for one in range(int(period.max()) + 1):
        parts = [name for name, own in zip(names, period, strict=True) if own == one]
        found.append(parts[0] if len(parts) == 1 else f"{parts[0]} ... {parts[-1]}")
    return tuple(found)


def _solve(
    fit: Fit, fitted: Arranged, levels: Levels, period: Codes
) -> tuple[NDArray[np.bool_], Rows, Solution, Sandwich]:
    data, left_out = fitted.data, fitted.left_out
    moved = (levels.effects != 0).any(axis=0)
    periods, others = int(period.max()) + 1, len(levels.names) - 1
    # One column for each level after the first in each period, level by level.
    varying = np.zeros((*data.lengths.shape, others * periods))
    compared = np.flatnonzero(levels.own > 0)
    for piece, one in enumerate(period):
        varying[compared, piece, (levels.own[compared] - 1) * periods + one] = 1.0
    names = tuple(name for name, gone in zip(data.names, moved, strict=True) if not gone)
    named = tuple(f"{level}, period {one + 1}" for level in levels.names[1:] for one in range(periods))
    rows = replace(data, columns=data.columns[:, ~moved], varying=varying, names=names + named)
    solution = solve(rows)
    if solution.runaway is not None:
        raise ModelError("a piece has no hazard", where="periods", mend="use fewer pieces")
    covariance = covariance_by(left_out.codes, left_out.clusters, rows, solution, fitted.kind)
    return ~moved, rows, solution, covariance


def _result(told: Told) -> ByPeriod:
    others, count = len(told.levels.names) - 1, len(told.periods)
    parameters, covariance = told.solution.parameters, told.covariance
    size, cells = len(parameters), others * count
    picks = np.eye(cells, size, size - cells)
    shape = (others, count)
    each = np.arange(cells).reshape(shape)
    later = picks[each[:, 1:].ravel()] - picks[np.repeat(each[:, 0], count - 1)]
    return ByPeriod(
        told.levels.names,
        told.periods,
        told.deaths,
        (picks @ parameters).reshape(shape),
        np.sqrt(np.diag(covariance.covariance_of(picks))).reshape(shape),
        covariance.degrees(picks).reshape(shape),
        covariance.wald(later, parameters),
        told.checks,
    )
