"""Draws of survival that agree with its printed limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy import stats
from scipy.optimize import brentq

from survivor.costs.quantiles import TAILS
from survivor.effects.limits import Floats, at_edge, loglog_slope
from survivor.effects.standardise import Standardised

_LEAST = 1e-12  # survival is kept this far from 0 and 1 on the log(-log) scale
_FEWEST, _MOST = -30.0, 40.0  # logarithm of a number of plants
_FURTHEST = 700.0  # exp of more overflows; survival there is 0 to the last digit


def draw_survival(standard: Standardised, costed: list[int], draws: int, rng: np.random.Generator) -> Floats:
    """Joint draws of survival, shape (draws, methods).

    The margins are t on each method's own degrees of freedom on the log(-log)
    scale, each side as wide as the printed limits, and at 0 and 100 % as the one limit there is; a
    normal copula carries the correlations.

    Parameters
    ----------
    standard
        Standardised survival.
    costed
        Rows of its table that are drawn.
    draws, rng
        Size and source of the draws.
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
    normal = rng.standard_normal((draws, len(share))) @ root(correlation).T
    rank = stats.norm.cdf(normal)
    usable = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    quantile = np.where(np.isposinf(df), normal, stats.t.ppf(rank, usable))
    limit = np.where(np.isposinf(df), stats.norm.ppf(TAILS[1]), stats.t.ppf(TAILS[1], usable))
    centre = loglog(share)
    worse = (loglog(table["lower"].to_numpy(float) / 100) - centre) / limit
    better = (centre - loglog(table["upper"].to_numpy(float) / 100)) / limit
    reach = centre + np.where(quantile > 0, worse, better) * quantile
    # Draws by t on few degrees of freedom reach beyond what exp can hold: survival is nought there.
    alive = alive_at(np.where(edge, 0.0, reach))
    found: Floats = np.where(edge, _without_spread(table, share, rank), alive)
    return found


def _without_spread(table: pd.DataFrame, share: Floats, rank: Floats) -> Floats:
    """Draws where there is no spread to draw by: at 0 or 100 % to the printed limit, else by Jeffreys' beta.

    Away from 0 and 100 %, and where there are no limits, each plot counts as one plant.
    """
    number_of = np.where(table["n_plots"] > 0, table["n_plots"], table["n_seedlings"]).astype(float)
    found: Floats = stats.beta.ppf(rank, share * number_of + 0.5, (1 - share) * number_of + 0.5)
    ends = table[["lower", "upper"]].to_numpy(dtype=float) / 100
    for place in np.flatnonzero(at_edge(share)):
        if np.isfinite(ends[place]).all():
            found[:, place] = at_the_end(rank[:, place], bool(share[place] > 0.5), *ends[place])
    return found


def at_the_end(rank: Floats, everybody: bool, lower: float, upper: float) -> Floats:
    """Draws of a survival of 0 or 1 whose one tail ends at the printed limit.

    Beta draws with a half on the side where nobody was seen, as Jeffreys' prior has it, and so
    many plants on the other that the tail beyond the limit (Wilson 1927) is 2.5 in 100.

    Parameters
    ----------
    rank
        Uniform draws; they keep their order.
    everybody
        Whether survival is 1, not 0.
    lower, upper
        Its 95 % limits, 0 to 1.
    """
    far = min(max(lower if everybody else 1 - upper, _LEAST), 1 - _LEAST)

    def beyond(log_number: float) -> float:
        return float(stats.beta.cdf(far, np.exp(log_number), 0.5)) - TAILS[0]

    if beyond(_FEWEST) <= 0:  # a limit at the other end: nothing is known
        return rank
    number = np.exp(brentq(beyond, _FEWEST, _MOST))
    found: Floats = (
        stats.beta.ppf(rank, number, 0.5) if everybody else 1 - stats.beta.ppf(1 - rank, number, 0.5)
    )
    return found


def draw_share(estimate: float, lower: float, upper: float, draws: int, rng: np.random.Generator) -> Floats:
    """Draws of one survival (0 to 1) from its 95 % limits, shape (draws,).

    Normal on the log(-log) scale, each side as wide as the limits; at 0 or 1 see :func:`at_the_end`.
    NaN where there are no limits.
    """
    if not np.isfinite([estimate, lower, upper]).all():
        return np.full(draws, np.nan)
    z = float(stats.norm.ppf(TAILS[1]))
    normal = rng.standard_normal(draws)
    if bool(at_edge(np.array([estimate]))[0]):
        return at_the_end(stats.norm.cdf(normal), estimate > 0.5, lower, upper)
    centre, worst, best = loglog(np.array([estimate, lower, upper]))
    return alive_at(centre + np.where(normal > 0, worst - centre, centre - best) / z * normal)


def loglog(share: Floats) -> Floats:
    """Return log(-log(share)), kept finite at 0 and 1."""
    found: Floats = np.log(-np.log(np.clip(share, _LEAST, 1 - _LEAST)))
    return found


def alive_at(place: Floats) -> Floats:
    """Return survival from its log(-log)."""
    found: Floats = np.exp(-np.exp(np.minimum(place, _FURTHEST)))
    return found


def root(correlation: Floats) -> Floats:
    """Return a root R of a covariance, R R' = covariance, also where it is of less than full rank."""
    values, vectors = np.linalg.eigh(correlation)
    found: Floats = vectors * np.sqrt(np.clip(values, 0, None))
    return found
