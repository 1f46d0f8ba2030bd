"""What the days of a table tell of themselves: day first or month first, and the first planting day."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import pandas as pd

from survivor.files import cells
from survivor.files.headers import Matched
from survivor.files.sheets import HEADER_JOINT, Grid
from survivor.records.days_told import SPEAKS_OF_PLANTING, days_of_planting
from survivor.records.visit_columns import VisitColumns, days_in, is_round, numeric_days
from survivor.records.words import DATE_WORDS

_CLOSEST_VISITS: Final = 10  # days between two visits of one plant: no crew comes again sooner
_PLANTED_ON: Final = re.compile(
    r"(?:(?:no\.?|number|n|total|seedlings|plants) )?plant(?:ed|ing)\b(?: on)?[\s:(,-]*(?=\d)", re.IGNORECASE
)
_WAYS: Final[tuple[cells.DateOrder, ...]] = ("day-first", "month-first")


def order_told(
    grid: Grid, matched: Matched, visits: Sequence[VisitColumns], said: Sequence[str]
) -> tuple[cells.DateOrder, bool]:
    """Order of day and month that the sheet as a whole tells, and whether anything in it needs one.

    Where every day can be read both ways, time tells: visits stand in their order, and none is
    within days of another of the same plant, or before planting.
    """
    columns = [grid.cells[place] for word in DATE_WORDS for place in matched.positions.get(word, ())]
    columns += [grid.cells[visit.date] for visit in visits if visit.date is not None]
    written = [text for part in (*said, *grid.header) for text in numeric_days(part)]
    order, two_way = cells.order_told([*columns, pd.Series(written, dtype=object)])
    if order is not None or not two_way:
        return order, two_way
    fits = [way for way in _WAYS if _in_time(grid, matched, said, way)]
    return (fits[0] if len(fits) == 1 else None), True


def _in_time(grid: Grid, matched: Matched, said: Sequence[str], order: cells.DateOrder) -> bool:
    planted = [
        pd.Timestamp(day) for text in said if SPEAKS_OF_PLANTING.search(text) for day in days_in(text, order)
    ]
    heads = [day for header in grid.header for day in days_in(header, order)]
    lines = [
        pd.Timestamp(day)
        for text in said
        if is_round(text) and len(days_in(text, order)) > 1
        for day in days_in(text, order)
    ]
    sequences = [[pd.Timestamp(day) for day in dict.fromkeys(heads)], lines]
    dates = matched.positions.get("date", ())
    keys = [place for word in ("tag", "plot", "species") for place in matched.positions.get(word, ())[:1]]
    if dates and keys:
        days = cells.dates(grid.cells[dates[0]], order)[0]
        key = cells.texts(grid.cells[keys[0]])
        if not matched.has("tag"):
            key = key.where(key != "").ffill().fillna("")
        for _, own in days[days.notna() & (key != "")].groupby(key[key != ""]):
            sequences.append(list(own.drop_duplicates()))
    for sequence in sequences:
        after = [max(planted)] if planted else []
        for before, later in zip([*after, *sequence], sequence if after else sequence[1:], strict=False):
            if (later - before).days < (_CLOSEST_VISITS if before not in after else 0):
                return False
    return True


def planting_day(titles: Sequence[str], order: cells.DateOrder) -> str | None:
    """Planting day of a title that speaks of planting; None where it tells none, or several."""
    days = {
        day
        for title in titles
        if SPEAKS_OF_PLANTING.search(title)
        for day, _ in days_of_planting(title, order)
    }
    return days.pop() if len(days) == 1 else None


def headed_planted(headers: Sequence[str]) -> list[str]:
    """Parts of headers that give a number planted and its day: Planted 14/7/22, No. planted (14/7/22)."""
    parts = {part for header in headers for part in header.split(HEADER_JOINT)}
    return [part for part in sorted(parts) if _PLANTED_ON.match(part.strip())]


def first_planting(
    grid: Grid, matched: Matched, order: cells.DateOrder, planted: str | None
) -> pd.Timestamp | None:
    """Tell the first planting day by a column, or as a title has it."""
    days = [cells.dates(grid.cells[c], order)[0] for c in matched.positions.get("planted_date", ())]
    first = min((column.min() for column in days if column.notna().any()), default=None)
    return first if first is not None else pd.Timestamp(planted) if planted else None
