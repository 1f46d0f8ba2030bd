"""Several planting seasons in one set of records: told apart, beside each other."""

from __future__ import annotations

from typing import Final

import pandas as pd

from survivor.analysis.described import survival_by
from survivor.evidence import english as en
from survivor.season.windows import COLUMN, planting_years
from survivor.sentences import Sentence, say
from survivor.settings import Settings
from survivor.words import listed

YEAR_COLUMNS = (
    "planting_year",
    "method",
    "estimate",
    "lower",
    "upper",
    "watched",
    "n_plots",
    "n_sites",
    "at_day",
    "note",
)

EVERY: Final = "all preparations"


def with_years(intervals: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Add the planting season of each row."""
    if "planted_date" not in intervals:
        return intervals.assign(**{COLUMN: ""})
    return intervals.assign(**{COLUMN: planting_years(intervals["planted_date"], settings.dry_season)})


def survival_by_year(intervals: pd.DataFrame, settings: Settings, at: float, window: float) -> pd.DataFrame:
    """Survival of each planting season, of all preparations and of each, as observed.

    Parameters
    ----------
    intervals
        Risk intervals of the first plants.
    settings
        For the dry season.
    at, window
        Day that the milestone is answered for, and how many days a visit may lie from it.

    Returns
    -------
    DataFrame
        See ``Analysis.years``; empty where all were planted in one season.
    """
    rows = with_years(intervals, settings)
    years = sorted(set(rows[COLUMN]) - {""})
    if len(years) < 2:
        return pd.DataFrame(columns=list(YEAR_COLUMNS))
    rows = rows[rows[COLUMN] != ""]
    methods = list(dict.fromkeys(rows["method"].astype(str)))
    whole = survival_by(rows, COLUMN, at, window).assign(method=EVERY)
    names = rows["method"].astype(str) + "\n" + rows[COLUMN]
    each = survival_by(rows.assign(cell=names), "cell", at, window)
    if len(methods) == 1:
        each = each.head(0)  # it is the whole
    parted = each["cell"].str.split("\n")
    each = each.assign(method=parted.str[0], **{COLUMN: parted.str[1]})
    table = pd.concat([whole, each], ignore_index=True)
    sites = {
        **rows.groupby(COLUMN)["site"].nunique(),
        **{str(name): count for name, count in rows.groupby(names)["site"].nunique().items()},
    }
    keys = table[COLUMN].where(table["method"] == EVERY, table["method"] + "\n" + table[COLUMN])
    table["n_sites"] = keys.map(sites)
    order = {name: place for place, name in enumerate([EVERY, *methods])}
    table["order"] = table["method"].map(order)
    ordered = table.sort_values(["order", COLUMN], kind="stable").reset_index(drop=True)
    return ordered[list(YEAR_COLUMNS)]


def years_of(intervals: pd.DataFrame, settings: Settings) -> list[str]:
    """Name the planting seasons of the records, in order."""
    return sorted(set(with_years(intervals, settings)[COLUMN]) - {""})


def years_note(intervals: pd.DataFrame, settings: Settings) -> tuple[Sentence, ...]:
    """Say that several planting seasons are answered for together, and whether compared apart."""
    rows = with_years(intervals, settings)
    rows = rows[rows[COLUMN] != ""]
    years = years_of(intervals, settings)
    if len(years) < 2:
        return ()
    strata = [name for name in settings.design.strata if name in rows.columns]
    several = int((rows.groupby(strata)[COLUMN].nunique() > 1).sum()) if strata else 0
    mixed = several or not strata
    return (say(en.YEARS, years=listed(years)), say(en.YEARS_MIXED if mixed else en.YEARS_APART))
