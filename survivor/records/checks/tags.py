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

from survivor.arrays import Codes, factorized
from survivor.files.cells import all_figures
from survivor.intervals import row_codes
from survivor.records.checks.plots import plot_name
from survivor.records.checks.visits import name_visits
from survivor.records.problems import Texts, find, gather, joined, none_found
from survivor.records.times import LIKE, TIMES, middle_by, times_of
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY, State

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
    bare = _bare([text for text in tag.unique() if text])
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
        return tag.where(~other, main), find(rows, other, "tag-joined", "tag", main=main, group=key + tag)
    return tag, find(rows, other, "tag-spelling", "tag", main=main, group=key + tag)


def _best(spellings: list[str]) -> str:
    times = Counter(spellings)
    return min(times, key=lambda tag: (bool(_POINT_NOUGHT.search(tag)), -times[tag], -len(tag), tag))


def _bare(tags: list[str]) -> dict[str, str]:
    if all_figures(tags) and not any(tag.startswith("0") for tag in tags):
        return dict(zip(tags, tags, strict=True))
    return {tag: bare_tag(tag) for tag in tags}


def bare_tag(tag: str) -> str:
    """Write a tag without case, spaces, zeros before it and the ``.0`` of a spreadsheet."""
    if tag.isdigit() and tag[0] != "0":
        return tag
    text = re.sub(r"\s+", "", tag.casefold())
    return re.sub(r"^(\D*)0+(?=\d)", r"\1", _POINT_NOUGHT.sub("", text))


_MOST_NAMED: Final = 4  # missing tags that are all named; of more only those that look like the stranger
_ALIKE: Final = 0.7
_FEWEST_TAGS: Final = 30
_FEW_SHARED: Final = 0.02  # of the tags; where more are shared, tags begin anew in a plot or a site
_SIDES: Final[tuple[Literal["left", "right"], ...]] = ("left", "right")
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
    told = told[["tag", "state", "date", *([TIMES] if TIMES in told.columns else [])]].assign(**_codes(told))
    name, who, at = (told[word].to_numpy() for word in ("name", "who", "at"))
    once = row_codes([who, at], in_order=False)[1]
    visits = np.bincount(who[once])
    of_plot = np.bincount(name[row_codes([name, at], in_order=False)[1]])
    alone = told.iloc[once[(visits[who[once]] == 1) & (of_plot[name[once]] > 1)]]
    if alone.empty:
        return none_found()
    pairs = _pairs(told[told["name"].isin(alone["name"])], alone)
    if pairs.empty:
        return none_found()
    own = alone["tag"].to_dict()
    missing = pairs.groupby("index", sort=False)["tag_missing"].agg(list).to_dict()
    every = {row: _named(str(own[row]), tags) for row, tags in missing.items()}
    named = {row: tags for row, tags in every.items() if tags}
    one = {row: tags[0] for row, tags in named.items() if len(tags) == 1}
    several = {row: _all_of(tags) for row, tags in named.items() if len(tags) > 1}
    return gather(
        *[
            find(
                rows,
                pd.Series(rows.index.isin(list(own)), index=rows.index),
                "tag-of-one-visit",
                "tag",
                message=message,
                missing=pd.Series(own, dtype=object).reindex(rows.index),
            )
            for message, own in (("", one), ("tags-missing", several))
        ]
    )


def check_shared_tags(rows: pd.DataFrame, tags: pd.DataFrame | None = None) -> pd.DataFrame:
    """Find the few tags that stand in two plots, where every other tag stands in one.

    Where tags begin anew in every plot, nothing is asked. Nothing is changed either.

    Parameters
    ----------
    rows
        Every visit record of tagged seedlings: site, block, plot, cohort, tag.
    tags
        Tags of the seedlings that some of the records stand for: like, tag.
    """
    told = rows[(rows["tag"] != "") & (rows["plot"] != "") & (rows["cohort"] == FIRST_PLANTING)]
    if told.empty:
        return none_found()
    place = factorized(plot_name(told))[0]
    row, tag = _of_each_tag(told, place, tags)
    once = row_codes([tag, place[row]], in_order=False)[1]  # the first record of each tag of each plot
    plots = np.bincount(tag[once])
    shared = plots > 1
    if len(plots) < _FEWEST_TAGS or not shared.any() or shared.sum() > _FEW_SHARED * len(plots):
        return none_found()
    first = once[shared[tag[once]]]
    at = told.index[row[first]]
    names = [
        ", ".join(filter(None, map(str, key)))
        for key in told.iloc[row[first]][list(PLOT_KEY)].to_numpy(dtype=object)
    ]
    others = {}
    for own, record in zip(first, at, strict=True):
        alike = [other != own and tag[other] == tag[own] for other in first]
        others[record] = _all_of([name for name, also in zip(names, alike, strict=True) if also])
    return find(
        rows,
        pd.Series(rows.index.isin(at), index=rows.index),
        "tag-in-two-plots",
        "tag",
        plots=pd.Series(others, dtype=object).reindex(rows.index),
        group=rows["tag"],
    )


def _of_each_tag(told: pd.DataFrame, place: Codes, tags: pd.DataFrame | None) -> tuple[Codes, Codes]:
    """Give records of every tag, as they stand in the sheets: where each is among those given, its tag."""
    own = told["tag"].to_numpy(dtype=object)
    if tags is None:
        return np.arange(len(told)), factorized(own)[0]
    like = told[LIKE].to_numpy()
    several = np.isin(like, tags[LIKE])
    alone, stand = np.flatnonzero(~several), np.flatnonzero(several)
    stand = stand[row_codes([like[stand], place[stand]], in_order=False)[1]]
    of_like = np.argsort(tags[LIKE].to_numpy(), kind="stable")
    begin, end = (np.searchsorted(tags[LIKE].to_numpy()[of_like], like[stand], side) for side in _SIDES)
    number = end - begin
    each = np.arange(number.sum()) + np.repeat(begin - (np.cumsum(number) - number), number)
    texts = np.concatenate([own[alone], tags["tag"].to_numpy(dtype=object)[of_like][each]])
    row = np.concatenate([alone, np.repeat(stand, number)])
    order = np.argsort(row, kind="stable")
    return row[order], factorized(texts[order])[0]


def _codes(told: pd.DataFrame) -> dict[str, pd.Series[int]]:
    """Give numbers to plots (name), their tags (who) and their visits (at: as named, else by days)."""
    at = told["visit"].copy()
    unnamed = told["visit"] == ""
    if unnamed.any():
        own = told[unnamed]
        at.loc[own.index] = name_visits(own.assign(name=plot_name(own)))[0]
    bare, tags = factorized(told["tag"])
    spelt = factorized(np.array(list(_bare(list(tags)).values()), dtype=object))[0][bare]
    name = factorized(plot_name(told))[0]
    codes = {
        "name": name,
        "who": row_codes([pd.Series(name), pd.Series(spelt)])[0],
        "at": factorized(at)[0],
    }
    return {word: pd.Series(code, index=told.index) for word, code in codes.items()}


def _pairs(told: pd.DataFrame, alone: pd.DataFrame) -> pd.DataFrame:
    """Put each stranger beside the tags of its plot that have no record at its visit.

    Returns
    -------
    DataFrame
        index (of the stranger's record) and tag_missing.
    """
    middle = middle_by(told, ["name", "at"], "date", times_of(told))
    day = pd.Series(middle.reindex(pd.MultiIndex.from_frame(told[["name", "at"]])).to_numpy(), told.index)
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
    if TIMES in told.columns:  # how many tags there are is told once each of them is looked at singly
        folded = told.loc[told[TIMES] > 1, "name"].unique()
        plot = kept["index"].map(dict(zip(strangers["index"], strangers["name"], strict=True)))
        lacking = lacking.where(~plot.isin(folded), 0)
    kept = kept[lacking <= kept["index"].map(dict(zip(strangers["index"], there, strict=True)))]
    return kept.merge(
        others.rename(columns={"who": "who_missing", "tag": "tag_missing"}), on="who_missing"
    ).sort_values(["index", "tag_missing"], kind="stable")


def _named(stranger: str, missing: list[str]) -> list[str]:
    if len(missing) <= _MOST_NAMED:
        return missing
    return difflib.get_close_matches(stranger, missing, n=_MOST_NAMED, cutoff=_ALIKE)


def _all_of(tags: list[str]) -> str:
    if len(tags) == 1:
        return tags[0]
    return f"{', '.join(tags[:-1])} and {tags[-1]}"
