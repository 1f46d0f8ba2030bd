"""Analyse a season: from its risk intervals to its findings, one step after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pandas as pd

from survivor.analysis.answers import comparison_findings, flags_for, over_years, season_findings
from survivor.analysis.backing import backed
from survivor.analysis.comparing import RADIUS_SUBJECT, compared
from survivor.analysis.entry import entry_note, from_first_visit, of_found, watched_late
from survivor.analysis.heights import tall_and_alive
from survivor.analysis.milestone import milestone_day, milestone_words
from survivor.analysis.models import first_plants, fit_season
from survivor.analysis.money import MONEY_SUBJECTS
from survivor.analysis.patch import patch_by_visit
from survivor.analysis.rain import season_rain
from survivor.analysis.reasons import Reasons, plain_terms, sentence
from survivor.analysis.result import Analysis
from survivor.analysis.season import Season, population, weighting
from survivor.analysis.stages import at_milestones, infill_survival
from survivor.analysis.tables import (
    causes_of_death,
    counted_by_method,
    method_curves,
    planted_by,
    same_fate,
    survival_by,
    three_measures,
)
from survivor.analysis.whole import in_all
from survivor.analysis.years import survival_by_year, years_note
from survivor.curves.rounds import at_milestone
from survivor.effects.cells import levels_of
from survivor.effects.consistency import plot_shares
from survivor.effects.standardise import survival
from survivor.errors import EffectError
from survivor.evidence import Finding, target_finding
from survivor.records import Records
from survivor.season.gauges import Gauges
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
        Complete as far as the records allow; ``cannot`` says why a part is missing.
    """
    reasons = Reasons()
    say("Rain and soil water" if settings.weather else "Rain gauges")
    rain = season_rain(settings, gauges, records)
    milestone = settings.headline_milestone
    analysis = Analysis(settings, records, provenance, float(milestone.day))
    analysis = replace(
        analysis,
        rain=rain.measures,
        rain_record=rain.record,
        rain_effect=rain.effect,
        rain_by_method=rain.by_method,
        soil_water=rain.water,
        patch=patch_by_visit(records.visits, levels_of(records.intervals, "method")),
    )
    intervals = first_plants(records.intervals)
    if intervals.empty:
        reasons.say(
            "No survival can be told: no seedling was seen alive at one visit and looked at again later."
        )
        return _with_findings(analysis, reasons, rain.reason, rain.cannot, None)
    late, entered = watched_late(intervals), entry_note(intervals)
    if late:
        intervals = from_first_visit(intervals)
    if intervals.empty:
        reasons.say("No survival can be told: no seedling found at the first visit was looked at again.")
        return _with_findings(analysis, reasons, rain.reason, rain.cannot, None)
    at, said = milestone_day(intervals, milestone)
    window, strata, people = float(milestone.window_days), _curve_strata(intervals), population(settings)
    say("Survival curves")
    curves = reasons.attempt("Survival curves", lambda: method_curves(intervals, at, window, strata))
    analysis = replace(
        analysis,
        milestone_day=at,
        curves=curves,
        found_first=late,
        species=survival_by(intervals, "species", at, window, planted_by(records.plots, "species")),
        sites=survival_by(intervals, "site", at, window, planted_by(records.plots, "site")),
        counted=counted_by_method(intervals, at, window),
        causes=causes_of_death(records.visits, intervals, settings),
        measures=three_measures(records.visits, records.plots, intervals, at, window),
        infill=infill_survival(records.intervals, milestone),
        years=survival_by_year(intervals, settings, at, window),
        heights=tall_and_alive(records.visits, intervals, settings),
        notes=tuple(text for text in (sentence(said), entered, weighting(settings, intervals)) if text),
    )
    say("Models")
    fits = fit_season(intervals, settings, at)
    reasons.say(*fits.cannot)
    named = {"grouped": fits.headline} if fits.headline is not None else {}
    analysis = replace(
        analysis, fits={**named, **fits.others}, notes=tuple(dict.fromkeys([*analysis.notes, *fits.notes]))
    )
    analysis = replace(
        analysis, milestones=at_milestones(intervals, settings.milestones, fits.headline, people, strata)
    )
    season = Season(settings, records, intervals, at, people, fits, late)
    analysis, bound_differences = compared(analysis, season, reasons, say)
    analysis = backed(analysis, season, say)
    alike = same_fate(analysis.counted, milestone_words(milestone, at))
    if alike:
        reasons.say(alike)
        analysis = replace(
            analysis,
            contrasts=None,
            all_pairs=None,
            radius_held=None,
            payoff=None,
            season_costs=None,
            dose=None,
            like_sites=None,
        )
    say("Findings")
    flags, shares = [], None
    if analysis.contrasts is not None:
        shares = plot_shares(at_milestone(intervals, at, window)[0], at)
        flags = [
            flags_for(analysis, row, bounds=bound_differences, shares=shares)
            for row in range(len(analysis.contrasts.table))
        ]
    comparisons = (
        comparison_findings(analysis.contrasts, flags, settings, milestone_words(milestone, at))
        if analysis.contrasts is not None
        else []
    )
    return _with_findings(analysis, reasons, rain.reason, rain.cannot, season, comparisons, shares)


def _with_findings(
    analysis: Analysis,
    reasons: Reasons,
    rain_reason: str,
    rain_cannot: tuple[str, ...],
    season: Season | None,
    comparisons: list[Finding] | None = None,
    shares: pd.DataFrame | None = None,
) -> Analysis:
    whole = target = None
    fitted = season.fits.whole if season is not None else None
    if season is not None and fitted is not None:
        whole = reasons.attempt(
            "Survival of the planting", lambda: survival(fitted, None, season.at, season.population)
        )
        target = reasons.attempt("Target", lambda: _target(season))
    analysis = replace(analysis, in_all=in_all(whole, analysis.settings, analysis.found_first))
    findings = season_findings(
        analysis,
        whole=whole,
        target=target,
        comparisons=comparisons or [],
        shares=shares,
        rain_reason=rain_reason,
        why_not=reasons.besides(RADIUS_SUBJECT, *MONEY_SUBJECTS) or "The preparations could not be compared.",
    )
    if season is not None:
        findings = over_years(findings, years_note(season.intervals, season.settings))
    cannot = tuple(dict.fromkeys(map(plain_terms, [*reasons.said, *rain_cannot])))
    analysis = replace(analysis, notes=tuple(map(plain_terms, analysis.notes)))
    findings = tuple(
        replace(finding, answer=plain_terms(finding.answer), checks=tuple(map(plain_terms, finding.checks)))
        for finding in findings
    )
    if not analysis.found_first:
        return replace(analysis, findings=findings, cannot=cannot)
    return replace(
        analysis, findings=tuple(_found(finding) for finding in findings), cannot=tuple(map(of_found, cannot))
    )


def _found(finding: Finding) -> Finding:
    """Say of seedlings found at the first visit what was written of planted ones."""
    return replace(
        finding,
        answer=of_found(finding.answer),
        unit=of_found(finding.unit),
        checks=tuple(map(of_found, finding.checks)),
        reasons=tuple(map(of_found, finding.reasons)),
    )


def _curve_strata(intervals: pd.DataFrame) -> str | None:
    """Sites as strata of the curves: within a block most methods have one plot."""
    return "site" if intervals["site"].nunique() > 1 else None


def _target(season: Season) -> Finding | None:
    """Judge the target at its own milestone; None where nothing was promised."""
    settings, fitted = season.settings, season.fits.whole
    if settings.target is None or fitted is None:
        return None
    milestone = next(m for m in settings.milestones if m.name == settings.target.milestone)
    at, _ = milestone_day(season.intervals, milestone)
    if at < milestone.day - milestone.window_days:
        raise EffectError(f"the visits have not reached {milestone.name}, for which survival was promised")
    whole = survival(fitted, None, at, season.population)
    # Those found at the first visit live on more often than those planted: a promise that even
    # they fall short of was missed, but one that they keep may have been missed all the same.
    if season.found_first and not float(whole.table["upper"].iloc[0]) < settings.target.survival_per_100:
        raise EffectError(
            "survival was promised of planted seedlings, and these records begin at the first visit; of "
            "those found there more live on, so they cannot show that the promise was kept"
        )
    return target_finding(whole, settings.target.survival_per_100, milestone.name, settings.design)
