"""How many plants are alive in the whole planting, and how many stems stand on a hectare."""

from __future__ import annotations

from typing import Any

import pandas as pd

from survivor.analysis.result import IN_ALL_COLUMNS
from survivor.effects.standardise import Standardised
from survivor.figures.words import number
from survivor.settings import Settings

TOTAL, STOCKING = "plants alive in the whole planting", "stocking"
PLANTS, STEMS = "plants", "living stems per hectare"


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
