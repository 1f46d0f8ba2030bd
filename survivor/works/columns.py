"""From the works of plots to columns: one row a plot, yes or no a work, and when it was done.

What was done before planting, or with it, is a fact of the plot. What was done later is not: it is
kept apart with its day, and enters risk intervals as a column that changes on that day
(``survivor.works.later``), so that no plot counts as treated before it was.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.records.work_names import AFTER, BEFORE, RIP, SPRAYS, WATERING, WEED_CONTROL, column_of
from survivor.vocabulary import AT_PLANTING_DAYS, DAYS_PER_YEAR, PLOT_KEY
from survivor.words import counted, listed

NO, YES = "no", "yes"
PATTERN: Final = "works_done"  # the works of a plot together, such as "knockdown + rip"
LEAD, PASSES, LAST_SPRAY, RIP_SOIL, RIP_DEPTH = (
    "lead_months", "passes", "last_spray_days", "rip_soil", "rip_depth_cm",
)  # fmt: skip
# What a question of time is called, also under [works.allocated] in the study file.
CALLED: Final = {LEAD: "lead time", PASSES: "passes", RIP_SOIL: "dry ripping"}
LATER_COLUMNS: Final = (*PLOT_KEY, "work", "day")
_MONTH: Final = DAYS_PER_YEAR / 12
_NOTHING: Final = "none"
_KEYS: Final = list(PLOT_KEY)


@dataclass(frozen=True)
class PlotColumns:
    """The works of plots as columns.

    Attributes
    ----------
    table
        One row a plot: site, block, plot, method; a column a work (``work_rip``: no or yes) for what was
        done before or at planting; ``works_done``, all of them together; ``passes`` (days with weed
        control before planting), ``lead_months`` (from the first of them to planting),
        ``last_spray_days`` (from the last spray to planting), ``rip_soil`` (dry, moist or wet; blank
        where not told, or told in several ways), ``rip_depth_cm``.
    works
        The works that have a column, in the order in which most plots got them.
    later
        site, block, plot, work, day: the first day after planting on which each work was done there.
    checks
        Sentences: plots left out, works done late, works without a day.
    """

    table: pd.DataFrame
    works: tuple[str, ...]
    later: pd.DataFrame
    checks: tuple[str, ...]

    def join(self, intervals: pd.DataFrame) -> pd.DataFrame:
        """Give the rows of risk intervals the columns of their plots; plots of unknown works go."""
        own = self.table.drop(columns="method", errors="ignore")
        keys = intervals[_KEYS].astype(str).reset_index(drop=True)
        rows = keys.merge(own, how="left", on=_KEYS, indicator="known")
        rows.index = intervals.index
        columns = [name for name in own.columns if name not in PLOT_KEY]
        kept = (rows["known"] == "both").to_numpy()
        joined = intervals[kept].assign(**{name: rows.loc[kept, name] for name in columns})
        return joined.reset_index(drop=True)


def plot_columns(rows: pd.DataFrame, plots: pd.DataFrame, unknown: pd.DataFrame) -> PlotColumns:
    """Make the columns of every plot.

    Parameters
    ----------
    rows
        Works of plots, as `survivor.records.diary.PlotWorks.rows`.
    plots
        The plot table; one row a plot or several.
    unknown
        site, block, plot of those whose works nobody has told.
    """
    places = plots.drop_duplicates(_KEYS)[[*_KEYS, "method"]].reset_index(drop=True)
    places[[*_KEYS, "method"]] = places[[*_KEYS, "method"]].astype(str)
    out = _pairs(places).isin(_pairs(unknown)) if len(unknown) else pd.Series(False, index=places.index)
    places = places[~out].reset_index(drop=True)
    rows = rows.assign(**{word: rows[word].astype(str) for word in _KEYS})
    day = rows["day"].astype(float)
    belongs, follows = rows["work"].isin(BEFORE), rows["work"].isin(AFTER)
    undated = day.isna()
    dated_elsewhere = follows | ((rows["work"] == WATERING) & (rows["told_by"] != "preparation"))
    with_planting = ~belongs & ~follows & (day <= AT_PLANTING_DAYS)
    first = (belongs & (undated | (day <= 0))) | with_planting | (undated & ~belongs & ~dated_elsewhere)
    late = belongs & (day > 0)
    later = ~belongs & ~first & (day > 0)
    done = rows[first]
    works = tuple(done.drop_duplicates([*_KEYS, "work"])["work"].value_counts().index)
    keys = _pairs(places)
    columns: dict[str, Any] = {}
    for work in works:
        columns[column_of(work)] = yes_or_no(keys.isin(_pairs(done[done["work"] == work])))
    together = np.column_stack([columns[column_of(work)] == YES for work in works]) if works else None
    patterns = [_NOTHING] * len(places)
    if together is not None:
        names = np.array(works, dtype=object)
        patterns = [" + ".join(sorted(names[own])) or _NOTHING for own in together]
    table = places.assign(**columns, **{PATTERN: patterns}, **_timing(done, keys))
    last = rows[later].groupby([*_KEYS, "work"], sort=True)["day"].min().reset_index()
    checks = [
        _said(int(out.sum()), "was left out: no row of the diary is of it", "were left out: no row of the "
              "diary is of them"),
        *_said_late(rows[late]),
        *_said_undated(rows[undated & dated_elsewhere]),
    ]  # fmt: skip
    return PlotColumns(table, works, last[list(LATER_COLUMNS)], tuple(filter(None, checks)))


def yes_or_no(got: Any) -> pd.Categorical[Any]:
    """Write whether plots or cells got a work, as its column holds it."""
    return pd.Categorical(np.where(got, YES, NO), categories=[NO, YES])


def _pairs(rows: pd.DataFrame) -> pd.Series[Any]:
    columns = [rows[word].astype(str) for word in PLOT_KEY]
    return pd.Series(list(zip(*columns, strict=True)), index=rows.index, dtype=object)


def _timing(done: pd.DataFrame, keys: pd.Series[Any]) -> dict[str, Any]:
    """When weeds were controlled before planting, and how the ground was ripped, a value a plot."""

    def of(rows: pd.DataFrame, column: str, how: str) -> Any:
        found = rows[column].astype(float).groupby(_pairs(rows)).agg(how)
        return keys.map(found).astype(float)

    control = done[done["work"].isin(WEED_CONTROL)]
    sprays = done[done["work"].isin(SPRAYS)]
    ripped = done[done["work"] == RIP]
    # Days count once however many works were done on them; without days, what the sheet numbers.
    days = control["day"].groupby(_pairs(control)).nunique().astype(float).replace(0.0, np.nan)
    numbered = control["pass"].astype(float).groupby(_pairs(control)).max()
    passes = pd.concat([keys.map(days), keys.map(numbered)], axis=1).max(axis=1)
    told = ripped[ripped["soil"] != ""]
    soil = told["soil"].groupby(_pairs(told))
    single = soil.first().where(soil.nunique() == 1)
    return {
        PASSES: passes,
        LEAD: -of(control, "day", "min") / _MONTH,
        LAST_SPRAY: -of(sprays, "day", "max"),
        RIP_SOIL: keys.map(single).astype(object).fillna(""),
        RIP_DEPTH: of(ripped, "depth_cm", "max"),
    }


def _said(number: int, one: str, many: str) -> str:
    return f"{counted(number, 'plot')} {one if number == 1 else many}." if number else ""


def _said_late(rows: pd.DataFrame) -> Sequence[str]:
    plots = rows.drop_duplicates([*_KEYS, "work"]).groupby("work", sort=False).size()
    return [
        f"In {counted(int(number), 'plot')} {work} was done after planting only, or again after it; what was "
        "done late does not count as done before planting."
        for work, number in plots.items()
    ]


def _said_undated(rows: pd.DataFrame) -> Sequence[str]:
    works = list(dict.fromkeys(rows["work"]))
    return [f"Rows without a day for {listed(works)} tell nothing of before and after."] if works else []
