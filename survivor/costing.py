"""What one established plant costs under each preparation, and which is the cheapest.

Cost per established plant is cost per plant over survival. Its limits and the
probability of being the lowest come from joint draws: survival on the log(-log)
scale with the correlations of the model and each method's own degrees of
freedom, costs within the range given for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from survivor.effects.limits import Floats, at_edge, loglog_slope
from survivor.effects.standardise import Standardised, survival
from survivor.errors import PayoffError
from survivor.figures.words import limits, money, number
from survivor.settings import Cost
from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from survivor.models.result import Fit

Costs = Mapping[Any, "float | Cost"]

_TAILS = ((1 - CONFIDENCE) / 2, (1 + CONFIDENCE) / 2)
_LEAST = 1e-12  # survival is kept this far from 0 and 1 on the log(-log) scale
_FURTHEST = 700.0  # exp of more overflows; survival there is 0 to the last digit
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
) -> Payoff:
    """Cost per established plant under each method.

    Parameters
    ----------
    fit
        A fitted model that holds ``by``.
    costs
        Cost per plant for each method: a number, or a ``survivor.settings.Cost``
        with the range ``low`` to ``high``; or a table with ``<by>, per_plant`` and,
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
    known, currency = _read_costs(costs, by, currency)
    standard = survival(fit, by=by, at=at, population=population)
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
    alive = _draw_survival(standard, costed, draws, rng)
    # Survival of nought, or next to it, makes a plant beyond price; the quantiles carry it as such.
    with np.errstate(divide="ignore", over="ignore"):
        drawn = _draw_costs(prices, draws, rng) / alive
        middle = np.array([price.per_plant for price in prices]) / (chosen["estimate"].to_numpy(float) / 100)
    table = _table(chosen, by, prices, middle, drawn, currency)
    lead = table.iloc[int(table["probability_lowest"].to_numpy().argmax())]
    cheapest = lead[by] if len(table) > 1 and lead["probability_lowest"] >= _CLEARLY else None
    checks = (*standard.checks, *_checks(not_costed, strange, apart, standard, costed))
    statement = _statement(table, by, cheapest, bool(not_costed or apart))
    return Payoff(by, float(at), table, cheapest, statement, not_costed, apart, standard, draws, seed, checks)


def _read_costs(costs: Costs | pd.DataFrame, by: str, currency: str) -> tuple[dict[Any, Cost], str]:
    """Costs by method, from a mapping or from a table."""
    if isinstance(costs, pd.DataFrame):
        absent = [name for name in (by, "per_plant") if name not in costs.columns]
        if absent:
            raise PayoffError(
                f"the table of costs has no column {', '.join(absent)}",
                where="costs",
                mend=f"give {by} and per_plant, and low and high where known",
            )
        if costs[by].duplicated().any():
            raise PayoffError(
                f"{costs.loc[costs[by].duplicated(), by].iloc[0]} has two costs",
                where="costs",
                mend="keep one",
            )
        currency = _one_currency(costs, currency)
        # A blank cost is a method without a cost, not a cost of nought.
        lines = costs.dropna(subset=["per_plant"]).to_dict("records")
        return {
            line[by]: _cost(line[by], line["per_plant"], line.get("low"), line.get("high")) for line in lines
        }, currency
    found = {}
    for method, cost in costs.items():
        found[method] = cost if isinstance(cost, Cost) else _cost(method, cost, None, None)
    return found, currency


def _one_currency(costs: pd.DataFrame, currency: str) -> str:
    if currency or "currency" not in costs.columns:
        return currency
    named = costs["currency"].dropna().unique()
    if len(named) > 1:
        raise PayoffError(
            f"costs are in {len(named)} currencies: {', '.join(map(str, named))}",
            where="costs, column currency",
            mend="bring them to one currency and one year",
        )
    return str(named[0]) if len(named) else ""


def _cost(method: Any, per_plant: Any, low: Any, high: Any) -> Cost:
    try:
        value = float(per_plant)
        ends = [value if end is None or pd.isna(end) else float(end) for end in (low, high)]
    except (TypeError, ValueError) as problem:
        raise PayoffError(
            f"the cost {per_plant!r} is not a number", where=str(method), mend="give a number"
        ) from problem
    if not (0 <= ends[0] <= value <= ends[1] < np.inf):
        raise PayoffError(
            f"the cost {value:g} with the range {ends[0]:g} to {ends[1]:g} cannot be used",
            where=str(method),
            mend="0 <= low <= per_plant <= high must hold",
        )
    return Cost(per_plant=value, low=ends[0], high=ends[1])


def _draw_survival(standard: Standardised, costed: list[int], draws: int, rng: np.random.Generator) -> Floats:
    """Joint draws of survival, shape (draws, methods).

    The margins are t on each method's own degrees of freedom on the log(-log)
    scale, each side as wide as the printed limits; a normal copula carries the correlations.
    """
    table = standard.table.iloc[costed]
    share = table["estimate"].to_numpy(float) / 100
    df = table["df"].to_numpy(float)
    slope = loglog_slope(share)
    covariance = slope[:, None] * standard.covariance[np.ix_(costed, costed)] * slope[None, :]
    spread = np.sqrt(np.clip(np.diag(covariance), 0, None))
    edge = at_edge(share) | ~(spread > 0) | ~(df > 0)
    safe = np.where(edge, 1.0, spread)
    correlation = np.where(edge[:, None] | edge[None, :], 0.0, covariance / np.outer(safe, safe))
    np.fill_diagonal(correlation, 1.0)
    normal = rng.standard_normal((draws, len(share))) @ _root(correlation).T
    rank = stats.norm.cdf(normal)
    usable = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    quantile = np.where(np.isposinf(df), normal, stats.t.ppf(rank, usable))
    limit = np.where(np.isposinf(df), stats.norm.ppf(_TAILS[1]), stats.t.ppf(_TAILS[1], usable))
    centre = _loglog(share)
    worse = (_loglog(table["lower"].to_numpy(float) / 100) - centre) / limit
    better = (centre - _loglog(table["upper"].to_numpy(float) / 100)) / limit
    reach = centre + np.where(quantile > 0, worse, better) * quantile
    # Draws by t on few degrees of freedom reach beyond what exp can hold: survival is nought there.
    alive = np.exp(-np.exp(np.minimum(np.where(edge, 0.0, reach), _FURTHEST)))
    # At 0 or 100 % each plot counts as one plant, as for the limits (Jeffreys' beta draws).
    number_of = np.where(table["n_plots"] > 0, table["n_plots"], table["n_seedlings"]).astype(float)
    beta = stats.beta.ppf(rank, share * number_of + 0.5, (1 - share) * number_of + 0.5)
    found: Floats = np.where(edge, beta, alive)
    return found


def _loglog(share: Floats) -> Floats:
    found: Floats = np.log(-np.log(np.clip(share, _LEAST, 1 - _LEAST)))
    return found


def _root(correlation: Floats) -> Floats:
    values, vectors = np.linalg.eigh(correlation)
    root: Floats = vectors * np.sqrt(np.clip(values, 0, None))
    return root


def _draw_costs(prices: list[Cost], draws: int, rng: np.random.Generator) -> Floats:
    """Draws of cost per plant, shape (draws, methods): a triangle over the range, or the cost itself."""
    columns = []
    for price in prices:
        low, high = _range(price)
        rank = rng.random(draws)
        if high > low:
            columns.append(stats.triang.ppf(rank, (price.per_plant - low) / (high - low), low, high - low))
        else:
            columns.append(np.full(draws, price.per_plant))
    return np.column_stack(columns)


def _range(price: Cost) -> tuple[float, float]:
    low = price.per_plant if price.low is None else price.low
    high = price.per_plant if price.high is None else price.high
    return low, high


def _table(
    chosen: pd.DataFrame, by: str, prices: list[Cost], middle: Floats, drawn: Floats, currency: str
) -> pd.DataFrame:
    draws, methods = drawn.shape
    lowest = np.bincount(drawn.argmin(axis=1), minlength=methods) / draws
    ordered = np.sort(drawn, axis=0)
    lower, lower_error = _quantile(ordered, _TAILS[0])
    upper, upper_error = _quantile(ordered, _TAILS[1])
    return pd.DataFrame(
        {
            by: chosen[by],
            "cost_per_plant": [price.per_plant for price in prices],
            "cost_low": [_range(price)[0] for price in prices],
            "cost_high": [_range(price)[1] for price in prices],
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


def _quantile(ordered: Floats, share: float) -> tuple[Floats, Floats]:
    """Return a quantile of each column and its Monte Carlo error, from the order statistics round it."""
    draws = len(ordered)
    step = np.sqrt(share * (1 - share) / draws)
    places: NDArray[np.intp] = np.clip(
        np.round((draws - 1) * np.array([share - step, share, share + step])), 0, draws - 1
    ).astype(np.intp)
    low, middle, high = ordered[places]
    with np.errstate(invalid="ignore"):
        error: Floats = (high - low) / 2
    return middle, error


def _checks(
    not_costed: tuple[Any, ...],
    strange: tuple[Any, ...],
    apart: Mapping[str, str],
    standard: Standardised,
    costed: list[int],
) -> list[str]:
    said = []
    if not_costed:
        names = "; ".join(map(str, not_costed))
        said.append(f"No cost per plant was given for {names}, so none per established plant is told.")
    said += [f"No cost per established plant is told for {name}: {why}." for name, why in apart.items()]
    if strange:
        said.append(
            f"A cost was given for what is in no plot of the records: {'; '.join(map(str, strange))}."
        )
    if len(costed) == 1:
        said.append("One preparation only can be costed, so none can be called the cheapest.")
    if not standard.extrapolated.empty:
        said.append("Costs are compared over all sites, also those where a method was not used.")
    return said


def _statement(table: pd.DataFrame, by: str, cheapest: Any, some_missing: bool) -> str:
    lead = table.iloc[int(table["cost_per_established"].to_numpy().argmin())]
    currency = str(lead["currency"])

    def priced(row: pd.Series[Any]) -> str:
        lower, upper = float(row["lower"]), float(row["upper"])
        told = f"95 % limits {limits(lower, upper, 2)}"
        if not np.isfinite(upper):
            told = f"95 % limits from {number(lower, 2)}, without an upper end"
        cost = money(float(row["cost_per_established"]), currency)
        return f"{cost} per established plant ({told})"

    among = " that can be costed" if some_missing else ""
    if len(table) == 1:
        return f"At these sites {lead[by]} cost {priced(lead)}."
    of_those = " of the preparations that can be costed" if some_missing else ""
    if cheapest is not None:
        chosen = table[table[by] == cheapest].iloc[0]
        chance = _in_100(float(chosen["probability_lowest"]))
        return f"At these sites {cheapest} cost least{of_those}: {priced(chosen)}; {chance} that it is so."
    chance = _in_100(float(lead["probability_lowest"]))
    return (
        f"At these sites none of the preparations{among} is clearly the cheapest. The lowest cost comes out "
        f"for {lead[by]}: {priced(lead)}, with {chance} that it is so."
    )


def _in_100(probability: float) -> str:
    if probability > 0.995:
        return "a chance of more than 99 in 100"
    if probability < 0.005:
        return "a chance of less than 1 in 100"
    return f"a chance of {number(100 * probability)} in 100"
