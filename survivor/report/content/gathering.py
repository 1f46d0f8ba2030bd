"""Rain added up from the first planting on, this season and in the years of the record."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

_FEWEST_YEARS = 10  # fewer years make no band


def gather(analysis: Analysis) -> list[tuple[str, pd.DataFrame, int]]:
    """Return, for each gauge, its name, the season against its record, and the years compared.

    The frame has ``date, rain_mm, low, median, high`` (mm since the first planting;
    the record's tenth, fiftieth and ninetieth percentile). A day not read ends the
    sum: what fell on it is not known to be nought.
    """
    record = analysis.rain_record
    plots = analysis.records.plots
    if record.empty or "planted_date" not in plots or plots["planted_date"].notna().sum() == 0:
        return []
    start = pd.Timestamp(plots["planted_date"].min())
    stop = pd.Timestamp(analysis.records.visits["date"].max())
    if pd.isna(stop) or stop <= start:
        return []
    days = min((stop - start).days + 1, 366)
    found = []
    for gauge, rows in record.groupby(record["gauge"].astype(str), sort=False):
        daily = rows.assign(date=pd.to_datetime(rows["date"])).groupby("date")["rain_mm"].sum(min_count=1)
        series = daily.asfreq("D")
        this = _added(series, start, days)
        others = []
        for year in range(series.index[0].year, start.year):
            begin = _same_day(start, year)
            added = _added(series, begin, days)
            if not np.isnan(added).any():
                others.append(added)
        if len(others) < _FEWEST_YEARS or np.isnan(this).all():
            continue
        low, median, high = np.quantile(np.array(others), (0.1, 0.5, 0.9), axis=0)
        dates = pd.date_range(start, periods=days, freq="D")
        table = pd.DataFrame({"date": dates, "rain_mm": this, "low": low, "median": median, "high": high})
        found.append((str(gauge), table, len(others)))
    return found


def _added(
    series: pd.Series[float], start: pd.Timestamp, days: int
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    window = series.reindex(pd.date_range(start, periods=days, freq="D"))
    return np.cumsum(window.to_numpy(dtype=float))


def _same_day(day: pd.Timestamp, year: int) -> pd.Timestamp:
    last = 28 if day.month == 2 else day.day
    return pd.Timestamp(year=year, month=day.month, day=min(day.day, last))
