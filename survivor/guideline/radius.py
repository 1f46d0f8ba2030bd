"""The weed-free radius advised: from where more stops paying, with its limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from survivor.analysis.models import season_formula
from survivor.effects.dose import dose
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.seasons import Season
from survivor.seasons.season import joint_strata

RADIUS = "weed_free_radius_m"
AT_PLANTING = "at planting"


@dataclass(frozen=True)
class RadiusAdvice:
    """For one kind of ground, or all: metres with limits where it is reached, and the sentence."""

    ground: str
    value: float | None
    lower: float | None
    upper: float | None
    sentence: str
    n_plots: int = 0


def radius_advice(
    seasons: Sequence[Season], joined: pd.DataFrame, grounds: Sequence[str], at: float, gain: float
) -> tuple[RadiusAdvice, ...]:
    """Advise on the weed-free radius for all ground together, then for each kind."""
    if RADIUS not in joined.columns or joined[RADIUS].isna().all():
        return (RadiusAdvice("all kinds", None, None, None, "No weed-free radius is in the records."),)
    late = [season.name for season in seasons if season.settings.design.radius_measured != AT_PLANTING]
    if late:
        said = (
            f"The radius was not measured at planting in {', '.join(late)}, so it is part of what the "
            "preparations "
            "did and no radius is advised from it."
        )
        return (RadiusAdvice("all kinds", None, None, None, said),)
    found = [_of("all kinds", joined[joined["ground"] != ""], joined, seasons, at, gain)]
    found += [_of(name, joined[joined["ground"] == name], joined, seasons, at, gain) for name in grounds]
    return tuple(found)


def _of(
    name: str, rows: pd.DataFrame, joined: pd.DataFrame, seasons: Sequence[Season], at: float, gain: float
) -> RadiusAdvice:
    known = rows[rows[RADIUS].notna()].copy()
    known.attrs = dict(joined.attrs)
    if known.empty:
        return RadiusAdvice(name, None, None, None, "No plot of these seasons lies on such ground.")
    known["method"] = known["method"].cat.remove_unused_categories()
    plots = len(known[["season", "site", "block", "plot"]].drop_duplicates())
    try:
        fitted = fit(known, season_formula(known)[0], strata=joint_strata(known, seasons))
        response = dose(fitted, RADIUS, at, gain=gain, radius_measured=AT_PLANTING)
    except SurvivorError as fault:
        return RadiusAdvice(name, None, None, None, f"Not told: {fault.what}.", plots)
    stops = response.stops_paying
    if stops is None:
        said = " ".join(response.checks) or "The response to the radius could not be told."
        return RadiusAdvice(name, None, None, None, said, plots)
    return RadiusAdvice(name, stops.value, stops.lower, stops.upper, stops.sentence, plots)
