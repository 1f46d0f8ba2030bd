"""Everything that a season's records were found to say: what the report prints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from survivor.analysis.comparing import Comparisons
from survivor.analysis.confounding import Ground
from survivor.analysis.costs import Costs
from survivor.analysis.described import Described
from survivor.analysis.heights import HEIGHT_COLUMNS
from survivor.analysis.models import NO_FITS, SeasonFits
from survivor.analysis.parts import Reason, Unmade, no_rows
from survivor.analysis.patch import PATCH_COLUMNS
from survivor.analysis.planting_years import YEAR_COLUMNS
from survivor.analysis.radius import Radius
from survivor.analysis.rain import Rain
from survivor.analysis.robustness import Robustness
from survivor.analysis.season import Season
from survivor.analysis.supporting import Supporting
from survivor.analysis.survival import Survival
from survivor.analysis.totals import Totals
from survivor.analysis.works import WorksAnswers
from survivor.evidence.finding import Finding
from survivor.records import Records
from survivor.season.moisture import SoilWater
from survivor.settings import Settings
from survivor.vocabulary import Basis


@dataclass(frozen=True, repr=False)
class Analysis:
    """A season, analysed: a part for each subject, under the name that it has in the report.

    What could not be made is None or empty in its part, and ``unmade`` says why.

    Attributes
    ----------
    season
        The study file, the records, the plants whose survival is told and the day it is told for.
    findings
        The answers, the headline first.
    survival, comparing, radius, costs, totals, confounding, supporting, robustness, described, rain
        The parts.
    soil_water
        Of the plots that lie by a gauge with weather; None where the study file names none.
    planting_years
        Survival of each planting season, where there are several: ``planting_year, method,
        estimate, lower, upper`` (per 100), ``watched, n_plots, n_sites, at_day, note``.
    heights
        Alive and of a set height: ``method, milestone, at_day, at_least_cm, known, alive, measured,
        tall`` (plants), ``estimate, lower, upper`` (per 100), ``n_plots, note``.
    patch
        Weed cover and weed-free radius by visit: ``measure, method, visit, first_day, last_day, day``
        (days since planting), ``mean, low_quarter, high_quarter, unit, n_plots, n_records``.
    models
        The models that the parts rest on.
    unmade
        Why a part could not be made, by its name.
    notes
        What was decided on the way.
    works
        What the works of preparations add, and when, where the study file asks about them.
    provenance
        Package version, seed, settings digest and the digest of every input by file name.
    """

    season: Season
    provenance: Mapping[str, str] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()
    models: SeasonFits = NO_FITS
    survival: Survival = field(default_factory=Survival)
    comparing: Comparisons = field(default_factory=Comparisons)
    radius: Radius = field(default_factory=Radius)
    costs: Costs = field(default_factory=Costs)
    totals: Totals = field(default_factory=Totals)
    confounding: Ground = field(default_factory=Ground)
    supporting: Supporting = field(default_factory=Supporting)
    robustness: Robustness = field(default_factory=Robustness)
    described: Described = field(default_factory=Described)
    rain: Rain = field(default_factory=Rain)
    soil_water: SoilWater | None = None
    planting_years: pd.DataFrame = field(default_factory=no_rows(*YEAR_COLUMNS))
    heights: pd.DataFrame = field(default_factory=no_rows(*HEIGHT_COLUMNS))
    patch: pd.DataFrame = field(default_factory=no_rows(*PATCH_COLUMNS))
    unmade: Mapping[str, Reason] = field(default_factory=Unmade)
    notes: tuple[str, ...] = ()
    works: WorksAnswers = field(default_factory=WorksAnswers)

    @property
    def settings(self) -> Settings:
        """What the study file says."""
        return self.season.settings

    @property
    def records(self) -> Records:
        """What the records hold."""
        return self.season.records

    @property
    def milestone_day(self) -> float:
        """Day since planting that the headline speaks of."""
        return self.season.milestone_day

    @property
    def basis(self) -> Basis:
        """Whose survival is told: of the seedlings planted, or of those found at the first visit."""
        return self.season.basis

    @property
    def per_100(self) -> str:
        """The unit of survival: per 100 of those planted, or of those found."""
        return self.season.basis.per_100

    @property
    def cannot(self) -> tuple[str, ...]:
        """What these records cannot answer and why, in sentences."""
        return Unmade(self.unmade).texts()

    def __repr__(self) -> str:
        """Show the findings, as a reader would have them."""
        answers = [f"  {finding}" for finding in self.findings]
        return "\n".join([f"Analysis of {self.settings.study.name!r}", *answers])
