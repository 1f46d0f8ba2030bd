"""The season's money: costs, infill, stems wanted, and what a dry or a wet season would make of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from survivor.analysis.comparing import Comparisons
from survivor.analysis.milestone import ROUND_DAYS
from survivor.analysis.models import SeasonFits
from survivor.analysis.parts import Reason, Unmade, attempt, reason
from survivor.analysis.rain import Rain
from survivor.analysis.season import Season
from survivor.analysis.survival import Survival, same_fate
from survivor.costs.infill import InfillPlants
from survivor.costs.payoff import Payoff, in_seasons
from survivor.costs.payoff import payoff as payoff_of
from survivor.costs.prices import prices_of, spacing_of
from survivor.costs.scenarios import RainSlope, Scenarios
from survivor.costs.stocking import InfillLives, InfillOrder, StemsNeeded, infill_order, stems_needed
from survivor.curves.estimate import at_last_visits
from survivor.curves.rounds import at_milestone
from survivor.effects.counted import EVERYBODY, NOBODY
from survivor.effects.standardise import Standardised
from survivor.intervals import entries, group_codes
from survivor.models.result import Fit
from survivor.vocabulary import INFILL, PLOT_KEY, Basis

# Draws behind the infill of a site; where sites are many their number makes up for it.
_DRAWS, _FEWER_DRAWS, _MANY_SITES = 10_000, 1_000, 100
_RAIN_UNTOLD: Final = "how rain went with survival cannot be determined from these records"


@dataclass(frozen=True)
class Costs:
    """What an established plant costs, and plants to put in.

    Attributes
    ----------
    payoff
        Cost per established plant of each preparation.
    in_seasons
        The same in a dry and in a wet season.
    stems_needed
        Plants to put in for the stems wanted.
    infill_order
        Plants to put in again at each site.
    infill_lives
        How many infill plants live; None: not known.
    """

    payoff: Payoff | None = None
    in_seasons: Scenarios | None = None
    stems_needed: StemsNeeded | None = None
    infill_order: InfillOrder | None = None
    infill_lives: InfillLives | None = None


def costs_of(
    season: Season,
    models: SeasonFits,
    survived: Survival,
    comparing: Comparisons,
    rain: Rain,
    unmade: Unmade,
) -> Costs:
    """Price the plants that established, and count those to put in.

    Parameters
    ----------
    season, models
        The records and their models.
    survived
        Survival by method, and of infill.
    comparing
        The differences between preparations: costs have no others.
    rain
        For costs in a dry and in a wet season.
    unmade
        Takes up what cannot be determined, and why.
    """
    only = season.intervals["method"].nunique() == 1
    head = models.whole if only else models.within
    if head is None or survived.by_method is None:
        why = "without survival by method it cannot be determined"
        if only:
            why = "without a model of survival it cannot be determined"
        unmade.keep(reason("costs", models.too_few_left or why))
        return Costs()
    lives = infill_lives(season, survived.infill)
    payoff = in_season = None
    if not same_fate(survived.observed, season.when):
        payoff = unmade.keep(_payoff(season, models, survived, comparing, head))
        in_season = None if payoff is None else unmade.keep(_in_seasons(payoff, rain))
    return Costs(
        payoff,
        in_season,
        unmade.keep(_stems(season, survived.by_method, lives)) if season.settings.stocking else None,
        unmade.keep(_order(season, lives)),
        lives,
    )


def _payoff(
    season: Season, models: SeasonFits, survived: Survival, comparing: Comparisons, head: Fit
) -> Payoff | Reason:
    settings = season.settings
    prices = prices_of(settings)
    if not prices:
        return reason("costs", "the study file gives no cost per plant, so it cannot be determined")
    if season.basis is Basis.FOUND:
        return reason(
            "costs",
            "it needs survival of planted, and these records begin at the first visit, so it would come out "
            "too low",
        )
    costs = settings.costs
    return attempt(
        "costs",
        lambda: payoff_of(
            head,
            prices,
            season.milestone_day,
            population=season.population,
            currency=costs.currency if costs else "",
            left_out=_left_out(season, models, head),
            seed=settings.study.seed,
            against=settings.design.usual_practice,
            worth=(costs.worth_low, costs.worth_high) if costs else (None, None),
            infill=settings.infill,
            infill_plants=infill_plants(season, survived.infill),
            contrasts=comparing.all_pairs,
            compared=comparing.against,
            counted=_not_by_method(survived.by_method, models, head),
        ),
    )


def _left_out(season: Season, models: SeasonFits, head: Fit) -> dict[str, str]:
    """Methods of the records that the model within sites does not hold, each with the reason."""
    if "method" not in head.variables:
        return {}
    held = set(head.data["method"].astype(str))
    absent = [name for name in dict.fromkeys(season.intervals["method"].astype(str)) if name not in held]
    why = "no site joins it to the others"
    edges = {str(name): fate for name, fate in models.edges.items()}
    return {
        name: "nobody was alive" if name in edges else why for name in absent if edges.get(name) != EVERYBODY
    }


def _not_by_method(standard: Standardised | None, models: SeasonFits, head: Fit) -> Standardised | None:
    """Survival where the model does not tell it by method; None where it does.

    One method alone is the whole planting. With a method that everybody lived with, an
    established plant costs what one costs; those that nobody lived with have no cost per
    established plant.
    """
    edges = {str(name): fate for name, fate in models.edges.items()}
    if "method" not in head.variables:
        return standard
    if standard is None or EVERYBODY not in edges.values():
        return None
    kept = [edges.get(str(name)) != NOBODY for name in standard.table["method"]]
    table = standard.table[kept].reset_index(drop=True)
    return replace(standard, table=table, covariance=standard.covariance[np.ix_(kept, kept)])


def infill_plants(season: Season, infill: pd.DataFrame) -> InfillPlants | None:
    """Infill plants for each first plant by method, and how many live; None where there are none.

    As the study file states them, else as recorded in the plots. ``infill`` as in ``Survival``.
    """
    stated = season.settings.infill
    lives = infill_lives(season, infill)
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
    shares = (put_in / first.reindex(put_in.index)).dropna()
    note = f"Infill is the {int(put_in.sum()):,} plants recorded in the plots."
    return InfillPlants(
        {str(name): float(value) for name, value in shares.items()}, survival, lower, upper, note
    )


def infill_lives(season: Season, infill: pd.DataFrame) -> InfillLives | None:
    """Share of infill plants alive on their own clock: as recorded, else as stated, else None."""
    stated = season.settings.infill
    if stated is not None and stated.survival_per_100 is not None:
        return InfillLives(stated.survival_per_100 / 100, np.nan, np.nan)
    if infill.empty:
        return None
    line = infill.iloc[0]
    numbers = [float(line[name]) / 100 for name in ("estimate", "lower", "upper")]
    return InfillLives(*numbers) if np.isfinite(numbers[0]) else None


def _infill_rows(intervals: pd.DataFrame) -> pd.DataFrame:
    if "cohort" not in intervals.columns:
        return intervals.iloc[:0]
    return intervals[intervals["cohort"] == INFILL]


def _stems(season: Season, standard: Standardised, lives: InfillLives | None) -> StemsNeeded | Reason:
    settings = season.settings
    if season.basis is Basis.FOUND:
        return reason("stems_needed", "survival of planted by preparation is needed, and has no estimate")
    assert settings.stocking is not None
    target = settings.stocking.target_per_hectare
    spaced = {
        str(name): spacing.plants_per_hectare
        for name in standard.table["method"]
        if (spacing := spacing_of(settings, str(name))) is not None
    }
    # What is said of ratios by period stands with the models of the report.
    alone = replace(standard, fit=None)
    return attempt(
        "stems_needed", lambda: stems_needed(alone, target, spaced, lives, seed=settings.study.seed)
    )


def _order(season: Season, lives: InfillLives | None) -> InfillOrder | Reason:
    if season.basis is Basis.FOUND:
        return reason(
            "infill_order", "these records begin at the first visit, so who died before is not known"
        )
    sites = deaths_so_far(season)
    draws = _DRAWS if len(sites) <= _MANY_SITES else _FEWER_DRAWS
    return infill_order(sites, lives, draws=draws, seed=season.settings.study.seed)


def deaths_so_far(season: Season) -> pd.DataFrame:
    """Survival of each site's first plants at its own last visit, for infill to order.

    Plants put in are those of the study file where it tells them, else those seen in the plots;
    living infill of the plots is scaled up likewise.

    Returns
    -------
    DataFrame
        As ``survivor.costs.stocking.infill_order`` takes it.
    """
    own = season.intervals
    codes, sites = group_codes(own, ["site"])
    last = np.zeros(len(sites))
    np.maximum.at(last, codes, own["stop_day"].to_numpy(float))
    read = at_last_visits(at_milestone(own, last[codes], ROUND_DAYS)[0], "site").set_index("site")
    watched = entries(own).groupby("site", observed=True)["at_risk"].sum().astype(float)
    plots = own.drop_duplicates(list(PLOT_KEY)).groupby("site", observed=True).size()
    rows = pd.DataFrame({"site": sites["site"].to_numpy(), "at_day": last})
    rows["watched"], rows["n_plots"] = (rows["site"].map(part) for part in (watched, plots))
    rows["planted"] = rows["watched"]
    if season.population is not None:
        put_in = season.population.groupby("site")["plants"].sum()
        rows["planted"] = rows["site"].map(put_in).fillna(0.0).astype(float)
    infill = _infill_rows(season.records.intervals)
    living = pd.Series(0.0, index=rows.index)
    if len(infill):
        began = entries(infill).groupby("site", observed=True)["at_risk"].sum()
        left = began - infill.groupby("site", observed=True)["died"].sum()
        living = rows["site"].map(left).fillna(0.0).astype(float)
    rows["infill_alive"] = living * rows["planted"] / rows["watched"]
    for name in ("survival", "lower", "upper"):
        rows[name] = 100 * rows["site"].map(read[name]).astype(float)
    rows["site"] = rows["site"].astype(str)
    return rows[rows["planted"] > 0].drop(columns="watched").reset_index(drop=True)


def _in_seasons(priced: Payoff, rain: Rain) -> Scenarios | Reason:
    slope = rain_slope(rain, priced.table["method"].astype(str).tolist())
    return reason("costs_in_seasons", _RAIN_UNTOLD) if slope is None else in_seasons(priced, slope)


def rain_slope(rain: Rain, methods: list[str]) -> RainSlope | None:
    """How rain goes with the hazard of each method, per mm; None where it cannot be determined.

    A method whose own slope cannot be determined has that of all together.
    """
    if rain.effect is None or rain.effect.empty:
        return None
    line = rain.effect.iloc[0]
    common = np.array([float(line[name]) for name in ("estimate", "std_error", "df")])
    numbers = np.tile(common, (len(methods), 1))
    own = rain.by_method
    if own is not None:
        for row in own.table.to_dict("records"):
            if str(row["method"]) in methods and np.isfinite(float(row["estimate"])):
                place = methods.index(str(row["method"]))
                numbers[place] = (row["estimate"] / own.per, row["std_error"] / own.per, row["df"])
    range_mm = (float(line[name]) for name in ("rain_mean_mm", "rain_least_mm", "rain_most_mm"))
    return RainSlope(numbers[:, 0], numbers[:, 1], numbers[:, 2], *range_mm)
