"""A grouped fit with an effect of each level in each period, to see whether hazards are proportional.

The periods are the pieces of the fit's own baseline. A row may span several, so a
level has a column for each period that counts only while a row is in it. Periods in
which some level has next to no deaths are joined to a neighbour: an effect there
would run to infinity and the test with it.

Source of the test: the period-by-covariate check of Prentice and Gloeckler (1978),
Biometrics 34, 57-67; here with limits that respect plots.

The columns that rows of a grouped fit would have under each level of a factor.

Survival from a grouped model in which each level has a ratio of hazards of its own in each period.

Where the F test of period by method rejects one ratio for the whole season, a model that
holds to one gives survival that no longer goes through the counts. This one has the ratios
of ``survivor.models.by_period`` and gives survival, differences and limits as any fit does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import cluster_columns, group_codes, row_codes, sum_by
from survivor.limits import said_of_floor
from survivor.models.cells import Cells
from survivor.models.clusters import Kind, Sandwich, WaldTest
from survivor.models.fitted import Arranged, DeltaEngine, once
from survivor.models.grouped import arranged, fit_grouped
from survivor.models.likelihood import Rows, Solution, covariance_by, solve
from survivor.models.paths import stretches
from survivor.models.pieces import joined_names, neighbour
from survivor.models.result import Fit, likeliest_parts


@dataclass(frozen=True)
class Levels:
    """Levels of a factor that enters a formula as a term of its own.

    Attributes
    ----------
    names
        The levels that occur, in their own order.
    columns
        Columns of each kind of fitted row were it of each level, shape (levels, kinds, q).
    kind
        Kind of each fitted row by all else that the formula reads, shape (n,).
    effects
        How columns differ from those under the first level, shape (levels, q).
    own
        Level of each fitted row, shape (n,).
    """

    names: tuple[Any, ...]
    columns: Floats
    kind: Codes
    effects: Floats
    own: Codes


def levels_in(fit: Fit, fitted: Arranged, by: str) -> Levels:
    """Set every kind of fitted row to each level of ``by`` in turn.

    Raises
    ------
    ModelError
        When the formula does not hold ``by``, or holds it in an interaction.
    """
    if not isinstance(by, str) or by not in fit.variables:
        raise ModelError(
            f"the formula {fit.formula!r} does not hold {by}",
            where=f"by={by!r}",
            mend=f"fit a model with {by} in the formula",
        )
    design = fitted.design
    read = dict.fromkeys([by, *design.variables, *(design.strata if design.centre.any() else ())])
    rows = fit.data[list(read)].iloc[fitted.rows]
    kind, first = row_codes(
        [np.zeros(len(rows), dtype=np.intp), *(rows[name] for name in read if name != by)], in_order=False
    )
    kinds, names = rows.iloc[first], _names(fit.data[by])
    columns = np.array([design.columns_for(_set(kinds, by, name)) for name in names])
    effects = columns[:, 0] - columns[0, 0]
    if not np.allclose(columns - columns[:1], effects[:, None]):
        raise ModelError(
            f"{by} enters {fit.formula!r} in an interaction, so it has no one difference to test",
            where="formula",
            mend=f"fit with {by} as a term of its own",
        )
    code, found = group_codes(rows, [by])
    own = pd.Index(names).get_indexer(pd.Index(found[by].to_numpy())).astype(np.intp)[code]
    return Levels(tuple(names), columns, kind, effects, own)


def _names(column: pd.Series[Any]) -> list[Any]:
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = set(column.unique())
        return [level for level in column.cat.categories if level in present]
    return sorted(column.unique().tolist())


def _set(rows: pd.DataFrame, by: str, level: Any) -> pd.DataFrame:
    return rows.assign(**{by: pd.Series([level] * len(rows), index=rows.index, dtype=rows[by].dtype)})


def level_of_term(term: str, by: str) -> str | None:
    """Level that a treatment-coded column of ``by`` stands for; None for any other column."""
    start, end = f"{by}[T.", "]"
    return term[len(start) : -len(end)] if term.startswith(start) and term.endswith(end) else None


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
        Plain sentences: periods joined, limits of independent seedlings.
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
        When two periods cannot be distinguished: there is one piece only, or too few deaths.
    """
    return once(fit, ("by period", by, least_deaths), lambda: _result(fit_in_periods(fit, by, least_deaths)))


@dataclass(frozen=True)
class PeriodFit:
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


def fit_in_periods(fit: Fit, by: str, least_deaths: float = 3.0) -> PeriodFit:
    """Fit again with an effect of each level in each period, periods joined until all can be told.

    Parameters and errors as of :func:`fit_by_period`. Made once a fit.
    """
    return once(fit, ("in periods", by, least_deaths), lambda: _fitted_in_periods(fit, by, least_deaths))


def _fitted_in_periods(fit: Fit, by: str, least_deaths: float) -> PeriodFit:
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
                columns, rows, solution, covariance = _solve(fitted, levels, period)
            except ModelError:  # a level without an estimate in the weakest period
                pass
            else:
                break
        period = _join(period, joined)
    joined_periods = joined_names(names, period)
    checks: tuple[str, ...] = ()
    if len(joined_periods) < len(names):
        checks = (
            "periods were joined where a level had too few deaths",
            f"periods used: {', '.join(joined_periods)}",
        )
    return PeriodFit(
        fitted, levels, period, joined_periods, joined, columns, rows, solution, covariance, checks
    )


def _deaths(fitted: Arranged, levels: Levels) -> Floats:
    """Deaths by level and piece, shape (L, K)."""
    data = fitted.data
    pace = data.lengths * np.exp(np.concatenate([[0.0], fitted.solution.alpha]))
    share = data.died[:, None] * pace / np.maximum(pace.sum(axis=1, keepdims=True), 1e-300)
    return sum_by(levels.own, share, len(levels.names))


def _joined(deaths: Floats, period: Codes) -> Floats:
    return np.column_stack([deaths[:, period == one].sum(axis=1) for one in range(int(period.max()) + 1)])


def _join(period: Codes, deaths: Floats) -> Codes:
    """Join the period with the fewest deaths under some level to its neighbour with fewer deaths."""
    weak = int(deaths.min(axis=0).argmin())
    partner = neighbour(weak, deaths.sum(axis=0))
    # The later of the two, and all after it, move one down.
    return np.where(period >= max(weak, partner), period - 1, period)


def _solve(
    fitted: Arranged, levels: Levels, period: Codes
) -> tuple[NDArray[np.bool_], Rows, Solution, Sandwich]:
    data = fitted.data
    moved = (levels.effects != 0).any(axis=0)
    periods, others = int(period.max()) + 1, len(levels.names) - 1
    # One effect for each level after the first in each period, level by level.
    effect = np.where(levels.own[:, None] > 0, (levels.own[:, None] - 1) * periods + period, -1)
    names = tuple(name for name, gone in zip(data.names, moved, strict=True) if not gone)
    named = tuple(f"{level}, period {one + 1}" for level in levels.names[1:] for one in range(periods))
    rows = replace(
        data,
        columns=data.columns[:, ~moved],
        effect=effect.astype(np.intp),
        effects=others * periods,
        names=names + named,
    )
    # From where the ratios are those of the whole season.
    found = fitted.solution
    start = [
        found.level,
        found.alpha,
        found.beta[~moved],
        np.repeat(levels.effects[1:] @ found.beta, periods),
    ]
    solution = solve(rows, np.concatenate(start))
    if solution.divergent is not None:
        raise ModelError("a piece has no hazard", where="periods", mend="use fewer pieces")
    covariance = covariance_by(fitted.codes, fitted.clusters, rows, solution, fitted.kind)
    return ~moved, rows, solution, covariance


def _result(model: PeriodFit) -> ByPeriod:
    others, count = len(model.levels.names) - 1, len(model.periods)
    parameters, covariance = model.solution.parameters, model.covariance
    size, cells = len(parameters), others * count
    picks = np.eye(cells, size, size - cells)
    shape = (others, count)
    places = np.arange(cells).reshape(shape)
    errors = covariance.errors(picks)
    names = [f"{level}, {period}" for level in model.levels.names[1:] for period in model.periods]
    later = picks[places[:, 1:].ravel()] - picks[np.repeat(places[:, 0], count - 1)]
    return ByPeriod(
        model.levels.names,
        model.periods,
        model.deaths,
        (picks @ parameters).reshape(shape),
        errors.std_error.reshape(shape),
        errors.df.reshape(shape),
        covariance.wald(later, parameters),
        (*model.checks, *said_of_floor(names, errors.floored)),
    )


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
        When the fit is not a grouped one, is penalised, or periods cannot be distinguished.
    """
    model = fit_in_periods(fit, by)
    terms = (*model.rows.names[: -_effects(model)], *_period_terms(model, by))
    parts = likeliest_parts(model.solution, model.covariance, _Survival(model, by), fit.cluster, terms)
    sentence = f"ratios of hazards between levels of {by} differ between periods: {'; '.join(model.periods)}"
    return replace(
        fit,
        table=parts.table,
        log_likelihood=parts.log_likelihood,
        noticed=(*fit.noticed, sentence, *parts.checks),
        engine=parts.engine,
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
    asked = {"cluster": "plot", "pieces": None} | options
    strata = list(like.strata) or None
    again = fit_grouped(frame, like.formula, strata=strata, working=like.working, **asked)
    return again if like.by_period is None else fit_varying(again, like.by_period)


def fit_by_cluster(fit: Fit, cluster: str | None) -> Fit:
    """Give a grouped fit with limits by another cluster, one of whole clusters of its own.

    As :func:`fit_again` on the same rows, but where nothing else of the model turns on the cluster
    only the limits are made anew.

    Parameters
    ----------
    fit
        The fit, with ratios by period or without.
    cluster
        Column of clusters; None: rows independent.
    """
    engine = fit.engine
    model = getattr(getattr(engine, "survival", None), "model", None)
    fitted = model.fitted if isinstance(model, PeriodFit) else getattr(engine, "fitted", None)
    if not (
        isinstance(engine, DeltaEngine)
        and fitted is not None
        and (fit.working, fit.weights, fitted.design.offset) == ("independence", None, None)
        and not fitted.pieces.given
    ):
        return fit_again(fit.data, fit, cluster=cluster)
    names = [] if cluster is None else cluster_columns(fit.data, cluster)
    of_table = group_codes(fit.data, names)[0] if names else fitted.cluster_codes
    whole = np.empty(int(fitted.cluster_codes.max()) + 1, dtype=np.intp)
    whole[fitted.cluster_codes] = of_table
    if not np.array_equal(whole[fitted.cluster_codes], of_table):
        return fit_again(fit.data, fit, cluster=cluster)
    levels, codes = np.unique(of_table[fitted.rows], return_inverse=True)
    kind: Kind = "CR2" if names else "model"
    again = replace(fitted, codes=codes.astype(np.intp), clusters=len(levels), kind=kind)
    rows, solution, terms = again.data, again.solution, again.design.terms
    if isinstance(model, PeriodFit):
        rows, solution = model.rows, model.solution
        terms = (*rows.names[: -_effects(model)], *_period_terms(model, str(fit.by_period)))
    covariance = covariance_by(again.codes, again.clusters, rows, solution, kind)
    own = None if isinstance(model, PeriodFit) else again
    parts = likeliest_parts(solution, covariance, engine.survival, names, terms, own)
    return replace(
        fit,
        table=parts.table,
        engine=parts.engine,
        variance=parts.variance,
        cluster=tuple(names),
        n_clusters=again.clusters if names else len(fit.data),
    )


def _effects(model: PeriodFit) -> int:
    return (len(model.levels.names) - 1) * len(model.periods)


def _period_terms(model: PeriodFit, by: str) -> list[str]:
    return [f"{by}[T.{level}]:{period}" for level in model.levels.names[1:] for period in model.periods]


@dataclass(frozen=True)
class PeriodCells:
    """Cells read for one day, and the level of each stretch, to predict for under any parameters.

    As ``survivor.models.cells.Cells``, with the effects of levels by period behind its parameters.
    """

    cells: Cells
    own: Codes
    period: Codes
    levels: int

    @property
    def place(self) -> Codes:
        """Level of each cell's stratum."""
        return self.cells.place

    def placed(self, place: Codes) -> PeriodCells:
        """Return the same cells in other strata."""
        return replace(self, cells=self.cells.placed(place))

    def by_piece(self, parameters: Floats) -> tuple[Floats, Floats]:
        """Cumulative hazard of each stretch in each piece, and the parameters without effects by period."""
        periods = int(self.period.max()) + 1
        usual, effect = np.split(parameters, [len(parameters) - (self.levels - 1) * periods])
        ratio = np.vstack([np.zeros(periods), effect.reshape(-1, periods)])
        return self.cells.by_piece(usual) * np.exp(ratio[self.own][:, self.period]), usual

    def alive(self, parameters: Floats) -> Floats:
        """Survival of each cell, shape (n,)."""
        return self.cells.alive(self.by_piece(parameters)[0])

    def averages(self, weights: Floats, parameters: Floats) -> tuple[Floats, Floats]:
        """Weighted sums of survival, weights (m, n), and their derivative in all parameters, (m, p)."""
        by_piece, usual = self.by_piece(parameters)
        alive = self.cells.alive(by_piece)
        in_period = np.column_stack(
            [by_piece[:, self.period == one].sum(axis=1) for one in range(int(self.period.max()) + 1)]
        )
        pulled = (weights * -alive)[:, self.cells.cell]
        by_level = [sum_by(self.own, row[:, None] * in_period, self.levels)[1:].ravel() for row in pulled]
        slope = self.cells.gradient(weights, by_piece, self.cells.levels(usual))
        return weights @ alive, np.hstack([slope, np.array(by_level)])


@dataclass(frozen=True)
class _Survival:
    """Survival for new cells, under levels, pieces and terms."""

    model: PeriodFit
    by: str

    def read(self, cells: pd.DataFrame, at: float) -> PeriodCells:
        """Read n rows, as ``survivor.models.cells.Reader``."""
        model = self.model
        read = model.fitted.read(cells, at)
        read = replace(read, columns=read.columns[:, model.columns])
        own = self._levels(stretches(cells, at).frame)
        return PeriodCells(read, own, model.period, len(model.levels.names))

    def alive(self, cells: pd.DataFrame, at: float) -> Floats:
        """Survival of each cell, shape (n,)."""
        return self.read(cells, at).alive(self.model.solution.parameters)

    def averages(self, cells: pd.DataFrame, weights: Floats, at: float) -> tuple[Floats, Floats]:
        """Weighted sums of survival, weights (m, n), and their derivative in all parameters, (m, p)."""
        return self.read(cells, at).averages(weights, self.model.solution.parameters)

    def _levels(self, cells: pd.DataFrame) -> Codes:
        """Level of each cell, 0 to L - 1."""
        codes, found = group_codes(cells, [self.by])
        places = {name: place for place, name in enumerate(self.model.levels.names)}
        return np.array([places[name] for name in found[self.by]], dtype=np.intp)[codes]
