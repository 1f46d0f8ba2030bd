"""The cells that an answer is averaged over, and how many plants each stands for.

A cell is one combination of site, species, planting date and whatever else the
model reads. Equal plants are one cell, so the work grows with distinct cells,
not with seedlings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from numbers import Real
from typing import Any

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.entry import watch_begins
from survivor.errors import EffectError
from survivor.intervals import ENTRY_GROUP, entries, group_codes
from survivor.models.fitted import once
from survivor.models.paths import PATH, Path, changing, paths_of
from survivor.models.result import Fit, check_fit
from survivor.words import listed

PLANTS = "plants"


@dataclass(frozen=True)
class Cells:
    """Distinct cells with the plants that each stands for.

    Attributes
    ----------
    frame
        One row a cell; the columns that the model reads, and ``site`` where known. Those that
        change between visits stand in one column of paths (``survivor.models.paths``).
    plants
        Plants of each cell, shape (cells,).
    checks
        What was left out or could not be joined, in plain sentences.
    """

    frame: pd.DataFrame
    plants: Floats
    checks: tuple[str, ...] = ()


def levels_of(data: pd.DataFrame, by: str) -> list[Any]:
    """Levels of a column that occur, in their own order (the usual practice first)."""
    column = data[by]
    if isinstance(column.dtype, pd.CategoricalDtype):
        present = np.unique(column.cat.codes)
        return column.cat.categories[present[present >= 0]].tolist()
    return sorted(column.dropna().unique().tolist())


def of_levels(data: pd.DataFrame, by: str, levels: Iterable[Any]) -> pd.DataFrame:
    """Rows of these levels only; a factor loses the others."""
    kept = data[data[by].isin(list(levels))].copy()
    if isinstance(kept[by].dtype, pd.CategoricalDtype):
        kept[by] = kept[by].cat.remove_unused_categories()
    return kept


def check_name(by: object) -> None:
    """Raise unless ``by`` is text, as the name of a column is."""
    if not isinstance(by, str):
        raise EffectError(f"{by!r} is no column", where=f"by={by!r}", mend="name one column, as text")


def check_by(fit: Fit, by: str) -> None:
    """Raise unless the model holds ``by``, so that setting it means something."""
    check_fit(fit)
    check_name(by)
    if by not in fit.data.columns:
        raise EffectError(
            f"there is no column {by}",
            where=f"by={by!r}",
            mend=f"columns there are: {', '.join(map(str, fit.data.columns))}",
        )
    if by in fit.strata and len(fit.strata) > 1:
        raise EffectError(
            f"{by} is one of several strata columns ({', '.join(fit.strata)}), so it cannot be set alone",
            where=f"by={by!r}",
            mend=f"fit with strata={by!r}",
        )
    if by not in fit.variables and by not in fit.strata:
        raise EffectError(
            f"the model {fit.formula!r} does not hold {by}, so it cannot tell its levels apart",
            where=f"by={by!r}",
            mend=f"fit a model with {by} in the formula",
        )


def check_day(fit: Fit, at: float) -> None:
    """Raise when ``at`` (days since planting) lies outside what was visited, or is no day."""
    check_fit(fit)
    if isinstance(at, bool) or not isinstance(at, Real) or not np.isfinite(float(at)):
        what = f"{at!r} is no number of days since planting"
        raise EffectError(what, where=f"at={at!r}", mend="for example 365")
    if fit.at is not None:  # a fit of one day, which may be judged at a visit near it; the fit itself checks
        return
    last = float(fit.data["stop_day"].max()) if "stop_day" in fit.data.columns else np.inf
    begins = watch_begins(fit.data)
    if begins > 0 and not begins < at:
        raise EffectError(
            f"the watch begins on day {begins:g}; nothing is known of day {at:g}",
            where=f"at={at:g}",
            mend=f"ask for a day after {begins:g} and up to {last:g}",
        )
    if not 0 < at <= last:
        raise EffectError(
            f"day {at:.12g} is not within the days that were visited (1 to {last:g})",
            where=f"at={at:.12g}",
            mend=f"ask for a day up to {last:g}; nothing is said beyond the last visit",
        )


def study_cells(fit: Fit, without: Sequence[str], population: pd.DataFrame | None) -> Cells:
    """Return the cells of the study, without some columns, and their plants.

    Parameters
    ----------
    fit
        The model; its formula, strata and table say which columns matter.
    without
        Columns that will be set by the caller; none leaves cells as they are.
    population
        Plants of the whole planting: ``plants`` and any of the table's columns
        (usually site and species). None: the plants of the records.

    Raises
    ------
    EffectError
        When the population cannot be joined to the records.
    """
    # The key holds the planted numbers themselves, so that nothing else can come to have their identity.
    key = "cells", tuple(without), _Same(population)
    return once(fit, key, lambda: _study_cells(fit, without, population))


def _study_cells(fit: Fit, without: Sequence[str], population: pd.DataFrame | None) -> Cells:
    moving = changed_between_visits(fit, without)
    data = fit.data.reset_index(drop=True) if moving else fit.data
    rows = entries(data) if moving else entered(fit)
    read = [*fit.variables, *fit.strata, "site", "planted_date"]
    kept = [name for name in dict.fromkeys(read) if name in rows.columns and name not in without]
    kept = [name for name in kept if name not in moving]
    if population is None:
        plants: Floats = rows["at_risk"].to_numpy(dtype=float)
        checks: tuple[str, ...] = ()
    else:
        plants, checks = planted(rows, population, without)
    paths: list[Path] = []
    if moving:
        each = paths_of(data, moving, rows)
        paths = list(dict.fromkeys(each))
        place = {path: number for number, path in enumerate(paths)}
        rows, kept = rows.assign(**{PATH: [place[path] for path in each]}), [*kept, PATH]
        changes = "changes" if len(moving) == 1 else "change"
        checks = (
            *checks,
            f"{listed(moving)} {changes} between visits: survival goes along each plant's own path of "
            f"{'it' if len(moving) == 1 else 'them'}, after its death or last visit that of its plot, then "
            "of its site, whatever else is set.",
        )
    if not kept:
        return Cells(pd.DataFrame(index=[0]), np.array([plants.sum()]), checks)
    codes, frame = group_codes(rows, kept)
    summed = np.bincount(codes, weights=plants, minlength=len(frame)).astype(float)
    carried = summed > 0
    frame = frame[carried].reset_index(drop=True)
    if moving:
        frame[PATH] = pd.Series([paths[number] for number in frame[PATH]], dtype=object)
    return Cells(frame, summed[carried], checks)


class _Same:
    """A table as a key: like itself alone."""

    def __init__(self, table: pd.DataFrame | None) -> None:
        self.table = table

    def __eq__(self, other: object) -> bool:
        """Whether the other holds the same table."""
        return isinstance(other, _Same) and other.table is self.table

    def __hash__(self) -> int:
        """Follow identity."""
        return id(self.table)


def entered(fit: Fit) -> pd.DataFrame:
    """Rows of the records of a fit at which seedlings entered."""
    return once(fit, "entered", lambda: entries(fit.data))


def changed_between_visits(fit: Fit, without: Sequence[str] = ()) -> list[str]:
    """Columns of the formula, less some, that change between visits of the same plants."""
    if "start_day" not in fit.data.columns or fit.at is not None:
        return []
    keys = [name for name in ENTRY_GROUP if name in fit.data.columns]
    return changing(fit.data, keys, [name for name in fit.variables if name not in without])


def without_sites(
    data: pd.DataFrame, population: pd.DataFrame | None, sites: Sequence[Any]
) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """Leave some sites out of the records and, where they are told by site, of the planted numbers."""
    if population is not None and "site" in population.columns:
        population = population[~population["site"].isin(sites)]
    return data[~data["site"].isin(sites)].copy(), population


def under_levels(cells: pd.DataFrame, by: str, levels: Sequence[Any], like: pd.Series[Any]) -> pd.DataFrame:
    """All cells under each level in turn: the first level's block first."""
    values = pd.Series(list(levels), dtype=like.dtype).array
    again = np.tile(np.arange(len(cells)), len(levels))
    columns = {name: cells[name].array.take(again) for name in cells.columns if name != by}
    return pd.DataFrame({**columns, by: values.take(np.repeat(np.arange(len(levels)), len(cells)))})


def planted(
    rows: pd.DataFrame, population: pd.DataFrame, without: Sequence[str]
) -> tuple[Floats, tuple[str, ...]]:
    """Spread the plants of a whole planting over the rows of the records.

    Each line of ``population`` is shared among the rows that it matches in
    proportion to their own plants. A blank site or species matches whatever no
    more exact line has matched.

    Returns
    -------
    plants, checks
        Plants for each row, shape (rows,), and what could not be joined.
    """
    _check_population(population)
    keys = [name for name in population.columns if name not in (PLANTS, *without) and name in rows.columns]
    if not keys:
        raise EffectError(
            "the planted numbers share no column with the records",
            where="population",
            mend="give plants with site (and species), spelt as in the records",
        )
    blank = population[keys].isna() | (population[keys].astype(str) == "")
    own = rows["at_risk"].to_numpy(dtype=float)
    plants = np.zeros(len(rows))
    free = np.ones(len(rows), dtype=bool)
    lost: list[str] = []
    patterns = blank.drop_duplicates()
    for index in patterns.sum(axis=1).sort_values(kind="stable").index:
        pattern = patterns.loc[index]
        lines = population[(blank == pattern).all(axis=1).to_numpy()]
        named = [name for name in keys if not pattern[name]]
        found, plants_here, missed = _share(rows, own, free, lines, named)
        plants += plants_here
        free &= ~found
        lost += missed
    if plants.sum() <= 0:
        raise EffectError(
            "no planted number matches a row of the records",
            where="population",
            mend=f"spell {', '.join(keys)} as in the records",
        )
    checks = [f"Planted but in no plot, so left out of the average: {'; '.join(lost)}."] if lost else []
    if free.any():
        checks.append(
            f"In plots but without a planted number, so without weight: {_names(rows[free], keys)}."
        )
    return plants, tuple(checks)


def _check_population(population: pd.DataFrame) -> None:
    fault = ""
    if not isinstance(population, pd.DataFrame):
        fault = f"it is no table but {type(population).__name__}"
    elif PLANTS not in population.columns:
        fault = "there is no column plants"
    elif population.empty:
        fault = "there is no line"
    elif not pd.api.types.is_numeric_dtype(population[PLANTS]) or population[PLANTS].isna().any():
        fault = "plants must be a number in every line"
    elif (population[PLANTS] < 0).any() or np.isinf(population[PLANTS].to_numpy(float)).any():
        fault = "plants must be finite, and not below 0"
    if fault:
        raise EffectError(
            f"the planted numbers cannot be used: {fault}",
            where="population",
            mend="give one line for each site (and species) with the number of plants put in",
        )


def _share(
    rows: pd.DataFrame,
    own: Floats,
    free: np.ndarray[Any, np.dtype[np.bool_]],
    lines: pd.DataFrame,
    named: Sequence[str],
) -> tuple[np.ndarray[Any, np.dtype[np.bool_]], Floats, list[str]]:
    """Plants for the free rows that the lines match on the columns ``named``."""
    if not named:
        found = free.copy()
        total = own[found].sum()
        share = np.where(found, own / total if total > 0 else 0.0, 0.0)
        return found, share * float(lines[PLANTS].sum()), []
    wanted = lines[list(named)].astype(str).assign(**{PLANTS: lines[PLANTS].to_numpy(dtype=float)})
    totals = wanted.groupby(list(named), sort=False)[PLANTS].sum()
    keys = pd.MultiIndex.from_frame(rows[list(named)].astype(str))
    target = totals.index if len(named) > 1 else pd.MultiIndex.from_arrays([totals.index], names=list(named))
    line = np.where(free, target.get_indexer(keys), -1)
    found = line >= 0
    held = np.bincount(line[found], weights=own[found], minlength=len(totals))
    plants = np.zeros(len(rows))
    plants[found] = own[found] / held[line[found]] * totals.to_numpy()[line[found]]
    missed = [
        f"{' '.join(map(str, place))} ({count:,.0f} plants)"
        for place, count, own_plants in zip(target, totals, held, strict=True)
        if own_plants == 0 and count > 0
    ]
    return found, plants, missed


def _names(rows: pd.DataFrame, keys: Sequence[str]) -> str:
    distinct = rows[list(keys)].astype(str).drop_duplicates()
    return "; ".join(" ".join(line) for line in distinct.itertuples(index=False, name=None))
