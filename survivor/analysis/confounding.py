"""Whether the ground, rather than the preparations, may account for the differences."""

from __future__ import annotations

from dataclasses import dataclass

from survivor.analysis.models import SeasonFits
from survivor.analysis.parts import Unmade
from survivor.analysis.season import Season
from survivor.effects.confounding import Confounding, confounding
from survivor.effects.sensitivity import Sensitivity, sensitivity
from survivor.effects.within_between import WithinBetween, within_between
from survivor.vocabulary import RANDOM


@dataclass(frozen=True)
class Ground:
    """Whether the ground, rather than the preparations, may account for the differences.

    Attributes
    ----------
    layout
        Which preparations stood at which sites, and traits of their plots.
    within_between
        Differences within sites beside those between them.
    sensitivity
        Risk ratios with E-values, where preparations were not allocated at random.
    """

    layout: Confounding | None = None
    within_between: WithinBetween | None = None
    sensitivity: Sensitivity | None = None


def ground_of(season: Season, models: SeasonFits, comparable: bool, unmade: Unmade) -> Ground:
    """Tell what went with the preparations; ``comparable``: they did not all end alike."""
    if models.within is None and not models.edges:
        return Ground()
    # All methods of the records, also those that no site joins to the rest.
    layout = unmade.attempt("confounding", lambda: confounding(season.intervals))
    head, answer = models.headline, models.within
    if head is None or answer is None:
        return Ground(layout)
    within = unmade.attempt("within_between", lambda: within_between(head))
    ratios = None
    if comparable and season.settings.design.allocation != RANDOM:
        day, plants = season.milestone_day, season.population
        ratios = unmade.attempt("sensitivity", lambda: sensitivity(answer, at=day, population=plants))
    return Ground(layout, within, ratios)
