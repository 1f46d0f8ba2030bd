"""What a fit expects of plants as given, and its baseline: hazards by piece and stratum, or odds.

Survival of one plant is that of plants like it at these sites, not of a coming season.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from survivor.arguments import is_one_of
from survivor.arrays import Floats
from survivor.entry import per_100_of
from survivor.errors import ModelError
from survivor.frames import own_frame
from survivor.intervals import ENTRY_GROUP
from survivor.limits import Errors, check_level, half_width, with_level
from survivor.models.fitted import Fitted
from survivor.models.paths import PATH, changing, given_paths
from survivor.models.told import refuse_told
from survivor.vocabulary import CONFIDENCE
from survivor.words import listed

_AT_ONCE = 500  # plants predicted at a time: their covariance is square


def predict(
    fit: Fitted, new: Any, at: float, level: float = CONFIDENCE, plant: str | None = None
) -> pd.DataFrame:
    """See ``Fit.predict``."""
    refuse_told(fit.engine, "a prediction")
    check_level(level)
    table = own_frame(new)
    if table.empty:
        raise ModelError("there is no plant to predict for", where="predict", mend="give a row a plant")
    cells = _as_cells(fit, table, plant)
    parts = []
    for first in range(0, len(cells), _AT_ONCE):
        part = cells.iloc[first : first + _AT_ONCE].reset_index(drop=True)
        found = fit.average_survival(part, np.eye(len(part)), at)
        limits = found.limits_of_survival(np.full(len(part), np.nan), level)
        parts.append(
            pd.DataFrame(
                {
                    "estimate": 100 * found.estimate,
                    "std_error": 100 * found.std_error,
                    "df": found.df,
                    "lower": 100 * limits.lower,
                    "upper": 100 * limits.upper,
                }
            )
        )
    told = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=["estimate"])
    told.index = cells.index
    return with_level(told.assign(unit=per_100_of(fit.data), at_day=float(at)), level)


def _as_cells(fit: Fitted, table: pd.DataFrame, plant: str | None) -> pd.DataFrame:
    """One row a plant, with the path of what changes between visits."""
    keys = [name for name in ENTRY_GROUP if name in fit.data.columns]
    watched = "start_day" in fit.data.columns and fit.at is None
    moving = changing(fit.data, keys, fit.variables) if watched else []
    if not moving and plant is None:
        return table
    if plant is not None and not is_one_of(plant, table.columns):
        raise ModelError(
            f"the plants have no column {plant!r}",
            where=f"plant={plant!r}",
            mend="name the column that tells plants apart"
            + ("" if moving else "; a row a plant needs none, since no term of this fit changes"),
        )
    if plant is None:
        raise ModelError(
            f"{listed(moving)} changes between visits, so a plant has no one value of it",
            where="predict",
            mend="give a row for each stretch of each plant, with start_day, stop_day and its value there, "
            'and name the column that tells plants apart, for example plant="tag"',
        )
    absent = [name for name in ("start_day", "stop_day", *moving) if name not in table.columns]
    if absent:
        raise ModelError(
            f"the plants have no column {listed(absent)}", where="predict", mend="give it in every row"
        )
    rows = table.sort_values([plant, "start_day"], kind="stable").reset_index(drop=True)
    opening = ~rows[plant].duplicated()
    cells = rows[opening].set_index(plant)
    if moving:
        cells = cells.drop(columns=moving)
        cells[PATH] = pd.Series(given_paths(rows, moving, plant), cells.index, dtype=object)
    return cells


def baseline(fit: Fitted, level: float = CONFIDENCE) -> pd.DataFrame:
    """See ``Fit.baseline``."""
    refuse_told(fit.engine, "the baseline")
    check_level(level)
    read, number, pieces, value, errors = _baseline(fit)
    half = half_width(errors.std_error, errors.df, level)
    ratio = "odds" if read.pieces is None else "hazard"
    order = np.argsort(read.place[read.place >= 0])
    strata = read.design.strata_levels[read.place >= 0].iloc[order].reset_index(drop=True)
    table = strata.iloc[np.repeat(np.arange(number), len(pieces))].reset_index(drop=True)
    if read.pieces is not None:
        table["piece"] = np.tile(pieces, number)
    with np.errstate(over="ignore"):
        table[ratio], table["lower"], table["upper"] = np.exp([value, value - half, value + half])
    table["log_estimate"], table["std_error"], table["df"] = value, errors.std_error, errors.df
    unit = "deaths a plant and day" if ratio == "hazard" else f"odds of being alive on day {fit.at:g}"
    return with_level(table.assign(unit=unit), level)


def _baseline(fit: Fitted) -> tuple[Any, int, tuple[str, ...], Floats, Errors]:
    """Reader, levels, pieces, and log hazards (log odds) with what their limits rest on, level by level."""
    engine: Any = fit.engine
    survival = getattr(engine, "survival", None)
    mixed = fit.model == "mixed"
    if fit.by_period is not None:
        read = engine.survival.model.fitted.read
    else:
        read = engine.read if mixed else getattr(survival, "read", None)
    if read is None or fit.variance == "penalised":
        raise ModelError(
            f"a {fit.model} fit with limits by {fit.variance} has no baseline with limits",
            where="baseline",
            mend='fit with model="grouped", or draw survivor.curve(intervals, by="site")',
        )
    levels = int((read.place >= 0).sum())
    pieces = ("all",) if read.pieces is None else read.pieces.names
    level = np.repeat(np.eye(levels), len(pieces), axis=0)
    alpha = np.tile(np.eye(len(pieces))[:, 1:], (levels, 1))
    if mixed:
        found = engine.solution
        value = level @ found.level + alpha @ found.alpha
        covariance = found.covariance_of(found.arrange(level=level, alpha=alpha))
        df = np.full(len(value), engine.degrees.stratum)
        return read, levels, pieces, value, Errors(covariance, df, np.zeros(len(value), dtype=bool))
    picks = np.zeros((len(level), len(engine.parameters)))
    picks[:, :levels], picks[:, levels : levels + alpha.shape[1]] = level, alpha
    return read, levels, pieces, picks @ engine.parameters, engine.covariance.errors(picks)
