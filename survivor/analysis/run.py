"""Analyse a season: from its risk intervals to its findings, one step after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pandas as pd

from survivor.analysis.ages import visit_ages
from survivor.analysis.answers import (
    comparison_findings,
    flags_for,
    lot_said,
    missing_said,
    over_years,
    season_findings,
)
from survivor.analysis.arms import by_arms
from survivor.analysis.backing import backed
from survivor.analysis.comparing import RADIUS_SUBJECT, compared
from survivor.analysis.entry import entry_note, from_first_visit, of_found, watched_late
from survivor.analysis.heights import tall_and_alive
from survivor.analysis.measures import three_measures
from survivor.analysis.milestone import between_visits, milestone_day, milestone_words
from survivor.analysis.models import first_plants, fit_season
from survivor.analysis.money import MONEY_SUBJECTS
from survivor.analysis.patch import patch_by_visit
from survivor.analysis.rain import season_rain
from survivor.analysis.reasons import Reasons, plain_terms, sentence
from survivor.analysis.result import Analysis
from survivor.analysis.season import Season, population, weighting
from survivor.analysis.stages import at_milestones, infill_survival
from survivor.analysis.swayed import Swayed, of_whole, swayed
from survivor.analysis.tables import (
    causes_of_death,
    counted_by_method,
    method_curves,
    planted_by,
    same_fate,
    survival_by,
)
from survivor.analysis.whole import counted_whole, in_all
from survivor.analysis.years import survival_by_year, years_note
from survivor.curves.rounds import at_milestone
from survivor.effects.cells import levels_of
from survivor.effects.consistency import plot_shares
from survivor.effects.standardise import Standardised, survival
from survivor.errors import EffectError
from survivor.evidence import Finding, target_finding, unanswered_finding
from survivor.evidence.describing import survival_finding
from survivor.evidence.making import TARGET
from survivor.records import Records
from survivor.season.gauges import Gauges
from survivor.settings import Milestone, Settings

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
    visited = visit_ages(records.visits, intervals)
    at, said = milestone_day(intervals, milestone, visited)
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
    named = {"grouped": fits.answer} if fits.answer is not None else {}
    analysis = replace(
        analysis, fits={**named, **fits.others}, notes=tuple(dict.fromkeys([*analysis.notes, *fits.notes]))
    )
    analysis = replace(
        analysis,
        milestones=at_milestones(intervals, settings.milestones, fits.answer, people, strata, visited),
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
    flags, shares, known = [], None, swayed(analysis, season)
    if analysis.contrasts is not None:
        shares = plot_shares(at_milestone(intervals, at, window)[0], at)
        flags = [
            flags_for(
                analysis,
                row,
                bounds=bound_differences,
                shares=shares,
                known=known,
                not_proportional=fits.not_proportional,
            )
            for row in range(len(analysis.contrasts.table))
        ]
        analysis = replace(analysis, notes=(*analysis.notes, *lot_said(analysis)))
    comparisons = (
        comparison_findings(
            analysis.contrasts,
            flags,
            settings,
            milestone_words(milestone, at),
            records.plots["method"].astype(str),
        )
        if analysis.contrasts is not None
        else []
    )
    told = between_visits(intervals, at)
    more = [missing_said(analysis, flags, bound_differences), f"Day {at:g} is told {told}." if told else ""]
    if comparisons and comparisons[0].grade != "unanswered":
        lead = comparisons[0]
        comparisons[0] = replace(lead, answer=" ".join(filter(None, [lead.answer, *more])))
    return _with_findings(analysis, reasons, rain.reason, rain.cannot, season, comparisons, shares, known)


def _with_findings(
    analysis: Analysis,
    reasons: Reasons,
    rain_reason: str,
    rain_cannot: tuple[str, ...],
    season: Season | None,
    comparisons: list[Finding] | None = None,
    shares: pd.DataFrame | None = None,
    known: Swayed | None = None,
) -> Analysis:
    whole = target = survived = None
    if season is not None:
        whole = reasons.attempt("Survival of the planting", lambda: _whole(season, season.at))
        survived = _survived(season, whole) if whole is not None else None
    target = _target_or_why(analysis, season, reasons)
    analysis = replace(analysis, in_all=in_all(whole, analysis.settings, analysis.found_first))
    findings = season_findings(
        analysis,
        whole=whole,
        target=target,
        comparisons=comparisons or [],
        shares=shares,
        rain_reason=rain_reason,
        why_not=reasons.besides(RADIUS_SUBJECT, *MONEY_SUBJECTS) or "The preparations could not be compared.",
        survived=survived,
        known=known,
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


def _whole(season: Season, at: float) -> Standardised:
    """Survival of the whole planting: by preparations, or a model of every plot, or as counted."""
    parts = by_arms(season) if at == season.at else None
    if parts is not None:
        return parts
    if season.fits.whole is not None:
        return survival(season.fits.whole, None, at, season.population)
    return counted_whole(season.intervals, at, float(season.settings.headline_milestone.window_days))


def _target_or_why(analysis: Analysis, season: Season | None, reasons: Reasons) -> Finding | None:
    """Judge the target, or keep the question with the reason; None where nothing was promised."""
    promised = analysis.settings.target
    if promised is None:
        return None
    milestone, at = _promised(analysis.settings), analysis.milestone_day
    if season is None:
        why = " ".join(reasons.said) or "No survival can be told."
    else:
        at, _ = milestone_day(
            season.intervals, milestone, visit_ages(season.records.visits, season.intervals)
        )
        before = len(reasons.said)
        found = reasons.attempt("Target", lambda: _target(season))
        if found is not None:
            return found
        why = " ".join(reasons.said[before:]).removeprefix("Target: ") or "It could not be judged."
    return unanswered_finding("target", TARGET, sentence(why), milestone_words(milestone, at), at)


def _promised(settings: Settings) -> Milestone:
    """Milestone for which survival was promised; the headline's where nothing was."""
    named = settings.target.milestone if settings.target is not None else settings.headline_milestone.name
    return next(milestone for milestone in settings.milestones if milestone.name == named)


def _survived(season: Season, whole: Standardised) -> Finding:
    """Make the finding of how many of the whole planting are alive at the headline's milestone."""
    milestone = season.settings.headline_milestone
    flags, told, said = of_whole(season, season.at, None, float(milestone.window_days))
    named = milestone_words(milestone, season.at)
    found = survival_finding(whole, named, season.settings.design, flags=flags, told=told)
    return replace(found, answer=f"{found.answer} {said}".strip())


def _target(season: Season) -> Finding | None:
    """Judge the target at its own milestone; None where nothing was promised."""
    settings = season.settings
    if settings.target is None:
        return None
    milestone = _promised(settings)
    visited = visit_ages(season.records.visits, season.intervals)
    at, _ = milestone_day(season.intervals, milestone, visited)
    if at < milestone.day - milestone.window_days:
        raise EffectError(f"the visits have not reached {milestone.name}, for which survival was promised")
    whole = _whole(season, at)
    # Those found at the first visit live on more often than those planted: a promise that even
    # they fall short of was missed, but one that they keep may have been missed all the same.
    if season.found_first and not float(whole.table["upper"].iloc[0]) < settings.target.survival_per_100:
        raise EffectError(
            "survival was promised of planted seedlings, and these records begin at the first visit; of "
            "those found there more live on, so they cannot show that the promise was kept"
        )
    promised = settings.target.survival_per_100
    flags, told, said = of_whole(season, at, promised, float(milestone.window_days))
    found = target_finding(whole, promised, milestone.name, settings.design, flags=flags, told=told)
    return replace(found, answer=f"{found.answer} {said}".strip())
