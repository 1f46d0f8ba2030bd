"""Do sites agree, and does one site carry the answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

from survivor.effects.cells import without_sites
from survivor.effects.confounding import WITHIN
from survivor.effects.contrasts import contrasts
from survivor.effects.refits import Refits, refits
from survivor.errors import SurvivorError
from survivor.limits import floored_f
from survivor.models.by_period import fit_again
from survivor.models.fitted import Estimates
from survivor.models.result import Fit, holm
from survivor.progress import counted_off
from survivor.vocabulary import PLOT_KEY, REFUSED, SIGNIFICANCE

#: Sites left out in turn; of more, so many without which the differences move furthest.
MOST_SITES, FURTHEST = 60, 20
OUT_COLUMNS = ["site_left_out", "method", "against", "estimate", "lower", "upper", "p_adjusted", "note"]


def plot_shares(intervals: pd.DataFrame, at: float) -> pd.DataFrame:
    """Share alive at the last visit on or before day ``at``, one row a plot.

    Returns
    -------
    DataFrame
        ``site, block, plot, method, plants`` (at the first visit), ``alive`` (0 to 1): the
        product over the visits of the share that lived from one to the next.
    """
    keys = [name for name in (*PLOT_KEY, "method") if name in intervals.columns]
    seen = intervals[intervals["stop_day"] <= at]
    by_visit = seen.groupby([*keys, "stop_day"], observed=True, sort=True)[["at_risk", "died"]].sum()
    lived = (1 - by_visit["died"] / by_visit["at_risk"]).groupby(level=keys, observed=True).prod()
    plants = by_visit["at_risk"].groupby(level=keys, observed=True).first()
    return pd.DataFrame({"plants": plants, "alive": lived}).reset_index()


def interaction_p(shares: pd.DataFrame, method: str, against: str) -> float:
    """Test whether the difference between two methods is the same at every site.

    The F test of method by site in a two-way analysis of variance of the plots'
    shares alive, at the sites that hold both methods; plots count as no more alike than
    independent seedlings would make them (``survivor.limits``).

    Returns
    -------
    float
        The p-value; not a number where fewer than two sites hold both, or no method
        has two plots at a site, so that plots cannot be distinguished from the interaction.
    """
    pair = shares[shares["method"].astype(str).isin([method, against])].copy()
    pair["method"] = pair["method"].astype(str)
    both = pair.groupby("site")["method"].nunique()
    pair = pair[pair["site"].isin(both.index[both == 2])]
    sites = pair["site"].nunique()
    cells = pair.groupby(["site", "method"])["alive"]
    within_df = len(pair) - 2 * sites
    if sites < 2 or within_df < 1:
        return float("nan")
    middle_of_cell = cells.transform("mean")
    within = float(((pair["alive"] - middle_of_cell) ** 2).sum()) / within_df
    by_chance = float((middle_of_cell * (1 - middle_of_cell) / pair["plants"]).mean())
    mean, count = cells.mean().unstack(), cells.size().unstack()
    weight = (1 / (1 / count).sum(axis=1)).to_numpy(dtype=float)
    difference = (mean[method] - mean[against]).to_numpy(dtype=float)
    middle = float(np.average(difference, weights=weight))
    between = float(np.sum(weight * (difference - middle) ** 2))
    if not by_chance > 0:
        return float("nan")
    statistic = between / (sites - 1) / within if within > 0 else np.inf
    statistic = floored_f(statistic, sites - 1, within_df, between / by_chance)
    return float(stats.f.sf(statistic, sites - 1, within_df))


def leave_one_site_out(fitted: Fit, at: float, population: pd.DataFrame | None = None) -> pd.DataFrame:
    """Differences against the first method with each site left out in turn.

    Where sites are more than 60, those 20 are left out without which a difference moves furthest by one
    Newton's step (``survivor.effects.refits``): a site that carries an answer is among them. Their limits
    are as wide as with all sites, from which one of so many takes next to nothing.

    Returns
    -------
    DataFrame
        ``site_left_out, method, against, estimate, lower, upper`` (per 100 planted), ``p_adjusted``
        and ``note``: why there is no number without that site.
    """
    sites = fitted.data["site"].unique().tolist()
    again = refits(fitted, "method", at, None, population)
    places = dict(zip(again.sites, range(len(again.sites)), strict=True)) if again is not None else {}
    whole = None
    if len(sites) > MOST_SITES and again is not None:
        furthest = np.abs(again.moves()).max(axis=1)
        chosen = {again.sites[place] for place in np.argsort(-furthest, kind="stable")[:FURTHEST]}
        sites, whole = [site for site in sites if site in chosen], again.without([], limits=True)
    # Without a site the correlation within plots, and so their weights, are others: that is fitted anew.
    quick = whole is not None or fitted.working == "independence"
    found: list[dict[str, Any]] = []
    for site in counted_off(sites[:MOST_SITES], "site"):
        lines = _refitted(again, places[site], whole) if again is not None and quick else None
        found += [{"site_left_out": site, **line} for line in lines or _fitted(fitted, site, at, population)]
    return pd.DataFrame(found, columns=OUT_COLUMNS)


def _refitted(again: Refits, place: int, whole: Estimates | None) -> list[dict[str, Any]] | None:
    """Lines of each pair without a site, on arrays; None where the model is another there.

    ``whole``: the estimates of all sites, whose errors stand for those without one; None: its own are made.
    """
    without = again.without([place], limits=whole is None)
    if without is None:
        return None
    if whole is not None:
        without = replace(whole, estimate=without.estimate)
    known = (without.std_error > 0) & (without.df > 0)  # False for blanks
    if not known.all():
        return None
    lower, upper, p_value = without.limits_of_differences()
    numbers = iter(
        np.column_stack([100 * without.estimate, 100 * lower, 100 * upper, holm(p_value)]).tolist()
    )
    lines = []
    for pair in again.pairs:
        line: dict[str, Any] = {"method": pair.level, "against": pair.against, "note": ""}
        if pair.basis == WITHIN:
            line |= dict(zip(("estimate", "lower", "upper", "p_adjusted"), next(numbers), strict=True))
        else:
            line["note"] = pair.reason
        lines.append(line)
    return lines


def _fitted(fitted: Fit, site: Any, at: float, population: pd.DataFrame | None) -> list[dict[str, Any]]:
    """Lines of each pair without a site, from the records."""
    rest, planted = without_sites(fitted.data, population, [site])
    try:
        table = contrasts(fit_again(rest, fitted), at=at, population=planted).table
    except SurvivorError as fault:
        return [{"method": "", "against": "", "note": fault.what}]
    return [
        {
            **{str(name): line[name] for name in line},
            "note": line["reason"] if line["basis"] == REFUSED else "",
        }
        for line in table.to_dict("records")
    ]


def one_site_carries(left_out: pd.DataFrame, method: str, against: str, estimate: float, clear: bool) -> bool:
    """Whether what is concluded of a difference is no longer so without some one site.

    Parameters
    ----------
    left_out
        As :func:`leave_one_site_out` gives it.
    method, against
        The two methods.
    estimate, clear
        The difference, and whether it is a clear one; else nothing is concluded that a site could
        carry.
    """
    rows = left_out[(left_out["method"].astype(str) == method) & (left_out["against"].astype(str) == against)]
    rows = rows[rows["estimate"].notna()]
    still = (rows["p_adjusted"] < SIGNIFICANCE) & (np.sign(rows["estimate"]) == np.sign(estimate))
    return bool(clear and not still.all())
