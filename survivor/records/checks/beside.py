"""Checks of records against those beside them.

Plots of one visit, visits that a plot lacks, days far from their round, losses that no plot beside shares,
odd heights, causes of death that may be another.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.arrays import furthest
from survivor.files.cells import day_texts
from survivor.files.names import likely_slips
from survivor.intervals import row_codes
from survivor.records.problems import Texts, find, gather, joined, none_found
from survivor.records.times import middle_by, times_of
from survivor.records.times import often as how_often
from survivor.words import counted

_FEWEST: Final = 4  # plots from which something usual can be told
_USUAL_VISITS: Final = 3  # of the other plots; a plot of one visit then stands out
_MOST_OF_A_SITE: Final = 0.5  # of its plots have a visit that one lacks
_SPIKE: Final = 2.5  # times the heights on both sides
_NEAR: Final = 250  # days within which no plant grows as a digit more would have it
_END: Final = 8.0  # times the one height beside a first or last one: a digit too many or too few
_ALONE: Final = (
    5.0  # times the middle height of its visit, of a plant that no other height of its own bears out
)
_FEWEST_HEIGHTS: Final = 10
_ROUND_DAYS: Final = 7  # within which most plots of a site are visited in one round
_MOST_OF_A_ROUND: Final = 0.75  # of the plots within those days of the middle day: then there is a round
_OFF_ROUND: Final = 20  # days from the middle of a round; a month too many or too few is at least 28
_FELL: Final = 0.6  # share of the living that a plot loses from one count to the next
_BESIDE: Final = 0.5  # of that share is the most that nearly all plots beside it lost
_NEARLY_ALL: Final = 0.9
_LEAST_ALIVE: Final = 8  # before the fall; of fewer plants, chance alone takes so many
_COMMON: Final = 2  # times as often is a cause that a rarer one may be misspelt for


def check_lone_plots(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots of one visit where the others have several: most are a label that was misspelt.

    Parameters
    ----------
    rows
        Records with name, date, and what `find` needs.
    """
    visits = rows.groupby("name")["date"].nunique()
    usual = visits.median() if len(visits) >= _FEWEST else 0
    if usual < _USUAL_VISITS:
        return none_found()
    return find(
        rows,
        rows["name"].map(visits == 1).astype(bool),
        "plot-of-one-visit",
        "plot",
        usual=usual,
        group=rows["name"],
    )


def check_rounds(rows: pd.DataFrame, doubtful: frozenset[str]) -> pd.DataFrame:
    """Find counted plots without a row of a visit that most plots of their site have.

    Parameters
    ----------
    rows
        Records of counts with site, name, visit and date.
    doubtful
        Names of plots of which a record was excluded, and may be the one that lacks.
    """
    named = rows[(rows["visit"] != "") & rows["date"].notna()]
    if named.empty:
        return none_found()
    names_of: dict[str, set[str]] = {}  # of the plots of a site
    seen: dict[tuple[str, str], set[str]] = {}  # and those seen at a visit of it
    site_of: dict[str, str] = {}
    keys = [named[word] for word in ("site", "name", "visit")]
    first = row_codes(keys, in_order=False)[1]
    for site, name, visit in zip(*(key.iloc[first] for key in keys), strict=True):
        names_of.setdefault(site, set()).add(name)
        seen.setdefault((site, visit), set()).add(name)
        site_of.setdefault(name, site)
    usual: dict[str, list[str]] = {}
    for (site, visit), names in sorted(seen.items()):
        if len(names) >= max(2, _MOST_OF_A_SITE * len(names_of[site])):
            usual.setdefault(site, []).append(visit)
    there = {(name, visit) for (_, visit), names in seen.items() for name in names}
    told = {
        name: ", ".join(absent)
        for name, site in site_of.items()
        if name not in doubtful
        and (absent := [visit for visit in usual.get(site, ()) if (name, visit) not in there])
    }
    if not told:
        return none_found()
    last = ~rows["name"].duplicated(keep="last")
    lacking = rows["name"].map(told).fillna("")
    return find(
        rows,
        last & rows["name"].isin(list(told)),
        "visit-lacking",
        "visit",
        value=lacking,
        group=joined(rows["site"], lacking),
    )


def check_round_days(rows: pd.DataFrame) -> pd.DataFrame:
    """Find days of visits weeks from those of nearly all other plots of the site at the same visit.

    Of sites with few plots, the plots of all sites are what is beside. Where visits of one name are spread
    over a season, or over planting years, there is no round and nothing is asked. Visits without a name go
    by their number, in plots of as many visits as most.

    Parameters
    ----------
    rows
        Records with site, name, visit, turn and date; dates all known.
    """
    unnamed, asked, visit = rows["visit"] == "", rows, rows["visit"]
    if unnamed.any():
        visits = rows["turn"].groupby(rows["name"]).transform("max")
        middle_of_site = middle_by(rows.assign(visits=visits), ["site"], "visits", times_of(rows))
        asked = rows[~unnamed | (visits == rows["site"].map(middle_of_site))]
        visit = asked["visit"].where(asked["visit"] != "", "number " + (asked["turn"] + 1).astype(str))
    if not _spread(asked["date"], visit) > _OFF_ROUND:
        return none_found()
    few = asked.groupby("site")["name"].transform("nunique") < _FEWEST
    place = joined(asked["site"].where(~few, ""), visit)
    of_plot = middle_by(asked.assign(place=place), ["place", "name"], "date", times_of(asked))
    whose, days = of_plot.index.get_level_values("place").to_series(index=of_plot.index), of_plot
    middle = days.groupby(whose).median()
    close = ((days - whose.map(middle)).abs().dt.days <= _ROUND_DAYS).groupby(whose)
    there = (close.size() >= _FEWEST) & (close.mean() >= _MOST_OF_A_ROUND)
    usual = middle[there].reindex(place).set_axis(place.index)  # days, where there are none too

    return find(
        asked,
        (asked["date"] - usual).abs().dt.days > _OFF_ROUND,
        "off-its-round",
        "date",
        visit=visit,
        usual=usual.dt.normalize(),
        group=lambda wrong: joined(wrong["name"], visit[wrong.index], day_texts(wrong["date"])),
    )


def _spread(dates: pd.Series[Any], visit: Texts) -> int:
    """Most days between two records of one visit; 0 where there are none."""
    codes, first = row_codes([visit], in_order=False)
    day = dates.to_numpy(dtype="datetime64[D]").astype(np.int64)
    earliest, latest = (furthest(how, day, codes, first) for how in (np.minimum, np.maximum))
    return int((latest - earliest).max(initial=0))


def check_steps(rows: pd.DataFrame) -> pd.DataFrame:
    """Find last counts that fall by far where nearly all plots beside them hold: a digit too few, often.

    A later count that is as low bears an earlier one out, and one that is higher contradicts it. Beside a
    plot are the others of its site at the same visit, or of all sites where those are few; and, where there
    are some, those of its preparation. The first count has a check of its own.

    Parameters
    ----------
    rows
        Counts that are used, in order of entry and day, with site, visit, turn, method and alive.
    """
    rows = rows.reset_index(drop=True)
    before = rows.groupby("entry")["alive"].shift()
    lost = (1 - rows["alive"] / before.where(before > 0)).to_numpy()
    last = ~rows["entry"].duplicated(keep="last").to_numpy()
    fell = np.flatnonzero(last & (before.to_numpy() >= _LEAST_ALIVE) & (lost >= _FELL))
    if not len(fell):
        return none_found()
    visit = rows["visit"].where(rows["visit"] != "", rows["turn"].astype(str))
    told = ~np.isnan(lost)
    of = [joined(visit, *(rows[word] for word in words)) for words in (["site"], [], ["method"])]
    beside = [key[told].groupby(key[told]).groups for key in of]
    usual: dict[int, float] = {}
    for at in fell:
        site, season, alike = (lost[groups[key[at]].drop(at)] for key, groups in zip(of, beside, strict=True))
        others = site if len(site) >= _FEWEST else season
        most = _BESIDE * lost[at]
        hold = len(others) >= _FEWEST and np.quantile(others, _NEARLY_ALL) <= most
        if hold and (len(alike) < _FEWEST or np.median(alike) <= most):
            usual[int(at)] = float(np.median(others))
    share = rows.index.to_series().map(usual)
    return find(rows, share.notna(), "count-falls", "alive", before=before, share=(100 * share).round())


def check_causes(rows: pd.DataFrame) -> pd.DataFrame:
    """Find causes of death that may be a commoner one, misspelt.

    Parameters
    ----------
    rows
        Records with cause, where any is told.
    """
    if "cause" not in rows:
        return none_found()
    often = how_often(rows[rows["cause"].notna() & (rows["cause"] != "")], "cause")
    likely = {
        word: like
        for word, like in likely_slips([str(word) for word in often.index]).items()
        if often[like] >= _COMMON * often[word]
    }
    if not likely:
        return none_found()
    number = {word: counted(int(often[like]), "row") for word, like in likely.items()}
    return find(
        rows,
        rows["cause"].isin(list(likely)),
        "cause-spelling",
        "cause",
        like=rows["cause"].map(likely),
        number=rows["cause"].map(number),
        group=rows["cause"],
    )


def check_growth(rows: pd.DataFrame) -> pd.DataFrame:
    """Find heights that those of the same plant before and after do not bear out: a digit more or less.

    Parameters
    ----------
    rows
        Records with entry and date, and height_cm where heights were measured.
    """
    if "height_cm" not in rows:
        return none_found()
    told = rows["height_cm"] > 0
    heights = rows["height_cm"][told]
    if not heights.min() * min(_SPIKE, _END, _ALONE) <= heights.max():  # no two are so far apart
        return none_found()
    measured = rows[told].sort_values(["entry", "date"], kind="stable")
    spikes = _unlike(measured, _SPIKE, at_ends=False)
    ends = _unlike(measured[~spikes], _END, at_ends=True).reindex(measured.index, fill_value=False)
    beside = measured["height_cm"].mask(spikes).groupby(measured["entry"])
    near = beside.shift().fillna(beside.shift(-1))
    alone, tallest = _alone(measured, near)

    return gather(
        find(measured, (spikes | ends) & ~alone, "height-unlike", "height_cm", near=near),
        find(measured, alone, "height-unlike", "height_cm", message="height-above-others", tallest=tallest),
    )


def _alone(measured: pd.DataFrame, near: pd.Series[float]) -> tuple[pd.Series[bool], pd.Series[float]]:
    """Which heights, borne out by none of the same plant, are far above a visit; the tallest other."""
    month = measured["date"].dt.to_period("M").astype(str)
    visit = joined(measured["source"], measured["visit"].where(measured["visit"] != "", month))
    heights = measured["height_cm"].groupby(visit)
    order = heights.rank(method="first", ascending=False)
    tallest = visit.map(measured["height_cm"][order == 2].groupby(visit[order == 2]).first())
    height = measured["height_cm"]
    apart = near.isna() | (height >= _SPIKE * near)
    far = (height >= _ALONE * heights.transform("median")) & (height >= _SPIKE * tallest)
    return apart & far & (order == 1) & (heights.transform("size") >= _FEWEST_HEIGHTS), tallest


def _unlike(measured: pd.DataFrame, times: float, *, at_ends: bool) -> pd.Series[bool]:
    """Which heights are so many times those beside them, or they so many times those."""
    beside = measured["height_cm"].groupby(measured["entry"])
    both = pd.concat([beside.shift(), beside.shift(-1)], axis=1)
    asked = both.notna().all(axis=1)
    if at_ends:
        days = measured["date"].groupby(measured["entry"]).diff().dt.days
        after = days.groupby(measured["entry"]).shift(-1)
        asked = (both.notna().sum(axis=1) == 1) & (days.fillna(after) <= _NEAR)
    height = measured["height_cm"]
    return asked & ((height >= times * both.max(axis=1)) | (height * times <= both.min(axis=1)))
