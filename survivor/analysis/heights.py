"""Heights told with survival: how many of the plants put in are alive and of a set height.

The mean height of survivors is never given: where the weak have died the rest look tall. The
share alive and at least so high counts the dead as what they are.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from survivor.analysis.milestone import milestone_day, reached
from survivor.arrays import Floats
from survivor.curves.limits import at_edges, by_plots, loglog
from survivor.curves.rounds import at_milestone
from survivor.effects.cells import levels_of
from survivor.errors import SurvivorError
from survivor.proportions import ASSUMED_ICC, design_effect_from_icc, plot_correlation
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLANTS, PLOT_KEY, State

HEIGHT_COLUMNS = (
    "method",
    "milestone",
    "at_day",
    "at_least_cm",
    "known",
    "alive",
    "measured",
    "tall",
    "estimate",
    "lower",
    "upper",
    "n_plots",
    "note",
)

_HEIGHT = "height_cm"
_COUNTS = ["known", "alive", "measured", "tall"]


def alive_above_height(visits: pd.DataFrame, intervals: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Share of the plants that are alive and at least of the set height, by method, as observed.

    Of the plants whose fate is known at the milestone, the share alive, times the share of
    the living that were measured and are so high: a living plant that nobody measured is taken
    to be like the measured ones of its method. Limits by leaving out one plot at a time, on
    log(-log), t on plots less one; Wilson's where all or none are so high.

    Parameters
    ----------
    visits
        Tidy visits, with ``height_cm``.
    intervals
        Risk intervals of the first plants.
    settings
        ``[heights]`` and the milestones.

    Returns
    -------
    DataFrame
        See ``Analysis.heights``; empty where no height was set, none was measured, or the
        visits have not reached the milestone.
    """
    asked = settings.heights
    nothing = pd.DataFrame(columns=list(HEIGHT_COLUMNS))
    if asked is None or _HEIGHT not in visits or settings.records.kind != "tagged":
        return nothing
    name = asked.milestone or settings.headline_milestone.name
    milestone = next(one for one in settings.milestones if one.name == name)
    at, _ = milestone_day(intervals, milestone)
    if not reached(milestone, at):
        return nothing
    window = float(milestone.window_days)
    plots = _counts(visits, intervals, at, window, asked.at_least_cm)
    icc = _correlation(plots)
    rows = []
    for method in dict.fromkeys([*levels_of(intervals, "method"), *plots["method"]]):
        own = plots[plots["method"] == str(method)]
        if own.empty:
            continue
        line: dict[str, Any] = {"method": str(method), "milestone": name, "at_day": at}
        line |= {"at_least_cm": asked.at_least_cm, "n_plots": len(own)}
        line |= {name: int(own[name].sum()) for name in _COUNTS}
        rows.append({**line, **_share(own, icc)})
    return pd.DataFrame(rows, columns=list(HEIGHT_COLUMNS))


def _counts(
    visits: pd.DataFrame, intervals: pd.DataFrame, at: float, window: float, at_least: float
) -> pd.DataFrame:
    """Plants of each plot whose fate is known, that are alive, were measured, and are so high."""
    moved, _ = at_milestone(intervals, at, window)
    over = (moved["start_day"] < at) & (moved["stop_day"] >= at)
    alive = (moved["at_risk"] - moved["died"]).where(over, 0)
    died = moved["died"].where(moved["stop_day"] <= at, 0)
    keys = [*PLOT_KEY, "method"]
    plain = moved.assign(method=moved["method"].astype(str), alive=alive, known=alive + died)
    plots = plain.groupby(keys, sort=False)[["known", "alive"]].sum()
    seen = visits[(visits["cohort"] == FIRST_PLANTING) & (visits["state"] == State.ALIVE)]
    off = (seen["day"] - at).abs()
    near = seen[off <= window].assign(off=off + 0.25 * (seen["day"] < at))
    near = near.sort_values("off", kind="stable").drop_duplicates([*PLOT_KEY, "tag"])
    near = near[near[_HEIGHT].notna()]
    number = near[PLANTS] if PLANTS in near.columns else 1
    high = near.assign(
        method=near["method"].astype(str), measured=number, tall=(near[_HEIGHT] >= at_least) * number
    )
    measured = high.groupby(keys, sort=False)[["measured", "tall"]].sum()
    both = plots.join(measured).fillna(0).astype(int)
    # A plant first called dead and later alive can be measured on a day on which it counts as alive.
    return both[both["known"] > 0].reset_index()


def _share(own: pd.DataFrame, icc: float) -> dict[str, Any]:
    counts = own[_COUNTS].to_numpy(dtype=float)
    total = counts.sum(axis=0)
    if total[2] == 0:
        if total[1] == 0 and total[0] > 0:
            return _limits(own, np.array([0.0]), total, icc)
        return {"note": "no living plant was measured"}
    return _limits(own, np.array([_product(total)]), total, icc)


def _limits(own: pd.DataFrame, share: Floats, total: Floats, icc: float) -> dict[str, Any]:
    counts = own[_COUNTS].to_numpy(dtype=float)
    plots = len(own)
    missing = int(total[1] - total[2])
    verb = "was" if missing == 1 else "were"
    said = f"{missing} of the living {verb} not measured" if missing > 0 else ""
    found: dict[str, Any] = {"estimate": 100 * float(share[0]), "note": said}
    if plots < 2:
        return found | {"note": "; ".join(text for text in (said, "one plot gives no limits") if text)}
    without = np.array([_product(total - counts[place]) for place in range(plots)])
    df, size = float(plots - 1), float((counts[:, 0] ** 2).sum() / counts[:, 0].sum())
    with_edge = bool((share <= 0).any() or (share >= 1).any() or np.isnan(without).any())
    if with_edge or (without <= 0).any() or (without >= 1).any():
        effect = design_effect_from_icc(size, icc)
        lower, upper = at_edges(share, np.array([total[0]]), np.array([True]), effect, df)
    else:
        variance = df / plots * ((loglog(without) - loglog(share)) ** 2).sum()
        known, alive, measured, tall = total
        independent = 1 / alive - 1 / known + 1 / tall - 1 / measured
        _, lower, upper = by_plots(share, np.array([variance]), df, np.array([independent]))
    return found | {"lower": 100 * float(lower[0]), "upper": 100 * float(upper[0])}


def _product(total: Floats) -> float:
    known, alive, measured, tall = total
    if alive == 0 and known > 0:
        return 0.0
    return float(alive / known * tall / measured) if known > 0 and measured > 0 else float("nan")


def _correlation(plots: pd.DataFrame) -> float:
    """Correlation within plots of being alive and measured so high, within methods; 0 or more."""
    try:
        codes = pd.factorize(plots["method"])[0]
        icc = plot_correlation(np.minimum(plots["tall"], plots["known"]), plots["known"], codes).icc
    except SurvivorError:
        return ASSUMED_ICC
    return max(icc, 0.0) if np.isfinite(icc) else ASSUMED_ICC
