"""What every part of the analysis needs to know of the season: whose survival is told, and for which day.

Tags put on after planting tell nothing of those that had died before. Where most
seedlings enter so, survival from planting cannot be determined without supposing how many
had died unseen; what is told is survival of those found alive at the first visit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from survivor.analysis.milestone import milestone_day, milestone_words, visit_ages
from survivor.analysis.models import first_plants
from survivor.entry import from_first_visit, watched_late
from survivor.intervals import entries
from survivor.records import Records
from survivor.settings import Milestone, Settings
from survivor.vocabulary import Basis
from survivor.words import sentence


@dataclass(frozen=True)
class Season:
    """The first plants' risk intervals, and the day that the headline speaks of.

    Attributes
    ----------
    settings, records
        What the study file says and what the records hold.
    intervals
        Risk intervals of the first plants; empty where no survival can be told. Where ``basis``
        is ``found`` they begin at the first visit of each plot.
    milestone_day
        Day since planting that the headline speaks of: the nominal day of the milestone, or
        the last visit inside its window, or the last visit where the milestone is not reached.
    basis
        Whether survival is of the seedlings planted or of those found at the first visit.
    population
        Plants of the whole planting (``site, species, plants``) where the study file gives
        them, else None.
    visited
        Days after planting of all visits (:func:`survivor.analysis.milestone.visit_ages`).
    notes
        What was decided on the way, in sentences.
    """

    settings: Settings
    records: Records
    intervals: pd.DataFrame
    milestone_day: float
    basis: Basis = Basis.PLANTED
    population: pd.DataFrame | None = None
    visited: pd.Series[float] = field(default_factory=lambda: pd.Series(dtype=float))
    notes: tuple[str, ...] = ()

    @property
    def milestone(self) -> Milestone:
        """The milestone of the headline."""
        return self.settings.headline_milestone

    @property
    def window(self) -> float:
        """Days that a visit may lie from the headline's milestone."""
        return float(self.milestone.window_days)

    @property
    def when(self) -> str:
        """The milestone in words, or the day where it is not reached."""
        return milestone_words(self.milestone, self.milestone_day)

    @property
    def curve_strata(self) -> str | None:
        """Sites as strata of the curves: within a block most methods have one plot."""
        return "site" if self.intervals["site"].nunique() > 1 else None

    @property
    def why_nothing(self) -> str:
        """Why no survival at all can be told; empty where it can."""
        if not self.intervals.empty:
            return ""
        if self.basis is Basis.FOUND:
            return "No survival can be told: no seedling found at the first visit was looked at again"
        return "No survival can be told: no seedling was seen alive at one visit and looked at again later"


def season_of(settings: Settings, records: Records) -> Season:
    """Choose the seedlings whose survival is told, and the day that it is told for."""
    intervals, basis, entered = first_plants(records.intervals), Basis.PLANTED, ""
    if not intervals.empty:
        entered = entry_note(intervals)
        if watched_late(intervals):
            intervals, basis = from_first_visit(intervals), Basis.FOUND
    milestone = settings.headline_milestone
    if intervals.empty:
        return Season(settings, records, intervals, float(milestone.day), basis)
    visited = visit_ages(records.visits, intervals)
    day, day_note = milestone_day(intervals, milestone, visited)
    notes = tuple(filter(None, (sentence(day_note), entered, weighting(settings, intervals))))
    return Season(settings, records, intervals, day, basis, population(settings), visited, notes)


def population(settings: Settings) -> pd.DataFrame | None:
    """Plants of the whole planting as the study file gives them, or None."""
    if not settings.planted:
        return None
    lines = [(line.site, line.species or "", line.plants) for line in settings.planted]
    return pd.DataFrame(lines, columns=["site", "species", "plants"])


def weighting(settings: Settings, intervals: pd.DataFrame) -> str:
    """Say what averages are weighted by where the study file tells of the whole planting; else empty."""
    plants = population(settings)
    if plants is None:
        return ""
    watched = int(entries(intervals)["at_risk"].sum())
    by = "sites and species" if plants["species"].astype(bool).any() else "sites"
    return (
        f"Averages weigh {by} by the {int(plants['plants'].sum()):,} plants in the whole planting "
        f"([[planted]]), not by the {watched:,} seedlings watched in the plots."
    )


def entry_note(intervals: pd.DataFrame) -> str:
    """Say how many seedlings are followed from a later day on; empty where none is."""
    entered = entries(intervals)
    late = int(entered.loc[entered["start_day"] > 0, "at_risk"].sum())
    if late == 0:
        return ""
    who = "1 seedling is" if late == 1 else f"{late:,} seedlings are"
    of = f"Of {int(entered['at_risk'].sum()):,} seedlings, {who} not known to have been tagged at planting"
    if watched_late(intervals):
        return (
            f"{of}: survival from planting cannot be determined. Numbers are of seedlings found alive at the "
            "first visit of their plot, and leave out those that had died before it, so they are higher than "
            "survival of planted. If tags went in with the plants, say so in the study file ([rules] tagged)."
        )
    return f"{of} and are followed from the first sighting on; what came before rests on the others."
