"""Survival of the whole planting, how many of its plants are alive, and how many stems stand on a hectare.

A model that does not know the preparations takes plots of which all are dead for plots that
differ by chance, and gives limits far too wide. Where nobody, or everybody, is alive under some
preparation the planting is therefore put together from its preparations: those with some alive and
some dead by the model, the others by their counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.analysis.costs import Costs
from survivor.analysis.models import SeasonFits
from survivor.analysis.parts import Unmade, no_rows
from survivor.analysis.season import Season
from survivor.costs.shortfall import COLUMNS, Alive, Goal, shortfall
from survivor.costs.stocking import InfillOrder
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.effects.counted import with_counted_survival
from survivor.effects.standardise import ALL, Standardised, survival
from survivor.errors import EffectError, SurvivorError
from survivor.intervals import entries, tally
from survivor.settings import Settings
from survivor.vocabulary import PER_100, Basis
from survivor.words import number, sentence

TOTAL, STOCKING = "plants alive in the whole planting", "stocking"
PLANTS, STEMS = "plants", "living stems per hectare"
SCALED_COLUMNS: Final = ("measure", "estimate", "lower", "upper", "unit", "put_in", "note")
_SIDES = ("lower", "upper")
LAST_VISIT: Final = "the last visit"


@dataclass(frozen=True)
class Totals:
    """Survival of the whole planting, and the same in the units of a funder.

    Attributes
    ----------
    whole
        Survival of all preparations together, per 100.
    scaled
        ``measure, estimate, lower, upper, unit, put_in, note``: plants alive in the whole planting
        and stocking, where the study file tells plants put in, hectares or spacing.
    to_reach
        Infill to reach what was promised and the stems wanted, with its cost
        (:func:`survivor.costs.shortfall.shortfall`) and ``alive_at``, when plants were counted; empty
        where neither is told.
    """

    whole: Standardised | None = None
    scaled: pd.DataFrame = field(default_factory=no_rows(*SCALED_COLUMNS))
    to_reach: pd.DataFrame = field(default_factory=no_rows(*COLUMNS))


def totals_of(season: Season, models: SeasonFits, unmade: Unmade) -> Totals:
    """Tell survival of the whole planting at the headline's milestone."""
    whole = unmade.attempt("totals", lambda: whole_planting(season, models, season.milestone_day))
    return Totals(whole, in_all(whole, season.settings, season.basis))


def infill_to_reach(season: Season, totals: Totals, costs: Costs) -> pd.DataFrame:
    """Infill to reach what was promised, and the stems wanted; empty where plants put in are not told.

    It is ordered for what stands now: at the last visit of each site. Only where that is not known of
    every site does the milestone stand for it (``alive_at``).
    """
    settings, rows = season.settings, {str(row["unit"]): row for row in totals.scaled.to_dict("records")}
    plants, stems = rows.get(PLANTS), rows.get(STEMS)
    if plants is None:
        return totals.to_reach
    put_in, goals = float(plants["put_in"]), []
    target = settings.target
    if target is not None and target.milestone == settings.headline_milestone.name:
        promised = target.survival_per_100
        goals.append(Goal(f"{promised:g} of 100 promised", put_in * promised / 100))
    if settings.stocking is not None and stems is not None:
        wanted = float(settings.stocking.target_per_hectare)
        goals.append(Goal(f"{wanted:,.0f} stems a hectare", wanted * put_in / float(stems["put_in"])))
    order, lives, price = costs.infill_order, costs.infill_lives, None
    standing = 0.0 if order is None else float(order.table["infill_alive"].iloc[-1])
    with_infill = None if costs.payoff is None else costs.payoff.with_infill
    if with_infill is not None:
        each = with_infill.table["infill_cost"].astype(float)
        price = (float(each.min()), float(each.max()))
    now = _alive_now(order, put_in)
    at_milestone = (float(plants["estimate"]), float(plants["lower"]), float(plants["upper"]))
    estimate, lower, upper = now or at_milestone
    alive = Alive(estimate, lower, upper, put_in, standing)
    currency = "" if settings.costs is None else str(settings.costs.currency)
    table = shortfall(goals, alive, lives, price, seed=settings.study.seed)
    return table.assign(currency=currency, alive_at=LAST_VISIT if now else season.when)


def _alive_now(order: InfillOrder | None, put_in: float) -> tuple[float, float, float] | None:
    """Count first plants alive at the last visit of each site, with limits; None where a site has none."""
    if order is None or order.table.empty:
        return None
    line = order.table.iloc[-1]
    dead, low, high = (float(line[name]) for name in ("dead", "dead_lower", "dead_upper"))
    if not (np.isfinite([dead, low, high]).all() and np.isclose(float(line["planted"]), put_in)):
        return None
    return put_in - dead, put_in - high, put_in - low


def whole_planting(season: Season, models: SeasonFits, day: float) -> Standardised:
    """Survival of the whole planting: by preparations, or a model of every plot, or as observed.

    Raises
    ------
    CurveError, EffectError
        When no model tells it and it cannot be counted either.
    """
    parts = by_parts(season, models) if day == season.milestone_day else None
    if parts is not None:
        return parts
    if models.whole is not None:
        return survival(models.whole, None, day, season.population)
    return counted_whole(season.intervals, day, season.window)


def by_parts(season: Season, models: SeasonFits) -> Standardised | None:
    """Survival of the planting from its preparations, at the day of the headline.

    Preparations have the shares of plants that they have in the plots of each site. Limits are put
    together from those of each part (Zou and Donner 2008, Statistics in Medicine 27, 1693-1702);
    the parts are of different plots.

    Returns
    -------
    Standardised or None
        One line, as ``survival(fit, None)`` gives it. None where every preparation is in the model,
        or one is in neither part, or a part has no limits.
    """
    intervals, answer, edges = season.intervals, models.answer, models.edges
    if not edges or answer is None:
        return None
    held = set(answer.data["method"].astype(str))
    if held | {str(name) for name in edges} != set(intervals["method"].astype(str)):
        return None
    share, put_in = _shares(intervals, season.population)
    weight = share.mul(put_in, axis=0).sum() / put_in.sum()
    plants = season.population
    if plants is not None:
        kept = plants["site"].astype(str).map(share[[name for name in share if name in held]].sum(axis=1))
        plants = plants.assign(plants=plants["plants"] * kept.fillna(0.0))
        plants = plants[plants["plants"] > 0]
    try:
        rest = survival(answer, None, season.milestone_day, plants)
        apart = with_counted_survival(None, intervals, season.milestone_day, season.window, edges).table
    except SurvivorError:
        return None
    apart = apart[~apart["method"].astype(str).isin(held)]
    parts = pd.concat([rest.table, apart], ignore_index=True)
    parts["weight"] = [
        weight[[name for name in weight.index if name in held]].sum(),
        *(weight[str(name)] for name in apart["method"]),
    ]
    estimate = float((parts["weight"] * parts["estimate"]).sum())
    away = {side: parts["weight"] * (parts[side] - parts["estimate"]) for side in _SIDES}
    reach = {side: float(np.sqrt((gap**2).sum(skipna=False))) for side, gap in away.items()}
    if not np.isfinite([estimate, *reach.values()]).all():
        return None
    counts = tally(intervals)
    table = rest.table.assign(
        estimate=estimate,
        std_error=float(parts["weight"].iloc[0] * rest.table["std_error"].iloc[0]),
        lower=max(estimate - reach["lower"], 0.0),
        upper=min(estimate + reach["upper"], 100.0),
        n_seedlings=counts["seedlings"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        died_any_day=counts["died"],
    )
    return replace(rest, table=table, covariance=np.full((1, 1), np.nan))


def _shares(intervals: pd.DataFrame, plants: pd.DataFrame | None) -> tuple[pd.DataFrame, pd.Series[float]]:
    """Return the share of each preparation in the plots of each site, and the plants put in at each."""
    entered = entries(intervals)
    keys = [entered["site"].astype(str), entered["method"].astype(str)]
    watched = entered["at_risk"].astype(float).groupby(keys).sum().unstack(fill_value=0)
    share = watched.div(watched.sum(axis=1), axis=0)
    if plants is None:
        return share, watched.sum(axis=1)
    put_in = plants.groupby(plants["site"].astype(str))["plants"].sum().astype(float)
    return share, put_in.reindex(share.index).fillna(0.0)


def counted_whole(intervals: pd.DataFrame, at: float, window: float) -> Standardised:
    """Survival of the planting as observed, for records that no model can be fitted to.

    By each plot's visit nearest to the day; limits by plot, at 0 and 100 by Wilson on the
    effective number of seedlings (``survivor.curve``). Sites and species are not standardised.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    at, window
        Day that the milestone is answered for, and how many days a visit may lie from it.

    Raises
    ------
    CurveError
        When the curve says nothing at that day.
    EffectError
        When no limits can be given.
    """
    moved, _ = at_milestone(intervals, at, window)
    strata = "site" if moved["site"].nunique() > 1 else None
    curves = curve(moved, strata=strata)
    survived = curves.at(at)
    lower, upper = curves["all"].limits(at)
    if not (math.isfinite(lower) and math.isfinite(upper)):
        raise EffectError(
            "survival of the planting has no limits, since one plot only tells",
            mend="more than one plot watched to that day",
        )
    counts = tally(intervals)
    df = counts["plots"] - (moved["site"].nunique() if strata else 1)
    line = {
        "group": ALL,
        "estimate": 100 * survived,
        "std_error": math.nan,
        "df": float(max(df, 1)),
        "lower": 100 * lower,
        "upper": 100 * upper,
        "unit": PER_100,
        "at_day": float(at),
        "n_seedlings": counts["seedlings"],
        "n_plots": counts["plots"],
        "n_sites": counts["sites"],
        "died_any_day": counts["died"],
    }
    checks = (f"No model of survival could be fitted, so it is told as observed. {sentence(curves.limits)}",)
    unseen = pd.DataFrame(columns=[ALL, "plants", "share_per_100"])
    return Standardised(ALL, float(at), pd.DataFrame([line]), np.full((1, 1), np.nan), unseen, checks)


def in_all(whole: Standardised | None, settings: Settings, basis: Basis) -> pd.DataFrame:
    """Scale survival of the planting to all plants put in, and to a hectare.

    Survival is averaged over sites and species by the plants put in, so the total is that
    survival times the plants put in, and its limits likewise; plants put in are counted, not
    estimated. A hectare holds as many plants as the study file says: plants put in over
    the hectares planted where every site tells them, else by the spacing.

    Parameters
    ----------
    whole
        Survival of the whole planting (``by=None``), or None.
    settings
        ``[[planted]]`` and ``[spacing]``.
    basis
        Of survival of those found at the first visit neither can be told.

    Returns
    -------
    DataFrame
        See ``Totals.scaled``.
    """
    none = pd.DataFrame(columns=list(SCALED_COLUMNS))
    if whole is None or basis is Basis.FOUND:
        return none
    line = whole.table.iloc[0]
    rows: list[dict[str, Any]] = []
    put_in = sum(planted.plants for planted in settings.planted)
    if put_in:
        note = f"survival times the {number(put_in)} plants planted; infill is not counted"
        rows.append(_scaled(line, TOTAL, PLANTS, float(put_in), note))
    density, note = _per_hectare(settings)
    if density is not None:
        rows.append(_scaled(line, STOCKING, STEMS, density, note))
    return pd.DataFrame(rows, columns=list(SCALED_COLUMNS)) if rows else none


def _scaled(line: pd.Series[Any], measure: str, unit: str, put_in: float, note: str) -> dict[str, Any]:
    numbers = {name: float(line[name]) * put_in / 100 for name in ("estimate", "lower", "upper")}
    return {"measure": measure, **numbers, "unit": unit, "put_in": put_in, "note": note}


def _per_hectare(settings: Settings) -> tuple[float | None, str]:
    """Plants put in per hectare, and how that is known."""
    hectares = _hectares(settings)
    if hectares is not None:
        plants = sum(planted.plants for planted in settings.planted)
        return plants / hectares, (
            f"{number(plants)} plants put in on {number(hectares, 1)} ha; infill and natural recruits are "
            "not in it"
        )
    # Preparations with a spacing of their own have no stocking in common.
    if settings.spacing is None or any(method.spacing is not None for method in settings.methods):
        return None, ""
    stems = settings.spacing.plants_per_hectare
    return stems, (
        f"{number(stems)} plants planted per hectare, by the spacing of the study file; infill and natural "
        "recruits are not counted"
    )


def _hectares(settings: Settings) -> float | None:
    """Hectares of the whole planting where each of its sites tells them once."""
    sites = {planted.site for planted in settings.planted}
    told = {planted.site: planted.hectares for planted in settings.planted if planted.hectares is not None}
    return sum(told.values()) if sites and set(told) == sites else None
