"""Analyse a season: from its records to its findings, one part after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from survivor.analysis.answer import (
    Weighed,
    comparison_answers,
    cost_answers,
    lot_notes,
    season_findings,
    whole_answers,
)
from survivor.analysis.comparing import Comparisons, comparisons_of
from survivor.analysis.confounding import Ground, ground_of
from survivor.analysis.costs import Costs, costs_of
from survivor.analysis.described import Described, described_of
from survivor.analysis.heights import alive_above_height
from survivor.analysis.models import NO_FITS, SeasonFits, fit_season
from survivor.analysis.parts import Reason, Unmade
from survivor.analysis.patch import patch_by_visit
from survivor.analysis.planting_years import survival_by_year
from survivor.analysis.radius import Radius, radius_of
from survivor.analysis.rain import Rain, rain_of
from survivor.analysis.result import Analysis
from survivor.analysis.robustness import (
    Fragility,
    Robustness,
    fit_under_other,
    fragility_of,
    robustness_of,
    without_each_site,
)
from survivor.analysis.season import Season, season_of
from survivor.analysis.supporting import Supporting, supporting_of
from survivor.analysis.survival import Survival, same_fate, survival_of
from survivor.analysis.totals import Totals, infill_to_reach, totals_of
from survivor.analysis.works import WorksAnswers, works_of
from survivor.effects.cells import levels_of
from survivor.evidence.finding import Finding
from survivor.parallel import side_by_side
from survivor.records import Records
from survivor.season.gauge import Gauges
from survivor.season.moisture import soil_water
from survivor.settings import Settings

Say = Callable[[str], None]


@dataclass(frozen=True)
class _Planting:
    """Money, and the whole planting; ``reasons`` of the latter come after those of other parts."""

    costs: Costs
    totals: Totals
    fragility: Fragility
    findings: list[Finding]
    reasons: Unmade


@dataclass(frozen=True)
class _Made:
    """What `_Beside` makes."""

    robustness: Robustness
    left_out: pd.DataFrame
    radius: Radius
    supporting: Supporting
    described: Described
    planting: _Planting
    works: WorksAnswers
    ground: Ground


@dataclass(frozen=True)
class _Beside:
    """Parts that read the models and the comparisons, and nothing of each other."""

    season: Season
    models: SeasonFits
    survival: Survival
    comparing: Comparisons
    rain: Rain
    alike: str

    def made(self, unmade: Unmade) -> _Made:
        """Make them on as many cores as there are; reasons keep one order."""
        known, season, models = Unmade(unmade), self.season, self.models
        parts: dict[str, Callable[[Unmade], Any]] = {  # the longest first
            "robustness": lambda own: robustness_of(season, models, self.comparing, own),
            "left_out": lambda own: without_each_site(season, models, self.comparing),
            "radius": lambda own: Radius() if self.alike else radius_of(season, models, own),
            "supporting": lambda own: supporting_of(season, models, not self.alike, own),
            "planting": self._planting,
            "described": lambda own: described_of(season),
            "works": lambda own: works_of(season),
            "ground": lambda own: ground_of(season, models, not self.alike, own),
        }

        def make(part: Callable[[Unmade], Any]) -> tuple[Any, Unmade]:
            own = Unmade(known)
            return part(own), own

        both = dict(zip(parts, side_by_side(make, list(parts.values())), strict=True))
        for name in ("radius", "robustness", "ground", "planting", "supporting"):
            unmade.keep_all(both[name][1].values())
        made = _Made(**{name: part for name, (part, _) in both.items()})
        unmade.keep_all(made.planting.reasons.values())
        return made

    def _planting(self, own: Unmade) -> _Planting:
        season, models = self.season, self.models
        costs = costs_of(season, models, self.survival, self.comparing, self.rain, own)
        later = Unmade(own)
        totals = totals_of(season, models, later)
        totals = replace(totals, to_reach=infill_to_reach(season, totals, costs))
        fragility = fragility_of(season, models, costs.payoff)
        return _Planting(costs, totals, fragility, whole_answers(season, models, totals, later), later)


def analyse(
    settings: Settings, records: Records, gauges: Gauges, provenance: Mapping[str, str], say: Say
) -> Analysis:
    """Analyse a season.

    Parameters
    ----------
    settings, records
        What the study file says and what the records hold.
    gauges
        The rain gauges' readings.
    provenance
        Package version, seed and digests, carried into the report.
    say
        Called with a short text before each step.

    Returns
    -------
    Analysis
        Complete as far as the records allow; ``unmade`` says why a part is missing.
    """
    unmade = Unmade()
    say("Rain and soil water" if settings.weather else "Rain gauges")
    water = soil_water(settings, gauges, records.plots)
    rain = rain_of(settings, gauges, records, water)
    patch = patch_by_visit(records.visits, levels_of(records.intervals, "method"))
    season = season_of(settings, records)
    if season.why_nothing:
        unmade.keep(Reason("season", season.why_nothing))
        whole = whole_answers(season, NO_FITS, Totals(), unmade)
        findings = season_findings(season, [], whole, [], None, rain, unmade)
        unmade.keep_all(rain.reasons)
        return Analysis(season, provenance, findings, rain=rain, soil_water=water, patch=patch, unmade=unmade)
    say("Models")
    models = fit_season(season.intervals, settings, season.milestone_day)
    unmade.keep(models.refused)
    say("Survival curves")
    survival = survival_of(season, models, unmade)
    alike = same_fate(survival.observed, season.when)
    comparing = Comparisons()
    if alike:
        unmade.keep_all(Reason(part, alike) for part in ("comparing", "all_pairs", "radius", "costs"))
    else:
        comparing = comparisons_of(season, models, unmade)
    say("The same under other models and rules, weed-free radius, money and works")
    fit_under_other(season, models)
    made = _Beside(season, models, survival, comparing, rain, alike).made(unmade)
    planting, supporting = made.planting, made.supporting
    say("Findings")
    robustness = replace(made.robustness, left_out=made.left_out, costs=planting.fragility.other_costs)
    weighed = Weighed(season, models, comparing, robustness, planting.fragility, supporting.permutation)
    findings = season_findings(
        season,
        comparison_answers(weighed),
        planting.findings,
        cost_answers(season, models, planting.costs, planting.fragility),
        made.radius.response,
        rain,
        unmade,
    )
    findings = (*findings, *made.works.findings)
    unmade.keep_all(rain.reasons)
    notes = (*season.notes, *models.notes, *comparing.notes, *lot_notes(supporting.permutation))
    day, window = season.milestone_day, season.window
    return Analysis(
        season,
        provenance,
        findings,
        models,
        survival,
        comparing,
        made.radius,
        planting.costs,
        planting.totals,
        made.ground,
        supporting,
        robustness,
        made.described,
        rain,
        water,
        survival_by_year(season.intervals, settings, day, window),
        alive_above_height(records.visits, season.intervals, settings),
        patch,
        unmade,
        tuple(dict.fromkeys(notes)),
        made.works,
    )
