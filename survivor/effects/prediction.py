"""Differences with limits expected at similar sites: the sites stand for others.

The limits of the answer go by plot and speak of these sites. Here each site is left
out in turn, from the fit and from the sites averaged over, and the squares of the
changes are summed: this holds how methods differ from site to site, and that the same
ratio of hazards makes another difference where fewer die. Few sites tell a variance
badly, the less so the more unequal they are: t goes on the Satterthwaite degrees of
freedom of the same difference by site (CR2), at most sites less one. Where sites are
many, groups of them are left out instead (Kott 2001, Journal of Official Statistics
17, 521-526), by one Newton step each; with 60 groups the error of a step is about a sixtieth of it.

By simulation (5 to 12 sites, preparations alike or not from site to site) such
limits hold the average over sites 94 to 97 times of 100; CR2 by site alone, which
takes the sites averaged over as given, 91 to 95 times, and limits by plot 85 to 93
(``tests/calibration/like_sites.py``).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arguments import seed_of
from survivor.arrays import Floats
from survivor.effects.cells import without_sites
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import Contrasts, Pair, contrasts, simultaneous, with_limits
from survivor.effects.refits import Refits, refits
from survivor.errors import EffectError, SurvivorError
from survivor.limits import half_width, no_less_than_independent, said_of_floor, t_test
from survivor.models.by_period import fit_again, fit_by_cluster
from survivor.models.result import Fit, check_fit, holm
from survivor.vocabulary import REFUSED

FEWEST_SITES = 5
MOST_PARTS = 60  # sites, or groups of sites, left out in turn


def like_sites(
    fit: Fit,
    by: str = "method",
    at: float = 365,
    against: Any = None,
    population: pd.DataFrame | None = None,
    seed: int = 1,
) -> Contrasts:
    """Differences in survival per 100 planted with limits by site.

    Parameters
    ----------
    fit
        A grouped fit that holds ``by``; it is fitted again with the site as cluster, and
        without each site.
    by
        Column of methods.
    at
        Days since planting.
    against
        Level to compare with; None: the first.
    population
        Plants of the whole planting as weights; None: the plants of the records.
    seed
        Of the groups that many sites are dealt to.

    Returns
    -------
    Contrasts
        As ``survivor.contrasts`` gives them; a pair that fewer than five sites hold both
        of is refused.

    Raises
    ------
    EffectError
        When no pair stands at five sites, or the model cannot be fitted without some site.

    Examples
    --------
    >>> six = intervals.assign(site=intervals["plot"].str[1:].astype(int) // 4)
    >>> found = survivor.like_sites(survivor.fit(six, "method"))
    >>> found.table[["method", "estimate", "lower", "upper"]].round(1)
      method  estimate  lower  upper
    0  auger       9.1   -9.4   27.7
    1    rip      25.9   12.3   39.4
    """
    check_fit(fit)
    if "site" not in fit.data.columns:
        raise EffectError(
            "there is no column site", where="risk intervals", mend="give the site of every plot"
        )
    sites = fit.data["site"].unique()
    if len(sites) < FEWEST_SITES:
        raise EffectError(
            f"what is expected at similar sites needs {FEWEST_SITES} sites, and there are {len(sites)}",
            where="column site",
            mend="speak of these sites only",
        )
    found = _differences(fit, len(sites), by, at, against, population)
    table = found.table
    told = (table["n_sites"] >= FEWEST_SITES) & (table["basis"] != REFUSED)
    if not told.any():
        raise EffectError(
            f"what is expected at similar sites needs {FEWEST_SITES} sites that hold both preparations, and "
            "no two preparations have so many",
            where="column site",
            mend="speak of these sites only",
        )
    base = table["against"].iloc[0]
    parts = _parts(sites, seed)
    again = refits(fit, by, at, base, population)
    exact = fit.working != "independence" and len(parts) == len(sites)

    def left(part: list[Any]) -> Floats:
        # Fitted anew where the weights of plots are others without the part.
        quick = None if again is None or exact else _refitted(again, part, table[by])
        return _without(fit, part, table[by], at, base, population) if quick is None else quick

    quick = _by_one_step(again, parts, table[by]) if len(parts) < len(sites) else None
    moved = None if quick is None else table["estimate"].to_numpy(float) + quick
    without = np.array([left(part) for part in parts]) if moved is None else moved
    what = (
        f"each of {len(sites)} sites" if len(parts) == len(sites) else f"each of {len(parts)} groups of sites"
    )
    how = "" if moved is None else ", by one Newton step each"
    note = f"95 % CI by leaving out {what} in turn{how}, of each comparison on its own"
    independent = contrasts(fit_by_cluster(fit, None), by, at, base, population=population)
    jackknifed, floored = _with_limits(table, told.to_numpy(), without, independent.table)
    checks = (*independent.noticed, *said_of_floor(table[by].tolist(), floored))
    made = replace(found, table=jackknifed, limits_note=note, noticed=checks, fit=fit)
    return simultaneous(made, with_limits(made))


def _differences(
    fit: Fit, sites: int, by: str, at: float, against: Any, population: pd.DataFrame | None
) -> Contrasts:
    """Differences with degrees of freedom by site.

    Of few sites both are of one fit. Of many, whose levels are those of blocks within them, that fit would
    hold every level of all sites for each site; degrees of freedom are then of levels by site.
    """
    if sites <= MOST_PARTS or fit.strata == ("site",):
        return contrasts(fit_by_cluster(fit, "site"), by, at, against, population=population)
    found = contrasts(fit_again(fit.data, fit), by, at, against, population=population)
    of_sites = fit_again(fit.data, replace(fit, strata=("site",)), cluster="site")
    df = contrasts(of_sites, by, at, against, population=population).table.set_index(by)["df"]
    return replace(found, table=found.table.assign(df=found.table[by].map(df)))


def _parts(sites: Any, seed: int) -> list[list[Any]]:
    """Sites one by one; where they are many, in groups of about equal number, at random."""
    if len(sites) <= MOST_PARTS:
        return [[site] for site in sites]
    dealt = np.random.default_rng(seed_of(seed, EffectError)).permutation(len(sites))
    return [[sites[place] for place in part] for part in np.array_split(dealt, MOST_PARTS)]


def _by_one_step(again: Refits | None, parts: list[list[Any]], levels: pd.Series[Any]) -> Floats | None:
    """How far differences of levels go without groups of many sites, (parts, levels); None where untold."""
    if again is None:
        return None
    group = {site: place for place, part in enumerate(parts) for site in part}
    moves = 100 * again.moves(np.array([group[site] for site in again.sites], dtype=np.intp))
    if not np.isfinite(moves).all():
        return None
    within = {str(pair.level): place for place, pair in enumerate(_within(again))}
    return np.array(
        [
            moves[:, within[str(level)]] if str(level) in within else np.full(len(parts), np.nan)
            for level in levels
        ]
    ).T


def _within(again: Refits) -> list[Pair]:
    return [pair for pair in again.pairs if pair.basis == WITHIN]


def _refitted(again: Refits, part: list[Any], levels: pd.Series[Any]) -> Floats | None:
    """Differences of levels without some sites, on arrays; None where the model is another there."""
    found = again.without([again.sites.index(site) for site in part])
    if found is None:
        return None
    within = [str(pair.level) for pair in _within(again)]
    told = dict(zip(within, (100 * found.estimate).tolist(), strict=True))
    return np.array([told.get(str(level), np.nan) for level in levels])


def _without(
    fit: Fit, part: list[Any], levels: pd.Series[Any], at: float, base: Any, population: pd.DataFrame | None
) -> Floats:
    """Differences of levels from the fit and the average without some sites; NaN where there is none."""
    rest, planted = without_sites(fit.data, population, part)
    by = str(levels.name)
    try:
        # Only the estimates are read, so rows may count as independent.
        found = contrasts(fit_again(rest, fit, cluster=None), by, at, base, population=planted).table
    except SurvivorError as fault:
        raise EffectError(
            f"without {part[0]} the model cannot be fitted, so limits by site cannot be given: {fault.what}",
            where="column site",
            mend="speak of these sites only",
        ) from fault
    known = dict(zip(found[by].astype(str), found["estimate"].astype(float), strict=True))
    return np.array([known.get(str(level), np.nan) for level in levels])


def _with_limits(
    table: pd.DataFrame, told: NDArray[np.bool_], without: Floats, independent: pd.DataFrame
) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Put the jackknife's limits in the place of those of the fit by site.

    ``independent``: the same differences with seedlings independent, for the rule of
    ``survivor.limits``. Also returned: where their limits are used.
    """
    estimate = table["estimate"].to_numpy(dtype=float)
    parts = len(without)
    by_site = np.sqrt((parts - 1) / parts * np.sum((without - estimate) ** 2, axis=0))
    df = np.minimum(table["df"].to_numpy(dtype=float), parts - 1.0)
    error = no_less_than_independent(by_site, df, independent["std_error"].to_numpy(dtype=float))
    told = told & np.isfinite(error) & (error > 0)
    estimate, error, df = (np.where(told, part, np.nan) for part in (estimate, error, df))
    width, p_value = half_width(error, df), t_test(estimate, error, df)
    few = f"fewer than {FEWEST_SITES} sites hold both, too few for limits by site"
    reason = table["reason"].where(told | (table["basis"] == REFUSED), few)
    limits = table.assign(
        basis=table["basis"].where(told, REFUSED),
        estimate=estimate,
        std_error=error,
        df=df,
        lower=estimate - width,
        upper=estimate + width,
        p_value=p_value,
        p_adjusted=holm(p_value),
        reason=reason,
    )
    return limits, told & (error > by_site)
