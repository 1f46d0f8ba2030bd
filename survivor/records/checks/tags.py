"""Tags that are probably one, written in two ways: 0740 and 0740.0, a12 and A12."""

from __future__ import annotations

import re
from collections import Counter
from typing import Any, Literal

import pandas as pd

from survivor.records.checks.plots import plot_name
from survivor.records.problems import Texts, find, none_found

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
    place = plot_name(rows) + "|" + rows["cohort"]
    key = place + "|" + tag.map(bare).fillna("")
    several = (tag != "") & (tag.groupby(key).transform("nunique") > 1)
    if not several.any():
        return tag, none_found()
    at = rows.loc[several].assign(key=key, seen=rows["visit"] + "|" + rows["date"].astype(str))
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
        mend="mend the sheet (format the column as text); or, where all such tags are one, write in the "
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
