"""Standardised survival: what the model expects had every plant had one preparation.

The g-formula (Robins 1986, Mathematical Modelling 7, 1393-1512): survival is
predicted for every cell of the study with ``by`` set to a level and averaged
with the plants of the cells as weights.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.curves.limits import edge_numbers
from survivor.effects.cells import (
    PLANTS,
    Cells,
    check_by,
    check_day,
    entered,
    levels_of,
    study_cells,
    under_levels,
)
from survivor.entry import per_100_of, said_of_entry
from survivor.intervals import tally
from survivor.limits import Limits, at_edge, check_level, with_level
from survivor.models.fitted import Estimates, once
from survivor.models.one_ratio import said_of_one_ratio
from survivor.models.result import Fit
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE, PER_100

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ALL = "all"
_STALE_DAYS = 30  # the usual window of a milestone


@dataclass(frozen=True, repr=False)
class Standardised(Shown):
    """Standardised survival with limits.

    Attributes
    ----------
    by
        Column whose levels were set; ``"all"`` where cells were left as they are.
    at_day
        Days since planting.
    table
        ``<by>, estimate, std_error, df, lower, upper`` (per 100 planted; limits
        through log(-log)), ``unit, at_day, n_seedlings, n_plots, n_sites``,
        ``died_any_day`` (deaths that the model saw, also after ``at_day``).
    covariance
        Of the estimates as shares (0 to 1), shape (m, m).
    extrapolated
        Cells in which a level was never seen: ``<by>``, the place and species,
        ``plants`` and ``share_per_100`` of the weight.
    noticed
        Plain sentences on survival.
    fit
        The model, asked by ``checks``; None where there is nothing to ask.
    level
        Confidence level of the limits; where it is not 0.95, the table names it in a column ``level``.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    covariance: Floats
    extrapolated: pd.DataFrame
    noticed: tuple[str, ...]
    fit: Fit | None = field(default=None, repr=False)
    level: float = CONFIDENCE

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences: what was noticed, and whether one ratio of hazards all season holds.

        The latter takes a fit more, once a model, which is why it is made only when asked for.
        """
        return (*self.noticed, *said_of_one_ratio(self.fit, self.by))

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw each level with its limits."""
        from survivor.figures.comparison import draw_survival

        return draw_survival(self.table, ax)


def survival(
    fit: Fit,
    by: str | None = "method",
    at: float = 365,
    population: pd.DataFrame | None = None,
    level: float = CONFIDENCE,
) -> Standardised:
    """Survival per 100 planted for each level of ``by``, averaged over the study's cells.

    Parameters
    ----------
    fit
        A fitted model.
    by
        Column set to each of its levels in turn. None: cells as they were done,
        one line for the whole planting.
    at
        Days since planting.
    population
        Plants of the whole planting, ``plants`` with site (and species); None: the
        plants of the records.
    level
        Confidence level of the limits.

    Returns
    -------
    Standardised

    Raises
    ------
    EffectError
        When the model does not hold ``by``, the day was not visited, or the
        population cannot be joined to the records.

    Examples
    --------
    >>> survivor.survival(fit, at=365).table[["method", "estimate", "lower", "upper"]].round(1)
      method  estimate  lower  upper
    0  usual      50.6   35.6   63.8
    1  auger      62.0   52.8   69.9
    2    rip      75.8   66.2   83.1
    """
    check_day(fit, at)
    check_level(level)
    if by is not None:
        check_by(fit, by)
    cells = study_cells(fit, [] if by is None else [by], population)
    levels = [ALL] if by is None else levels_of(fit.data, by)
    stacked, weights = _stack(fit, cells, by, levels)
    found = fit.average_survival(stacked, weights, at)
    counts = once(fit, ("counts", by), lambda: pd.DataFrame([_counts(fit.data, by, one) for one in levels]))
    limits = found.limits_of_survival(behind(fit, by, levels, at, found, level), level)
    name = ALL if by is None else by
    table = pd.DataFrame(
        {
            (by or "group"): _labels(fit.data, by, levels),
            **per_100(found, limits, at, per_100_of(fit.data)),
            "n_seedlings": counts["seedlings"],
            "n_plots": counts["plots"],
            "n_sites": counts["sites"],
            "died_any_day": counts["died"],
        }
    )
    extrapolated = _unseen(fit, by, levels, cells)
    noticed = (
        *cells.checks,
        *said_of_entry(fit.data, fit.n_seedlings),
        *_edge_checks(levels, limits.edge),
        *found.said(levels),
        *_reach_checks(fit.data, by, at),
        *_unseen_checks(extrapolated, by),
    )
    covariance, asked = np.asarray(found.covariance), None if by is None else fit
    table = with_level(table, level)
    return Standardised(name, float(at), table, covariance, extrapolated, noticed, asked, float(level))


def _stack(fit: Fit, cells: Cells, by: str | None, levels: list[Any]) -> tuple[pd.DataFrame, Floats]:
    """All cells under all levels, and weights that average each level's block."""
    share = cells.plants / cells.plants.sum()
    if by is None:
        return cells.frame, share[None, :]
    return under_levels(cells.frame, by, levels, fit.data[by]), np.kron(np.eye(len(levels)), share)


def behind(
    fit: Fit, by: str | None, levels: list[Any], at: float, found: Estimates, level: float = CONFIDENCE
) -> Floats:
    """Effective number of seedlings behind each average, for limits at 0 and 100 %.

    As the curves have it; reckoned only where some average stands there.
    """
    if not (at_edge(np.asarray(found.estimate)) | ~(found.std_error > 0)).any():
        return np.full(len(levels), np.nan)
    rows, strata = fit.data, list(fit.strata) or None
    if not {"start_day", "stop_day"} <= set(rows.columns):  # alive or dead at one day
        rows = rows.assign(start_day=0.0, stop_day=float(at))
    numbers = edge_numbers(rows, by, at, list(fit.cluster) or None, strata, level)
    return np.array([numbers.get(str(level), np.nan) for level in levels], dtype=float)


def per_100(found: Estimates, limits: Limits, at: float, unit: str = PER_100) -> dict[str, Any]:
    """Columns of averages of survival: estimate, its error and limits per 100 planted, unit and day."""
    return {
        "estimate": 100 * np.asarray(found.estimate, dtype=float),
        "std_error": 100 * found.std_error,
        "df": found.df,
        "lower": 100 * limits.lower,
        "upper": 100 * limits.upper,
        "unit": unit,
        "at_day": float(at),
    }


def _labels(data: pd.DataFrame, by: str | None, levels: list[Any]) -> pd.Series[Any]:
    return pd.Series(levels, dtype=None if by is None else data[by].dtype)


def _counts(data: pd.DataFrame, by: str | None, level: Any) -> dict[str, int]:
    return tally(data if by is None else data[data[by] == level])


def _unseen(fit: Fit, by: str | None, levels: list[Any], cells: Cells) -> pd.DataFrame:
    """Cells of the average whose place and species never had the level."""
    if by is None:
        return pd.DataFrame(columns=[ALL, PLANTS, "share_per_100"])
    data = entered(fit)
    numbers = [name for name in fit.variables if pd.api.types.is_numeric_dtype(data[name])]
    support = ["site", *fit.strata, *fit.variables]
    places = [name for name in dict.fromkeys(support) if name in cells.frame.columns and name not in numbers]
    if not places:
        return pd.DataFrame(columns=[by, PLANTS, "share_per_100"])
    weighted = cells.frame[places].assign(**{PLANTS: cells.plants})
    wanted = weighted.groupby(places, observed=True, dropna=False)[PLANTS].sum().reset_index()
    seen = set(data[[by, *places]].drop_duplicates().itertuples(index=False, name=None))
    found = []
    for level in levels:
        rows = wanted[
            [(level, *place) not in seen for place in wanted[places].itertuples(index=False, name=None)]
        ]
        found.append(rows.assign(**{by: level}))
    listed = pd.concat(found, ignore_index=True)[[by, *places, PLANTS]]
    return listed.assign(share_per_100=100 * listed[PLANTS] / cells.plants.sum())


def _edge_checks(levels: list[Any], edge: np.ndarray[Any, np.dtype[np.bool_]]) -> list[str]:
    return [
        f"{level}: at 0 or 100 the model has no limits; those shown are Wilson's, on the effective number."
        for level, at_end in zip(levels, edge, strict=True)
        if at_end
    ]


def _reach_checks(data: pd.DataFrame, by: str | None, at: float) -> list[str]:
    """Levels and sites last visited well before the day: others' later deaths stand in for theirs."""
    said = []
    for column in dict.fromkeys(name for name in (by, "site") if name is not None):
        if column not in data.columns or "stop_day" not in data.columns:
            continue
        last = data.groupby(column, observed=True)["stop_day"].max()
        early = last[last < at - _STALE_DAYS]
        if len(early):
            named = ", ".join(f"{level} (day {day:g})" for level, day in early.items())
            said.append(f"Last visited before day {at:g}, so later deaths are those of the others: {named}.")
    return said


def _unseen_checks(extrapolated: pd.DataFrame, by: str | None) -> list[str]:
    if by is None or extrapolated.empty:
        return []
    shares = extrapolated.groupby(by, observed=True, sort=False)["share_per_100"].sum()
    return [
        f"{level}: {share:.0f} of 100 plants averaged over stand where it was not seen; the model fills in."
        for level, share in shares.items()
        if share > 0
    ]
