"""Survival from a grouped model in which each level has a ratio of hazards of its own in each period.

Where the F test of period by method rejects one ratio for the whole season, a model that
holds to one gives survival that no longer goes through the counts. This one has the ratios
of ``survivor.models.by_period`` and gives survival, differences and limits as any fit does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from survivor.intervals import group_codes
from survivor.models.by_period import Told, periods_told_apart
from survivor.models.clusters import Codes, Floats
from survivor.models.fit import fit as fit_model
from survivor.models.grouped_survival import read_cells
from survivor.models.result import DeltaEngine, Fit, coefficient_table, without_limits


def fit_varying(fit: Fit, by: str) -> Fit:
    """Fit a grouped model again with a ratio of hazards of each level of ``by`` in each period.

    Parameters
    ----------
    fit
        A grouped fit whose formula holds ``by`` outside of interactions.
    by
        Column of levels.

    Returns
    -------
    Fit
        With ``by_period`` set to ``by``; its table has a row for each level and period.

    Raises
    ------
    ModelError
        When the fit is not a grouped one, is penalised, or periods cannot be told apart.
    """
    told = periods_told_apart(fit, by)
    solution, covariance = told.solution, told.covariance
    terms = (*told.rows.names[: -_effects(told)], *_named(told, by))
    offset = len(solution.parameters) - len(terms)
    picks = np.eye(len(terms), len(solution.parameters), offset)
    error = np.sqrt(np.diag(covariance.covariance_of(picks)))
    table = coefficient_table(
        terms, solution.beta, error, covariance.degrees(picks), fit.variance, "hazard_ratio"
    )
    said = (
        f"ratios of hazards between levels of {by} are not the same all season, so each period has its own: "
        f"{'; '.join(told.periods)}"
    )
    return replace(
        fit,
        table=table,
        log_likelihood=solution.log_likelihood,
        checks=(*fit.checks, said, *without_limits(table, fit.cluster)),
        engine=DeltaEngine(solution.parameters, covariance, _Survival(told, by), offset),
        by_period=by,
    )


def fit_again(frame: pd.DataFrame, like: Fit, **options: Any) -> Fit:
    """Fit the model of a grouped fit to other rows, with ratios by period where it has them.

    Parameters
    ----------
    frame
        Risk intervals.
    like
        Its formula, strata, ``working`` and ``by_period`` are kept.
    options
        ``cluster`` and ``pieces``, as for ``survivor.fit``; where ``like`` weights plots,
        cluster None is as ``plot``.

    Raises
    ------
    ModelError
        As ``survivor.fit`` and :func:`fit_varying`.
    """
    if like.working != "independence":
        # None asks for estimates only, and these need plots to be weighted.
        options |= {"cluster": options.get("cluster", "plot") or "plot"}
    found = fit_model(frame, like.formula, strata=list(like.strata) or None, working=like.working, **options)
    return found if like.by_period is None else fit_varying(found, like.by_period)


def _effects(told: Told) -> int:
    return (len(told.levels.names) - 1) * len(told.periods)


def _named(told: Told, by: str) -> list[str]:
    return [f"{by}[T.{level}]:{period}" for level in told.levels.names[1:] for period in told.periods]


@dataclass(frozen=True)
class _Survival:
    """Survival for new cells, with its derivative in levels, pieces and terms."""

    told: Told
    by: str

    def __call__(self, cells: pd.DataFrame, at: float) -> tuple[Floats, Floats]:
        told, fitted = self.told, self.told.fitted
        read = read_cells(fitted.design, fitted.pieces, fitted.kept, fitted.lost, cells, at)
        read = replace(read, columns=read.columns[:, told.columns])
        own = self._levels(cells)
        effects = _effects(told)
        beta, effect = np.split(told.solution.beta, [len(told.solution.beta) - effects])
        ratio = np.vstack([np.zeros(len(told.periods)), effect.reshape(-1, len(told.periods))])
        by_piece = read.by_piece(told.solution.level, told.solution.alpha, beta)
        by_piece = by_piece * np.exp(ratio[own][:, told.period])
        alive = read.alive(by_piece)
        in_period = np.column_stack(
            [by_piece[:, told.period == one].sum(axis=1) for one in range(len(told.periods))]
        )
        slope = np.zeros((len(cells), len(told.levels.names), len(told.periods)))
        slope[np.arange(len(cells)), own] = -alive[:, None] * in_period
        usual = read.derivative(by_piece, len(told.solution.level))
        return alive, np.hstack([usual, slope[:, 1:].reshape(len(cells), effects)])

    def _levels(self, cells: pd.DataFrame) -> Codes:
        """Level of each cell, 0 to L - 1."""
        codes, found = group_codes(cells, [self.by])
        places = {name: place for place, name in enumerate(self.told.levels.names)}
        own: Codes = np.array([places[name] for name in found[self.by]], dtype=np.intp)[codes]
        return own
