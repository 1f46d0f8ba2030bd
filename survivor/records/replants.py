"""Plants put in where the first had died: infill with its own clock, also under the old tag."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

import pandas as pd

from survivor.files.cells import all_figures, of_each
from survivor.records.checks.plots import plot_name
from survivor.records.problems import Texts, find, gather, joined, none_found
from survivor.vocabulary import FIRST_PLANTING, INFILL, State

_GONE: Final = (State.DEAD, State.MISSING, State.REPLANTED)
_SEEN: Final = (State.ALIVE, State.NOT_FOUND, State.DOUBTFUL, *_GONE)
# What stands behind the tag of the first plant: 001R, 001 a, 001-2, 001/R2, 001 (new).
_BEHIND: Final = re.compile(r"(.*\d)[\s./(_-]*(?:r(?:ep|p|epl)?\d?|[a-c]|new|[-/._][2-4])\)?", re.IGNORECASE)


def replants_apart(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Part the plants that were put in later from the first ones.

    Where a visit says "replanted", what the tag tells after it is of a new plant. A row of its
    own whose tag is that of a first plant and a sign behind it, and that begins when the first was
    gone, is one too; it was put in by the day on which it was first seen.

    Parameters
    ----------
    rows
        Every visit record of tagged seedlings: site, block, plot, cohort, tag, date, planted_date,
        state, and replant (a word of its row speaks of it).

    Returns
    -------
    rows, found
        With cohort and planting day of the later plants; and what was taken as such.
    """
    tag: Texts = of_each(rows["tag"], str.casefold)
    of_first = (rows["cohort"] == FIRST_PLANTING) & rows["date"].notna() & (tag != "")
    put_in = rows["date"].where(of_first & (rows["state"] == State.REPLANTED))
    tags = tag.unique()
    signs = {} if all_figures(filter(None, tags)) else {own: behind_a_tag(own) for own in tags}
    base = {own: first for own, first in signs.items() if first is not None}
    if not base and put_in.isna().all():
        return rows, none_found()
    plot = plot_name(rows)
    later = pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]")
    key = joined(plot, tag)
    if put_in.notna().any():
        for _, own in rows[key.isin(key[put_in.notna()]) & of_first].groupby(key):
            for day in sorted(put_in[own.index].dropna().unique()):
                later[own.index[own["date"] > day]] = day
    old_tag = find(rows, later.notna(), "replanted-tag", "tag", later=later, group=key)  # fmt: skip
    first_seen, own_row = _rows_of_their_own(rows, plot, tag, of_first, base)
    found = find(rows, own_row, "replant-row", "tag", first_seen=first_seen, group=key)  # fmt: skip
    day = later.fillna(first_seen.where(own_row))
    if day.isna().all():
        return rows, none_found()
    return rows.assign(
        cohort=rows["cohort"].where(day.isna(), INFILL), planted_date=day.fillna(rows["planted_date"])
    ), gather(old_tag, found)


def behind_a_tag(tag: str) -> str | None:
    """Give what a tag in small letters has before the sign for a later plant; None without such a sign."""
    found = None if tag.isdigit() else _BEHIND.fullmatch(tag)
    return None if found is None else str(found[1]).rstrip(" ./(_-")


def _rows_of_their_own(
    rows: pd.DataFrame, plot: Texts, tag: Texts, of_first: pd.Series[bool], base: Mapping[str, str]
) -> tuple[pd.Series[pd.Timestamp], pd.Series[bool]]:
    """Tell tags with a sign behind that of a plant that was gone when they begin, and their first day."""
    none = pd.Series(pd.NaT, index=rows.index, dtype="datetime64[ns]")
    if not base:
        return none, pd.Series(False, index=rows.index)
    key = joined(plot, tag)
    first_tag = tag.map(base)
    bare = tag.str.lstrip("0")
    seen = rows["date"].where(rows["state"].isin([str(s) for s in _SEEN]))
    begins = seen.groupby(key).transform("min")
    of_base = plot + "|" + first_tag.fillna("").str.lstrip("0")
    opened = seen.groupby(plot).transform("min")
    own = of_first & of_base.isin(plot + "|" + bare) & begins.notna() & (begins > opened)
    own = own.groupby(key).transform("any") & first_tag.notna() & (rows["cohort"] == FIRST_PLANTING)
    return begins, own


def check_replants(rows: pd.DataFrame) -> pd.DataFrame:
    """Find tags that live on though the sheet speaks of replanting and does not say when.

    Parameters
    ----------
    rows
        Every visit record of tagged seedlings, also those that are excluded: site, block,
        plot, cohort, tag, date, state, and replant (a word of its row speaks of it).
    """
    if not rows["replant"].any():
        return none_found()
    key = joined(plot_name(rows), of_each(rows["tag"], str.casefold))
    first = rows["cohort"] == FIRST_PLANTING
    ended = rows["replant"] & ~rows["state"].isin([str(State.ALIVE), ""])
    ended |= rows["state"].isin([str(state) for state in _GONE])
    since = rows["date"].where(ended & first).groupby(key).transform("min")
    told = rows["replant"] & (rows["state"] != State.REPLANTED)  # that state says it itself
    spoken = told.groupby(key).transform("any") & ~(rows["state"] == State.REPLANTED).groupby(key).transform(
        "any"
    )
    return find(
        rows,
        first & spoken & (rows["state"] == State.ALIVE) & (since.isna() | (rows["date"] > since)),
        "replant-unclear",
        "tag",
        group=key,
    )
