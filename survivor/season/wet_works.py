"""Soil called dry in the works diary, against the rain of the days before.

Common practice, no source: in a month with 50 mm of rain or more soil is rarely dry to the depth of
a rip, so the word is worth asking about. Nothing is changed by it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
import pandas as pd

from survivor.season.gauge import Gauges
from survivor.season.windows import on_calendar
from survivor.settings import Gauge
from survivor.vocabulary import Severity

CODE: Final = "dry-rip-in-wet-month"
WET_MONTH_MM: Final = 50.0
DAYS: Final = 30  # up to the day of the work
_MOST_UNKNOWN: Final = 3  # of them, beyond which nothing is said


def check_dry_soil(gauges: Gauges, named: Iterable[Gauge], works: pd.DataFrame, work: str) -> Gauges:
    """Add to the problems of gauges the works done in soil called dry after a wet month.

    Parameters
    ----------
    gauges
        As read.
    named
        The gauges of the study file.
    works
        Works of plots: site, work, date, soil, file, sheet, row.
    work
        The work that is asked about, such as a rip.
    """
    asked = works[(works["work"] == work) & (works["soil"] == "dry") & works["date"].notna()]
    rows = []
    for gauge in named:
        record = gauges.records.get(gauge.name)
        here = asked[asked["site"].isin(gauge.sites)] if gauge.sites else asked
        if record is None or here.empty:
            continue
        calendar = on_calendar(record)
        once = here.drop_duplicates(["file", "sheet", "row"])
        for told, day in zip(once.itertuples(), pd.DatetimeIndex(once["date"]), strict=True):
            fell = calendar.slice(calendar.booked, day - pd.Timedelta(days=DAYS - 1), day)
            if np.isnan(fell).sum() > _MOST_UNKNOWN or np.nansum(fell) < WET_MONTH_MM:
                continue
            what = (
                f"the soil is called dry at the {work}, and {np.nansum(fell):.0f} mm fell at {gauge.name} in "
                f"the {DAYS} days up to it"
            )
            mend = "ask who was there; write moist or wet if it was so"
            rows.append((CODE, Severity.CHECK, told.file, told.sheet, told.row, "soil", "dry", what, mend))
    return gauges.with_problems(rows)
