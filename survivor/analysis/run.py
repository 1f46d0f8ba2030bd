"""Analyse a season: from its records to its findings, one part after another."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import pandas as pd

from survivor.analysis.answer import (
    Weighed,
    comparison_answers,
    cost_answers,
    leader_by_others,
    lot_notes,
    season_findings,
    whole_answers,
)
from survivor.analysis.comparing import Comparisons, comparisons_of
from survivor.analysis.confounding import Ground, ground_of
from survivor.analysis.costs import Costs, costs_of
from survivor.analysis.described import Described, described_of
from survivor.analysis.heights import alive_above_height
from survivor.analysis.models import (
    NO_FITS,
    SeasonFits,
    fit_beside,
    headline_model,
    large_of,
    models_beside,
    with_answer,
    with_beside,
)
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
from survivor.models.result import Fit
from survivor.parallel import side_by_side
from survivor.records import Records
from survivor.season.gauge import Gauges
from survivor.season.moisture import SoilWater, soil_water
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
    by_others: pd.DataFrame
    radius: Radius
    supporting: Supporting
    described: Described
    planting: _Planting
    works: WorksAnswers
    ground: Ground


def _beside(
    makers: Mapping[str, Callable[[Unmade], Any]], unmade: Unmade, known: Sequence[object]
) -> dict[str, tuple[Any, Unmade]]:
    """Make parts that read nothing of each other on as many cores as there are, each with its own reasons.

    ``makers``: the longest first; ``known``: what they are made from, where it is large.
    """

    def make(maker: Callable[[Unmade], Any]) -> tuple[Any, Unmade]:
        own = Unmade(unmade)
        return maker(own), own

    return dict(zip(makers, side_by_side(make, list(makers.values()), known), strict=True))


_Weather = tuple[SoilWater | None, Rain]


def _answered(season: Season, models: SeasonFits, unmade: Unmade) -> tuple[SeasonFits, Survival]:
    models = with_answer(models, season.intervals, season.settings)
    fit_under_other(season, models)
    return models, survival_of(season, models, unmade)


def _fitted(season: Season, models: SeasonFits, name: str, _: Unmade) -> Fit | str | None:
    return fit_beside(models, name, season.intervals, season.settings, season.milestone_day)


def _first(
    season: Season, models: SeasonFits, weather: Callable[[], _Weather], unmade: Unmade
) -> tuple[SeasonFits, Survival, _Weather]:
    """Put all other models to the headline model, and tell survival and rain."""
    names = models_beside(models)
    makers: dict[str, Callable[[Unmade], Any]] = {
        # The program itself takes the first, whose answer is the largest to hand over.
        "answer": partial(_answered, season, models),
        **{name: partial(_fitted, season, models, name) for name in names},
        "weather": lambda _: weather(),
    }
    both = _beside(makers, unmade, [season, season.records, *large_of(season.intervals, models)])
    unmade.keep_all(both["answer"][1].values())
    made = {name: part for name, (part, _) in both.items()}
    models, survival = made["answer"]
    return with_beside(models, {name: made[name] for name in names}), survival, made["weather"]


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
        """Make them; reasons keep one order."""
        season, models = self.season, self.models
        makers: dict[str, Callable[[Unmade], Any]] = {
            "robustness": lambda own: robustness_of(season, models, self.comparing, own),
            "left_out": lambda own: without_each_site(season, models, self.comparing),
            "planting": self._planting,
            "supporting": lambda own: supporting_of(season, models, not self.alike, own),
            "radius": lambda own: Radius() if self.alike else radius_of(season, models, own),
            "by_others": lambda own: leader_by_others(season, models, self.comparing),
            "described": lambda own: described_of(season),
            "ground": lambda own: ground_of(season, models, not self.alike, own),
            "works": lambda own: works_of(season),
        }
        both = _beside(makers, unmade, [season, season.records, *large_of(season.intervals, models)])
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
    season = season_of(settings, records)
    patch = patch_by_visit(records.visits, levels_of(records.intervals, "method"))

    def weather() -> _Weather:
        water = soil_water(settings, gauges, records.plots)
        return water, rain_of(settings, gauges, records, water)

    if season.why_nothing:
        water, rain = weather()
        unmade.keep(Reason("season", season.why_nothing))
        whole = whole_answers(season, NO_FITS, Totals(), unmade)
        findings = season_findings(season, [], whole, [], None, rain, unmade)
        unmade.keep_all(rain.reasons)
        return Analysis(season, provenance, findings, rain=rain, soil_water=water, patch=patch, unmade=unmade)
    say("Models")
    models = headline_model(season.intervals, settings, season.milestone_day)
    unmade.keep(models.refused)
    say("Survival curves, rain and soil water" if settings.weather else "Survival curves and rain gauges")
    models, survival, (water, rain) = _first(season, models, weather, unmade)
    alike = same_fate(survival.observed, season.when)
    comparing = Comparisons()
    if alike:
        unmade.keep_all(Reason(part, alike) for part in ("comparing", "all_pairs", "radius", "costs"))
    else:
        comparing = comparisons_of(season, models, unmade)
    say("The same under other models and rules, weed-free radius, money and works")
    made = _Beside(season, models, survival, comparing, rain, alike).made(unmade)
    planting, supporting = made.planting, made.supporting
    say("Findings")
    robustness = replace(made.robustness, left_out=made.left_out, costs=planting.fragility.other_costs)
    weighed = Weighed(
        season,
        models,
        comparing,
        robustness,
        planting.fragility,
        supporting.permutation,
        made.by_others,
    )
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
