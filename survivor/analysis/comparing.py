"""Everything that compares preparations: differences, other rules and models, radius, money."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import pandas as pd

from survivor.analysis.models import SeasonFits, of_methods
from survivor.analysis.reasons import Reasons
from survivor.analysis.result import Analysis
from survivor.analysis.rules import CONTRAST_COLUMNS, answers_under, other_rules
from survivor.analysis.season import Season
from survivor.costing import Payoff, payoff
from survivor.effects.confounding import confounding
from survivor.effects.consistency import leave_one_site_out
from survivor.effects.contrasts import Contrasts, contrasts
from survivor.effects.dose import Dose, dose
from survivor.effects.standardise import survival
from survivor.errors import SurvivorError
from survivor.models.fit import fit
from survivor.models.result import Fit

RADIUS = "weed_free_radius_m"
RADIUS_SUBJECT, MONEY_SUBJECT = "Weed-free radius", "Cost per established plant"
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
    head, between = season.fits.headline, season.fits.between
    differences = pd.DataFrame(columns=CONTRAST_COLUMNS)
    at, people = season.at, season.population
    if head is None or "method" not in head.variables:
        reasons.say(_nothing_within(season.intervals))
        against, pairs = _between_only(between, season, reasons)
        return replace(analysis, contrasts=against, all_pairs=pairs), differences
    analysis = replace(
        analysis,
        survival=reasons.attempt("Survival by method", lambda: survival(head, "method", at, people)),
        contrasts=reasons.attempt(
            "Comparison with the usual practice",
            lambda: contrasts(head, at=at, population=people, between_fit=between),
        ),
        all_pairs=reasons.attempt(
            "All pairs",
            lambda: contrasts(head, at=at, pairs="all", population=people, between_fit=between),
        ),
        confounding=reasons.attempt("Methods by site", lambda: confounding(head)),
    )
    say("The same under other models and rules")
    tables = other_rules(season.records, season.settings.rules.missing, head.data["method"].unique())
    bounds, differences = answers_under(tables, head, at, people)
    analysis = replace(
        analysis,
        agreement=_agreement(season.fits, at, people),
        bounds=bounds,
        left_out=leave_one_site_out(head, at, people),
    )
    say("Weed-free radius")
    response, held = _radius(season, head, reasons)
    say("Money")
    return replace(
        analysis, dose=response, radius_held=held, payoff=_money(season, head, reasons)
    ), differences


def _agreement(fits: SeasonFits, at: float, people: pd.DataFrame | None) -> pd.DataFrame:
    """Differences against the usual practice by every model, on one scale."""
    parts = []
    for name, fitted in {"grouped": fits.headline, **fits.others}.items():
        if fitted is None:
            continue
        day = at if fitted.at is None else fitted.at
        try:
            table = contrasts(fitted, at=day, population=people).table
        except SurvivorError as fault:
            parts.append(pd.DataFrame([{"model": name, "note": fault.what}]))
            continue
        parts.append(table.assign(model=name, note=table["reason"]))
    return pd.concat(parts, ignore_index=True).reindex(columns=AGREEMENT_COLUMNS)


def _radius(season: Season, head: Fit, reasons: Reasons) -> tuple[Dose | None, Contrasts | None]:
    intervals = of_methods(season.intervals, head.data["method"].unique())
    if RADIUS not in intervals.columns or intervals[RADIUS].isna().all():
        reasons.say(f"{RADIUS_SUBJECT}: no plot has one in the records, so its response cannot be told.")
        return None, None
    design = season.settings.design
    response = reasons.attempt(
        RADIUS_SUBJECT,
        lambda: dose(
            head,
            RADIUS,
            season.at,
            gain=design.radius_gain,
            population=season.population,
            radius_measured=design.radius_measured,
        ),
    )
    if design.radius_measured != "at planting":
        return response, None
    known = intervals[intervals[RADIUS].notna()].copy()
    known.attrs = dict(intervals.attrs)
    at = min(season.at, float(known["stop_day"].max()))

    def held_equal() -> Contrasts:
        held = fit(known, f"{head.formula} + {RADIUS}", strata=list(head.strata) or None)
        return contrasts(held, at=at, population=season.population)

    return response, reasons.attempt("Preparations at the same weed-free radius", held_equal)


def _money(season: Season, head: Fit, reasons: Reasons) -> Payoff | None:
    settings = season.settings
    costs = {method.name: method.cost for method in settings.methods if method.cost is not None}
    if not costs:
        reasons.say(f"{MONEY_SUBJECT}: the study file gives no cost per plant, so it cannot be told.")
        return None
    return reasons.attempt(
        MONEY_SUBJECT,
        lambda: payoff(
            head,
            costs,
            season.at,
            population=season.population,
            currency=settings.costs.currency if settings.costs else "",
            seed=settings.study.seed,
        ),
    )


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
