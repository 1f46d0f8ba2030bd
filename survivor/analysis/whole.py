"""How many plants are alive in the whole planting, and how many stems stand on a hectare."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis.reasons import sentence
from survivor.analysis.result import IN_ALL_COLUMNS
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.effects.standardise import ALL, Standardised
from survivor.errors import EffectError
from survivor.figures.words import number
from survivor.intervals import tally
from survivor.settings import Settings
from survivor.vocabulary import PER_100

TOTAL, STOCKING = "plants alive in the whole planting", "stocking"
PLANTS, STEMS = "plants", "living stems per hectare"


def counted_whole(intervals: pd.DataFrame, at: float, window: float) -> Standardised:
    """Survival of the planting as counted, for records that no model can be fitted to.

    By each plot's visit nearest to the day; limits by plot, at 0 and 100 by Wilson on the
    effective number of seedlings (``survivor.curve``). Sites and species are not evened out.

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
    said = (f"No model of survival could be fitted, so it is told as counted. {sentence(curves.limits)}",)
    unseen = pd.DataFrame(columns=[ALL, "plants", "share_per_100"])
    return Standardised(ALL, float(at), pd.DataFrame([line]), np.full((1, 1), np.nan), unseen, said)


def in_all(whole: Standardised | None, settings: Settings, found_first: bool) -> pd.DataFrame:
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
    found_first
        Survival is of those found at the first visit: then neither can be told.

    Returns
    -------
    DataFrame
        See ``Analysis.in_all``.
    """
    nothing = pd.DataFrame(columns=list(IN_ALL_COLUMNS))
    if whole is None or found_first:
        return nothing
    line = whole.table.iloc[0]
    rows: list[dict[str, Any]] = []
    put_in = sum(planted.plants for planted in settings.planted)
    if put_in:
        note = f"survival times the {number(put_in)} plants put in; infill is not in it"
        rows.append(_scaled(line, TOTAL, PLANTS, float(put_in), note))
    density, note = _per_hectare(settings)
    if density is not None:
        rows.append(_scaled(line, STOCKING, STEMS, density, note))
    return pd.DataFrame(rows, columns=list(IN_ALL_COLUMNS)) if rows else nothing


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
        f"{number(stems)} plants put in per hectare by the spacing of the study file; infill and natural "
        "recruits are not in it"
    )


def _hectares(settings: Settings) -> float | None:
    """Hectares of the whole planting where each of its sites tells them once."""
    sites = {planted.site for planted in settings.planted}
    told = {planted.site: planted.hectares for planted in settings.planted if planted.hectares is not None}
    return sum(told.values()) if sites and set(told) == sites else None
