"""Tags that are probably one, written in two ways: 0740 and 0740.0, a12 and A12.

A tag that no other visit of its plot has, where a tag of its other visits is missing.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from survivor.intervals import row_codes
from survivor.records.checks.plots import plot_name
from survivor.records.checks.visits import name_visits
from survivor.records.problems import Texts, find, joined, none_found
from survivor.vocabulary import FIRST_PLANTING, State

_POINT_NOUGHT = re.compile(r"[.,]0+$")


def one_tag(rows: pd.DataFrame, rule: Literal["report", "join"]) -> tuple[pd.Series[Any], pd.DataFrame]:
    """List tags of a plot that differ as a spreadsheet makes them differ, and join them where allowed.

    A spreadsheet drops zeros before a number and puts ``.0`` behind it. Two such
    spellings that both stand at one visit are two seedlings, and are left alone.

    Parameters
    ----------
    rows
        Records with site, block, plot, cohort, visit, date and tag.
    rule
        What the study file says: list them, or join them.

    Returns
    -------
    tag, found
        The tags, joined to one spelling where that is allowed: one without the ``.0`` of a
        spreadsheet, then the one with most records, then the longest.
    """
    tag = rows["tag"]
    bare = {text: bare_tag(text) for text in tag.unique() if text}
    if len(set(bare.values())) == len(bare):  # no two tags anywhere are alike
        return tag, none_found()
    place = joined(plot_name(rows), rows["cohort"])
    key = joined(place, tag.map(bare).fillna(""))
    several = (tag != "") & (tag.groupby(key).transform("nunique") > 1)
    if not several.any():
        return tag, none_found()
    at = rows.loc[several].assign(key=key, seen=joined(rows["visit"], rows["date"]))
    together = at.groupby(["key", "seen"])["tag"].nunique()
    apart = together[together > 1].index.get_level_values("key")
    alike = several & ~key.isin(apart)
    if not alike.any():
        return tag, none_found()
    best = {name: _best(part.tolist()) for name, part in tag[alike].groupby(key[alike])}
    main: Texts = key.map(best)
    other = alike & (tag != main)
    if rule == "join":
        return tag.where(~other, main), find(
            rows,
            other,
            "tag-joined",
            word="tag",
            what="taken as tag " + main.astype(str) + ", as the study file allows",
            mend="nothing, if they are one seedling",
            group=key + tag,
        )
    return tag, find(
        rows,
        other,
        "tag-spelling",
        word="tag",
        what="this tag and "
        + main.astype(str)
        + " of the same plot are probably one seedling, written in two "
        "ways; they are taken as two",
        mend="correct the sheet (format the column as text); or, where all such tags are one, write in the "
        'study file under [rules]: tags_alike = "join"',
        group=key + tag,
    )


def _best(spellings: list[str]) -> str:
    times = Counter(spellings)
    return min(times, key=lambda tag: (bool(_POINT_NOUGHT.search(tag)), -times[tag], -len(tag), tag))


def bare_tag(tag: str) -> str:
    """Write a tag without case, spaces, zeros before it and the ``.0`` of a spreadsheet."""
    if tag.isdigit() and tag[0] != "0":
        return tag
    text = re.sub(r"\s+", "", tag.casefold())
    return re.sub(r"^(\D*)0+(?=\d)", r"\1", _POINT_NOUGHT.sub("", text))


_MOST_NAMED: Final = 4  # missing tags that are all named; of more only those that look like the stranger
_ALIKE: Final = 0.7
_GONE: Final = (State.DEAD, State.MISSING, State.REPLANTED)  # whose tag is often left off the next sheet


def check_unmatched_tags(rows: pd.DataFrame) -> pd.DataFrame:
    """Find tags of one visit beside tags of other visits that have no record at it.

    A tag is a stranger where no other visit of its plot has it. It may be a slip for a tag
    that is missing at that visit and stands at an earlier one, or at two later ones at least.
    One last seen dead or missing is not asked about: such are left off the next sheet.
    Nothing is changed: the question is asked.

    Parameters
    ----------
    rows
        Every visit record of tagged seedlings, also those that are excluded: site, block,
        plot, cohort, tag, visit, date, state.
    """
    told = rows[(rows["tag"] != "") & (rows["cohort"] == FIRST_PLANTING)]
    told = told[(told["visit"] != "") | told["date"].notna()]
    if told.empty:
        return none_found()
    told = told[["tag", "state", "date"]].assign(**_codes(told))
    once = told.drop_duplicates(["who", "at"])
    visits = once.groupby("who")["at"].transform("size")
    of_plot = once.drop_duplicates(["name", "at"]).groupby("name").size()
    alone = once[(visits == 1) & (once["name"].map(of_plot) > 1)]
    if alone.empty:
        return none_found()
    pairs = _pairs(told[told["name"].isin(alone["name"])], alone)
    if pairs.empty:
        return none_found()
    own = alone["tag"].to_dict()
    missing = pairs.groupby("index", sort=False)["tag_missing"].agg(list).to_dict()
    every = {row: _named(str(own[row]), tags) for row, tags in missing.items()}
    named = {row: tags for row, tags in every.items() if tags}
    what = {row: _what(tags) for row, tags in named.items()}
    mend = {row: _mend(tags) for row, tags in named.items()}
    return find(
        rows,
        pd.Series(rows.index.isin(list(named)), index=rows.index),
        "tag-of-one-visit",
        word="tag",
        what=pd.Series(what, dtype=object).reindex(rows.index).fillna(""),
        mend=pd.Series(mend, dtype=object).reindex(rows.index).fillna(""),
    )


def _what(missing: list[str]) -> str:
    one = len(missing) == 1
    return (
        f"no other visit of this plot has the tag, and {_either(missing, 'and')}, which "
        f"{'stands' if one else 'stand'} at its other visits, {'is' if one else 'are'} missing at this one"
    )


def _mend(missing: list[str]) -> str:
    tags = missing[0] if len(missing) == 1 else f"one of {_either(missing, 'and')}"
    return (
        f"look it up: if it is {tags}, write that tag here; if it is infill, call it infill; else nothing, "
        "it is taken as another seedling"
    )


def _codes(told: pd.DataFrame) -> dict[str, pd.Series[int]]:
    """Give numbers to plots (name), their tags (who) and their visits (at: as named, else by days)."""
    at = told["visit"].copy()
    unnamed = told["visit"] == ""
    if unnamed.any():
        own = told[unnamed]
        at.loc[own.index] = name_visits(own.assign(name=plot_name(own)))[0]
    bare, tags = pd.factorize(told["tag"])
    spelt = pd.factorize(np.array([bare_tag(tag) for tag in tags], dtype=object))[0][bare]
    name = pd.factorize(plot_name(told))[0]
    codes = {
        "name": name,
        "who": row_codes([pd.Series(name), pd.Series(spelt)])[0],
        "at": pd.factorize(at)[0],
    }
    return {word: pd.Series(code, index=told.index) for word, code in codes.items()}


def _pairs(told: pd.DataFrame, alone: pd.DataFrame) -> pd.DataFrame:
    """Put each stranger beside the tags of its plot that have no record at its visit.

    Returns
    -------
    DataFrame
        index (of the stranger's record) and tag_missing.
    """
    day = told.groupby(["name", "at"])["date"].transform("median")
    told = told.assign(day=day)
    present = told[["who", "at"]].drop_duplicates()
    others = told.groupby("who", sort=False).agg(name=("name", "first"), tag=("tag", "first")).reset_index()
    strangers = alone[["name", "who", "at"]].reset_index()
    strangers["day"] = day.loc[strangers["index"]].to_numpy()
    pairs = strangers.merge(others, on="name", suffixes=("", "_missing"))
    pairs = pairs[pairs["who"] != pairs["who_missing"]]
    seen = pairs.merge(
        present.rename(columns={"who": "who_missing"}), on=["who_missing", "at"], how="left", indicator=True
    )
    pairs = pairs[(seen["_merge"] == "left_only").to_numpy()]
    records = told[["who", "day", "at", "state"]].drop_duplicates(["who", "at"])
    both = pairs.merge(records.rename(columns={"who": "who_missing"}), on="who_missing", suffixes=("", "_of"))
    before = both["day_of"] < both["day"]
    both = both.assign(before=before, state_before=both["state"].where(before & (both["state"] != "")))
    both = both.sort_values("day_of", kind="stable")
    told_of = both.groupby(["index", "who_missing"], sort=False).agg(
        before=("before", "any"), number=("at_of", "size"), last=("state_before", "last")
    )
    likely = (told_of["before"] | (told_of["number"] > 1)) & ~told_of["last"].isin([str(s) for s in _GONE])
    kept = told_of[likely].reset_index()[["index", "who_missing"]]
    # A visit that has fewer of the plot's tags than it lacks looked at some of them only.
    known = told[~told["who"].isin(alone["who"])].groupby(["name", "at"])["who"].nunique()
    there = known.reindex(pd.MultiIndex.from_frame(strangers[["name", "at"]])).fillna(0).to_numpy()
    lacking = kept["index"].map(kept["index"].value_counts())
    kept = kept[lacking <= kept["index"].map(dict(zip(strangers["index"], there, strict=True)))]
    return kept.merge(
        others.rename(columns={"who": "who_missing", "tag": "tag_missing"}), on="who_missing"
    ).sort_values(["index", "tag_missing"], kind="stable")


def _named(stranger: str, missing: list[str]) -> list[str]:
    if len(missing) <= _MOST_NAMED:
        return missing
    return difflib.get_close_matches(stranger, missing, n=_MOST_NAMED, cutoff=_ALIKE)


def _either(tags: list[str], word: str) -> str:
    if len(tags) == 1:
        return tags[0]
    return f"{', '.join(tags[:-1])} {word} {tags[-1]}"
