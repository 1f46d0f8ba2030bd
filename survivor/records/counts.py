"""Plot counts to risk intervals: at risk are those alive at the earlier visit, died is the fall.

The group counted is a plot (and a species, where counts are told by species) of one
planting. Its first count is the number planted, at day 0; where no sheet tells the
number planted, the group is followed from its first count on (delayed entry).

A count that is higher than an earlier one contradicts it, unless infill was put in.
Which of the two is wrong cannot be determined: both are excluded, and the stretch between
the counts round them is taken together. Where the study file allows it
(``[rules] count_rises = "mend"``) the earlier is raised to the later instead, since
at least so many must have been alive.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from survivor.intervals import in_order_of, row_codes
from survivor.records.checks.beside import check_steps
from survivor.records.checks.plots import entry_name
from survivor.records.checks.sense import check_first_count, check_planted_column
from survivor.records.frames import with_facts
from survivor.records.problems import Source, find, gather
from survivor.settings import Rules
from survivor.vocabulary import FIRST_PLANTING


@dataclass(frozen=True)
class Counted:
    """Counts ready to be made into intervals.

    Attributes
    ----------
    rows
        Counts that are used, sorted by entry and day: entry, day, alive.
    entries
        One row a group, indexed by entry: keys, facts, planted (blank where not told).
    told
        Every record that was given, its count that of the living.
    """

    rows: pd.DataFrame
    entries: pd.DataFrame
    told: pd.DataFrame


def counted(
    rows: pd.DataFrame, planted: pd.Series[float], rules: Rules, sources: Sequence[Source] = ()
) -> tuple[Counted, pd.DataFrame]:
    """Put the counts of each group in order and exclude those that cannot be.

    Parameters
    ----------
    rows
        Ready visit records (`survivor.records.prepare.Ready`), with alive, infill
        and planted.
    planted
        Seedlings planted, by entry, from the plot sheet; blank where it does not tell.
    rules
        The rules of the study file.
    sources
        Where the records came from: what their counts are of.
    """
    rows = rows.iloc[in_order_of(rows, ["entry", "day", "record"])].reset_index(drop=True)
    told, living = _living(rows, planted, sources)
    rows, number, found = _number_planted(told[told["alive"].notna()], planted)
    found.append(living)
    entries = rows.drop_duplicates("entry").set_index("entry")
    entries["planted"] = number.reindex(entries.index)
    rows = rows.assign(number=rows["entry"].map(entries["planted"]))
    for check in (_mixed_with_infill, _against_planted):
        more, aside = check(rows)
        found.append(more)
        rows = rows[~aside]
    found += [check_planted_column(rows), check_first_count(rows)]
    rows, more = _rises(rows, rules)
    found += [more, check_steps(rows)]
    return Counted(rows.reset_index(drop=True), entries, told), gather(*found)


_ROUNDED: Final = 0.6  # per cent of the planted by which a rounded share may miss a whole number of plants


def _living(
    rows: pd.DataFrame, planted: pd.Series[float], sources: Sequence[Source]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Turn counts of the dead, and shares of the planted, into counts of the living."""
    how = rows["source"].map({place: source.counted for place, source in enumerate(sources)}).fillna("alive")
    if (how == "alive").all():
        return rows, gather()
    number = rows.groupby("entry")["planted"].transform("first").fillna(rows["entry"].map(planted))
    dead = (
        rows["alive"].groupby(rows["entry"]).cumsum().where(how == "dead since the last visit", rows["alive"])
    )
    share = number * rows["alive"] / 100
    alive = (number - dead).where(how != "alive per cent", share.round()).where(how != "alive", rows["alive"])
    odd = (how == "alive per cent") & ((share - share.round()).abs() > number * _ROUNDED / 100)
    untold = (how != "alive") & number.isna()
    impossible = (how != "alive") & ((alive < 0) | (alive > number))
    found = [
        find(rows, untold, "no-planted-for-living", "alive", group=entry_name),
        find(rows, odd, "share-of-no-number", "alive", there=number),
        find(rows, impossible & ~odd, "more-dead-than-planted", "alive", how=how, there=number),
        find(
            rows,
            (how != "alive") & ~untold & ~odd & ~impossible,
            "living-reckoned",
            "alive",
            how=how,
            group=rows["source"].astype(str),
        ),
    ]
    return rows.assign(alive=alive.where(~odd & ~untold & ~impossible)), gather(*found)


def _number_planted(
    rows: pd.DataFrame, planted: pd.Series[float]
) -> tuple[pd.DataFrame, pd.Series[float], list[pd.DataFrame]]:
    own = rows.groupby("entry")["planted"]
    differs = own.transform("nunique") > 1
    found = [find(rows, differs, "planted-differs", "planted", group=entry_name)]
    rows = rows[~differs]
    number = rows.groupby("entry")["planted"].first()
    number = number.fillna(planted.reindex(number.index))
    at_zero = rows[rows["day"] == 0].groupby("entry")["alive"].first()
    untold = number.isna()
    number = number.fillna(at_zero.reindex(number.index))
    first = ~rows["entry"].duplicated()
    nothing = rows["entry"].map(number == 0).astype(bool)
    found += [
        find(
            rows,
            first & rows["entry"].map(untold & number.isna()).astype(bool),
            "no-planted-number",
            "planted",
        ),
        find(rows, nothing, "nothing-planted", "planted", group=entry_name),
    ]
    return rows[~nothing], number, found


def _mixed_with_infill(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series[bool]]:
    """Find counts of the first planting that hold infill, which has its own clock."""
    if "infill" not in rows.columns:
        return gather(), pd.Series(False, index=rows.index)
    first = rows["cohort"] == FIRST_PLANTING
    apart = rows["name"].isin(rows.loc[~first, "name"])  # infill has rows of its own there
    put_in = (rows["infill"] > 0) & first & ~apart
    if not put_in.any():
        return gather(), put_in
    since = put_in.groupby(rows["entry"]).cummax()
    before = rows.groupby("entry")["alive"].shift().fillna(rows["number"])
    # At the visit at which infill went in, the count is of the first plants unless it rose.
    mixed = since & (~put_in | put_in.groupby(rows["entry"]).cumsum().gt(1) | (rows["alive"] > before))
    found = find(rows, mixed, "infill-mixed", "alive", group=entry_name)
    return found, mixed


def _against_planted(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series[bool]]:
    more = rows["alive"] > rows["number"]
    fewer = (rows["day"] == 0) & (rows["alive"] < rows["number"])
    found = gather(
        find(rows, more, "more-alive-than-planted", "alive"), find(rows, fewer, "fewer-at-planting", "alive")
    )
    return found, more | fewer


def _rises(rows: pd.DataFrame, rules: Rules) -> tuple[pd.DataFrame, pd.DataFrame]:
    if rules.count_rises == "mend":
        reversed_rows = rows.iloc[::-1]
        at_least = reversed_rows.groupby("entry")["alive"].cummax().reindex(rows.index)
        mended = find(rows, at_least > rows["alive"], "count-mended", "alive", at_least=at_least)
        return rows.assign(alive=at_least), mended
    kept = rows
    found: list[pd.DataFrame] = []
    while True:
        later = kept.groupby("entry")["alive"].shift(-1)
        earlier = kept.groupby("entry")["alive"].shift()
        wrong = (later > kept["alive"]) | (kept["alive"] > earlier)
        if not wrong.any():
            return kept, gather(*found)
        rose = kept["alive"] > earlier
        found += [
            find(kept, wrong & rose, "count-rises", "alive", earlier=earlier),
            find(kept, wrong & ~rose, "count-rises", "alive", message="count-below-next", later=later),
        ]
        kept = kept[~wrong]


def intervals(counts: Counted, traits: tuple[str, ...]) -> pd.DataFrame:
    """Make risk intervals of counts.

    Returns
    -------
    DataFrame
        One row a stretch between two counts of a group of which anyone was alive at
        the first, with keys, facts, days and dates.
    """
    entries = counts.entries
    told = entries.index[entries["planted"].notna()]
    zero = pd.DataFrame({"entry": told, "day": 0, "alive": entries.loc[told, "planted"].to_numpy()})
    points = pd.concat([zero, counts.rows[["entry", "day", "alive"]]], ignore_index=True)
    points = points.iloc[row_codes([points["entry"], points["day"]])[1]]  # in order, each day once
    entry, day, alive = (points[word].to_numpy() for word in ("entry", "day", "alive"))
    before = np.flatnonzero((entry[1:] == entry[:-1]) & (alive[:-1] > 0))
    table = pd.DataFrame(
        {
            "entry": entry[before + 1],
            "start_day": day[before].astype(np.int64),
            "stop_day": day[before + 1].astype(np.int64),
            "at_risk": alive[before].astype(np.int64),
            "died": (alive[before] - alive[before + 1]).astype(np.int64),
        }
    )
    return with_facts(table, entries, traits)


def check_left_out(counts: Counted) -> pd.DataFrame:
    """Find groups with no number planted that one count, or none above 0, leaves with nothing to compare."""
    rows = counts.rows
    unknown = rows["entry"].map(counts.entries["planted"]).isna()
    if not unknown.any():
        return gather()
    by_group = rows.groupby("entry")
    none_alive = unknown & (by_group["alive"].transform("max") == 0)
    alone = unknown & ~none_alive & (by_group["day"].transform("nunique") == 1)
    return gather(
        find(rows, alone, "seen-once", "alive", message="one-count"),
        find(rows, none_alive, "never-seen-alive", "alive", message="none-alive-counted", group=entry_name),
    )
