"""What each season, or each site of each season, says of every comparison."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, Literal

import numpy as np
import pandas as pd

from survivor.analysis.models import season_formula
from survivor.analysis.season import population
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import contrasts
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit
from survivor.seasons.season import Season, side_by_side
from survivor.vocabulary import PER_100

Unit = Literal["season", "site"]
LOG_HAZARD: Final = "log hazard ratio"
SCALES: Final = (LOG_HAZARD, PER_100)
COLUMNS: Final = (
    "unit",
    "season",
    "site",
    "method",
    "against",
    "scale",
    "estimate",
    "std_error",
    "n_seedlings",
    "n_plots",
    "n_sites",
    "reason",
)


def unit_estimates(
    seasons: Sequence[Season],
    at: float,
    unit: Unit = "season",
    window: float = 30.0,
    say: Callable[[str], None] = lambda _: None,
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
        A site last visited no more than this many days before ``at`` is told for its last visit.
    say
        Called with a short text before each season.

    Returns
    -------
    DataFrame
        ``unit, season, site, method, against, scale, estimate, std_error, n_seedlings, n_plots,
        n_sites, reason``; two rows a comparison, ``log hazard ratio`` and ``per 100 planted``.
        A comparison that a unit cannot make has no estimate and its ``reason``.
    """
    lines: list[pd.DataFrame] = []
    for season in seasons:
        say(f"Season {season.name}")
        lines.append(_of_season(season, at) if unit == "season" else _of_sites(season, at, window))
    table = pd.concat(lines, ignore_index=True).reindex(columns=list(COLUMNS))
    counts = ["n_seedlings", "n_plots", "n_sites"]
    return table.assign(**{name: table[name].fillna(0).astype(int) for name in counts})


def _of_season(season: Season, at: float) -> pd.DataFrame:
    rows = side_by_side(season.intervals, season.strata(), season.usual)
    formula, _ = season_formula(rows)
    if "method" not in formula:
        return _nothing(season, "", f"no place holds {season.usual} and another preparation")
    try:
        fitted = fit(rows, formula, strata=season.strata())
    except SurvivorError as fault:
        return _nothing(season, "", fault.what)
    found = _estimates(fitted, at, population(season.settings))
    return found.assign(unit=season.name, season=season.name, site="")


def _of_sites(season: Season, at: float, window: float) -> pd.DataFrame:
    effect = _design_effect(season)
    parts = []
    for site in pd.unique(season.intervals["site"]):
        rows = season.intervals[season.intervals["site"] == site].copy()
        rows.attrs = dict(season.intervals.attrs)
        name = f"{site}, {season.name}"
        formula, _ = season_formula(rows)
        here = set(rows["method"].astype(str))
        if len(here) < 2 or season.usual not in here:
            why = "one preparation only" if len(here) < 2 else f"{season.usual} was not planted there"
            parts.append(_nothing(season, str(site), why).assign(unit=name))
            continue
        blocks = "block" if rows["block"].astype(str).nunique() > 1 else None
        try:
            fitted = fit(rows, formula, strata=blocks, cluster=None)
            last = float(rows["stop_day"].max())
            found = _estimates(fitted, last if at - window <= last < at else at, None)
        except SurvivorError as fault:
            parts.append(_nothing(season, str(site), fault.what).assign(unit=name))
            continue
        parts.append(
            found.assign(unit=name, season=season.name, site=site, std_error=found["std_error"] * effect**0.5)
        )
    return pd.concat(parts, ignore_index=True)


def _design_effect(season: Season) -> float:
    """How many times the variance of independent seedlings the season's plots give; at least 1."""
    rows = side_by_side(season.intervals, season.strata(), season.usual)
    formula, _ = season_formula(rows)
    try:
        by_plot = fit(rows, formula, strata=season.strata()).table
        alone = fit(rows, formula, strata=season.strata(), cluster=None).table
    except SurvivorError:
        return 1.0
    method = by_plot["term"].str.startswith("method")
    ratio = (by_plot["std_error"] / alone["std_error"])[method] ** 2
    known = ratio[np.isfinite(ratio)]
    return max(1.0, float(known.mean())) if len(known) else 1.0


def _estimates(fitted: Fit, at: float, people: pd.DataFrame | None) -> pd.DataFrame:
    """Both scales of every comparison within sites."""
    table = contrasts(fitted, at=at, population=people).table
    counts = ["n_seedlings", "n_plots", "n_sites"]
    within = table["basis"] == WITHIN
    shared = table[["method", "against", *counts, "reason"]].astype({"method": str, "against": str})
    shared = shared.assign(
        reason=shared["reason"].where(within | (shared["reason"] != ""), "no site holds both")
    )
    per_100 = shared.assign(
        scale=PER_100,
        estimate=table["estimate"].where(within),
        std_error=table["std_error"].where(within),
    )
    terms = fitted.table.set_index("term")
    named = [f"method[T.{name}]" for name in shared["method"]]
    log = shared.assign(
        scale=LOG_HAZARD,
        estimate=np.where(within, terms["estimate"].reindex(named).to_numpy(dtype=float), np.nan),
        std_error=np.where(within, terms["std_error"].reindex(named).to_numpy(dtype=float), np.nan),
    )
    both = pd.concat([log, per_100], ignore_index=True)
    untold = ~(np.isfinite(both["estimate"]) & (both["std_error"] > 0))
    both.loc[untold, ["estimate", "std_error"]] = np.nan
    both.loc[untold & (both["reason"] == ""), "reason"] = "no standard error can be given"
    return both


def _nothing(season: Season, site: str, reason: str) -> pd.DataFrame:
    line = {"unit": season.name, "season": season.name, "site": site, "method": "", "against": ""}
    return pd.DataFrame([{**line, "scale": scale, "reason": reason} for scale in SCALES])
