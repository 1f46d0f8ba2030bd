"""Days on which plants were short of water: over the season, and between the visits of each interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arguments import columns_of, must_be
from survivor.arrays import Days, Flags
from survivor.errors import SeasonError
from survivor.season.balance import Balance
from survivor.season.moisture import SoilWater
from survivor.season.rain import COLUMNS
from survivor.season.windows import runs, windows
from survivor.settings import DrySeason
from survivor.vocabulary import PLOT_KEY
from survivor.words import date

STRESS_DAYS: Final = "stress days in the dry season"
LONGEST_RUN: Final = "longest run of stress days in the dry season"
FIRST_DAY: Final = "planting to the first stress day"
NOT_KNOWN_SHARE: Final = 0.25  # of a window; limits say so of a smaller share, so it may be above rain's

STRESS_COLUMNS: Final = (
    "stress_days",
    "stress_days_least",
    "stress_days_most",
    "stress_share",
    "stress_share_least",
    "stress_share_most",
)


def stress_measures(
    balance: Balance,
    gauge: str,
    soil: str,
    planted: pd.Timestamp,
    dry_season: DrySeason | None,
    until: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Measure the season's shortage of water.

    Parameters
    ----------
    balance
        Soil water of a patch.
    gauge, soil
        Names for the rows: whose rain, and which patch.
    planted
        Day of planting.
    dry_season
        Its first and last day (month and day); None gives the first stress day only.
    until
        Day after which no record is used.

    Returns
    -------
    pandas.DataFrame
        ``survivor.season.rain.COLUMNS``, a row a measure: stress days in the dry season
        and their longest run (days *known* to be of stress: the least there can have
        been; ``note`` gives the most), and days from planting to the first stress
        day (``note`` gives the longest spell without). No value where more than a quarter
        of the window's days are not known.
    """
    table = balance.table
    last = table["date"].iloc[-1]
    end = last if until is None else min(last, until)
    rows = [_first(balance, gauge, soil, planted, end)]
    dry = [window for window in windows(planted, dry_season, until) if window.kind == "dry" and window.days]
    for window in dry:
        span = _Span.of(balance, window.start, window.end)
        head, tail = (gauge, planted), (window.start, window.end)
        for name, least, most in (
            (STRESS_DAYS, span.sure.sum(), span.possible.sum()),
            (LONGEST_RUN, runs(span.sure).max(initial=0), runs(span.possible).max(initial=0)),
        ):
            value, note = span.value(float(least), float(most))
            notes = "; ".join(part for part in (window.note, note) if part)
            numbers = (value, "days", span.known, len(span.sure), np.nan, np.nan, np.nan, notes)
            rows.append((*head, f"{name}, {soil}", *tail, *numbers))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def longest_spell_without(table: pd.DataFrame) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """Return first and last day of the longest run of days known to be without stress.

    Parameters
    ----------
    table
        ``date``, a row a day, and ``stressed`` of a balance.
    """
    free = runs(~table["stressed"].fillna(True).to_numpy(dtype=bool))
    if free.max(initial=0) == 0:
        return None
    over = int(free.argmax())
    return table["date"].iloc[over - int(free[over]) + 1], table["date"].iloc[over]


@dataclass(frozen=True)
class _Span:
    """Days of a window: of stress for sure, and possibly; days outside the balance are possible only."""

    sure: Flags
    possible: Flags

    @classmethod
    def of(cls, balance: Balance, start: pd.Timestamp, end: pd.Timestamp) -> _Span:
        days = pd.date_range(start, end, freq="D")
        stressed = balance.table.set_index("date")["stressed"].reindex(days)
        return cls(stressed.fillna(False).to_numpy(dtype=bool), stressed.fillna(True).to_numpy(dtype=bool))

    @property
    def known(self) -> int:
        return int((self.sure == self.possible).sum())

    def value(self, least: float, most: float) -> tuple[float, str]:
        """Return the value that may be printed, and what must be said beside it."""
        days, unknown = len(self.sure), len(self.sure) - self.known
        if unknown > NOT_KNOWN_SHARE * days:
            return np.nan, f"soil water is not known well enough on {unknown} of {days} days: no value"
        if unknown:
            return least, f"at least; at most {most:g}: not known on {unknown} of {days} days"
        return least, ""


def _first(
    balance: Balance, gauge: str, soil: str, planted: pd.Timestamp, end: pd.Timestamp
) -> tuple[object, ...]:
    """Row of the first stress day after planting; no value where none came, or an earlier day is in doubt."""
    head = (gauge, planted, f"{FIRST_DAY}, {soil}", planted, end)
    if end < planted:
        return (*head, np.nan, "days", 0, 0, np.nan, np.nan, np.nan, "there is no soil water after planting")
    span = _Span.of(balance, planted, end)
    days = len(span.sure)
    sure, possible = (int(which.argmax()) if which.any() else None for which in (span.sure, span.possible))
    value, note = np.nan, f"none to {date(end)}"
    if sure is not None and sure == possible:
        value, note = float(sure), f"on {date(planted + pd.Timedelta(days=sure))}"
    elif possible is not None:
        first = date(planted + pd.Timedelta(days=possible))
        note = f"not before {first}" + (
            f" and not after {date(planted + pd.Timedelta(days=sure))}" if sure is not None else ""
        )
    if spell := longest_spell_without(balance.table[balance.table["date"].between(planted, end)]):
        note += "; longest spell known to be without: " + " to ".join(map(date, spell))
    return (*head, value, "days", span.known, days, np.nan, np.nan, np.nan, note)


def stress_days(intervals: pd.DataFrame, balance: Balance | SoilWater) -> pd.DataFrame:
    """Count the days of water stress between the two visits of each interval.

    Parameters
    ----------
    intervals
        Risk intervals with ``start_date, stop_date``; with ``site, block, plot`` too where
        ``balance`` holds several plots.
    balance
        Soil water of the plots, or one balance for all rows.

    Returns
    -------
    pandas.DataFrame
        A row an interval, with its index. ``stress_days``, in (start, stop]: NaN where a
        day between the visits is in doubt; ``stress_days_least, stress_days_most``, the
        limits that hold all the same; ``stress_share`` and its limits, stress days over
        all days, which does not grow with the gap between visits. All NaN for a plot
        without a balance.

    Raises
    ------
    SeasonError
        When a column is absent, or a plot stands twice in ``balance``.

    Notes
    -----
    A model of survival takes ``stress_share``, or where days are in doubt its least and its
    most in turn: what both say stands. The number of days follows the length of the
    interval, which the model already knows. Within a site and a visit the share
    differs between plots by texture and weed-free radius only, so there it is the radius
    seen through the balance: it may take the radius's place in a model, it says nothing
    beside it. It is part of what a preparation does, so a comparison of preparations
    is not adjusted for it. Between sites it goes with everything else that differs there.

    Examples
    --------
    >>> study = survivor.load("datasets/tagged")
    >>> survivor.stress_days(study.first_plants.head(3), study.soil_water)["stress_days_most"].tolist()
    [0.0, 8.0, 152.0]
    """
    several = isinstance(balance, SoilWater)
    needed = ["start_date", "stop_date", *(PLOT_KEY if several else ())]
    columns_of(intervals, needed, "risk intervals", SeasonError, "use the intervals of a study, or add them")
    mend = "give survivor.soil.water_balance(...), or study.soil_water"
    must_be(balance, Balance | SoilWater, "soil water", "balance", SeasonError, mend)
    start, stop = (pd.to_datetime(intervals[name]).to_numpy(dtype="datetime64[D]") for name in needed[:2])
    least, most = np.full(len(intervals), np.nan), np.full(len(intervals), np.nan)
    place = _balance_of(intervals, balance.table) if several else np.zeros(len(intervals), dtype=np.int64)
    each: Sequence[Balance] = balance.balances if isinstance(balance, SoilWater) else (balance,)
    dated = ~(np.isnat(start) | np.isnat(stop))
    for number in np.unique(place[place >= 0]):
        rows = (place == number) & dated
        table = each[number].table
        for counts_of, doubt in ((least, False), (most, True)):
            stressed = table["stressed"].fillna(doubt).to_numpy(dtype=bool)
            counts_of[rows] = _count(stressed, table["date"].iloc[0], start[rows], stop[rows], outside=doubt)
    agreed = np.where(least == most, least, np.nan)
    days = np.where(dated, (stop - start).astype(float), np.nan)
    counts = (agreed, least, most)
    shares = (count / np.where(days > 0, days, np.nan) for count in counts)
    columns = dict(zip(STRESS_COLUMNS, (*counts, *shares), strict=True))
    return pd.DataFrame(columns, index=intervals.index)


def _balance_of(intervals: pd.DataFrame, table: pd.DataFrame) -> NDArray[np.int64]:
    """Place of each row's balance; -1 where its plot has none."""
    keys = list(PLOT_KEY)
    if table.duplicated(keys).any():
        raise SeasonError("a plot stands twice", where="soil water", mend="keep one row a plot")
    rows = intervals[keys].astype(str).merge(table[[*keys, "balance"]].astype({k: str for k in keys}), "left")
    return rows["balance"].fillna(-1).to_numpy(dtype=np.int64)


def _count(
    stressed: NDArray[np.bool_], first: pd.Timestamp, start: Days, stop: Days, *, outside: bool
) -> NDArray[np.float64]:
    """Count stressed days in (start, stop]; days outside the record count where ``outside``."""
    origin = first.to_datetime64().astype("datetime64[D]")
    low, high = ((days - origin).astype(np.int64) + 1 for days in (start, stop))
    added = np.concatenate([[0], np.cumsum(stressed)])
    inside_low, inside_high = (np.clip(edge, 0, len(stressed)) for edge in (low, high))
    inside = added[inside_high] - added[inside_low]
    beyond = (high - low) - (inside_high - inside_low) if outside else 0
    return np.asarray(inside + beyond, dtype=float)
