"""What each season, or each site of each season, says of every comparison.

One model of the records of all seasons, with a level for every season, site and block.

Traits of seasons and sites that an answer may go with: rain decile, or what the plot sheet says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd

from survivor.analysis.models import season_formula
from survivor.analysis.rain import rain_of
from survivor.analysis.season import population
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import contrasts
from survivor.effects.standardise import survival
from survivor.errors import PoolingError, SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.season.moisture import soil_water
from survivor.seasons import english as en
from survivor.seasons.season import Season, join_seasons, joint_strata, methods_of, side_by_side
from survivor.vocabulary import PER_100
from survivor.words import number

Unit = Literal["season", "site"]
LOG_HAZARD: Final = "log hazard ratio"
SCALES: Final = (LOG_HAZARD, PER_100)
_PAIR: Final = ("method", "against", "scale")
_COUNTS: Final = ["n_seedlings", "n_plots", "n_sites"]
_NUMBERS: Final = ["estimate", "std_error", "lower", "upper"]
COLUMNS: Final = ("unit", "season", "site", *_PAIR, *_NUMBERS, "alive_against", *_COUNTS, "reason")
JOINT_COLUMNS: Final = (*_PAIR, "estimate", "std_error", "df", "lower", "upper", "p_value", *_COUNTS)


def unit_estimates(
    seasons: Sequence[Season],
    at: float,
    unit: Unit = "season",
    window: float = 30.0,
    say: Callable[[str], None] = lambda _: None,
    against: str | None = None,
) -> pd.DataFrame:
    """Estimate every comparison with the usual practice in each unit.

    Parameters
    ----------
    seasons
        Taken in together.
    at
        Days since planting, for differences per 100 planted.
    unit
        ``season``: one estimate a season, limits by plot (CR2). ``site``: one a site and
        season; its standard error is that of independent seedlings times the root of the
        season's design effect of plots, as one site has too few plots to tell it.
    window
        A unit last visited no more than this many days before ``at`` is told for its last visit.
    say
        Called with a short text before each season.
    against
        Preparation to compare with; None: the usual practice. With another, and with seasons as units
        only, differences per 100 planted alone are told.

    Returns
    -------
    DataFrame
        ``unit, season, site, method, against, scale, estimate, std_error, lower, upper, alive_against,
        n_seedlings, n_plots, n_sites, reason``; two rows a comparison, ``log hazard ratio`` and
        ``per 100 planted``. ``alive_against``: alive per 100 planted under what is compared with.
        A comparison that a unit cannot make has no estimate and its ``reason``.
    """
    lines: list[pd.DataFrame] = []
    for season in seasons:
        say(f"Season {season.name}")
        made = _of_season(season, at, window, against) if unit == "season" else _of_sites(season, at, window)
        lines.append(made)
    table = pd.concat(lines, ignore_index=True).reindex(columns=list(COLUMNS))
    return table.assign(**{name: table[name].fillna(0).astype(int) for name in _COUNTS})


def _of_season(season: Season, at: float, window: float, against: str | None) -> pd.DataFrame:
    if why := _cannot(season.intervals, season.usual):
        return _nothing(season, "", why)
    rows = side_by_side(season.intervals, season.strata(), season.usual)
    if len(methods_of(rows)) < 2:
        return _nothing(season, "", f"no place holds {season.usual} and another preparation")
    try:
        fitted = fit(rows, season_formula(rows)[0], strata=season.strata())
        estimates = _estimates(fitted, _day(rows, at, window), population(season.settings), against)
    except SurvivorError as fault:
        return _nothing(season, "", fault.what)
    return estimates.assign(unit=season.name, season=season.name, site="")


def _of_sites(season: Season, at: float, window: float) -> pd.DataFrame:
    try:
        wider = _design_effect(season) ** 0.5
    except SurvivorError as fault:
        return _nothing(season, "", f"how far its plots differ cannot be determined: {fault.what}")
    parts = []
    for site in pd.unique(season.intervals["site"]):
        rows = season.intervals[season.intervals["site"] == site]
        name = f"{site}, {season.name}"
        if why := _cannot(rows, season.usual):
            parts.append(_nothing(season, str(site), why).assign(unit=name))
            continue
        blocks = "block" if rows["block"].astype(str).nunique() > 1 else None
        try:
            fitted = fit(rows, season_formula(rows)[0], strata=blocks, cluster=None)
            alone = _estimates(fitted, _day(rows, at, window), None)
        except SurvivorError as fault:
            parts.append(_nothing(season, str(site), fault.what).assign(unit=name))
            continue
        alone["std_error"] *= wider
        for end in ("lower", "upper"):
            alone[end] = alone["estimate"] + wider * (alone[end] - alone["estimate"])
        parts.append(alone.assign(unit=name, season=season.name, site=site))
    return pd.concat(parts, ignore_index=True)


def _cannot(rows: pd.DataFrame, usual: str) -> str:
    """Say why rows compare nothing with the usual practice; empty where they do."""
    here = set(rows["method"].astype(str))
    if len(here) < 2:
        return "one preparation only"
    return "" if usual in here else f"{usual} was not planted there"


def _day(rows: pd.DataFrame, at: float, window: float) -> float:
    """Day that rows are told for: their last visit where it was a little before the one asked for."""
    last = float(rows["stop_day"].max())
    return last if at - window <= last < at else at


def _design_effect(season: Season) -> float:
    """How many times the variance of independent seedlings the season's plots give; at least 1.

    Raises
    ------
    PoolingError, ModelError
        When it cannot be determined: limits as of independent seedlings would be too narrow.
    """
    rows = side_by_side(season.intervals, season.strata(), season.usual)
    formula, _ = season_formula(rows)
    by_plot = fit(rows, formula, strata=season.strata()).table
    alone = fit(rows, formula, strata=season.strata(), cluster=None).table
    method = by_plot["term"].str.startswith("method")
    ratio = (by_plot["std_error"] / alone["std_error"])[method] ** 2
    ratios = ratio[np.isfinite(ratio)]
    if ratios.empty:
        raise PoolingError("no preparation has a standard error by plot", where=season.name)
    return max(1.0, float(ratios.mean()))


def _estimates(
    fitted: Fit, at: float, planted: pd.DataFrame | None, against: str | None = None
) -> pd.DataFrame:
    """Both scales of every comparison within sites; per 100 alone against another than the usual practice."""
    table = contrasts(fitted, at=at, population=planted, against=against).table
    both = _on_both_scales(fitted, table, [*_COUNTS, "reason"], _NUMBERS)
    within = pd.concat([table["basis"] == WITHIN] * len(SCALES), ignore_index=True)
    both.loc[~within & (both["reason"] == ""), "reason"] = "no site holds both"
    alive = _alive(fitted, at, planted)
    both["alive_against"] = [alive.get(name, np.nan) for name in both["against"]]
    untold = ~(within & np.isfinite(both["estimate"]) & (both["std_error"] > 0))
    both.loc[untold, _NUMBERS] = np.nan
    both.loc[untold & (both["reason"] == ""), "reason"] = "no standard error can be given"
    return both if against is None else both[both["scale"] == PER_100]


def _alive(fitted: Fit, at: float, planted: pd.DataFrame | None) -> dict[str, float]:
    """Alive per 100 planted under each preparation, standardised; empty where that cannot be had."""
    try:
        table = survival(fitted, "method", at, planted).table
    except SurvivorError:
        return {}
    return dict(zip(table["method"].astype(str), table["estimate"].astype(float), strict=True))


def _on_both_scales(
    fitted: Fit, per_100: pd.DataFrame, told: Sequence[str], numbers: Sequence[str]
) -> pd.DataFrame:
    """Put the terms of a model above its differences per 100 planted, with what is told of each pair."""
    pairs = per_100[["method", "against", *told]].astype({"method": str, "against": str})
    terms = fitted.table.set_index("term").reindex([f"method[T.{name}]" for name in pairs["method"]])
    parts = [
        pd.concat([pairs, table[numbers].reset_index(drop=True)], axis=1).assign(scale=scale)
        for scale, table in ((LOG_HAZARD, terms), (PER_100, per_100))
    ]
    return pd.concat(parts, ignore_index=True)


def _nothing(season: Season, site: str, reason: str) -> pd.DataFrame:
    line = {"unit": season.name, "season": season.name, "site": site, "method": "", "against": ""}
    return pd.DataFrame([{**line, "scale": scale, "reason": reason} for scale in SCALES])


def joint_fit(joined: pd.DataFrame, seasons: Sequence[Season]) -> Fit:
    """Fit the grouped model to the records of all seasons, strata by season, site and block.

    Raises
    ------
    ModelError
        When it cannot be fitted.
    """
    strata = joint_strata(joined, seasons)
    rows = side_by_side(joined, strata, seasons[0].usual)
    return fit(rows, season_formula(rows)[0], strata=strata)


def joint_estimates(seasons: Sequence[Season], at: float) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Compare preparations in one model of all records.

    Returns
    -------
    table, said
        See ``SeasonsTogether.joint``; sentences, and the reason where there is no table.
    """
    joined = join_seasons(seasons)
    try:
        fitted = joint_fit(joined, seasons)
        per_100 = contrasts(fitted, at=at).table
    except SurvivorError as fault:
        return pd.DataFrame(columns=list(JOINT_COLUMNS)), (f"No one model of all records: {fault.what}.",)
    numbers = ["estimate", "std_error", "df", "lower", "upper", "p_value"]
    table = _on_both_scales(fitted, per_100, _COUNTS, numbers)[list(JOINT_COLUMNS)]
    strata = ", ".join(fitted.strata)
    levels = strata or "none"
    remarks = (
        en.ONE_MODEL.format(
            seedlings=number(fitted.n_seedlings), plots=number(fitted.n_plots), levels=levels
        ),
        en.ONE_MODEL_TAKES,
    )
    return table, remarks


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
    words = [word for word in rows[trait].astype(str).unique() if word]
    if len(words) != 1:
        raise PoolingError(
            f"{trait} has {len(words)} values there ({', '.join(words[:4])})",
            where=f"{site or season.name}",
            mend="take sites as units (--by site) and a trait that does not differ within a site",
        )
    return words[0]


def _columns(season: Season) -> list[str]:
    plots = season.study.records.plots
    known = ("site", "block", "plot", "method", "species", "planted_date", "planted")
    return [name for name in plots.columns if name not in known]


def _decile(season: Season, site: str) -> float:
    study = season.study
    water = soil_water(season.settings, study.gauges, study.records.plots)
    table = rain_of(season.settings, study.gauges, study.records, water).measures
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
