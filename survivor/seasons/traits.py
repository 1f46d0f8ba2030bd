"""Traits of seasons and sites that an answer may go with: rain decile, or what the plot sheet says."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survivor.analysis.rain import season_rain
from survivor.errors import PoolingError
from survivor.seasons.season import Season

RAIN_DECILE = "rain decile"
_DRY_TOTAL = "rain in the dry season"


def unit_traits(seasons: Sequence[Season], units: pd.DataFrame, trait: str) -> list[object]:
    """Give the trait of each unit.

    Parameters
    ----------
    seasons
        Taken in together.
    units
        ``season, site`` a row; ``site`` empty where a season is the unit.
    trait
        ``rain decile`` (of the first dry season after planting, by the gauges of the season or
        of the site), or a column of the plots such as ``texture`` or ``slope``.

    Raises
    ------
    PoolingError
        When the trait is not recorded, or a unit does not have one value of it.
    """
    return [
        _decile(_named(seasons, row["season"]), str(row["site"]))
        if trait == RAIN_DECILE
        else _of_plots(_named(seasons, row["season"]), str(row["site"]), trait)
        for row in units.to_dict("records")
    ]


def _named(seasons: Sequence[Season], name: object) -> Season:
    return next(season for season in seasons if season.name == name)


def _of_plots(season: Season, site: str, trait: str) -> object:
    if trait not in season.intervals.columns:
        raise PoolingError(
            f"{trait} is not recorded for plots",
            where=season.name,
            mend=f"use {RAIN_DECILE!r}, or a column of the plot sheet: {', '.join(_columns(season))}",
        )
    rows = season.intervals if not site else season.intervals[season.intervals["site"] == site]
    if pd.api.types.is_numeric_dtype(rows[trait]):
        return float(rows.drop_duplicates(["site", "block", "plot"])[trait].mean())
    found = [word for word in rows[trait].astype(str).unique() if word]
    if len(found) != 1:
        raise PoolingError(
            f"{trait} has {len(found)} values there ({', '.join(found[:4])})",
            where=f"{site or season.name}",
            mend="take sites as units (--by site) and a trait that does not differ within a site",
        )
    return found[0]


def _columns(season: Season) -> list[str]:
    plots = season.study.records.plots
    known = ("site", "block", "plot", "method", "species", "planted_date", "planted")
    return [name for name in plots.columns if name not in known]


def _decile(season: Season, site: str) -> float:
    table = season_rain(season.settings, season.study.gauges, season.study.records).measures
    rows = table[(table["measure"] == _DRY_TOTAL) & table["decile"].notna()] if len(table) else table
    if site:
        beside = [g.name for g in season.settings.gauges if not g.sites or site in g.sites]
        rows = rows[rows["gauge"].isin(beside)]
    if rows.empty:
        raise PoolingError(
            "there is no decile of rain in the dry season",
            where=f"{site or season.name}",
            mend="name a gauge with enough years of record in the study file, or leave the trait out",
        )
    first = rows.sort_values("window_start").groupby("gauge", sort=False)["decile"].first()
    return float(first.mean())
