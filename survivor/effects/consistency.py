"""Do sites agree, and does one site carry the answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from survivor.effects.confounding import REFUSED
from survivor.effects.contrasts import contrasts
from survivor.errors import SurvivorError
from survivor.models.varying import fit_again
from survivor.vocabulary import PLOT_KEY

if TYPE_CHECKING:
    from survivor.models.result import Fit

OUT_COLUMNS = ["site_left_out", "method", "against", "estimate", "lower", "upper"]


def plot_shares(intervals: pd.DataFrame, at: float) -> pd.DataFrame:
    """Share alive at the last visit on or before day ``at``, one row a plot.

    Returns
    -------
    DataFrame
        ``site, block, plot, method, alive`` (0 to 1): the product over the visits of
        the share that lived from one to the next.
    """
    keys = [name for name in (*PLOT_KEY, "method") if name in intervals.columns]
    seen = intervals[intervals["stop_day"] <= at]
    by_visit = seen.groupby([*keys, "stop_day"], observed=True, sort=True)[["at_risk", "died"]].sum()
    lived = (1 - by_visit["died"] / by_visit["at_risk"]).groupby(level=keys, observed=True).prod()
    return lived.rename("alive").reset_index()


def interaction_p(shares: pd.DataFrame, method: str, against: str) -> float:
    """Test whether the difference between two methods is the same at every site.

    The F test of method by site in a two-way analysis of variance of the plots'
    shares alive, at the sites that hold both methods.

    Returns
    -------
    float
        The p-value; not a number where fewer than two sites hold both, or no method
        has two plots at a site, so that plots cannot be told from the interaction.
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
    within = float(((pair["alive"] - cells.transform("mean")) ** 2).sum())
    mean, count = cells.mean().unstack(), cells.size().unstack()
    weight = (1 / (1 / count).sum(axis=1)).to_numpy(dtype=float)
    difference = (mean[method] - mean[against]).to_numpy(dtype=float)
    middle = float(np.average(difference, weights=weight))
    between = float(np.sum(weight * (difference - middle) ** 2))
    if within == 0:
        return float("nan")
    statistic = (between / (sites - 1)) / (within / within_df)
    return float(stats.f.sf(statistic, sites - 1, within_df))


def leave_one_site_out(fitted: Fit, at: float, population: pd.DataFrame | None = None) -> pd.DataFrame:
    """Differences against the first method with each site left out in turn.

    Returns
    -------
    DataFrame
        ``site_left_out, method, against, estimate, lower, upper`` (per 100 planted).
        A site without which the model cannot be fitted has no rows.
    """
    found = []
    for site in pd.unique(fitted.data["site"]):
        rest = fitted.data[fitted.data["site"] != site].copy()
        rest.attrs = dict(fitted.data.attrs)
        people = population
        if population is not None and "site" in population.columns:
            people = population[population["site"] != site]
        try:
            again = fit_again(rest, fitted)
            table = contrasts(again, at=at, population=people).table
        except SurvivorError:
            continue
        kept = table[table["basis"] != REFUSED].assign(site_left_out=site)
        found.append(kept[OUT_COLUMNS])
    return pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=OUT_COLUMNS)


def one_site_carries(left_out: pd.DataFrame, method: str, against: str, estimate: float) -> bool:
    """Whether leaving out some one site turns a difference round or more than halves it."""
    rows = left_out[(left_out["method"].astype(str) == method) & (left_out["against"].astype(str) == against)]
    if rows.empty or estimate == 0:
        return False
    return bool((rows["estimate"] / estimate).min() < 0.5)
