"""Plot counts to risk intervals: at risk are those alive at the earlier visit, died is the fall.

The group counted is a plot (and a species, where counts are told by species) of one
planting. Its first count is the number planted, at day 0; where no sheet tells the
number planted, the group is followed from its first count on (delayed entry).

A count that is higher than an earlier one contradicts it, unless infill was put in.
Which of the two is wrong cannot be told: both are set aside, and the stretch between
the counts round them is taken together. Where the study file allows it
(``[rules] count_rises = "mend"``) the earlier is raised to the later instead, since
at least so many must have been alive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from survivor.records.cells import number_texts
from survivor.records.problems import find, gather
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
    """

    rows: pd.DataFrame
    entries: pd.DataFrame


def counted(rows: pd.DataFrame, planted: pd.Series[float], rules: Rules) -> tuple[Counted, pd.DataFrame]:
    """Put the counts of each group in order and set aside those that cannot be.

    Parameters
    ----------
    rows
        Ready visit records (`survivor.records.prepare.Ready`), with alive, infill
        and planted.
    planted
        Seedlings planted, by entry, from the plot sheet; blank where it does not tell.
    rules
        The rules of the study file.
    """
    rows = rows.sort_values(["entry", "day", "record"], kind="stable", ignore_index=True)
    rows, number, found = _number_planted(rows, planted)
    entries = rows.drop_duplicates("entry").set_index("entry")
    entries["planted"] = number.reindex(entries.index)
    rows = rows.assign(number=rows["entry"].map(entries["planted"]))
    for check in (_mixed_with_infill, _against_planted):
        more, aside = check(rows)
        found.append(more)
        rows = rows[~aside]
    rows, more = _rises(rows, rules)
    found.append(more)
    return Counted(rows.reset_index(drop=True), entries), gather(found)


def _number_planted(
    rows: pd.DataFrame, planted: pd.Series[float]
) -> tuple[pd.DataFrame, pd.Series[float], list[pd.DataFrame]]:
    own = rows.groupby("entry")["planted"]
    differs = own.transform("nunique") > 1
    found = [
        find(
            rows,
            differs,
            "planted-differs",
            word="planted",
            what="the rows of one plot tell different numbers planted",
            mend="write the same number into every row",
            group=rows["entry"],
        )
    ]
    rows = rows[~differs]
    number = rows.groupby("entry")["planted"].first()
    number = number.fillna(planted.reindex(number.index))
    at_zero = rows[rows["day"] == 0].groupby("entry")["alive"].first()
    untold = number.isna()
    number = number.fillna(at_zero.reindex(number.index))
    first = ~rows["entry"].duplicated()
    found += [
        find(
            rows,
            first & rows["entry"].map(untold & number.isna()).astype(bool),
            "no-planted-number",
            word="planted",
            what="no number planted is told: followed from the first count on, what died before is not seen",
            mend="give the number planted; without it only survival of found can be told, which is too high",
        ),
        find(
            rows,
            rows["entry"].map(number == 0).astype(bool),
            "nothing-planted",
            word="planted",
            what="no seedling was planted here",
            mend="correct the number planted, or remove the row",
            group=rows["entry"],
        ),
    ]
    return rows[~rows["entry"].map(number == 0).astype(bool)], number, found


def _mixed_with_infill(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series[bool]]:
    """Find counts of the first planting that hold infill, which has its own clock."""
    if "infill" not in rows.columns:
        return gather([]), pd.Series(False, index=rows.index)
    first = rows["cohort"] == FIRST_PLANTING
    apart = rows["name"].isin(rows.loc[~first, "name"])  # infill has rows of its own there
    put_in = (rows["infill"] > 0) & first & ~apart
    since = put_in.groupby(rows["entry"]).cummax()
    before = rows.groupby("entry")["alive"].shift().fillna(rows["number"])
    # At the visit at which infill went in, the count is of the first plants unless it rose.
    mixed = since & (~put_in | put_in.groupby(rows["entry"]).cumsum().gt(1) | (rows["alive"] > before))
    found = find(
        rows,
        mixed,
        "infill-mixed",
        word="alive",
        what="infill went in before this count and is counted with the first planting: who died is not told",
        mend="count infill in rows of its own (cohort infill, with its planting date)",
        group=rows["entry"],
    )
    return found, mixed


def _against_planted(rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.Series[bool]]:
    more = rows["alive"] > rows["number"]
    fewer = (rows["day"] == 0) & (rows["alive"] < rows["number"])
    number = number_texts(rows["number"])
    found = gather(
        [
            find(
                rows,
                more,
                "more-alive-than-planted",
                word="alive",
                what="more are alive than the " + number + " planted",
                mend="correct one of the numbers; count infill and natural recruits apart",
            ),
            find(
                rows,
                fewer,
                "fewer-at-planting",
                word="alive",
                what="on the planting day fewer are alive than the " + number + " planted",
                mend="correct one of the numbers, or the date of the count",
            ),
        ]
    )
    return found, more | fewer


def _rises(rows: pd.DataFrame, rules: Rules) -> tuple[pd.DataFrame, pd.DataFrame]:
    if rules.count_rises == "mend":
        reversed_rows = rows.iloc[::-1]
        at_least = reversed_rows.groupby("entry")["alive"].cummax().reindex(rows.index)
        mended = find(
            rows,
            at_least > rows["alive"],
            "count-mended",
            word="alive",
            what="a later count is higher: raised to " + number_texts(at_least),
            mend="nothing, if no infill went in and no natural recruit was counted",
        )
        return rows.assign(alive=at_least), mended
    kept = rows
    found: list[pd.DataFrame] = []
    while True:
        later = kept.groupby("entry")["alive"].shift(-1)
        earlier = kept.groupby("entry")["alive"].shift()
        wrong = (later > kept["alive"]) | (kept["alive"] > earlier)
        if not wrong.any():
            return kept, gather(found)
        found.append(
            find(
                kept,
                wrong,
                "count-rises",
                word="alive",
                what=_rise_in_words(kept, earlier, later),
                mend="look which count is wrong; record infill as infill; or allow the mend: "
                '[rules] count_rises = "mend"',
            )
        )
        kept = kept[~wrong]


def _rise_in_words(rows: pd.DataFrame, earlier: pd.Series[float], later: pd.Series[float]) -> pd.Series[Any]:
    rose = rows["alive"] > earlier
    after = "more than the " + number_texts(earlier) + " of the visit before"
    before = "the next count, " + number_texts(later) + ", is higher"
    return after.where(rose, before) + ", and no infill is recorded; both counts are set aside"


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
    points = points.sort_values(["entry", "day"], kind="stable", ignore_index=True)
    points = points[~points.duplicated(["entry", "day"])]
    before = points.groupby("entry")[["day", "alive"]].shift()
    stretch = before["alive"] > 0
    facts = entries[
        [
            "site",
            "block",
            "plot",
            "tag",
            "species",
            "method",
            "weed_free_radius_m",
            "cohort",
            "planted_date",
            *traits,
        ]
    ]
    table = pd.DataFrame(
        {
            "entry": points.loc[stretch, "entry"],
            "start_day": before.loc[stretch, "day"].astype(np.int64),
            "stop_day": points.loc[stretch, "day"].astype(np.int64),
            "at_risk": before.loc[stretch, "alive"].astype(np.int64),
            "died": (before["alive"] - points["alive"])[stretch].astype(np.int64),
        }
    ).reset_index(drop=True)
    joined: pd.DataFrame = table.join(facts, on="entry")
    for day, date in (("start_day", "start_date"), ("stop_day", "stop_date")):
        joined[date] = joined["planted_date"] + pd.to_timedelta(joined[day], unit="D")
    return joined.drop(columns="entry")


def check_left_out(counts: Counted) -> pd.DataFrame:
    """Find groups with a single count and no number planted: nothing to compare it with."""
    rows = counts.rows
    alone = rows["entry"].map(counts.entries["planted"]).isna() & (
        rows.groupby("entry")["day"].transform("nunique") == 1
    )
    return find(
        rows,
        alone,
        "seen-once",
        word="alive",
        what="one count only and no number planted, so there is nothing to compare with",
        mend="give the number planted; else it counts from the next visit on",
    )
