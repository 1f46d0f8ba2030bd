"""Everything that a season's records were found to say: what the report prints."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import pandas as pd

from survivor.costing import Payoff
from survivor.costs.scenarios import Scenarios
from survivor.costs.stocking import InfillOrder, StemsNeeded
from survivor.curves import Curves
from survivor.curves.mean_days import MeanDaysAlive
from survivor.effects.confounding import Confounding
from survivor.effects.contrasts import Contrasts
from survivor.effects.dose import Dose
from survivor.effects.hazards import Hazards
from survivor.effects.sensitivity import Sensitivity
from survivor.effects.slopes import Slopes
from survivor.effects.standardise import Standardised
from survivor.effects.within_between import WithinBetween
from survivor.evidence import Finding
from survivor.models.permutation import PermutationTest
from survivor.models.result import Fit
from survivor.records import Records
from survivor.season.moisture import SoilWater
from survivor.settings import Settings

MILESTONE_COLUMNS = (
    "milestone",
    "day",
    "at_day",
    "method",
    "estimate",
    "lower",
    "upper",
    "n_seedlings",
    "n_plots",
    "n_sites",
    "note",
)
YEAR_COLUMNS = (
    "planting_year",
    "method",
    "estimate",
    "lower",
    "upper",
    "watched",
    "n_plots",
    "n_sites",
    "at_day",
    "note",
)
HEIGHT_COLUMNS = (
    "method",
    "milestone",
    "at_day",
    "at_least_cm",
    "known",
    "alive",
    "measured",
    "tall",
    "estimate",
    "lower",
    "upper",
    "n_plots",
    "note",
)
PATCH_COLUMNS = (
    "measure",
    "method",
    "visit",
    "first_day",
    "last_day",
    "day",
    "mean",
    "low_quarter",
    "high_quarter",
    "unit",
    "n_plots",
    "n_records",
)
IN_ALL_COLUMNS = ("measure", "estimate", "lower", "upper", "unit", "put_in", "note")
INFILL_COLUMNS = ("plants", "at_day", "estimate", "lower", "upper", "n_plots", "note")


def _columns(*names: str) -> Callable[[], pd.DataFrame]:
    """Return a maker of empty tables."""
    return lambda: pd.DataFrame(columns=list(names))


@dataclass(frozen=True, repr=False)
class Analysis:
    """A season, analysed. A part that could not be made is None or empty, and ``cannot`` says why.

    Attributes
    ----------
    milestone_day
        Day since planting that the headline speaks of: the nominal day of the
        milestone, or the last visit inside its window, or the last visit where the
        milestone is not reached.
    survival, contrasts, all_pairs
        From the ``grouped`` model, per 100 planted, standardised over the study's
        sites and species.
    radius_by_method
        Slope of the radius under each preparation, and whether they differ.
    radius_held
        The same contrasts with the weed-free radius held equal.
    season_costs
        Costs in a dry and in a wet season; None where how rain went with survival cannot be told.
    stems_needed, infill_order
        Plants to put in for the stems wanted, where the study file says how many; infill to order for
        the plants that died so far.
    agreement
        ``model, method, against, estimate, lower, upper`` (per 100 planted), ``note``.
    rain
        Season measures, one row a gauge, planting date and measure.
    rain_record
        Daily falls: ``gauge, date, rain_mm``.
    rain_effect, rain_by_method
        Rain of the first dry season and survival, over all preparations and under each;
        None where it cannot be told.
    soil_water
        Of the plots that lie by a gauge with weather; None where the study file names none.
    species, sites
        ``species`` or ``site``, ``planted`` (blank where not told), ``watched`` (what the
        estimate rests on), ``estimate, lower, upper`` (per 100), ``n_plots``.
    counted
        ``method, watched, alive, died, unknown``: seedlings as counted at the milestone.
    milestones
        Survival at every milestone of the study file: ``milestone, day`` (as asked), ``at_day``
        (as answered; blank where not reached), ``method, estimate, lower, upper`` (per 100),
        ``n_seedlings, n_plots, n_sites, note`` (how it was told, or why not).
    infill
        ``plants, at_day, estimate, lower, upper`` (per 100 infill plants), ``n_plots, note``; days
        since their own planting.
    found_first
        Numbers are per 100 found at the first visit, not per 100 planted: most seedlings
        were not tagged at planting.
    causes
        ``method, period, cause, deaths``.
    in_all
        ``measure, estimate, lower, upper, unit, put_in, note``: plants alive in the whole planting
        and stocking, where the study file tells plants put in, hectares or spacing.
    years
        Survival of each planting season, where there are several: ``planting_year, method,
        estimate, lower, upper`` (per 100), ``watched, n_plots, n_sites, at_day, note``.
    heights
        Alive and of a set height: ``method, milestone, at_day, at_least_cm, known, alive, measured,
        tall`` (plants), ``estimate, lower, upper`` (per 100), ``n_plots, note``.
    patch
        Weed cover and weed-free radius by visit: ``measure, method, visit, first_day, last_day, day``
        (days since planting), ``mean, low_quarter, high_quarter, unit, n_plots, n_records``.
    bounds
        ``rule, method, estimate, lower, upper`` (per 100): the answer under other
        rules for missing and unknown plants.
    measures
        ``measure, of, alive, estimate`` (per 100), ``note``: the three measures that
        never share a name.
    left_out
        ``site_left_out, method, against, estimate, lower, upper`` (per 100 planted).
    permutation
        p of each preparation from other layouts of the lot; None where none was drawn.
    hazards, residuals
        Ratios of hazards by period with their test; what the Cox model's residuals say of
        each round of visits: ``method, day, first_day, last_day, deaths, estimate, overall``.
    mean_days
        Restricted means and their differences, in days alive.
    within_between, sensitivity
        Within sites beside between them; risk ratios with E-values, where preparations
        were not allocated at random.
    like_sites
        The contrasts with limits for sites like these.
    unmade
        Why a part of the appendix could not be made, by the name of its field.
    cannot, notes
        What cannot be said and why; what was decided on the way.
    provenance
        Package version, seed, settings digest and the digest of every input by file name.
    """

    settings: Settings
    records: Records
    provenance: Mapping[str, str]
    milestone_day: float
    findings: tuple[Finding, ...] = ()
    survival: Standardised | None = None
    contrasts: Contrasts | None = None
    all_pairs: Contrasts | None = None
    curves: Curves | None = None
    dose: Dose | None = None
    radius_held: Contrasts | None = None
    radius_by_method: Slopes | None = None
    payoff: Payoff | None = None
    season_costs: Scenarios | None = None
    stems_needed: StemsNeeded | None = None
    infill_order: InfillOrder | None = None
    confounding: Confounding | None = None
    fits: Mapping[str, Fit] = field(default_factory=dict)
    agreement: pd.DataFrame = field(
        default_factory=_columns("model", "method", "against", "estimate", "lower", "upper", "note")
    )
    rain: pd.DataFrame = field(
        default_factory=_columns(
            "gauge", "measure", "value", "unit", "median", "decile", "years_of_record", "note"
        )
    )
    rain_record: pd.DataFrame = field(default_factory=_columns("gauge", "date", "rain_mm"))
    rain_effect: pd.DataFrame | None = None
    rain_by_method: Slopes | None = None
    soil_water: SoilWater | None = None
    species: pd.DataFrame = field(
        default_factory=_columns("species", "planted", "watched", "estimate", "lower", "upper", "n_plots")
    )
    sites: pd.DataFrame = field(
        default_factory=_columns("site", "planted", "watched", "estimate", "lower", "upper", "n_plots")
    )
    counted: pd.DataFrame = field(default_factory=_columns("method", "watched", "alive", "died", "unknown"))
    milestones: pd.DataFrame = field(default_factory=_columns(*MILESTONE_COLUMNS))
    infill: pd.DataFrame = field(default_factory=_columns(*INFILL_COLUMNS))
    found_first: bool = False
    in_all: pd.DataFrame = field(default_factory=_columns(*IN_ALL_COLUMNS))
    years: pd.DataFrame = field(default_factory=_columns(*YEAR_COLUMNS))
    heights: pd.DataFrame = field(default_factory=_columns(*HEIGHT_COLUMNS))
    patch: pd.DataFrame = field(default_factory=_columns(*PATCH_COLUMNS))
    causes: pd.DataFrame = field(default_factory=_columns("method", "period", "cause", "deaths"))
    bounds: pd.DataFrame = field(default_factory=_columns("rule", "method", "estimate", "lower", "upper"))
    measures: pd.DataFrame = field(default_factory=_columns("measure", "alive", "of", "estimate", "note"))
    left_out: pd.DataFrame = field(
        default_factory=_columns("site_left_out", "method", "against", "estimate", "lower", "upper")
    )
    permutation: PermutationTest | None = None
    hazards: Hazards | None = None
    residuals: pd.DataFrame = field(
        default_factory=_columns("method", "day", "first_day", "last_day", "deaths", "estimate", "overall")
    )
    mean_days: MeanDaysAlive | None = None
    within_between: WithinBetween | None = None
    sensitivity: Sensitivity | None = None
    like_sites: Contrasts | None = None
    unmade: Mapping[str, str] = field(default_factory=dict)
    cannot: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """Show the findings, as a reader would have them."""
        answers = [f"  {finding}" for finding in self.findings]
        return "\n".join([f"Analysis of {self.settings.study.name!r}", *answers])
