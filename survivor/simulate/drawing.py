"""Draw a cohort: tidy frames, or risk intervals straight away."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Floats
from survivor.errors import SimulationError
from survivor.intervals import collapse_rows, season_words
from survivor.simulate.cohort import Cohort, knots_of_site, radius_effect, radius_range
from survivor.vocabulary import DRY_SEASON, FIRST_PLANTING, INTERVAL_COLUMNS, State


@dataclass(frozen=True)
class Drawn:
    """One drawn cohort as tidy frames.

    ``plots`` has a row a plot, ``seedlings`` a row a seedling with the day of its
    death (which nobody sees), ``visits`` a row a seedling a visit with its state.
    """

    plots: pd.DataFrame
    seedlings: pd.DataFrame
    visits: pd.DataFrame


@dataclass(frozen=True)
class _Layout:
    """Codes of each plot, in the order site, block, method, plot."""

    site: NDArray[np.intp]
    block: NDArray[np.intp]
    method: NDArray[np.intp]
    number: NDArray[np.intp]
    species: NDArray[np.intp]  # one a seedling of a plot
    radius_low: Floats
    radius_high: Floats


@lru_cache(maxsize=64)
def _layout(cohort: Cohort) -> _Layout:
    shape = (cohort.sites, cohort.blocks, len(cohort.methods), cohort.plots)
    site, block, method, repeat = (axis.ravel() for axis in np.indices(shape))
    ranges = np.array([radius_range(cohort, index) for index in range(len(cohort.methods))])
    return _Layout(
        site=site,
        block=block,
        method=method,
        number=method * cohort.plots + repeat,
        species=np.arange(cohort.seedlings) % len(cohort.species),
        radius_low=ranges[method, 0],
        radius_high=ranges[method, 1],
    )


@dataclass(frozen=True)
class _Draw:
    radius: Floats  # (plots,)
    limit: Floats  # (plots, seedlings): baseline cumulative hazard at which each dies
    days: NDArray[np.int64]  # (sites, visits)
    found: NDArray[np.bool_]  # (plots, seedlings, visits)
    visited: NDArray[np.bool_]  # (plots, visits)


def _draw(cohort: Cohort, rng: np.random.Generator) -> _Draw:
    lay = _layout(cohort)
    plots, seedlings = len(lay.site), cohort.seedlings
    turns = [cohort.visit_days[site % len(cohort.visit_days)] for site in range(cohort.sites)]
    days = np.array(turns, dtype=np.int64)
    if cohort.visit_spread_days:
        moved = days + rng.integers(-cohort.visit_spread_days, cohort.visit_spread_days + 1, size=days.shape)
        days = np.maximum.accumulate(np.maximum(moved, 1) - np.arange(days.shape[1]), axis=1) + np.arange(
            days.shape[1]
        )
    site_effect = (
        rng.normal(0.0, cohort.site_sd, cohort.sites)
        if cohort.site_effects is None
        else np.array(cohort.site_effects, dtype=float)
    )
    slope = rng.normal(0.0, cohort.method_by_site_sd, (cohort.sites, len(cohort.methods)))
    radius = lay.radius_low + (lay.radius_high - lay.radius_low) * rng.random(plots)
    if cohort.radius_m:
        radius = np.round(radius, 2)  # tapes are read to the centimetre
    method = np.array([effect for _, effect in cohort.methods])
    plot_part = (
        method[lay.method]
        + slope[lay.site, lay.method]
        + site_effect[lay.site]
        + radius_effect(cohort, radius)
        + rng.normal(0.0, cohort.plot_sd, plots)
    )
    species = np.array([effect for _, effect in cohort.species])
    log_hazard = plot_part[:, None] + species[lay.species][None, :]
    limit = rng.exponential(size=(plots, seedlings)) / np.exp(log_hazard)
    visits = days.shape[1]
    visited = np.ones((plots, visits), dtype=bool)
    if cohort.p_skip:
        visited = rng.random((plots, visits)) >= cohort.p_skip
    looked_at = np.broadcast_to(visited[:, None, :], (plots, seedlings, visits))
    if cohort.p_lost:
        kept = rng.random((plots, seedlings, visits)) >= cohort.p_lost
        looked_at = looked_at & np.logical_and.accumulate(kept, axis=2)
    return _Draw(radius, limit, days, looked_at, visited)


def draw_intervals(
    cohort: Cohort, seed: int | np.random.Generator, *, collapsed: bool = True
) -> pd.DataFrame:
    """Draw a cohort and return its risk intervals, without any file or frame between.

    Parameters
    ----------
    cohort
        The parameters.
    seed
        An integer, or a generator that goes on from where it is.
    collapsed
        Sum rows alike in plot, species, start and stop (tag is then empty); otherwise
        one row a seedling a stretch.

    Returns
    -------
    DataFrame
        ``survivor.vocabulary.INTERVAL_COLUMNS``; times in days since planting.
    """
    lay, draw = _layout(cohort), _draw(cohort, np.random.default_rng(seed))
    dead = draw.limit[:, :, None] <= _hazard_at_visits(cohort, draw)[lay.site][:, None, :]
    order = np.arange(1, dead.shape[2] + 1)
    last_seen = np.maximum.accumulate(np.where(draw.found, order, 0), axis=2)
    before = np.concatenate([np.zeros_like(last_seen[:, :, :1]), last_seen[:, :, :-1]], axis=2)
    dead_from_planting = np.concatenate([np.zeros_like(dead[:, :, :1]), dead], axis=2)
    was_dead = np.take_along_axis(dead_from_planting, before, axis=2)
    plot, seedling, visit = np.nonzero(draw.found & ~was_dead)
    start, stop = before[plot, seedling, visit], visit + 1
    died = dead[plot, seedling, visit].astype(float)
    at_risk = np.ones(len(plot))
    species = lay.species[seedling]
    if collapsed:
        span = dead.shape[2] + 1
        key = ((plot * len(cohort.species) + species) * span + start) * span + stop
        first, at_risk, died = collapse_rows(key, at_risk, died)
        plot, species, start, stop, seedling = (
            part[first] for part in (plot, species, start, stop, seedling)
        )
    days = np.concatenate([np.zeros((cohort.sites, 1), dtype=np.int64), draw.days], axis=1)
    site = lay.site[plot]
    start_day, stop_day = days[site, start], days[site, stop]
    planted = planted_days(cohort)[site]
    tags = (
        ""
        if collapsed
        else np.char.add("T", np.char.zfill((plot * cohort.seedlings + seedling + 1).astype(str), 5))
    )
    names = _plot_names(cohort)
    frame = pd.DataFrame(
        {
            "site": names["site"].take(plot),
            "block": names["block"].take(plot),
            "plot": names["plot"].take(plot),
            "tag": tags,
            "species": np.array([name for name, _ in cohort.species], dtype=object).take(species),
            "method": pd.Categorical.from_codes(lay.method[plot], categories=pd.Index(cohort.method_names)),
            "weed_free_radius_m": draw.radius[plot],
            "cohort": FIRST_PLANTING,
            "planted_date": planted,
            "start_day": start_day.astype(float),
            "stop_day": stop_day.astype(float),
            "start_date": planted + start_day.astype("timedelta64[D]"),
            "stop_date": planted + stop_day.astype("timedelta64[D]"),
            "at_risk": at_risk.astype(np.int64),
            "died": died.astype(np.int64),
        },
        columns=list(INTERVAL_COLUMNS),
    )
    if cohort.dry_season is not None:
        frame[DRY_SEASON] = season_words(*cohort.dry_season)
    return frame


@dataclass(frozen=True)
class Watched:
    """A drawn cohort of which every plot was visited each time and every seedling found, as arrays.

    Attributes
    ----------
    site, block, method
        Codes of each plot, shape (plots,); blocks are numbered through all sites.
    days
        Days since planting of the visits of each site, shape (sites, visits).
    at_risk, died
        Alive at the visit before (or planted), and found dead at it, shape (plots, visits).
    """

    site: NDArray[np.intp]
    block: NDArray[np.intp]
    method: NDArray[np.intp]
    days: NDArray[np.int64]
    at_risk: NDArray[np.int64]
    died: NDArray[np.int64]


def draw_watched(cohort: Cohort, seed: int | np.random.Generator) -> Watched:
    """Draw a cohort as arrays: the same seedlings as :func:`draw_intervals` with that seed.

    Parameters
    ----------
    cohort
        The parameters; no visit is skipped and no tag lost.
    seed
        An integer, or a generator that goes on from where it is.

    Raises
    ------
    SimulationError
        When the cohort has skipped visits or lost tags.
    """
    if cohort.p_skip or cohort.p_lost:
        raise SimulationError(
            "skipped visits and lost tags need the intervals themselves",
            where="draw_watched",
            mend="use draw_intervals",
        )
    lay, draw = _layout(cohort), _draw(cohort, np.random.default_rng(seed))
    dead = (draw.limit[:, :, None] <= _hazard_at_visits(cohort, draw)[lay.site][:, None, :]).sum(axis=1)
    before = np.concatenate([np.zeros((len(dead), 1), dtype=np.int64), dead[:, :-1]], axis=1)
    block = lay.site * cohort.blocks + lay.block
    return Watched(lay.site, block, lay.method, draw.days, cohort.seedlings - before, dead - before)


def draw_records(cohort: Cohort, seed: int | np.random.Generator) -> Drawn:
    """Draw a cohort as tidy frames: the same seedlings as :func:`draw_intervals` with that seed.

    Parameters
    ----------
    cohort
        The parameters.
    seed
        An integer, or a generator that goes on from where it is.

    Returns
    -------
    Drawn
        ``plots``: site, block, plot, method, planted_date, planted, weed_free_radius_m.
        ``seedlings``: site, block, plot, tag, species, method, planted_date, death_day
        (days since planting, to the fraction). ``visits``: site, block, plot, tag,
        species, visit (1, 2, ...), day, date, state, every visit of every seedling.
    """
    lay, draw = _layout(cohort), _draw(cohort, np.random.default_rng(seed))
    death = np.empty_like(draw.limit)
    for site in range(cohort.sites):
        at_site = lay.site == site
        days, cumulative = knots_of_site(cohort, site)
        death[at_site] = np.interp(draw.limit[at_site], cumulative, days, right=np.inf)
    names = _plot_names(cohort)
    methods = np.array(cohort.method_names, dtype=object)[lay.method]
    planted = planted_days(cohort)[lay.site]
    plots = names.assign(
        method=methods, planted_date=planted, planted=cohort.seedlings, weed_free_radius_m=draw.radius
    )
    blocks = np.repeat(np.arange(len(names)), cohort.seedlings)
    seedlings = names.iloc[blocks].reset_index(drop=True)
    seedlings["tag"] = [f"T{number + 1:05d}" for number in range(len(blocks))]
    species = np.array([name for name, _ in cohort.species], dtype=object)[lay.species]
    seedlings["species"] = np.tile(species, len(names))
    seedlings["method"] = methods[blocks]
    seedlings["planted_date"] = planted[blocks]
    seedlings["death_day"] = death.ravel()
    visits = draw.days.shape[1]
    rows = np.repeat(np.arange(len(seedlings)), visits)
    day = draw.days[lay.site][blocks].ravel()
    records = seedlings.loc[rows, ["site", "block", "plot", "tag", "species"]].reset_index(drop=True)
    records["visit"] = np.tile(np.arange(1, visits + 1), len(seedlings))
    records["day"] = day
    records["date"] = planted[blocks][rows] + day.astype("timedelta64[D]")
    dead = draw.limit[:, :, None] <= _hazard_at_visits(cohort, draw)[lay.site][:, None, :]
    seen = np.where(dead, State.DEAD.value, State.ALIVE.value)
    seen = np.where(draw.found, seen, State.NOT_FOUND.value)
    seen = np.where(draw.visited[:, None, :], seen, State.NOT_VISITED.value)
    records["state"] = seen.ravel().astype(object)
    return Drawn(plots, seedlings, records)


def _hazard_at_visits(cohort: Cohort, draw: _Draw) -> Floats:
    return np.stack(
        [np.interp(draw.days[site], *knots_of_site(cohort, site)) for site in range(cohort.sites)]
    )


def planted_days(cohort: Cohort) -> NDArray[np.datetime64]:
    """Return the planting day of each site."""
    turns = [cohort.planted[site % len(cohort.planted)] for site in range(cohort.sites)]
    return np.array(turns, dtype="datetime64[ns]")


@lru_cache(maxsize=64)
def _plot_names(cohort: Cohort) -> pd.DataFrame:
    lay = _layout(cohort)
    width = len(str(cohort.sites))
    return pd.DataFrame(
        {
            "site": np.array([f"site {index + 1:0{width}d}" for index in range(cohort.sites)], dtype=object)[
                lay.site
            ],
            "block": np.array([f"B{index + 1}" for index in range(cohort.blocks)], dtype=object)[lay.block],
            "plot": np.array([f"P{index + 1}" for index in range(int(lay.number.max()) + 1)], dtype=object)[
                lay.number
            ],
        }
    )
