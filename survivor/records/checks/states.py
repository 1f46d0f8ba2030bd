"""Checks of a seedling's history: what the rules made of its states is said, record by record."""

from __future__ import annotations

import numpy as np
import pandas as pd

from survivor.files.cells import holds
from survivor.records.checks.plots import entry_name
from survivor.records.problems import Texts, find, gather, joined, none_found, whole_visit
from survivor.records.tagged import Followed, Histories, never_at_risk
from survivor.vocabulary import State


def check_states(past: Histories, followed: Followed) -> pd.DataFrame:
    """Run every check of histories.

    Parameters
    ----------
    past, followed
        The histories, and what the rules of the study file made of them.
    """
    rows = followed.rows
    last_turn = dict(zip(past.visits["name"], past.visits["turn"], strict=True))  # they are in order
    at_end = rows["turn"] == rows["name"].map(last_turn)
    return gather(
        reshoots(rows),
        unconfirmed(rows, at_end),
        missing(rows),
        blanks(rows),
        skipped(rows, past),
        not_found(rows, followed),
        doubtful(rows),
        without_interval(rows, past, followed),
    )


def _visit_of_plot(rows: pd.DataFrame) -> Texts:
    return joined(rows["name"], rows["label"])


def reshoots(rows: pd.DataFrame) -> pd.DataFrame:
    """Find seedlings called dead or missing and alive later."""
    again = rows["alive"] & holds(rows["state"], State.DEAD)
    once = again & (again.groupby(rows["entry"]).transform("sum") == 1) if again.any() else again
    return gather(
        find(rows, once, "reshoot", "state"),
        find(rows, again & ~once, "reshoot-late", "state"),
        find(rows, rows["alive"] & holds(rows["state"], State.MISSING), "alive-after-missing", "state"),
    )


def unconfirmed(rows: pd.DataFrame, at_end: pd.Series[bool]) -> pd.DataFrame:
    """Find seedlings first called dead at the last visit of their plot."""
    return find(rows, rows["death"] & at_end & holds(rows["state"], State.DEAD), "unconfirmed-death", "state")


def missing(rows: pd.DataFrame) -> pd.DataFrame:
    """Say how missing plants were read."""
    gone = holds(rows["state"], State.MISSING)
    return gather(
        find(rows, gone & rows["death"], "missing-dead", "state", group=rows["source"]),
        find(rows, gone & ~rows["alive"] & ~rows["dead"], "missing-unknown", "state", group=rows["source"]),
    )


def blanks(rows: pd.DataFrame) -> pd.DataFrame:
    """Say which blanks were read as dead; find plots where every seedling is blank."""
    if not rows["blank"].any():
        return none_found()
    all_blank = rows["blank"].groupby(_visit_of_plot(rows)).transform("all")
    return gather(
        find(rows, rows["blank"] & rows["death"], "blank-dead", "state", group=_visit_of_plot),
        find(rows, rows["blank"] & ~rows["death"], "not-visited", "state", group=_visit_of_plot),
        find(rows, all_blank & rows["death"], "plot-all-blank", "state", group=_visit_of_plot),
    )


def skipped(rows: pd.DataFrame, past: Histories) -> pd.DataFrame:
    """Find stretches that span a visit of the plot at which the seedling's state is not known."""
    known = rows[rows["alive"] | rows["death"]]
    entry, turn = known["entry"].to_numpy(), known["turn"].to_numpy(dtype=float)
    begins = np.flatnonzero(np.append(True, entry[1:] != entry[:-1])[: len(entry)])
    at_planting = past.entries["turn_before"].where(past.entries["at_planting"])
    before = np.roll(turn, 1)
    before[begins] = at_planting.reindex(entry[begins])
    gap = pd.Series(turn - before, index=known.index)
    return find(known, gap > 1, "skipped-visit", "visit", group=whole_visit)


def not_found(rows: pd.DataFrame, followed: Followed) -> pd.DataFrame:
    """Find tags that nobody found, at one visit or never again."""
    lost = rows["entry"].isin(followed.lost.index)
    last = ~rows.duplicated("entry", keep="last")
    nowhere = holds(rows["state"], State.NOT_FOUND)
    at_end = lost & last & ~rows["alive"] & ~holds(rows["state"], State.DOUBTFUL)
    return gather(
        find(rows, at_end, "not-found-at-end", "state"),
        find(rows, nowhere & ~at_end, "not-found", "state", group=whole_visit),
        find(rows, lost & last & rows["alive"], "lost-from-sight", "tag", value=rows["tag"]),
    )


def doubtful(rows: pd.DataFrame) -> pd.DataFrame:
    """Find records of which nobody could tell whether the seedling lived."""
    return find(rows, holds(rows["state"], State.DOUBTFUL), "doubtful", "state")


def without_interval(rows: pd.DataFrame, past: Histories, followed: Followed) -> pd.DataFrame:
    """Find seedlings that no stretch could be made of."""
    dead_at_once = rows["entry"].isin(never_at_risk(followed))
    never_alive = rows["dead"] & ~rows["entry"].map(past.entries["at_planting"]).astype(bool)
    if never_alive.any():
        never_alive &= ~rows.groupby("entry")["alive"].transform("any")
    in_interval = rows["entry"].isin(followed.intervals["entry"])
    return gather(
        find(rows, dead_at_once, "dead-at-planting", "state", group=entry_name),
        find(rows, never_alive, "never-seen-alive", "tag", group=entry_name),
        find(rows, ~in_interval & rows["alive"], "seen-once", "tag", group=whole_visit),
    )
