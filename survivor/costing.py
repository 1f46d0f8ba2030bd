"""What one established plant costs under each preparation, and which is the cheapest.

Cost per established plant is cost per plant over survival. Its limits and the
probability of being the lowest come from joint draws: survival on the log(-log)
scale with the correlations of the model and each method's own degrees of
freedom, costs within the range given for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.costs.breakeven import BreakEven, break_even
from survivor.costs.differences import draw_gaps, gaps
from survivor.costs.draws import draw_survival
from survivor.costs.increments import Increments, increments
from survivor.costs.infill import InfillPlants, WithInfill, with_infill
from survivor.costs.prices import Price, draw_prices
from survivor.costs.quantiles import TAILS, quantile
from survivor.costs.reading import Costs, read_costs
from survivor.costs.remarks import ASK_CURRENCY, between_sites, remarks
from survivor.costs.scenarios import RainSlope, Scenarios, under_rain
from survivor.costs.value import NO_CURRENCY, BestValue, best_value, worth_range
from survivor.effects.cells import levels_of
from survivor.effects.limits import Floats
from survivor.effects.standardise import Standardised, survival
from survivor.errors import PayoffError
from survivor.figures.words import limits, money, number
from survivor.settings import Infill
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from survivor.models.result import Fit

MOST_TIMES = 10.0  # times the cost of a plant beyond which an upper limit is called none
_CLEARLY = CONFIDENCE  # probability from which one method is called the cheapest


@dataclass(frozen=True, repr=False)
class Payoff:
    """Cost per established plant by method.

    Attributes
    ----------
    by
        Column of methods.
    at_day
        Days since planting at which a plant counts as established.
    table
        ``<by>, cost_per_plant, cost_low, cost_high, survival`` (per 100 planted),
        ``cost_per_established, lower, upper, probability_lowest, currency, at_day,
        n_seedlings, n_plots, n_sites`` and the Monte Carlo errors ``lower_error,
        upper_error, probability_error``.
    cheapest
        The method that is the cheapest with a probability of 95 % or more, or None.
    statement
        The answer in words.
    not_costed
        Methods in the model for which no cost was given.
    left_out
        Methods of the records that the model does not hold, each with the reason.
    survival
        The standardised survival used.
    draws, seed
        Size and seed of the simulation.
    checks
        Plain sentences.
    prices
        What a plant costs under each costed method.
    increments, break_even, best_value
        Extra cost and extra plants alive from method to method, the most that each may cost to
        equal the usual practice, and the chance of the best value by what a plant is worth;
        None where fewer than two methods can be costed.
    with_infill
        The same costs with infill counted in; None where no infill is told.
    between
        Pairs of costed methods that no site holds both of: what is said of them compares sites too.
    n_sites
        Sites with any of the costed methods; 0 where the fit does not hold them all.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    cheapest: Any
    statement: str
    not_costed: tuple[Any, ...]
    left_out: Mapping[str, str]
    survival: Standardised
    draws: int
    seed: int
    checks: tuple[str, ...]
    prices: Mapping[Any, Price] = field(default_factory=dict)
    increments: Increments | None = None
    break_even: BreakEven | None = None
    best_value: BestValue | None = None
    with_infill: WithInfill | None = None
    between: tuple[tuple[Any, Any], ...] = ()
    n_sites: int = 0

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw cost per established plant, lowest first."""
        from survivor.figures.payoff import draw_payoff

        return draw_payoff(self.table.rename(columns={self.by: "method"}), ax)

    def __repr__(self) -> str:
        return f"{self.statement}\n{self.table.to_string(index=False)}"

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


def payoff(
    fit: Fit,
    costs: Costs | pd.DataFrame,
    at: float = 365,
    by: str = "method",
    population: pd.DataFrame | None = None,
    currency: str = "",
    draws: int = 10_000,
    seed: int = 1,
    left_out: Mapping[str, str] | None = None,
    *,
    against: Any = None,
    worth: tuple[float | None, float | None] = (None, None),
    infill: Infill | None = None,
    infill_plants: InfillPlants | None = None,
    counted: Standardised | None = None,
) -> Payoff:
    """Cost per established plant under each method.

    Parameters
    ----------
    fit
        A fitted model that holds ``by``.
    costs
        Cost per plant for each method: a number, a ``survivor.settings.Cost`` with
        the range ``low`` to ``high``, or a price made of lines
        (``survivor.costs.prices.price_of``); or a table with ``<by>, per_plant`` and,
        where known, ``low, high, currency``. A range is drawn from as a triangle
        with its peak at the cost.
    at
        Days since planting at which a plant counts as established.
    population
        Plants of the whole planting as weights; None: the plants of the records.
    currency
        For the table and the statement.
    draws, seed
        Size and seed of the simulation.
    left_out
        Methods of the records that the model does not hold, each with the reason why.
    against
        The usual practice, for break-even costs and the payoff plane; without it the first
        costed level.
    worth
        Least and most that an established plant may be worth; None: from nought to a round
        figure over twice the dearest.
    infill, infill_plants
        What an infill plant costs, and how many there are and live; without either, infill
        is not counted.
    counted
        Survival with levels that the model does not hold, as counted (``survivor.effects.counted``):
        they are costed too, but stand in no increment, break-even or best value.

    Returns
    -------
    Payoff

    Raises
    ------
    PayoffError
        When no method of the records has a cost, or a cost cannot be used. Methods
        without a cost are listed in the result; the others are answered.
    EffectError
        When survival by method cannot be had from the fit.
    """
    known, currency = read_costs(costs, by, currency)
    standard = counted if counted is not None else survival(fit, by=by, at=at, population=population)
    methods = standard.table[by].tolist()
    costed = [place for place, name in enumerate(methods) if name in known]
    not_costed = tuple(name for name in methods if name not in known)
    apart = dict(left_out or {})
    strange = tuple(name for name in known if name not in methods and str(name) not in apart)
    if not costed:
        raise PayoffError(
            f"no method has a cost: {', '.join(map(str, methods))}",
            where=f"costs name {', '.join(map(str, strange)) or 'nothing'}",
            mend="name the methods as in the records",
        )
    rng = np.random.default_rng(seed)
    chosen = standard.table.iloc[costed].reset_index(drop=True)
    prices = [known[name] for name in chosen[by]]
    known_prices = dict(zip(chosen[by].tolist(), prices, strict=True))
    alive = draw_survival(standard, costed, draws, rng)
    paid = draw_prices(prices, draws, rng)
    # Survival of nought, or next to it, makes a plant beyond price; the quantiles carry it as such.
    with np.errstate(divide="ignore", over="ignore"):
        drawn = paid / alive
        middle = np.array([price.per_plant for price in prices]) / (chosen["estimate"].to_numpy(float) / 100)
    table = _table(chosen, by, prices, middle, drawn, currency)
    lead = table.iloc[int(table["probability_lowest"].to_numpy().argmax())]
    told_all = bool(table["lower"].notna().all())
    cheapest = lead[by] if told_all and len(table) > 1 and lead["probability_lowest"] >= _CLEARLY else None
    checks = (*standard.checks, *remarks(not_costed, strange, apart, standard, known_prices))
    checks = checks if currency else (*checks, ASK_CURRENCY)
    statement = _statement(table, by, cheapest, bool(not_costed or apart))
    names = chosen[by].tolist()
    told: dict[str, Any] = {"by": by, "at": at, "currency": currency}
    more: dict[str, Any] = {}
    held = [place for place, name in enumerate(names) if name in levels_of(fit.data, by)]
    if len(held) > 1:
        whole = names, prices, paid, middle
        names, prices = [names[place] for place in held], [prices[place] for place in held]
        paid, middle = paid[:, held], middle[held]
        found = gaps(fit, by, at, names, population)
        base = names.index(against) if against in names else 0
        more["between"] = found.between
        checks = (*checks, *between_sites(found.between))
        more["increments"] = increments(found, prices, paid, base, **told)
        more["break_even"] = break_even(found, prices, paid, base, rng, **told)
        finite = middle[np.isfinite(middle)]
        over = worth_range(float(finite.max()) if len(finite) else np.inf, *worth)
        apart_by = draw_gaps(found, base, draws, rng)
        more["best_value"] = best_value(
            names, found.survival, apart_by, prices, paid, over, seed=seed, **told
        )
        names, prices, paid, middle = whole
    if infill is not None and infill_plants is not None and _any_infill(infill_plants, names):
        share = chosen["estimate"].to_numpy(float) / 100
        more["with_infill"] = with_infill(
            names, share, alive, prices, paid, infill, infill_plants, rng, **told
        )
    return Payoff(
        by,
        float(at),
        table,
        cheapest,
        statement,
        not_costed,
        apart,
        standard,
        draws,
        seed,
        checks,
        known_prices,
        n_sites=_sites(fit.data, by, chosen[by].tolist()),
        **more,
    )


def _sites(data: pd.DataFrame, by: str, names: list[Any]) -> int:
    """Count the sites that hold any of some methods; 0 where the fit does not tell of each."""
    if not {by, "site"} <= set(data.columns) or not set(names) <= set(data[by]):
        return 0
    return int(data.loc[data[by].isin(names), "site"].nunique())


def _any_infill(plants: InfillPlants, names: list[Any]) -> bool:
    return any(plants.per_plant.get(name, 0.0) > 0 for name in names)


def in_seasons(found: Payoff, rain: RainSlope) -> Scenarios:
    """Cost per established plant in a dry and in a wet season.

    Parameters
    ----------
    found
        The costs as they were.
    rain
        How rain goes with the hazard of each method of ``found.table``, in that order.
    """
    methods = found.survival.table[found.by].tolist()
    names = found.table[found.by].tolist()
    rng = np.random.default_rng(found.seed)
    prices = [found.prices[name] for name in names]
    alive = draw_survival(found.survival, [methods.index(name) for name in names], found.draws, rng)
    paid = draw_prices(prices, found.draws, rng)
    share = found.table["survival"].to_numpy(float) / 100
    return under_rain(
        names,
        share,
        alive,
        prices,
        paid,
        rain,
        rng,
        by=found.by,
        at=found.at_day,
        currency=str(found.table["currency"].iloc[0]),
    )


def _table(
    chosen: pd.DataFrame, by: str, prices: list[Price], middle: Floats, drawn: Floats, currency: str
) -> pd.DataFrame:
    draws, methods = drawn.shape
    lowest = np.bincount(drawn.argmin(axis=1), minlength=methods) / draws
    ordered = np.sort(drawn, axis=0)
    lower, lower_error = quantile(ordered, TAILS[0])
    upper, upper_error = quantile(ordered, TAILS[1])
    # Survival without limits gives no cost with limits, and one next to nought gives a figure of no use.
    told = np.isfinite(chosen["lower"].to_numpy(float)) & np.isfinite(chosen["upper"].to_numpy(float))
    plain = np.array([price.per_plant for price in prices])
    lower, upper = np.where(told, lower, np.nan), np.where(told, upper, np.nan)
    upper = np.where(upper > MOST_TIMES * plain, np.inf, upper)
    return pd.DataFrame(
        {
            by: chosen[by],
            "cost_per_plant": [price.per_plant for price in prices],
            "cost_low": [price.low for price in prices],
            "cost_high": [price.high for price in prices],
            "survival": chosen["estimate"],
            "cost_per_established": middle,
            "lower": lower,
            "upper": upper,
            "probability_lowest": lowest,
            "currency": currency,
            "at_day": chosen["at_day"],
            "n_seedlings": chosen["n_seedlings"],
            "n_plots": chosen["n_plots"],
            "n_sites": chosen["n_sites"],
            "lower_error": lower_error,
            "upper_error": upper_error,
            "probability_error": np.sqrt(lowest * (1 - lowest) / draws),
        }
    )


def _statement(table: pd.DataFrame, by: str, cheapest: Any, some_missing: bool) -> str:
    lead = table.iloc[int(table["cost_per_established"].to_numpy().argmin())]
    currency = str(lead["currency"])

    def priced(row: pd.Series[Any]) -> str:
        lower, upper = float(row["lower"]), float(row["upper"])
        told = f"95 % limits {limits(lower, upper, 2)}"
        if np.isnan(lower):
            told = "no limits, since its survival has none"
        elif not np.isfinite(upper):
            told = f"95 % limits from {number(lower, 2)}, without an upper end"
        cost = money(float(row["cost_per_established"]), currency)
        return f"{cost}{'' if currency else NO_CURRENCY} per established plant ({told})"

    among = " that can be costed" if some_missing else ""
    if len(table) == 1:
        return f"At these sites {lead[by]} cost {priced(lead)}."
    of_those = " of the preparations that can be costed" if some_missing else ""
    if cheapest is not None:
        chosen = table[table[by] == cheapest].iloc[0]
        chance = _in_100(float(chosen["probability_lowest"]))
        return f"At these sites {cheapest} cost least{of_those}: {priced(chosen)}; {chance} that it is so."
    if table["lower"].isna().any():
        return (
            f"At these sites it cannot be told which of the preparations{among} is the cheapest. The lowest "
            f"cost comes out for {lead[by]}: {priced(lead)}."
        )
    chance = _in_100(float(lead["probability_lowest"]))
    return (
        f"At these sites none of the preparations{among} is clearly the cheapest. The lowest cost comes out "
        f"for {lead[by]}: {priced(lead)}, with {chance} that it is so{_likelier(table, by, lead)}."
    )


def _likelier(table: pd.DataFrame, by: str, lead: pd.Series[Any]) -> str:
    """Name the method that has a higher chance of the lowest cost than the one with the lowest estimate."""
    first = table.iloc[int(table["probability_lowest"].to_numpy().argmax())]
    own, highest = (number(100 * float(row["probability_lowest"])) for row in (lead, first))
    return "" if own == highest else f"; {first[by]} has the highest chance, {highest} in 100"


def _in_100(probability: float) -> str:
    if probability > 0.995:
        return "a chance of more than 99 in 100"
    if probability < 0.005:
        return "a chance of less than 1 in 100"
    return f"a chance of {number(100 * probability)} in 100"
