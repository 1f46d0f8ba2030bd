"""What became of the weed-free patch: weed cover and radius at each visit, described and no more.

Both were measured after planting, so they are part of what a preparation did. They are
never adjusted for.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.vocabulary import FIRST_PLANTING, PLANTS, PLOT_KEY

PATCH_COLUMNS = (
    "measure",
    "method",
    "visit",
    "first_day",
    "last_day",
    "day",
    "mean",
    "low_quarter",
    "high_quarter",
    "unit",
    "n_plots",
    "n_records",
)

COVER, RADIUS = "weed cover", "weed-free radius"
_MEASURES: Final = ((COVER, "weed_cover", "%"), (RADIUS, "patch_radius_m", "m"))
_MOST_ROUNDS = 12  # more names of visits are dates of sites, not rounds
_ROUND_DAYS = 15


def patch_by_visit(visits: pd.DataFrame, methods: Sequence[str] = ()) -> pd.DataFrame:
    """Describe weed cover and weed-free radius of the plots at each visit, by method.

    Parameters
    ----------
    visits
        Tidy visits, with ``weed_cover`` (per cent) or ``patch_radius_m`` where recorded.
    methods
        In the order wanted; those not named follow.

    Returns
    -------
    DataFrame
        See ``Analysis.patch``: the mean of the plots' means, and the quarters between which
        the middle half of the plots lies. Empty where neither was recorded.
    """
    nothing = pd.DataFrame(columns=list(PATCH_COLUMNS))
    told = [column for _, column, _ in _MEASURES if column in visits]
    if "day" not in visits or "method" not in visits or not told:
        return nothing
    first = visits[visits["cohort"] == FIRST_PLANTING] if "cohort" in visits else visits
    first = first[first["day"].notna()]
    parts = [
        _described(first[first[column].notna()], measure, column, unit, methods)
        for measure, column, unit in _MEASURES
        if column in first and pd.api.types.is_numeric_dtype(first[column])
    ]
    filled = [part for part in parts if not part.empty]
    return pd.concat(filled, ignore_index=True) if filled else nothing


def _described(
    rows: pd.DataFrame, measure: str, column: str, unit: str, methods: Sequence[str]
) -> pd.DataFrame:
    if rows.empty:
        return pd.DataFrame(columns=list(PATCH_COLUMNS))
    rows = rows.assign(round=_rounds(rows), method=rows["method"].astype(str))
    found: list[dict[str, Any]] = []
    for (method, visit), own in rows.groupby(["method", "round"], sort=False):
        plots = own.groupby(list(PLOT_KEY))[column].mean().to_numpy(dtype=float)
        low, high = np.quantile(plots, (0.25, 0.75)) if len(plots) > 1 else (np.nan, np.nan)
        found.append(
            {
                "measure": measure,
                "method": method,
                "visit": visit,
                "first_day": float(own["day"].min()),
                "last_day": float(own["day"].max()),
                "day": float(own.groupby(list(PLOT_KEY))["day"].median().median()),
                "mean": float(plots.mean()),
                "low_quarter": float(low),
                "high_quarter": float(high),
                "unit": unit,
                "n_plots": len(plots),
                "n_records": int(own[PLANTS].sum()) if PLANTS in own.columns else len(own),
            }
        )
    table = pd.DataFrame(found, columns=list(PATCH_COLUMNS))
    order = {name: place for place, name in enumerate(dict.fromkeys([*methods, *table["method"]]))}
    ordered = table.assign(order=table["method"].map(order)).sort_values(["order", "day"], kind="stable")
    return ordered[list(PATCH_COLUMNS)].reset_index(drop=True)


def _rounds(rows: pd.DataFrame) -> pd.Series[str]:
    """Name the round of visits: by the visit's name, or by its days where names are many."""
    names = rows["visit"].astype(str)
    if names.nunique() <= _MOST_ROUNDS:
        return names
    days = np.sort(rows["day"].unique().astype(float))
    start = days[np.concatenate([[True], np.diff(days) > _ROUND_DAYS])]
    place = np.searchsorted(start, rows["day"].to_numpy(dtype=float), side="right")
    return pd.Series([f"round {number}" for number in place], index=rows.index)
