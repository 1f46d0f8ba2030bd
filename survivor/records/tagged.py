"""Histories of tagged seedlings to risk intervals.

A seedling's history is what the visits say of it. One interval is one stretch
(L, R] between a visit at which it was alive and the next at which its state is
known; what nobody saw is never filled in.

When does a seedling enter? At day 0 where it is known to have been tagged at
planting, else at its first sighting (delayed entry). It is known, in this order:

1. from the study file (``[rules] tagged``);
2. where the plot has as many tags as seedlings planted;
3. where the seedling itself was recorded within two weeks of planting.

Infill is tagged when it is planted: that is how one knows its planting date.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from survivor.arrays import Codes, furthest
from survivor.files.cells import holds, number_texts
from survivor.intervals import in_order_of, row_codes
from survivor.records.frames import with_facts
from survivor.records.problems import find, gather, none_found
from survivor.records.times import number as number_of
from survivor.records.times import size_by
from survivor.settings import Rules
from survivor.vocabulary import AT_PLANTING_DAYS, FIRST_PLANTING, State

Missing = Literal["dead", "unknown"]
Unknown = Literal["censored", "dead", "alive"]
_NEVER: Final = -2  # the turn of no visit


@dataclass(frozen=True)
class Histories:
    """Everything that the visits say of tagged seedlings, ready for any rule.

    Attributes
    ----------
    rows
        Records that say something, sorted by seedling and day: entry, name (of the
        plot), day, turn (0, 1, ...: which visit of the plot), state, blank.
    entries
        One row a seedling, indexed by entry: name, keys, facts, planted_date,
        at_planting (whether it enters at day 0), turn_before (the last visit of the
        plot up to its planting, -1 for none).
    visits
        One row a visit of a plot: name, turn, date (the last day of the visit).
    """

    rows: pd.DataFrame
    entries: pd.DataFrame
    visits: pd.DataFrame

    def shortened(self) -> Histories:
        """Return what following a rule asks of the records, without what else they tell."""
        return replace(self, rows=self.rows[["entry", "name", "day", "turn", "state", "blank"]].copy())


def histories(rows: pd.DataFrame, planted: pd.Series[float], rules: Rules) -> tuple[Histories, pd.DataFrame]:
    """Put the records of each seedling in order and decide when it enters.

    Parameters
    ----------
    rows
        Ready visit records (`survivor.records.prepare.Ready`).
    planted
        Seedlings planted in a plot, by name; blank where not told.
    rules
        The rules of the study file.
    """
    rows = rows.iloc[in_order_of(rows, ["entry", "day", "record"])].reset_index(drop=True)
    rows["species"], two = _one_species(rows)
    entries = rows.iloc[_begins(rows)].set_index("entry")
    visit, first = row_codes([rows["name"], rows["turn"]])
    day = furthest(np.maximum, rows["date"].to_numpy(), visit, first)
    last = rows[["name", "turn"]].iloc[first].assign(date=day).reset_index(drop=True)
    tags = size_by(entries[entries["cohort"] == FIRST_PLANTING], "name")
    entries = entries.assign(
        at_planting=_tagged_at_planting(entries, tags, planted, rules),
        turn_before=_visits_before_planting(entries, last) - 1,
    )
    return Histories(rows, entries, last), gather(
        two, _more_tags(entries, tags, planted), _delayed(entries, rules)
    )


def _one_species(rows: pd.DataFrame) -> tuple[pd.Series[Any], pd.DataFrame]:
    """Take the first species that is told of each seedling; find tags of two."""
    begins, told = _begins(rows), rows["species"].to_numpy(dtype=object)
    first = np.repeat(told[begins], np.diff(np.append(begins, len(rows))))
    if (first == told).all():
        return rows["species"], none_found()
    species = rows["species"].where(~holds(rows["species"], "")).groupby(rows["entry"])
    two = find(
        rows, (species.transform("nunique") > 1) & ~rows["entry"].duplicated(), "two-species-one-tag", "tag"
    )
    return species.transform("first").fillna(""), two


def _tagged_at_planting(
    entries: pd.DataFrame, tags: pd.Series[int], planted: pd.Series[float], rules: Rules
) -> pd.Series[bool]:
    first = entries["cohort"] == FIRST_PLANTING
    if rules.tagged is not None:
        return ~first | (rules.tagged == "at planting")
    early = entries["day"] <= AT_PLANTING_DAYS  # of its first record
    tags = tags.reindex(entries["name"].unique(), fill_value=0)
    equal = entries["name"].map(tags == planted.reindex(tags.index)).astype(bool)
    return early | (first & equal) | ~first


def _visits_before_planting(entries: pd.DataFrame, visits: pd.DataFrame) -> pd.Series[int]:
    """Count the visits of its plot up to the day a seedling was put in (infill: several)."""
    if visits["date"].min() > entries["planted_date"].max():
        return pd.Series(0, index=entries.index)
    pairs = entries[["name", "planted_date"]].drop_duplicates().merge(visits, on="name")
    pairs["before"] = pairs["date"] <= pairs["planted_date"]
    number = pairs.groupby(["name", "planted_date"])["before"].sum()
    own = pd.MultiIndex.from_frame(entries[["name", "planted_date"]])
    return pd.Series(number.reindex(own).to_numpy(), index=entries.index)


def _more_tags(entries: pd.DataFrame, tags: pd.Series[int], planted: pd.Series[float]) -> pd.DataFrame:
    too_many = tags[tags > planted.reindex(tags.index)]
    if too_many.empty:
        return none_found()
    first = entries[entries["cohort"] == FIRST_PLANTING]
    number = number_texts(first["name"].map(tags)) + " tags, " + number_texts(first["name"].map(planted))
    return find(
        first,
        first["name"].isin(too_many.index) & ~first["name"].duplicated(),
        "more-tags-than-planted",
        "tag",
        value=number,
    )


def _delayed(entries: pd.DataFrame, rules: Rules) -> pd.DataFrame:
    """Say which seedlings are followed from their first sighting only; ask where nothing tells why."""
    late = ~entries["at_planting"]
    if not late.any():
        return none_found()
    day = entries.loc[late, "day"]  # of its first record
    plots, number, of_all = entries.loc[late, "name"].nunique(), number_of(entries, late), number_of(entries)
    days = f"{day.min():.0f}" if day.min() == day.max() else f"{day.min():.0f} to {day.max():.0f}"
    plants = f"{number:,} of {of_all:,} plants" if of_all > 1 else "The only plant"
    seen = (
        f"{plants}, in {plots} plot{'s' if plots != 1 else ''}, "
        f"{'were' if number > 1 else 'was'} first seen {days} days after planting"
    )
    told = rules.tagged == "at first sighting"
    return find(entries, late, "delayed-entry" if told else "tagged-not-told", "tag", seen=seen, group="all")


@dataclass(frozen=True)
class Followed:
    """Histories under one rule.

    Attributes
    ----------
    intervals
        entry, start_day, stop_day, died; one row a stretch.
    rows
        The records with, for each: ``alive`` (counts as a sighting), ``death`` (the
        visit at which it was first found dead).
    lost
        Entries whose state is not known at the last visit of their plot, though
        last seen alive: turn of the last sighting, and the next visit of the plot.
    """

    intervals: pd.DataFrame
    rows: pd.DataFrame
    lost: pd.DataFrame


def follow(past: Histories, missing: Missing, unknown: Unknown = "censored") -> Followed:
    """Follow each seedling under one rule.

    Parameters
    ----------
    past
        The histories.
    missing
        "dead": a missing plant died by the visit at which it was first missing.
        "unknown": it says nothing.
    unknown
        What became of a tag not found any more: "censored" leaves at its last
        sighting, "dead" died by the next visit of its plot, "alive" lived to the last.

    Returns
    -------
    Followed
        Missing or dead and alive later means alive throughout, under every rule.
    """
    return next(follow_each(past, [(missing, unknown)]))


def follow_each(past: Histories, rules: Iterable[tuple[Missing, Unknown]]) -> Iterator[Followed]:
    """Follow each seedling under one rule after another; what rules share is told once."""
    known: dict[Missing, tuple[pd.DataFrame, pd.DataFrame]] = {}
    for missing, unknown in rules:
        if missing not in known:
            told = _told(past, missing)
            known[missing] = told, _lost(past, told)
        told, lost = known[missing]
        yield Followed(_stretches(past, told, lost, unknown), told, lost)


def _of_each(how: np.ufunc, values: np.ndarray[Any, Any], begins: Codes) -> np.ndarray[Any, Any]:
    """Sum up the rows of each seedling, which stand together."""
    return np.asarray(how.reduceat(values, begins)) if len(begins) else values[:0]


def _begins(rows: pd.DataFrame) -> Codes:
    """Give the first row of each seedling: as many as there are entries, in their order."""
    entry = rows["entry"].to_numpy()
    return np.flatnonzero(np.append(True, entry[1:] != entry[:-1])[: len(entry)])


def _told(past: Histories, missing: Missing) -> pd.DataFrame:
    rows = past.rows
    begins, place, state = _begins(rows), np.arange(len(rows)), rows["state"].to_numpy(dtype=object)
    size = np.diff(np.append(begins, len(rows)))
    # Texts are compared as arrays: a frame's column looks at each for a blank first.
    lives, dies, gone = (state == str(own) for own in (State.ALIVE, State.DEAD, State.MISSING))
    last_alive = np.repeat(_of_each(np.maximum, np.where(lives, place, -1), begins), size)
    alive = (lives | dies | gone) & (place <= last_alive)
    replanted = state == str(State.REPLANTED)  # what lives on under the tag is another plant
    dead = dies | replanted | rows["blank"].to_numpy(dtype=bool) | (gone & (missing == "dead"))
    dead &= place > last_alive
    so_far = np.cumsum(dead)
    death = dead & (so_far - np.repeat((so_far - dead)[begins], size) == 1)
    return rows.assign(alive=alive, dead=dead, death=death)


def _stretches(past: Histories, told: pd.DataFrame, lost: pd.DataFrame, unknown: Unknown) -> pd.DataFrame:
    death = told["death"].to_numpy()
    seen = np.flatnonzero(told["alive"].to_numpy() | death)
    planted = past.entries.index[past.entries["at_planting"]]
    parts = [
        (planted, np.zeros(len(planted)), np.zeros(len(planted), dtype=bool)),
        (told["entry"].to_numpy()[seen], told["day"].to_numpy(dtype=float)[seen], death[seen]),
    ]
    if unknown != "censored":
        days = (lost["next_date"] if unknown == "dead" else lost["last_date"]) - lost["planted_date"]
        parts.append((lost.index, days.dt.days.to_numpy(dtype=float), np.full(len(lost), unknown == "dead")))
    entry, day, dies = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.lexsort((dies, day, entry))
    entry, day, dies = entry[order], day[order], dies[order]
    stretch = np.flatnonzero((entry[1:] == entry[:-1]) & (day[1:] > day[:-1]))
    return pd.DataFrame(
        {
            "entry": entry[stretch + 1],
            "start_day": day[stretch].astype(np.int64),
            "stop_day": day[stretch + 1].astype(np.int64),
            "died": dies[stretch + 1].astype(np.int64),
        }
    )


def _lost(past: Histories, told: pd.DataFrame) -> pd.DataFrame:
    """Entries last seen alive (or put in at planting) whose plot was visited later without telling."""
    begins, alive = _begins(told), told["alive"].to_numpy()
    last = _of_each(np.maximum, np.where(alive, told["turn"].to_numpy(), _NEVER), begins)
    died = _of_each(np.logical_or, told["death"].to_numpy(), begins)
    turn = np.where(last == _NEVER, past.entries["turn_before"], last).astype(int)
    entries: pd.DataFrame = past.entries[["name", "planted_date", "at_planting"]].assign(turn=turn)
    entries = entries[~died & ((last != _NEVER) | entries["at_planting"].to_numpy())]
    final = past.visits.sort_values("turn").drop_duplicates("name", keep="last").set_index("name")
    entries["last_date"] = entries["name"].map(final["date"])
    entries = entries[entries["turn"] < entries["name"].map(final["turn"])]
    if entries.empty:
        return entries.assign(next_date=entries["last_date"])
    at = past.visits.set_index(["name", "turn"])["date"]
    following = pd.MultiIndex.from_arrays([entries["name"], entries["turn"] + 1])
    entries["next_date"] = at.reindex(following).to_numpy()
    return entries


def assemble(past: Histories, stretches: pd.DataFrame, traits: tuple[str, ...]) -> pd.DataFrame:
    """Join the facts of each seedling to its stretches.

    Returns
    -------
    DataFrame
        One row a stretch, at_risk 1, with keys, facts, days and dates.
    """
    return with_facts(stretches.assign(at_risk=np.int64(1)), past.entries, traits)


def never_at_risk(followed: Followed) -> list[str]:
    """Entries found dead on the day of planting: they were not planted alive."""
    rows = followed.rows
    return list(rows.loc[rows["death"] & (rows["day"] <= 0), "entry"].unique())


def sizes(past: Histories, followed: Followed, number: pd.Series[int] | None = None) -> dict[str, int]:
    """Count the seedlings that entered, and how they left.

    Parameters
    ----------
    past, followed
        The histories, and under a rule.
    number
        How many seedlings each entry stands for; None: one.

    Returns
    -------
    dict
        entered, died, lost (not found any more before the last visit of their plot)
        and alive (at its last visit); the last three sum to the first.
    """
    seen = followed.rows.groupby("entry")["alive"].any().reindex(past.entries.index)
    entered = set(past.entries.index[past.entries["at_planting"] | seen]) - set(never_at_risk(followed))
    died = set(followed.intervals.loc[followed.intervals["died"] == 1, "entry"])
    lost = set(followed.lost.index) & entered
    groups = {"entered": entered, "died": died, "lost": lost, "alive": entered - died - lost}
    if number is None:
        return {name: len(group) for name, group in groups.items()}
    return {name: int(number.reindex(list(group)).sum()) for name, group in groups.items()}
