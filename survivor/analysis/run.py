"""Analyse a season: from its records to its findings, one part after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from survivor.analysis.answer import (
    Weighed,
    comparison_answers,
    cost_answers,
    lot_notes,
    season_findings,
    whole_answers,
)
from survivor.analysis.comparing import Comparisons, comparisons_of
from survivor.analysis.confounding import ground_of
from survivor.analysis.costs import costs_of
from survivor.analysis.described import described_of
from survivor.analysis.heights import alive_above_height
from survivor.analysis.models import NO_FITS, fit_season
from survivor.analysis.parts import Reason, Unmade
from survivor.analysis.patch import patch_by_visit
from survivor.analysis.planting_years import survival_by_year
from survivor.analysis.radius import Radius, radius_of
from survivor.analysis.rain import rain_of
from survivor.analysis.result import Analysis
from survivor.analysis.robustness import fragility_of, robustness_of
from survivor.analysis.season import season_of
from survivor.analysis.supporting import supporting_of
from survivor.analysis.survival import same_fate, survival_of
from survivor.analysis.totals import Totals, infill_to_reach, totals_of
from survivor.analysis.works import works_of
from survivor.effects.cells import levels_of
from survivor.records import Records
from survivor.season.gauge import Gauges
from survivor.season.moisture import soil_water
from survivor.settings import Settings

Say = Callable[[str], None]


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
    comparing, radius = Comparisons(), Radius()
    if alike:
        unmade.keep_all(Reason(part, alike) for part in ("comparing", "all_pairs", "radius", "costs"))
    else:
        comparing = comparisons_of(season, models, unmade)
        say("Weed-free radius")
        radius = radius_of(season, models, unmade)
    say("The same under other models and rules")
    robustness = robustness_of(season, models, comparing, unmade)
    confounding = ground_of(season, models, not alike, unmade)
    say("Money")
    costs = costs_of(season, models, survival, comparing, rain, unmade)
    supporting = supporting_of(season, models, not alike, unmade, say)
    if settings.works is not None:
        say("Works")
    works = works_of(season)
    totals = totals_of(season, models, unmade)
    totals = replace(totals, to_reach=infill_to_reach(season, totals, costs))
    say("Findings")
    fragility = fragility_of(season, models, costs.payoff)
    weighed = Weighed(season, models, comparing, robustness, fragility, supporting.permutation)
    findings = season_findings(
        season,
        comparison_answers(weighed),
        whole_answers(season, models, totals, unmade),
        cost_answers(season, models, costs, fragility),
        radius.response,
        rain,
        unmade,
    )
    findings = (*findings, *works.findings)
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
        radius,
        costs,
        totals,
        confounding,
        supporting,
        robustness,
        described_of(season),
        rain,
        water,
        survival_by_year(season.intervals, settings, day, window),
        alive_above_height(records.visits, season.intervals, settings),
        patch,
        unmade,
        tuple(dict.fromkeys(notes)),
        works,
    )
