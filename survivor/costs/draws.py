"""Draws of survival that agree with its printed limits, and of costs beside them.

Every part of a simulation has random numbers of its own, from the seed and its name, so
that what one part draws does not move the others.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq

from survivor.arguments import seed_of
from survivor.arrays import Floats
from survivor.costs.prices import Price, draw_prices
from survivor.effects.standardise import Standardised
from survivor.errors import PayoffError
from survivor.limits import at_edge, loglog_slope, with_level
from survivor.vocabulary import CONFIDENCE


def tails(level: float = CONFIDENCE) -> tuple[float, float]:
    """Return the shares of draws below the lower, and below the upper, of two-sided limits."""
    return (1 - level) / 2, (1 + level) / 2


def random_of(seed: int, part: str) -> np.random.Generator:
    """Random numbers of one named part of a simulation: a child of the seed by its name."""
    return np.random.default_rng(
        np.random.SeedSequence(seed_of(seed, PayoffError), spawn_key=(zlib.crc32(part.encode()),))
    )


@dataclass(frozen=True)
class Costed:
    """Methods that have a cost, with draws of survival and of what a plant costs.

    Attributes
    ----------
    by, at_day, currency
        Column of methods, days since planting, and of what money is.
    methods, survival, prices
        The methods, the share of plants alive, and what a plant costs.
    alive, paid
        Draws of the last two, shape (draws, methods).
    seed
        Of the simulation.
    level
        Confidence level of its limits: that of the limits of survival.
    """

    by: str
    at_day: float
    currency: str
    methods: tuple[Any, ...]
    survival: Floats
    prices: tuple[Price, ...]
    alive: Floats
    paid: Floats
    seed: int
    level: float = CONFIDENCE

    @classmethod
    def of(
        cls, standard: Standardised, prices: Mapping[Any, Price], currency: str, draws: int, seed: int
    ) -> Costed:
        """Draw survival and cost of the methods that have both."""
        named = standard.table[standard.by].tolist()
        places = [place for place, name in enumerate(named) if name in prices]
        own = tuple(prices[named[place]] for place in places)
        return cls(
            by=standard.by,
            at_day=standard.at_day,
            currency=currency,
            methods=tuple(named[place] for place in places),
            survival=standard.table["estimate"].to_numpy(float)[places] / 100,
            prices=own,
            alive=draw_survival(standard, places, draws, random_of(seed, "survival")),
            paid=draw_prices(own, draws, random_of(seed, "prices")),
            seed=seed,
            level=standard.level,
        )

    @property
    def draws(self) -> int:
        """Size of the simulation."""
        return len(self.paid)

    @property
    def per_plant(self) -> Floats:
        """Estimate of what a plant costs, shape (methods,)."""
        return np.array([price.per_plant for price in self.prices])

    def random(self, part: str) -> np.random.Generator:
        """Random numbers of one part of the simulation."""
        return random_of(self.seed, part)

    def pick(self, places: Sequence[int]) -> Costed:
        """Only these methods."""
        chosen = list(places)
        return replace(
            self,
            methods=tuple(self.methods[place] for place in chosen),
            survival=self.survival[chosen],
            prices=tuple(self.prices[place] for place in chosen),
            alive=self.alive[:, chosen],
            paid=self.paid[:, chosen],
        )

    def table(self, rows: Sequence[dict[str, Any]], columns: Sequence[str] | None = None) -> pd.DataFrame:
        """Table of some rows with the currency and the day."""
        found = pd.DataFrame(rows, columns=None if columns is None else list(columns)).assign(
            currency=self.currency, at_day=self.at_day
        )
        return with_level(found, self.level)


def per_established(paid: Floats, alive: Floats) -> Floats:
    """Cost per established plant; beyond price where survival is zero, or next to it."""
    with np.errstate(divide="ignore", over="ignore"):
        cost: Floats = paid / alive
    return cost


def limits_of(drawn: Floats, level: float = CONFIDENCE) -> dict[str, Floats]:
    """Limits of draws along the first axis, with their Monte Carlo errors."""
    ordered = np.sort(drawn, axis=0)
    (lower, lower_error), (upper, upper_error) = (quantile(ordered, tail) for tail in tails(level))
    return {"lower": lower, "upper": upper, "lower_error": lower_error, "upper_error": upper_error}


def chance_of_lowest(drawn: Floats) -> Floats:
    """Share of draws in which each column is the lowest, shape (methods,)."""
    chances: Floats = np.bincount(drawn.argmin(axis=1), minlength=drawn.shape[1]) / len(drawn)
    return chances


def chance_error(probability: Floats, draws: int) -> Floats:
    """Monte Carlo error of a probability."""
    error: Floats = np.sqrt(probability * (1 - probability) / draws)
    return error


def quantile(ordered: Floats, share: float) -> tuple[Floats, Floats]:
    """Return a quantile of each column and its Monte Carlo error, from the order statistics round it.

    Parameters
    ----------
    ordered
        Draws in rising order along the first axis.
    share
        Of the quantile, between 0 and 1.
    """
    draws = len(ordered)
    step = np.sqrt(share * (1 - share) / draws)
    places: NDArray[np.intp] = np.clip(
        np.round((draws - 1) * np.array([share - step, share, share + step])), 0, draws - 1
    ).astype(np.intp)
    low, middle, high = ordered[places]
    with np.errstate(invalid="ignore"):
        error: Floats = (high - low) / 2
    return middle, error


_LEAST = 1e-12  # survival is kept this far from 0 and 1 on the log(-log) scale
_FEWEST, _MOST = -30.0, 40.0  # logarithm of a number of plants
_FURTHEST = 700.0  # exp of more overflows; survival there is 0 to the last digit


def draw_survival(
    standard: Standardised, places: Sequence[int], draws: int, rng: np.random.Generator
) -> Floats:
    """Joint draws of survival, shape (draws, methods).

    The margins are t on each method's own degrees of freedom on the log(-log)
    scale, each side as wide as the printed limits, and at 0 and 100 % as the one limit there is; a
    normal copula carries the correlations.

    Parameters
    ----------
    standard
        Standardised survival.
    places
        Rows of its table that are drawn.
    draws, rng
        Size and source of the draws.
    """
    table = standard.table.iloc[list(places)]
    share = table["estimate"].to_numpy(float) / 100
    df = table["df"].to_numpy(float)
    slope = loglog_slope(share)
    covariance = slope[:, None] * standard.covariance[np.ix_(places, places)] * slope[None, :]
    spread = np.sqrt(np.clip(np.diag(covariance), 0, None))
    edge = at_edge(share) | ~(spread > 0) | ~(df > 0)
    safe = np.where(edge, 1.0, spread)
    correlation = np.where(edge[:, None] | edge[None, :], 0.0, covariance / np.outer(safe, safe))
    np.fill_diagonal(correlation, 1.0)
    normal = rng.standard_normal((draws, len(share))) @ root(correlation).T
    rank = stats.norm.cdf(normal)
    usable = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    quantile = np.where(np.isposinf(df), normal, stats.t.ppf(rank, usable))
    _, tail = tails(standard.level)
    limit = np.where(np.isposinf(df), stats.norm.ppf(tail), stats.t.ppf(tail, usable))
    centre = loglog(share)
    worse = (loglog(table["lower"].to_numpy(float) / 100) - centre) / limit
    better = (centre - loglog(table["upper"].to_numpy(float) / 100)) / limit
    reach = centre + np.where(quantile > 0, worse, better) * quantile
    # Draws by t on few degrees of freedom reach beyond what exp can hold: survival is zero there.
    alive = alive_at(np.where(edge, 0.0, reach))
    drawn: Floats = np.where(edge, _without_spread(table, share, rank, standard.level), alive)
    return drawn


def _without_spread(table: pd.DataFrame, share: Floats, rank: Floats, level: float) -> Floats:
    """Draws where there is no spread to draw by: at 0 or 100 % to the printed limit, else by Jeffreys' beta.

    Away from 0 and 100 %, and where there are no limits, each plot counts as one plant.
    """
    number_of = np.where(table["n_plots"] > 0, table["n_plots"], table["n_seedlings"]).astype(float)
    drawn: Floats = stats.beta.ppf(rank, share * number_of + 0.5, (1 - share) * number_of + 0.5)
    ends = table[["lower", "upper"]].to_numpy(dtype=float) / 100
    for place in np.flatnonzero(at_edge(share)):
        low, high = ends[place].tolist()
        if np.isfinite([low, high]).all():
            drawn[:, place] = at_the_end(rank[:, place], bool(share[place] > 0.5), low, high, level)
    return drawn


def at_the_end(
    rank: Floats, everybody: bool, lower: float, upper: float, level: float = CONFIDENCE
) -> Floats:
    """Draws of a survival of 0 or 1 whose one tail ends at the printed limit.

    Beta draws with a half on the side where nobody was seen, as Jeffreys' prior has it, and so
    many plants on the other that the tail beyond the limit (Wilson 1927) is that of the level: 2.5
    in 100 at 95 %.

    Parameters
    ----------
    rank
        Uniform draws; they keep their order.
    everybody
        Whether survival is 1, not 0.
    lower, upper
        Its limits, 0 to 1.
    level
        Their confidence level.
    """
    far = min(max(lower if everybody else 1 - upper, _LEAST), 1 - _LEAST)

    def beyond(log_number: float) -> float:
        return float(stats.beta.cdf(far, np.exp(log_number), 0.5)) - tails(level)[0]

    if beyond(_FEWEST) <= 0:  # a limit at the other end: nothing is known
        return rank
    number = np.exp(brentq(beyond, _FEWEST, _MOST))
    drawn: Floats = (
        stats.beta.ppf(rank, number, 0.5) if everybody else 1 - stats.beta.ppf(1 - rank, number, 0.5)
    )
    return drawn


def draw_share(
    estimate: float,
    lower: float,
    upper: float,
    draws: int,
    rng: np.random.Generator,
    level: float = CONFIDENCE,
) -> Floats:
    """Draws of one survival (0 to 1) from its limits at a level, shape (draws,).

    Normal on the log(-log) scale, each side as wide as the limits; at 0 or 1 see :func:`at_the_end`.
    NaN where there are no limits.
    """
    if not np.isfinite([estimate, lower, upper]).all():
        return np.full(draws, np.nan)
    z = float(stats.norm.ppf(tails(level)[1]))
    normal = rng.standard_normal(draws)
    if bool(at_edge(np.array([estimate]))[0]):
        return at_the_end(stats.norm.cdf(normal), estimate > 0.5, lower, upper, level)
    centre, worst, best = loglog(np.array([estimate, lower, upper]))
    return alive_at(centre + np.where(normal > 0, worst - centre, centre - best) / z * normal)


def loglog(share: Floats) -> Floats:
    """Return log(-log(share)), kept finite at 0 and 1."""
    place: Floats = np.log(-np.log(np.clip(share, _LEAST, 1 - _LEAST)))
    return place


def alive_at(place: Floats) -> Floats:
    """Return survival from its log(-log)."""
    share: Floats = np.exp(-np.exp(np.minimum(place, _FURTHEST)))
    return share


def root(correlation: Floats) -> Floats:
    """Return a root R of a covariance, R R' = covariance, also where it is of less than full rank."""
    values, vectors = np.linalg.eigh(correlation)
    factor: Floats = vectors * np.sqrt(np.clip(values, 0, None))
    return factor
