"""What one established plant costs under each preparation, and which is the cheapest.

Cost per established plant is cost per plant over survival. Its limits and the
probability of being the lowest come from joint draws: survival on the log(-log)
scale with the correlations of the model and each method's own degrees of
freedom, costs within the range given for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from survivor.arguments import draws_of, is_number, is_one_of, seed_of, several
from survivor.costs import english as en
from survivor.costs.breakeven import BreakEven, break_even
from survivor.costs.differences import gaps
from survivor.costs.draws import Costed, chance_error, chance_of_lowest, limits_of, per_established
from survivor.costs.increments import Increments, increments, range_of_money
from survivor.costs.infill import InfillPlants, WithInfill, with_infill
from survivor.costs.prices import Costs, Price, read_costs
from survivor.costs.scenarios import RainSlope, Scenarios, under_rain
from survivor.costs.value import (
    BestValue,
    best_value,
    between_sites,
    remarks,
    worth_range,
)
from survivor.effects.cells import check_name, levels_of
from survivor.effects.contrasts import Contrasts, contrasts
from survivor.effects.standardise import Standardised, survival
from survivor.errors import PayoffError
from survivor.limits import check_level, with_level
from survivor.models.one_ratio import said_of_one_ratio
from survivor.sentences import Name, Sentence, Stated, Value, cell, say
from survivor.settings import Infill
from survivor.shown import Shown
from survivor.vocabulary import CONFIDENCE
from survivor.words import confidence, money, number, range_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from survivor.models.result import Fit

MOST_TIMES = 10.0  # times the cost of a plant beyond which an upper limit is called none


@dataclass(frozen=True, repr=False)
class Payoff(Shown, Stated):
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
        upper_error, probability_error``, and ``range_from``: whether ``lower`` and ``upper`` are of
        survival alone (95 % CI), or of survival and of the range of prices given, which is no
        confidence interval.
    cheapest
        The method that is the cheapest with a probability of 95 % or more, or None.
    said
        The answer, in sentences; ``statement`` has it in words.
    not_costed
        Methods in the model for which no cost was given.
    left_out
        Methods of the records that the model does not hold, each with the reason.
    survival
        The standardised survival used.
    draws, seed
        Size and seed of the simulation.
    noticed
        Plain sentences on costs and survival.
    prices
        What a plant costs under each costed method.
    increments, break_even, best_value
        Extra cost and extra plants alive of each method against the usual practice, the most that
        each may cost to equal it, and the chance of the best value by what a plant is worth;
        None where fewer than two methods can be costed.
    with_infill
        The same costs with infill counted in; None where no infill is told.
    between
        Pairs of costed methods that no site holds both of: what is said of them compares sites too.
    n_sites
        Sites with any of the costed methods; 0 where the fit does not hold them all.
    level
        Confidence level of all limits; where it is not 0.95, tables name it in a column ``level``.
    """

    by: str
    at_day: float
    table: pd.DataFrame
    cheapest: Any
    said: tuple[Sentence, ...]
    not_costed: tuple[Any, ...]
    left_out: Mapping[str, str]
    survival: Standardised
    draws: int
    seed: int
    noticed: tuple[str, ...]
    prices: Mapping[Any, Price] = field(default_factory=dict)
    increments: Increments | None = None
    break_even: BreakEven | None = None
    best_value: BestValue | None = None
    with_infill: WithInfill | None = None
    between: tuple[tuple[Any, Any], ...] = ()
    n_sites: int = 0
    level: float = CONFIDENCE

    @property
    def checks(self) -> tuple[str, ...]:
        """Plain sentences: what was noticed, and whether one ratio of hazards all season holds."""
        return (*self.noticed, *said_of_one_ratio(self.survival.fit, self.by))

    def plot(self, ax: Axes | None = None) -> Axes:
        """Draw cost per established plant, lowest first."""
        from survivor.figures.payoff import draw_payoff

        return draw_payoff(self.table.rename(columns={self.by: "method"}), ax)


@dataclass(frozen=True)
class PayoffOptions:
    """What ``payoff`` may be asked besides.

    Attributes
    ----------
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
        Least and most that an established plant may be worth; None: from zero to a round
        figure over twice the dearest.
    infill, infill_plants
        What an infill plant costs, and how many there are and live; without either, infill
        is not counted.
    contrasts
        Those of all pairs, where they are made already, so that a difference has one number
        everywhere; None: made from the fit.
    counted
        Survival with levels that the model does not hold, as observed (``survivor.effects.counted``):
        they are costed too, but stand in no increment, break-even or best value.
    level
        Confidence level of all limits; ``contrasts`` and ``counted``, where given, are at it.
    compared
        The comparisons with ``against``, where they are made already: their p, adjusted for their number,
        tells whether more are alive; None: adjusted over the costed methods.
    """

    currency: str = ""
    draws: int = 10_000
    seed: int = 1
    left_out: Mapping[str, str] = field(default_factory=dict)
    against: Any = None
    worth: tuple[float | None, float | None] = (None, None)
    infill: Infill | None = None
    infill_plants: InfillPlants | None = None
    contrasts: Contrasts | None = None
    counted: Standardised | None = None
    level: float = CONFIDENCE
    compared: Contrasts | None = None


def _check_options(asked: PayoffOptions) -> None:
    check_level(asked.level)
    for name, given in (("contrasts", asked.contrasts), ("counted", asked.counted)):
        if given is not None and given.level != asked.level:
            raise PayoffError(
                f"limits of {name} are at {given.level:g}, those of costs at {asked.level:g}",
                where=f"level={asked.level:g}",
                mend=f"make {name} with level={asked.level:g}, or leave it out",
            )
    draws_of(asked.draws, PayoffError)
    seed_of(asked.seed, PayoffError)
    if not isinstance(asked.currency, str):
        raise PayoffError(
            f"{asked.currency!r} is no currency", where="currency", mend='for example currency="AUD"'
        )
    known = isinstance(asked.left_out, Mapping)
    if not known or any(isinstance(why, bool | int | float | None) for why in asked.left_out.values()):
        raise PayoffError(
            f"{asked.left_out!r} names no reasons", where="left_out", mend="give a reason by method"
        )
    ends = several(asked.worth, "worth", PayoffError, "give two numbers, or None for either")
    wrong = [end for end in ends if end is not None and not (is_number(end) and end >= 0)]
    if len(ends) != 2 or wrong or (None not in ends and not ends[0] < ends[1]):
        raise PayoffError(
            f"{asked.worth!r} is no range", where="worth", mend="give least and most, or None for either"
        )


def payoff(
    fit: Fit,
    costs: Costs | pd.DataFrame,
    at: float = 365,
    by: str = "method",
    population: pd.DataFrame | None = None,
    options: PayoffOptions = PayoffOptions(),
    **named: Any,
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
    by
        Column of methods.
    population
        Plants of the whole planting as weights; None: the plants of the records.
    options, named
        See :class:`PayoffOptions`; its fields may be given by name instead, as in
        ``payoff(fit, costs, currency="AUD", seed=3)``.

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

    Examples
    --------
    >>> paid = survivor.payoff(fit, {"usual": 3.0, "auger": 4.0, "rip": 4.5}, at=365).table
    >>> paid[["method", "cost_per_established"]].round(1)
      method  cost_per_established
    0  usual                   5.9
    1  auger                   6.5
    2    rip                   5.9
    """
    check_name(by)
    asked = replace(options, **named)
    _check_options(asked)
    prices, currency = read_costs(costs, by, asked.currency)
    standard = asked.counted
    if standard is None:
        standard = survival(fit, by=by, at=at, population=population, level=asked.level)
    methods, left_out = standard.table[by].tolist(), dict(asked.left_out)
    if asked.against is not None and not is_one_of(asked.against, [*methods, *left_out]):
        raise PayoffError(
            f"{asked.against!r} is not a level of {by}",
            where="against",
            mend=f"levels in the records: {', '.join(map(str, methods))}",
        )
    not_costed = tuple(name for name in methods if name not in prices)
    strange = tuple(name for name in prices if name not in methods and str(name) not in left_out)
    if len(not_costed) == len(methods):
        raise PayoffError(
            f"no method has a cost: {', '.join(map(str, methods))}",
            where=f"costs name {', '.join(map(str, strange)) or 'nothing'}",
            mend="name the methods as in the records",
        )
    costed = Costed.of(standard, prices, currency, asked.draws, asked.seed)
    table = _table(standard, costed)
    lead = table.iloc[int(table["probability_lowest"].to_numpy().argmax())]
    clear = len(table) > 1 and bool(table["lower"].notna().all()) and lead["probability_lowest"] >= CONFIDENCE
    cheapest = lead[by] if clear else None
    own = dict(zip(costed.methods, costed.prices, strict=True))
    compared = _compared(fit, costed, at, population, asked)
    infill = None
    if asked.infill and asked.infill_plants and asked.infill_plants.any_of(costed.methods):
        infill = with_infill(costed, asked.infill, asked.infill_plants)
    between = compared.get("between", ())
    noticed = (
        *standard.noticed,
        *remarks(not_costed, strange, left_out, standard, own),
        *([] if currency else [en.ASK_CURRENCY]),
        *between_sites(between),
    )
    return Payoff(
        by=by,
        at_day=float(at),
        table=table,
        cheapest=cheapest,
        said=_said(table, costed, cheapest, bool(not_costed or left_out)),
        not_costed=not_costed,
        left_out=left_out,
        survival=standard,
        draws=asked.draws,
        seed=asked.seed,
        noticed=noticed,
        prices=own,
        with_infill=infill,
        **compared,
        n_sites=_sites(fit.data, by, list(costed.methods)),
        level=float(asked.level),
    )


def _compared(
    fit: Fit, costed: Costed, at: float, population: pd.DataFrame | None, asked: PayoffOptions
) -> dict[str, Any]:
    """Compare the costed methods that the fit holds, by the fields of ``Payoff``; none of fewer than two."""
    levels = levels_of(fit.data, costed.by)
    held = costed.pick([place for place, name in enumerate(costed.methods) if name in levels])
    if len(held.methods) < 2:
        return {}
    pairs = asked.contrasts
    if pairs is None:
        pairs = contrasts(fit, held.by, at, pairs="all", population=population, level=asked.level)
    apart = gaps(fit, held.by, at, held.methods, population, pairs.table)
    base = held.methods.index(asked.against) if asked.against in held.methods else 0
    dearest = per_established(held.per_plant, held.survival)
    finite = dearest[np.isfinite(dearest)]
    worth = worth_range(float(finite.max()) if len(finite) else np.inf, *asked.worth)
    return {
        "increments": increments(apart, held, base, _adjusted(asked.compared, held.methods[base])),
        "break_even": break_even(apart, held, base),
        "best_value": best_value(apart, held, base, worth),
        "between": apart.between,
    }


def _adjusted(compared: Contrasts | None, base: Any) -> dict[Any, float] | None:
    """Find the adjusted p of each method against the base, where the comparisons with it are known."""
    if compared is None or not (compared.table["against"].astype(str) == str(base)).all():
        return None
    table = compared.table
    return dict(zip(table[compared.by].tolist(), table["p_adjusted"].astype(float), strict=True))


def _sites(data: pd.DataFrame, by: str, names: list[Any]) -> int:
    """Count the sites that hold any of some methods; 0 where the fit does not tell of each."""
    if not {by, "site"} <= set(data.columns) or not set(names) <= set(data[by]):
        return 0
    return int(data.loc[data[by].isin(names), "site"].nunique())


def in_seasons(found: Payoff, rain: RainSlope) -> Scenarios:
    """Cost per established plant in a dry and in a wet season.

    Parameters
    ----------
    found
        The costs as they were.
    rain
        How rain goes with the hazard of each method of ``found.table``, in that order.
    """
    currency = str(found.table["currency"].iloc[0])
    costed = Costed.of(found.survival, found.prices, currency, found.draws, found.seed)
    return under_rain(costed, rain)


def _table(standard: Standardised, costed: Costed) -> pd.DataFrame:
    chosen = standard.table[standard.table[standard.by].isin(costed.methods)].reset_index(drop=True)
    drawn = per_established(costed.paid, costed.alive)
    ends, lowest = limits_of(drawn, costed.level), chance_of_lowest(drawn)
    # Survival without limits gives no cost with limits, and one next to zero gives a figure of no use.
    limited = np.isfinite(chosen["lower"].to_numpy(float)) & np.isfinite(chosen["upper"].to_numpy(float))
    lower, upper = (np.where(limited, ends[name], np.nan) for name in ("lower", "upper"))
    table = pd.DataFrame(
        {
            costed.by: chosen[costed.by],
            "cost_per_plant": costed.per_plant,
            "cost_low": [price.low for price in costed.prices],
            "cost_high": [price.high for price in costed.prices],
            "survival": chosen["estimate"],
            "cost_per_established": per_established(costed.per_plant, costed.survival),
            "lower": lower,
            "upper": np.where(upper > MOST_TIMES * costed.per_plant, np.inf, upper),
            "probability_lowest": lowest,
            "currency": costed.currency,
            **{name: chosen[name] for name in ("at_day", "n_seedlings", "n_plots", "n_sites")},
            "lower_error": ends["lower_error"],
            "upper_error": ends["upper_error"],
            "probability_error": chance_error(lowest, costed.draws),
            "range_from": [
                "survival and prices" if price.high > price.low else "survival" for price in costed.prices
            ],
        }
    )
    return with_level(table, costed.level)


def _said(table: pd.DataFrame, costed: Costed, cheapest: Any, some_missing: bool) -> tuple[Sentence, ...]:
    by, level = costed.by, costed.level
    lead = table.iloc[int(table["cost_per_established"].to_numpy().argmin())]
    method = Name(str(lead[by]))
    if len(table) == 1:
        return (say(en.ALONE, method=method, **_priced(lead, by, level)),)
    if cheapest is not None:
        chosen = table[table[by] == cheapest].iloc[0]
        of_those = en.OF_COSTED if some_missing else ""
        least = say(en.LEAST, method=Name(str(cheapest)), of_those=of_those, **_priced(chosen, by, level))
        return (least, say(en.SURE, chance=_in_100(chosen, by)))
    among = en.CAN_BE_COSTED if some_missing else ""
    lowest = say(en.LOWEST, method=method, **_priced(lead, by, level))
    if table["lower"].isna().any():
        return (say(en.CANNOT, among=among), lowest)
    said = [say(en.NONE_CLEAR, among=among), lowest, say(en.CHANCE, chance=_in_100(lead, by))]
    first = table.iloc[int(table["probability_lowest"].to_numpy().argmax())]
    if _in_100(first, by).text != _in_100(lead, by).text:
        said.append(say(en.LIKELIER, method=Name(str(first[by])), chance=_in_100(first, by)))
    return tuple(said)


def _priced(row: pd.Series[Any], by: str, level: float) -> dict[str, Value]:
    """Write the cost of an established plant with its range, and the cells that they are from."""
    lower, upper, currency = float(row["lower"]), float(row["upper"]), str(row["currency"])
    what = confidence(level) if row["range_from"] == "survival" else range_words(level)
    span = range_of_money(what, lower, upper, currency)
    value = float(row["cost_per_established"])
    written = f"{money(value, currency)}{'' if currency else en.NO_CURRENCY}"
    return {
        "cost": Value(written, value, cell("payoff", "cost_per_established", **{by: row[by]})),
        "span": Value(span, lower, cell("payoff", "lower", **{by: row[by]})),
    }


def _in_100(row: pd.Series[Any], by: str) -> Value:
    """Write the chance of the lowest cost, never as none or all."""
    chance = float(row["probability_lowest"])
    text = en.MORE_THAN if chance > 0.995 else en.LESS_THAN if chance < 0.005 else number(100 * chance)
    return Value(text, chance, cell("payoff", "probability_lowest", **{by: row[by]}), 100.0)
