"""What every step of the analysis needs to know of the season."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from survivor.analysis.models import SeasonFits
from survivor.records import Records
from survivor.settings import Settings


@dataclass(frozen=True)
class Season:
    """The first plants' risk intervals, the day asked for, and the models fitted to them.

    ``population`` holds the plants of the whole planting (``site, species, plants``)
    where the study file gives them, else None.
    """

    settings: Settings
    records: Records
    intervals: pd.DataFrame
    at: float
    population: pd.DataFrame | None
    fits: SeasonFits


def population(settings: Settings) -> pd.DataFrame | None:
    """Plants of the whole planting as the study file gives them, or None."""
    if not settings.planted:
        return None
    lines = [(line.site, line.species or "", line.plants) for line in settings.planted]
    return pd.DataFrame(lines, columns=["site", "species", "plants"])
