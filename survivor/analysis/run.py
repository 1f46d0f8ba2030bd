"""Analyse a season: from its risk intervals to its findings, one step after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pandas as pd

from survivor.analysis.answers import comparison_findings, flags_for, season_findings
from survivor.analysis.backing import backed
from survivor.analysis.comparing import MONEY_SUBJECT, RADIUS_SUBJECT, compared
from survivor.analysis.milestone import milestone_day
from survivor.analysis.models import first_plants, fit_season
from survivor.analysis.rain import season_rain
from survivor.analysis.reasons import Reasons, sentence
from survivor.analysis.result import Analysis
from survivor.analysis.season import Season, population
from survivor.analysis.tables import ROUND_DAYS, causes_of_death, survival_by, three_measures
from survivor.curves import curve
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
        soil_water=rain.water,
    )
    intervals = first_plants(records.intervals)
    if intervals.empty:
        reasons.say(
            "No survival can be told: no seedling was seen alive at one visit and looked at again later."
        )
        return _with_findings(analysis, reasons, rain.reason, rain.cannot, None)
    at, said = milestone_day(intervals, milestone)
    say("Survival curves")
    curves = reasons.attempt(
        "Survival curves",
        lambda: curve(intervals, by="method", align=ROUND_DAYS, strata=_curve_strata(intervals)),
    )
    analysis = replace(
        analysis,
        milestone_day=at,
        curves=curves,
        species=survival_by(intervals, "species", at),
        sites=survival_by(intervals, "site", at),
        causes=causes_of_death(records.visits, intervals, settings),
        measures=three_measures(records.visits, records.plots, intervals, at, float(milestone.window_days)),
        notes=(sentence(said),),
    )
    say("Models")
    fits = fit_season(intervals, settings, at)
    reasons.say(*fits.cannot)
    named = {"grouped": fits.headline} if fits.headline is not None else {}
    analysis = replace(
        analysis, fits={**named, **fits.others}, notes=tuple(dict.fromkeys([*analysis.notes, *fits.notes]))
    )
    season = Season(settings, records, intervals, at, population(settings), fits)
    analysis, bound_differences = compared(analysis, season, reasons, say)
    analysis = backed(analysis, season, say)
    say("Findings")
    flags = []
    if analysis.contrasts is not None:
        shares = plot_shares(intervals, at + milestone.window_days)
        flags = [
            flags_for(analysis, row, bounds=bound_differences, shares=shares)
            for row in range(len(analysis.contrasts.table))
        ]
    comparisons = (
        comparison_findings(analysis.contrasts, flags, settings, milestone.name)
        if analysis.contrasts is not None
        else []
    )
    return _with_findings(analysis, reasons, rain.reason, rain.cannot, season, comparisons)


def _with_findings(
    analysis: Analysis,
    reasons: Reasons,
    rain_reason: str,
    rain_cannot: tuple[str, ...],
    season: Season | None,
    comparisons: list[Finding] | None = None,
) -> Analysis:
    whole = target = None
    fitted = season.fits.whole if season is not None else None
    if season is not None and fitted is not None:
        whole = reasons.attempt(
            "Survival of the planting", lambda: survival(fitted, None, season.at, season.population)
        )
        target = reasons.attempt("Target", lambda: _target(season))
    findings = season_findings(
        analysis,
        whole=whole,
        target=target,
        comparisons=comparisons or [],
        rain_reason=rain_reason,
        why_not=reasons.besides(RADIUS_SUBJECT, MONEY_SUBJECT) or "The preparations could not be compared.",
    )
    return replace(analysis, findings=findings, cannot=tuple(dict.fromkeys([*reasons.said, *rain_cannot])))


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
    return target_finding(whole, settings.target.survival_per_100, milestone.name, settings.design)
