"""Checks of a seedling's history: what the rules made of its states is said, record by record."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from survivor.records.problems import Texts, find, gather, joined
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
    rows = rows.assign(
        visit_of_plot=joined(rows["name"], rows["label"]),
        whole_visit=joined(rows["source"], rows["visit"]),
    )
    last_turn = past.visits.groupby("name")["turn"].max()
    at_end = rows["turn"] == rows["name"].map(last_turn)
    return gather(
        [
            reshoots(rows),
            unconfirmed(rows, at_end),
            missing(rows),
            blanks(rows),
            skipped(rows, past),
            not_found(rows, followed),
            without_interval(rows, past, followed),
        ]
    )


def _of_tag(what: str) -> Callable[[pd.DataFrame], Texts]:
    """Say something of the tag of each row at fault."""
    return lambda rows: what + " (tag " + rows["tag"] + ")"


def reshoots(rows: pd.DataFrame) -> pd.DataFrame:
    """Find seedlings called dead or missing and alive later."""
    return gather(
        [
            find(
                rows,
                rows["alive"] & (rows["state"] == State.DEAD),
                "reshoot",
                word="state",
                what=_of_tag("called dead here and alive later: alive throughout"),
                mend="nothing, if it reshot; else look for a tag read wrongly",
            ),
            find(
                rows,
                rows["alive"] & (rows["state"] == State.MISSING),
                "alive-after-missing",
                word="state",
                what=_of_tag("called missing here and alive later: alive throughout"),
                mend="look for a tag read wrongly, or infill under the old tag",
            ),
        ]
    )


def unconfirmed(rows: pd.DataFrame, at_end: pd.Series[bool]) -> pd.DataFrame:
    """Find seedlings first called dead at the last visit of their plot."""
    return find(
        rows,
        rows["death"] & at_end & (rows["state"] == State.DEAD),
        "unconfirmed-death",
        word="state",
        what=_of_tag("dead at the last visit only: counted as dead, and unconfirmed, since it may reshoot"),
        mend="look again at the next visit",
    )


def missing(rows: pd.DataFrame) -> pd.DataFrame:
    """Say how missing plants were read."""
    gone = rows["state"] == State.MISSING
    return gather(
        [
            find(
                rows,
                gone & rows["death"],
                "missing-dead",
                word="state",
                what="missing, place found and plant gone: read as dead at the visit first missing",
                mend='nothing, if that is right; else say [rules] missing = "unknown"',
                group=rows["source"],
            ),
            find(
                rows,
                gone & ~rows["alive"] & ~rows["dead"],
                "missing-unknown",
                word="state",
                what="missing (position found, plant gone), read as unknown",
                mend='nothing, if that is right; else say [rules] missing = "dead"',
                group=rows["source"],
            ),
        ]
    )


def blanks(rows: pd.DataFrame) -> pd.DataFrame:
    """Say which blanks were read as dead; find plots where every seedling is blank."""
    all_blank = rows.groupby("visit_of_plot")["blank"].transform("all")
    return gather(
        [
            find(
                rows,
                rows["blank"] & rows["death"],
                "blank-dead",
                word="state",
                what="a blank that no later sighting follows, read as dead as the study file says",
                mend='nothing, if that is right; else say [rules] blank = "not visited"',
                group=rows["visit_of_plot"],
            ),
            find(
                rows,
                rows["blank"] & ~rows["death"],
                "not-visited",
                word="state",
                what="no state at this visit: the time between the visits round it is taken together",
                mend="nothing, if nobody looked",
                group=rows["visit_of_plot"],
            ),
            find(
                rows,
                all_blank & rows["death"],
                "plot-all-blank",
                word="state",
                what="every seedling of the plot is blank at this visit, and blanks are read as dead",
                mend="if nobody visited the plot, write not visited",
                group=rows["visit_of_plot"],
            ),
        ]
    )


def skipped(rows: pd.DataFrame, past: Histories) -> pd.DataFrame:
    """Find stretches that span a visit of the plot at which the seedling's state is not known."""
    known = rows[rows["alive"] | rows["death"]]
    before = known.groupby("entry")["turn"].shift()
    at_planting = past.entries["turn_before"].where(past.entries["at_planting"])
    gap = known["turn"] - before.fillna(known["entry"].map(at_planting))
    return find(
        known,
        gap > 1,
        "skipped-visit",
        word="visit",
        what="the state is not known at the visit before: the time since the last sighting is taken together",
        mend="nothing; the wider the stretch, the less it tells",
        group=known["whole_visit"],
    )


def not_found(rows: pd.DataFrame, followed: Followed) -> pd.DataFrame:
    """Find tags that nobody found, at one visit or never again."""
    lost = rows["entry"].isin(followed.lost.index)
    last = ~rows.duplicated("entry", keep="last")
    nowhere = rows["state"] == State.NOT_FOUND
    at_end = lost & last & ~rows["alive"]
    return gather(
        [
            find(
                rows,
                at_end,
                "not-found-at-end",
                word="state",
                what=_of_tag("not found at the end: followed to its last sighting only"),
                mend="look for it at the next visit; the answer is bounded by all such dead and all alive",
            ),
            find(
                rows,
                nowhere & ~at_end,
                "not-found",
                word="state",
                what="tag or position not found at this visit: the state is unknown",
                mend="nothing, if it was looked for",
                group=rows["whole_visit"],
            ),
            find(
                rows,
                lost & last & rows["alive"],
                "lost-from-sight",
                word="tag",
                value=rows["tag"],
                what=_of_tag(
                    "no state after this visit, though the plot was visited again: followed to here only"
                ),
                mend="look for it at the next visit; the answer is bounded by all such dead and all alive",
            ),
        ]
    )


def without_interval(rows: pd.DataFrame, past: Histories, followed: Followed) -> pd.DataFrame:
    """Find seedlings that no stretch could be made of."""
    dead_at_once = rows["entry"].isin(never_at_risk(followed))
    at_planting = rows["entry"].map(past.entries["at_planting"]).astype(bool)
    ever_alive = rows.groupby("entry")["alive"].transform("any")
    in_interval = rows["entry"].isin(followed.intervals["entry"])
    return gather(
        [
            find(
                rows,
                dead_at_once,
                "dead-at-planting",
                word="state",
                what=_of_tag("dead on the day of planting, so it was never at risk"),
                mend="correct the state or the dates",
                group=rows["entry"],
            ),
            find(
                rows,
                ~at_planting & ~ever_alive & rows["dead"],
                "never-seen-alive",
                word="tag",
                what=_of_tag("never seen alive, and not known to be tagged at planting"),
                mend='if the tags went in with the plants, say [rules] tagged = "at planting"',
                group=rows["entry"],
            ),
            find(
                rows,
                ~in_interval & rows["alive"],
                "seen-once",
                word="tag",
                what="no known state after the first sighting, so there is nothing to compare with",
                mend="nothing; it counts from the next visit on",
                group=rows["whole_visit"],
            ),
        ]
    )
