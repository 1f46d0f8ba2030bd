"""What every step of the analysis needs to know of the season."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from survivor.analysis.models import SeasonFits
from survivor.intervals import entries
from survivor.records import Records
from survivor.settings import Settings


@dataclass(frozen=True)
class Season:
    """The first plants' risk intervals, the day asked for, and the models fitted to them.

    ``population`` holds the plants of the whole planting (``site, species, plants``)
    where the study file gives them, else None. ``found_first``: the intervals are of
    seedlings found at the first visit (``survivor.analysis.entry``).
    """

    settings: Settings
    records: Records
    intervals: pd.DataFrame
    at: float
    population: pd.DataFrame | None
    fits: SeasonFits
    found_first: bool = False


def population(settings: Settings) -> pd.DataFrame | None:
    """Plants of the whole planting as the study file gives them, or None."""
    if not settings.planted:
        return None
    lines = [(line.site, line.species or "", line.plants) for line in settings.planted]
    return pd.DataFrame(lines, columns=["site", "species", "plants"])


def weighting(settings: Settings, intervals: pd.DataFrame) -> str:
    """Say what averages are weighted by where the study file tells of the whole planting; else empty."""
    people = population(settings)
    if people is None:
        return ""
    watched = int(entries(intervals)["at_risk"].sum())
    by = "sites and species" if people["species"].astype(bool).any() else "sites"
    return (
        f"Averages weigh {by} by the {int(people['plants'].sum()):,} plants put in over the whole planting "
        f"([[planted]] in the study file), not by the {watched:,} seedlings watched in the plots."
    )
