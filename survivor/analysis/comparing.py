"""Everything that compares preparations: differences, other rules and models, radius, money."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Literal

import pandas as pd

from survivor.analysis.models import SeasonFits, of_methods
from survivor.analysis.money import MONEY_SUBJECT, priced
from survivor.analysis.reasons import Reasons, sentence
from survivor.analysis.result import Analysis
from survivor.analysis.rules import CONTRAST_COLUMNS, answers_under, other_rules
from survivor.analysis.season import Season
from survivor.effects.cells import levels_of
from survivor.effects.confounding import WITHIN, confounding
from survivor.effects.consistency import leave_one_site_out
from survivor.effects.contrasts import Contrasts, Pairs, contrasts
from survivor.effects.counted import EVERYBODY, with_counted_contrasts, with_counted_survival
from survivor.effects.dose import Dose, dose
from survivor.effects.slopes import Slopes, radius_by_method
from survivor.effects.standardise import Standardised, survival
from survivor.errors import SurvivorError
from survivor.intervals import entries
from survivor.models.fit import fit
from survivor.models.result import Fit

RADIUS = "weed_free_radius_m"
RADIUS_SUBJECT = "Weed-free radius"
AGREEMENT_COLUMNS = ["model", "method", "against", "estimate", "lower", "upper", "note"]


def compared(
    analysis: Analysis, season: Season, reasons: Reasons, say: Callable[[str], None]
) -> tuple[Analysis, pd.DataFrame]:
    """Fill in all that compares preparations.

    Returns
    -------
    analysis, differences
        The analysis with its comparisons, and the differences under other rules for
        plants that were missing or never found again.
    """
    head, between = season.fits.answer or season.fits.headline, season.fits.between
    edges, window = season.fits.edges, float(season.settings.headline_milestone.window_days)
    plain, said = without_separated(season)
    differences = pd.DataFrame(columns=CONTRAST_COLUMNS)
    at, people = season.at, season.population
    if edges and (head is None or "method" not in head.variables):
        reasons.say(f"{MONEY_SUBJECT}: {_too_few_left(edges)}")
        reasons.say(f"{RADIUS_SUBJECT}: {_too_few_left(edges)}")
        return _counted_only(analysis, season, reasons, window), differences
    if head is None or "method" not in head.variables:
        reasons.say(_nothing_within(season.intervals))
        if season.intervals["method"].nunique() == 1:
            return _alone(analysis, season, reasons), differences
        against, pairs = _between_only(between, season, reasons)
        return replace(analysis, contrasts=against, all_pairs=pairs), differences

    def survived() -> Standardised:
        found = survival(head, "method", at, people)
        return with_counted_survival(found, season.intervals, at, window, edges) if edges else found

    def differ(pairs: Pairs) -> Contrasts:
        usual = levels_of(season.intervals, "method")[0]
        if edges and pairs == "against" and usual in edges:
            return with_counted_contrasts(None, season.intervals, at, window, edges)
        found = contrasts(head, at=at, pairs=pairs, population=people, between_fit=between, plain_fit=plain)
        if not edges:
            return found
        return with_counted_contrasts(found, season.intervals, at, window, edges, pairs)

    analysis = replace(
        analysis,
        survival=reasons.attempt("Survival by method", survived),
        contrasts=reasons.attempt("Comparison with the usual practice", lambda: differ("against")),
        all_pairs=reasons.attempt("All pairs", lambda: differ("all")),
        # All methods of the records, also those that no site joins to the rest.
        confounding=reasons.attempt("Methods by site", lambda: confounding(season.intervals)),
        notes=tuple(dict.fromkeys([*analysis.notes, *said])),
    )
    say("The same under other models and rules")
    tables = other_rules(
        season.records, season.settings.rules.missing, head.data["method"].unique(), season.found_first
    )
    bounds, differences = answers_under(tables, head, at, people, season.fits.whole)
    analysis = replace(
        analysis,
        agreement=_agreement(season.fits, at, people, analysis.contrasts),
        bounds=bounds,
        left_out=leave_one_site_out(head, at, people),
    )
    say("Weed-free radius")
    unmade = dict(analysis.unmade)
    response, held, apart = _radius(season, season.fits.headline or head, reasons, unmade)
    say("Money")
    analysis = replace(analysis, dose=response, radius_held=held, radius_by_method=apart, unmade=unmade)
    return priced(analysis, season, head, left_out(season, head), reasons), differences


def without_separated(season: Season) -> tuple[Fit | None, tuple[str, ...]]:
    """Fit the headline model again without methods with which nobody, or everybody, died.

    Only what compares such a method then rests on the penalty. None where the headline
    model is not penalised, or where the penalty has another cause.
    """
    head = season.fits.headline
    if head is None or head.variance != "penalised" or "method" not in head.variables:
        return None, ()
    counts = head.data.groupby("method", observed=True)["died"].sum()
    planted = entries(head.data).groupby("method", observed=True)["at_risk"].sum()
    apart = [name for name in counts.index if counts[name] in (0, planted[name])]
    kept = [name for name in counts.index if name not in apart]
    if not apart or len(kept) < 2:
        return None, ()
    try:
        plain = fit(
            of_methods(head.data, kept), head.formula, strata=list(head.strata) or None, working=head.working
        )
    except SurvivorError:
        return None, ()
    if plain.variance == "penalised":
        return None, ()
    names = "; ".join(map(str, apart))
    return plain, (
        f"Nobody, or everybody, died with {names}: what compares "
        f"{'it' if len(apart) == 1 else 'them'} rests on a penalised model. The other comparisons are from "
        f"the same model without {names}, and no penalty is in them.",
    )


def _agreement(
    fits: SeasonFits, at: float, people: pd.DataFrame | None, answer: Contrasts | None
) -> pd.DataFrame:
    """Differences against the usual practice by every model, on one scale; those of the answer first."""
    parts = []
    if answer is not None:
        within = answer.table[answer.table["basis"] == WITHIN]
        parts.append(within.assign(model="grouped", note=within["reason"]))
    for name, fitted in fits.others.items():
        day = at if fitted.at is None else fitted.at
        try:
            table = contrasts(fitted, at=day, population=people).table
        except SurvivorError as fault:
            parts.append(pd.DataFrame([{"model": name, "note": fault.what}]))
            continue
        parts.append(table.assign(model=name, note=table["reason"]))
    if not parts:
        return pd.DataFrame(columns=AGREEMENT_COLUMNS)
    return pd.concat(parts, ignore_index=True).reindex(columns=AGREEMENT_COLUMNS)


def _radius(
    season: Season, head: Fit, reasons: Reasons, unmade: dict[str, str]
) -> tuple[Dose | None, Contrasts | None, Slopes | None]:
    """Response to the radius, preparations with it held equal, and the response of each preparation."""
    intervals = season.intervals
    if RADIUS not in intervals.columns or intervals[RADIUS].isna().all():
        reasons.say(f"{RADIUS_SUBJECT}: no plot has one in the records, so its response cannot be told.")
        return None, None, None
    design, soil = season.settings.design, season.settings.soil
    # Every cell of method and site has its own level, so methods that no site joins count too.
    source = season.fits.whole or head
    response = reasons.attempt(
        RADIUS_SUBJECT,
        lambda: dose(
            source,
            RADIUS,
            season.at,
            gain=design.radius_gain,
            population=season.population,
            radius_measured=design.radius_measured,
            soil_depth_m=soil.root_depth_m,
        ),
    )
    if design.radius_measured != "at planting":
        unmade["radius_by_method"] = "The study file does not say that the radius was measured at planting."
        return response, None, None
    known = intervals[intervals[RADIUS].notna()].copy()
    known.attrs = dict(intervals.attrs)
    joined = of_methods(known, head.data["method"].unique())
    at = min(season.at, float(joined["stop_day"].max()))

    def held_equal() -> Contrasts:
        held = fit(
            joined, f"{head.formula} + {RADIUS}", strata=list(head.strata) or None, working=head.working
        )
        return contrasts(held, at=at, population=season.population, between_fit=_between_held(season, known))

    try:
        apart = radius_by_method(source, RADIUS, season.at)
    except SurvivorError as fault:
        apart, unmade["radius_by_method"] = None, sentence(fault.what)
    return response, reasons.attempt("Preparations at the same weed-free radius", held_equal), apart


def _between_held(season: Season, known: pd.DataFrame) -> Fit | None:
    """Fit the model between sites with the radius in it, for methods that share no site."""
    between = season.fits.between
    if between is None:
        return None
    try:
        return fit(
            known, f"{between.formula} + {RADIUS}", strata=None, cluster="site", working=between.working
        )
    except SurvivorError:
        return None  # such pairs are then refused by name


def left_out(season: Season, head: Fit) -> dict[str, str]:
    """Methods of the records that the model within sites does not hold, each with the reason."""
    held = set(head.data["method"].astype(str))
    absent = [name for name in dict.fromkeys(season.intervals["method"].astype(str)) if name not in held]
    why = "no site joins it to the others, so its survival cannot be told from that of its sites"
    edges = {str(name): found for name, found in season.fits.edges.items()}
    return {
        name: "nobody was alive" if name in edges else why for name in absent if edges.get(name) != EVERYBODY
    }


def _counted_only(analysis: Analysis, season: Season, reasons: Reasons, window: float) -> Analysis:
    """Fill in survival and differences by counts, where no two methods are left for a model."""
    intervals, at, edges = season.intervals, season.at, season.fits.edges

    def differ(pairs: Pairs) -> Contrasts:
        return with_counted_contrasts(None, intervals, at, window, edges, pairs)

    return replace(
        analysis,
        survival=reasons.attempt(
            "Survival by method", lambda: with_counted_survival(None, intervals, at, window, edges)
        ),
        contrasts=reasons.attempt("Comparison with the usual practice", lambda: differ("against")),
        all_pairs=reasons.attempt("All pairs", lambda: differ("all")),
        confounding=reasons.attempt("Methods by site", lambda: confounding(intervals)),
    )


def _too_few_left(edges: Mapping[Any, str]) -> str:
    fates = " and ".join(dict.fromkeys(edges.values()))
    return f"it needs two preparations with some alive and some dead; {fates} was alive with the others."


def _alone(analysis: Analysis, season: Season, reasons: Reasons) -> Analysis:
    """Fill in survival and money of the one preparation of the records; it is set beside no other."""
    reasons.say(f"{RADIUS_SUBJECT}: without a model of survival by method its response cannot be told.")
    fitted = season.fits.whole
    if fitted is None:
        reasons.say(f"{MONEY_SUBJECT}: without a model of survival it cannot be told.")
        return analysis
    name = str(season.intervals["method"].iloc[0])

    def survived() -> Standardised:
        found = survival(fitted, None, season.at, season.population)
        table = found.table.drop(columns="group")
        table.insert(0, "method", name)
        return replace(found, by="method", table=table)

    found = reasons.attempt("Survival by method", survived)
    if found is None:
        return analysis
    return priced(replace(analysis, survival=found), season, fitted, {}, reasons)


def _between_only(
    between: Fit | None, season: Season, reasons: Reasons
) -> tuple[Contrasts | None, Contrasts | None]:
    """Comparisons of sites where no site holds two preparations."""
    reasons.say(f"{RADIUS_SUBJECT}: without a model of survival by method its response cannot be told.")
    reasons.say(f"{MONEY_SUBJECT}: without survival by method it cannot be told.")
    if between is None:
        return None, None
    at, people = season.at, season.population

    def compare(pairs: Literal["against", "all"]) -> Contrasts:
        return contrasts(between, at=at, pairs=pairs, population=people, between_fit=between)

    return (
        reasons.attempt("Comparison with the usual practice", lambda: compare("against")),
        reasons.attempt("All pairs", lambda: compare("all")),
    )


def _nothing_within(intervals: pd.DataFrame) -> str:
    methods = intervals["method"].astype(str).unique()
    if len(methods) == 1:
        return f"Preparations cannot be compared: every plot had the same one, {methods[0]}."
    return (
        "Preparations cannot be compared within sites: no model of survival by method could be fitted there."
    )
