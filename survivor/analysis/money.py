"""The season's money: costs, infill, stems wanted, and what a dry or a wet season would make of them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from survivor.analysis.reasons import Reasons
from survivor.analysis.result import Analysis
from survivor.analysis.season import Season
from survivor.analysis.tables import ROUND_DAYS
from survivor.costing import Payoff, in_seasons, payoff
from survivor.costs.infill import InfillPlants
from survivor.costs.prices import prices_of, spacing_of
from survivor.costs.scenarios import RainSlope, Scenarios
from survivor.costs.stocking import InfillLives, InfillOrder, StemsNeeded, infill_order, stems_needed
from survivor.curves import curve
from survivor.curves.rounds import at_milestone
from survivor.effects.counted import EVERYBODY, NOBODY
from survivor.effects.standardise import Standardised
from survivor.errors import SurvivorError
from survivor.intervals import entries, tally
from survivor.models.result import Fit
from survivor.vocabulary import INFILL

MONEY_SUBJECT = "Cost per established plant"
STEMS_SUBJECT = "Plants to put in for the stems wanted"
ORDER_SUBJECT = "Infill to order"
SEASONS_SUBJECT = "Cost in a dry and in a wet season"
MONEY_SUBJECTS = (MONEY_SUBJECT, STEMS_SUBJECT, ORDER_SUBJECT, SEASONS_SUBJECT)


def priced(
    analysis: Analysis, season: Season, head: Fit, left_out: dict[str, str], reasons: Reasons
) -> Analysis:
    """Fill in all that is about money and plants to put in.

    Parameters
    ----------
    analysis
        With survival by method, infill and the effect of rain.
    season, head
        The records, and the headline model.
    left_out
        Methods of the records that the model does not hold, each with the reason.
    reasons
        Takes up what cannot be told, and why.
    """
    lives = infill_lives(analysis, season)
    found = _payoff(analysis, season, head, left_out, reasons)
    return replace(
        analysis,
        payoff=found,
        season_costs=_in_seasons(analysis, found, reasons),
        stems_needed=_stems(analysis, season, lives, reasons),
        infill_order=_order(season, lives, reasons),
    )


def _payoff(
    analysis: Analysis, season: Season, head: Fit, left_out: dict[str, str], reasons: Reasons
) -> Payoff | None:
    settings = season.settings
    prices = prices_of(settings)
    if not prices:
        reasons.say(f"{MONEY_SUBJECT}: the study file gives no cost per plant, so it cannot be told.")
        return None
    if season.found_first:
        reasons.say(
            f"{MONEY_SUBJECT}: it needs survival of planted, and these records begin at the first visit, so "
            "it would come out too low."
        )
        return None
    costs = settings.costs
    return reasons.attempt(
        MONEY_SUBJECT,
        lambda: payoff(
            head,
            prices,
            season.at,
            population=season.population,
            currency=costs.currency if costs else "",
            left_out=left_out,
            seed=settings.study.seed,
            against=settings.design.usual_practice,
            worth=(costs.worth_low, costs.worth_high) if costs else (None, None),
            infill=settings.infill,
            infill_plants=infill_plants(analysis, season),
            counted=_not_by_method(analysis, season, head),
        ),
    )


def _not_by_method(analysis: Analysis, season: Season, head: Fit) -> Standardised | None:
    """Survival where the model does not tell it by method; None where it does.

    One method alone is the whole planting. With a method that everybody lived with, an
    established plant costs what one costs; those that nobody lived with have no cost per
    established plant.
    """
    standard, edges = analysis.survival, {str(name): fate for name, fate in season.fits.edges.items()}
    if "method" not in head.variables:
        return standard
    if standard is None or EVERYBODY not in edges.values():
        return None
    kept = [edges.get(str(name)) != NOBODY for name in standard.table["method"]]
    table = standard.table[kept].reset_index(drop=True)
    return replace(standard, table=table, covariance=standard.covariance[np.ix_(kept, kept)])


def infill_plants(analysis: Analysis, season: Season) -> InfillPlants | None:
    """Infill plants for each first plant by method, and how many live; None where there are none.

    As the study file states them, else as recorded in the plots.
    """
    stated = season.settings.infill
    lives = infill_lives(analysis, season)
    survival, lower, upper = (lives.survival, lives.lower, lives.upper) if lives else (np.nan,) * 3
    if stated is not None and stated.plants_per_100 is not None:
        methods = season.intervals["method"].astype(str).unique()
        share = dict.fromkeys(methods, stated.plants_per_100 / 100)
        note = f"Infill is {stated.plants_per_100:g} plants per 100 planted, as the study file states."
        return InfillPlants(share, survival, lower, upper, note)
    rows = _infill_rows(season.records.intervals)
    if rows.empty:
        return None
    first = entries(season.intervals).groupby(season.intervals["method"].astype(str))["at_risk"].sum()
    more = entries(rows)
    put_in = more.groupby(more["method"].astype(str))["at_risk"].sum()
    told = (put_in / first.reindex(put_in.index)).dropna()
    note = f"Infill is the {int(put_in.sum()):,} plants recorded in the plots."
    return InfillPlants(
        {str(name): float(value) for name, value in told.items()}, survival, lower, upper, note
    )


def infill_lives(analysis: Analysis, season: Season) -> InfillLives | None:
    """Share of infill plants alive on their own clock: as recorded, else as stated, else None."""
    stated = season.settings.infill
    if stated is not None and stated.survival_per_100 is not None:
        return InfillLives(stated.survival_per_100 / 100, np.nan, np.nan)
    if analysis.infill.empty:
        return None
    line = analysis.infill.iloc[0]
    numbers = [float(line[name]) / 100 for name in ("estimate", "lower", "upper")]
    return InfillLives(*numbers) if np.isfinite(numbers[0]) else None


def _infill_rows(intervals: pd.DataFrame) -> pd.DataFrame:
    if "cohort" not in intervals.columns:
        return intervals.iloc[:0]
    return intervals[intervals["cohort"] == INFILL]


def _stems(
    analysis: Analysis, season: Season, lives: InfillLives | None, reasons: Reasons
) -> StemsNeeded | None:
    settings, standard = season.settings, analysis.survival
    if settings.stocking is None:
        return None
    if standard is None or season.found_first:
        reasons.say(f"{STEMS_SUBJECT}: survival of planted by preparation is needed, and cannot be told.")
        return None
    target = settings.stocking.target_per_hectare
    spaced = {
        str(name): spacing.plants_per_hectare
        for name in standard.table["method"]
        if (spacing := spacing_of(settings, str(name))) is not None
    }
    return reasons.attempt(
        STEMS_SUBJECT, lambda: stems_needed(standard, target, spaced, lives, seed=settings.study.seed)
    )


def _order(season: Season, lives: InfillLives | None, reasons: Reasons) -> InfillOrder | None:
    if season.found_first:
        reasons.say(
            f"{ORDER_SUBJECT}: these records begin at the first visit, so who died before is not known."
        )
        return None
    sites = deaths_so_far(season)
    return infill_order(sites, lives, seed=season.settings.study.seed)


def deaths_so_far(season: Season) -> pd.DataFrame:
    """Survival of each site's first plants at its own last visit, for infill to order.

    Plants put in are those of the study file where it tells them, else those seen in the plots;
    living infill of the plots is scaled up likewise.

    Returns
    -------
    DataFrame
        As ``survivor.costs.stocking.infill_order`` takes it.
    """
    put_in = season.population.groupby("site")["plants"].sum() if season.population is not None else None
    infill = _infill_rows(season.records.intervals)
    rows = []
    for site, own in season.intervals.groupby("site", observed=True, sort=False):
        at = float(own["stop_day"].max())
        watched = float(entries(own)["at_risk"].sum())
        planted = watched if put_in is None else float(put_in.get(site, 0.0))
        if not planted > 0:
            continue
        later = infill[infill["site"] == site]
        living = float(entries(later)["at_risk"].sum() - later["died"].sum()) if len(later) else 0.0
        line = {
            "site": str(site),
            "planted": planted,
            "at_day": at,
            "infill_alive": living * planted / watched,
            "n_plots": tally(own)["plots"],
        }
        numbers = dict.fromkeys(("survival", "lower", "upper"), np.nan)
        try:
            read = curve(at_milestone(own, at, ROUND_DAYS)[0]).read(at).iloc[0]
            numbers = {name: 100 * float(read[name]) for name in numbers}
        except SurvivorError:
            pass  # the site is named as one without limits
        rows.append({**line, **numbers})
    return pd.DataFrame(rows)


def _in_seasons(analysis: Analysis, found: Payoff | None, reasons: Reasons) -> Scenarios | None:
    if found is None:
        return None
    rain = rain_slope(analysis, found.table["method"].astype(str).tolist())
    if rain is None:
        reasons.say(f"{SEASONS_SUBJECT}: how rain went with survival cannot be told from these records.")
        return None
    return in_seasons(found, rain)


def rain_slope(analysis: Analysis, methods: list[str]) -> RainSlope | None:
    """How rain goes with the hazard of each method, per mm; None where it cannot be told.

    A method whose own slope cannot be told has that of all together.
    """
    effect = analysis.rain_effect
    if effect is None or effect.empty:
        return None
    line = effect.iloc[0]
    common = np.array([float(line[name]) for name in ("estimate", "std_error", "df")])
    numbers = np.tile(common, (len(methods), 1))
    own = analysis.rain_by_method
    if own is not None:
        for row in own.table.to_dict("records"):
            if str(row["method"]) in methods and np.isfinite(float(row["estimate"])):
                place = methods.index(str(row["method"]))
                numbers[place] = (row["estimate"] / own.per, row["std_error"] / own.per, row["df"])
    rain = (float(line[name]) for name in ("rain_mean_mm", "rain_least_mm", "rain_most_mm"))
    return RainSlope(numbers[:, 0], numbers[:, 1], numbers[:, 2], *rain)
