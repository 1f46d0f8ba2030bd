"""Planting seasons: plants that met their first dry season together, told apart from those that did not."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from survivor.season.windows import first_dry_season
from survivor.settings import DrySeason

COLUMN: Final = "planting_year"

_APART = pd.Timedelta(days=150)  # without a dry season: so long a pause parts two planting seasons


def planting_years(planted: pd.Series[Any], dry_season: DrySeason | None) -> pd.Series[str]:
    """Name the planting season of each planting date.

    Two dates belong to one season where they have the first dry season after planting in
    common; without a dry season in the study file, where no pause of 150 days parts them.

    Parameters
    ----------
    planted
        Planting dates; blanks allowed.
    dry_season
        Of the study file, or None.

    Returns
    -------
    Series of str
        Such as ``2021``, or ``2021/2022`` where planting went over the turn of the year; "" for a blank.
    """
    dates = pd.to_datetime(planted)
    days = sorted(pd.Timestamp(day) for day in dates.dropna().unique())
    groups: list[list[pd.Timestamp]] = []
    last: object = None
    for day in days:
        same = first_dry_season(day, dry_season)[0] if dry_season is not None else None
        if not groups or (same != last if dry_season is not None else day - groups[-1][-1] > _APART):
            groups.append([])
        groups[-1].append(day)
        last = same
    names = [_name(group) for group in groups]
    twice = {name for name in names if names.count(name) > 1}
    meaning = {
        day: f"{name} (from {group[0].date()})" if name in twice else name
        for name, group in zip(names, groups, strict=True)
        for day in group
    }
    return dates.map(meaning).fillna("").astype(object)


def _name(days: list[pd.Timestamp]) -> str:
    first, last = days[0].year, days[-1].year
    return str(first) if first == last else f"{first}/{last}"
