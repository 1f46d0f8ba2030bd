"""Survival of a whole planting in which nobody, or everybody, is alive under some preparation.

A model that does not know the preparations takes plots of which all are dead for plots that
differ by chance, and gives limits far too wide. So the planting is put together from its
preparations: those with some alive and some dead by the model, the others by their counts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from survivor.analysis.season import Season
from survivor.effects.counted import with_counted_survival
from survivor.effects.standardise import Standardised, survival
from survivor.errors import SurvivorError
from survivor.intervals import entries, tally

_SIDES = ("lower", "upper")


def by_arms(season: Season) -> Standardised | None:
    """Survival of the planting from its preparations, at the day of the headline.

    Preparations have the shares of plants that they have in the plots of each site. Limits are put
    together from those of each part (Zou and Donner 2008, Statistics in Medicine 27, 1693-1702);
    the parts are of different plots.

    Returns
    -------
    Standardised or None
        One line, as ``survival(fit, None)`` gives it. None where every preparation is in the model,
        or one is in neither part, or a part has no limits.
    """
    fits, intervals = season.fits, season.intervals
    answer, edges = fits.answer or fits.headline, fits.edges
    if not edges or answer is None:
        return None
    held = set(answer.data["method"].astype(str))
    if held | {str(name) for name in edges} != set(intervals["method"].astype(str)):
        return None
    window = float(season.settings.headline_milestone.window_days)
    share, put_in = _shares(intervals, season.population)
    weight = share.mul(put_in, axis=0).sum() / put_in.sum()
    people = season.population
    if people is not None:
        kept = people["site"].astype(str).map(share[[name for name in share if name in held]].sum(axis=1))
        people = people.assign(plants=people["plants"] * kept.fillna(0.0))
        people = people[people["plants"] > 0]
    try:
        rest = survival(answer, None, season.at, people)
        apart = with_counted_survival(None, intervals, season.at, window, edges).table
    except SurvivorError:
        return None
    apart = apart[~apart["method"].astype(str).isin(held)]
    parts = pd.concat([rest.table, apart], ignore_index=True)
    parts["weight"] = [
        weight[[name for name in weight.index if name in held]].sum(),
        *(weight[str(name)] for name in apart["method"]),
    ]
    estimate = float((parts["weight"] * parts["estimate"]).sum())
    away = {side: parts["weight"] * (parts[side] - parts["estimate"]) for side in _SIDES}
    reach = {side: float(np.sqrt((gap**2).sum(skipna=False))) for side, gap in away.items()}
    if not np.isfinite([estimate, *reach.values()]).all():
        return None
    counts = tally(intervals)
    table = rest.table.assign(
        estimate=estimate,
        std_error=float(parts["weight"].iloc[0] * rest.table["std_error"].iloc[0]),
        lower=max(estimate - reach["lower"], 0.0),
        upper=min(estimate + reach["upper"], 100.0),
        n_seedlings=counts["seedlings"],
        n_plots=counts["plots"],
        n_sites=counts["sites"],
        died_any_day=counts["died"],
    )
    return replace(rest, table=table, covariance=np.full((1, 1), np.nan))


def _shares(intervals: pd.DataFrame, people: pd.DataFrame | None) -> tuple[pd.DataFrame, pd.Series[float]]:
    """Return the share of each preparation in the plots of each site, and the plants put in at each."""
    entered = entries(intervals)
    keys = [entered["site"].astype(str), entered["method"].astype(str)]
    watched = entered["at_risk"].astype(float).groupby(keys).sum().unstack(fill_value=0)
    share = watched.div(watched.sum(axis=1), axis=0)
    if people is None:
        return share, watched.sum(axis=1)
    put_in = people.groupby(people["site"].astype(str))["plants"].sum().astype(float)
    return share, put_in.reindex(share.index).fillna(0.0)
