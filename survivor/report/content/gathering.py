"""Rain added up from the first planting on, this season and in the years of the record."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.season.plantings import planting_years

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

Floats = NDArray[np.float64]

_FEWEST_YEARS = 10  # fewer years make no band
_MOST_UNKNOWN = 0.05  # share of days not read, above which a sum says too little
_FEW_DAYS = 3  # as many may be unknown however short the sum


def gather(analysis: Analysis) -> list[tuple[str, pd.DataFrame, int]]:
    """Return for each gauge, and planting season, its name, its record, and the years compared.

    The frame has ``date, rain_mm, low, median, high`` (mm since the first planting;
    the record's tenth, fiftieth and ninetieth percentile) and ``not_read``, the days so
    far whose fall is not known. Those add nothing, so the true sum can only be higher;
    once they are more than one in twenty the sum is no longer given.
    """
    record = analysis.rain_record
    plots = analysis.records.plots
    if record.empty or "planted_date" not in plots or plots["planted_date"].notna().sum() == 0:
        return []
    stop = pd.Timestamp(analysis.records.visits["date"].max())
    sites = {gauge.name: gauge.sites for gauge in analysis.settings.gauges}
    found = []
    for gauge, rows in record.groupby(record["gauge"].astype(str), sort=False):
        own = sites.get(str(gauge), ())
        planted = plots.loc[plots["site"].isin(own) if own else slice(None), "planted_date"].dropna()
        seasons = planted.groupby(planting_years(planted, analysis.settings.dry_season))
        for year, dates in seasons:
            name = f"{gauge}, planted {year}" if len(seasons) > 1 else str(gauge)
            against = _against_record(rows, dates, stop)
            if against is not None:
                found.append((name, *against))
    return found


def _against_record(
    rows: pd.DataFrame, planted: pd.Series[Any], stop: pd.Timestamp
) -> tuple[pd.DataFrame, int] | None:
    """Return a season against its record, and the years compared; None where too little is known."""
    if planted.empty or pd.isna(stop) or stop <= planted.min():
        return None
    start = pd.Timestamp(planted.min())
    days = min((stop - start).days + 1, 366)
    daily = rows.assign(date=pd.to_datetime(rows["date"])).groupby("date")["rain_mm"].sum(min_count=1)
    series = daily.asfreq("D")
    this, unknown = _added(series, start, days)
    others = []
    for year in range(series.index[0].year, start.year):
        begin = _same_day(start, year)
        added, _ = _added(series, begin, days)
        if not np.isnan(added).any():
            others.append(added)
    if len(others) < _FEWEST_YEARS or np.isnan(this).all():
        return None
    low, median, high = np.quantile(np.array(others), (0.1, 0.5, 0.9), axis=0)
    dates = pd.date_range(start, periods=days, freq="D")
    table = pd.DataFrame({"date": dates, "rain_mm": this, "low": low, "median": median, "high": high})
    table["not_read"] = unknown
    return table, len(others)


def _added(series: pd.Series[float], start: pd.Timestamp, days: int) -> tuple[Floats, Floats]:
    """Return rain added up, NaN once too many days are not known, and the days not known so far."""
    window = series.reindex(pd.date_range(start, periods=days, freq="D")).to_numpy(dtype=float)
    unknown = np.cumsum(np.isnan(window)).astype(float)
    added = np.cumsum(np.nan_to_num(window, nan=0.0))
    allowed = np.maximum(_MOST_UNKNOWN * np.arange(1, days + 1), _FEW_DAYS)
    # From the first day with too many on: a later reading does not make up for them.
    return np.where(np.maximum.accumulate(unknown > allowed), np.nan, added), unknown


def _same_day(day: pd.Timestamp, year: int) -> pd.Timestamp:
    last = 28 if day.month == 2 else day.day
    return pd.Timestamp(year=year, month=day.month, day=min(day.day, last))
