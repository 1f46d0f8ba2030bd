"""Checks of what is told of a plot: its method, planting date and weed-free radius.

Preparations that the rows of one plot tell in several ways: a slip of the pen, or two plots in one.
"""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.files.cells import day_texts, number_texts, of_each
from survivor.files.headers import plain
from survivor.files.names import look_alike
from survivor.records.checks.cells import check_renamed
from survivor.records.problems import Source, Texts, find, gather, joined, none_found
from survivor.records.words import RADIUS_WORDS
from survivor.settings import Method
from survivor.vocabulary import INFILL

_MOST_NAMED = 6  # rows of one preparation that are named one by one
_MOST_ODD = 0.1  # share of the rows, or plants, of a plot that may tell another preparation by a slip


def odd_preparations(rows: pd.DataFrame, method: Texts, whose: Texts, of: str) -> tuple[Texts, pd.DataFrame]:
    """Take the preparation of all but a few rows of a plot for these few, and name each of them.

    A slip of the pen is in a row or two; two plots under one label, or a plot in two parts,
    are in many. At most one in ten, of the rows of the sheet or of the plants, and the rest all
    alike: a state that cannot be read takes a record away, and changes neither of the two.
    """
    told = method.where(method != "")
    if told.groupby(whose).nunique().max() <= 1:
        return method, none_found()
    most = told.groupby(whose).transform(lambda part: part.mode().iloc[0] if part.notna().any() else None)
    main = told == most
    apart = told.notna() & ~main
    few = _few(apart, told, whose, rows["line"]) | _few(apart, told, whose, rows["entry"])
    odd = apart & few
    if not odd.any():
        return method, none_found()
    others = [str(name) for name in told[~odd].dropna().unique()]
    asked, mends = {}, {}
    for word, usual in pd.DataFrame({"told": told, "most": most})[odd].drop_duplicates().to_numpy():
        near = difflib.get_close_matches(str(word), [name for name in others if name != word], n=1)
        if near:
            asked[word, usual] = "" if near[0] == usual else f"; did you mean {near[0]}?"
            mends[word, usual] = "; or " + as_other_spelling(str(word), near[0])
    pairs = pd.Series(list(zip(told, most, strict=True)), index=rows.index)
    found = find(
        rows,
        odd,
        "odd-preparation",
        "method",
        value=told.fillna(""),
        of=of,
        most=most,
        asked=pairs.map(asked),
        more=pairs.map(mends),
        group=rows["line"],
    )
    return method.where(~odd, most), found


def _few(apart: pd.Series[bool], told: Texts, whose: Texts, unit: Texts) -> pd.Series[bool]:
    """Tell the plots of which few units (rows of the sheet, or plants) tell another preparation."""
    all_units = unit.where(told.notna()).groupby(whose).transform("nunique")
    odd_units = unit.where(apart).groupby(whose).transform("nunique")
    return odd_units <= _MOST_ODD * all_units


def as_other_spelling(word: str, usual: str) -> str:
    """Say how the study file takes a word for another spelling of a preparation."""
    return (
        f"if {word} is another spelling of {usual}, give every preparation a table [[methods]] in the study "
        f'file, and under the one with name = "{usual}" write: also = ["{word}"]'
    )


def spellings_told(names: Sequence[str], often: Mapping[str, int]) -> str:
    """Say how the study file joins two preparations of a plot that look like one, or nothing."""
    ranked = sorted(names, key=lambda name: (-often.get(name, 0), name))
    for place, name in enumerate(ranked):
        for usual in ranked[:place]:
            if look_alike(name, usual):
                return "; " + as_other_spelling(name, usual)
    return ""


def preparations_told(rows: pd.DataFrame, told: Texts, sources: Sequence[Source]) -> str:
    """Name the preparations of a plot, each with its rows where they are few, else how many."""
    files = rows["source"].map(lambda source: sources[source].file)
    apart = files.nunique() > 1
    said = []
    for name in sorted(told.dropna().unique()):
        mine = told == name
        places = list(dict.fromkeys(zip(files[mine], rows.loc[mine, "row"], strict=True)))
        if len(places) > _MOST_NAMED:
            said.append(f"{name} ({len(places):,} rows)")
        else:
            word = "" if apart else "row " if len(places) == 1 else "rows "
            named = [f"{file} row {row}" if apart else str(row) for file, row in places]
            said.append(f"{name} ({word}{', '.join(named)})")
    return " and ".join(said)


WIDEST_RADIUS_M = 3.0
MOST_PLANTING_DAYS = 120  # more between two planting days of a plot than one planting season lasts
NOT_RECORDED = "not recorded"  # the method, where nothing is compared and no sheet tells it
_CENTIMETRES = (10.0, 300.0)
_LEAST_RADIUS_M = 0.03  # less, but for none, is written in metres in a column of centimetres
_LIKE_DOUBLE = (1.8, 2.25)
_FEWEST_ELSEWHERE = 2  # other sites from which the usual radius of a method can be told


def plot_name(rows: pd.DataFrame) -> Texts:
    """Name each row's plot: site, block and plot together."""
    return joined(rows["site"], rows["block"], rows["plot"], fold=str.casefold)


def entry_parts(rows: pd.DataFrame) -> tuple[Texts, ...]:
    """Give what tells apart the seedlings, or the groups counted, that records are of.

    Infill never shares an entry with the plant it replaced, nor with an earlier infill.
    """
    infill = rows["cohort"] == INFILL
    later = pd.Series("", index=rows.index, dtype=object)
    if infill.any():
        later[infill] = day_texts(rows.loc[infill, "planted_date"])
    return rows["name"], rows["tag" if "state" in rows.columns else "species"], rows["cohort"], later


def entry_name(rows: pd.DataFrame) -> Texts:
    """Name the seedling, or the group counted, that each record is of."""
    return joined(*entry_parts(rows))


def match_methods(rows: pd.DataFrame, methods: Sequence[Method]) -> tuple[Texts, pd.DataFrame]:
    """Match the methods of a sheet to those of the study file, forgiving case and spaces only.

    Parameters
    ----------
    rows
        Records with site, block, plot and method.
    methods
        The preparations of the study file; none: every name is taken as it stands.

    Returns
    -------
    method, found
        The matched names, "" where unknown; and the unknown ones, with a proposal
        that is never made in silence.
    """
    blank = find(rows, rows["method"] == "", "unknown-method", "method", message="no-method", group=plot_name)
    if not methods:
        return rows["method"], blank
    names = {_folded(spelling): m.name for m in methods for spelling in (*m.also, m.name)}
    names[_folded(NOT_RECORDED)] = NOT_RECORDED
    matched = rows["method"].map({text: names.get(_folded(text), "") for text in rows["method"].unique()})
    spelt = {_folded(also) for m in methods for also in m.also} - {_folded(m.name) for m in methods}
    theirs = [text for text in rows["method"].unique() if _folded(text) in spelt]
    renamed = check_renamed(rows, "method", matched, rows["method"].isin(theirs))
    mends = {text: _proposal(text, names) for text in rows.loc[matched == "", "method"].unique()}
    unknown = find(
        rows,
        (matched == "") & (rows["method"] != ""),
        "unknown-method",
        "method",
        proposal=rows["method"].map(mends),
        group=plot_name,
    )
    return matched, gather(blank, unknown, renamed)


def methods_of_visits(
    rows: pd.DataFrame, methods: Sequence[Method], of: Literal["plot", "plant"], sources: Sequence[Source]
) -> tuple[Texts, pd.DataFrame, pd.DataFrame]:
    """Give each plot its one method, where the visits tell it.

    A row that tells none takes that of its plot. A plot (or, where the study file says
    that each plant has its own, a plant) whose rows tell several is excluded: which
    was done there cannot be determined.

    Parameters
    ----------
    rows
        Visit records with site, block, plot, name (of the plot), entry (the plant, or
        the group counted) and method.
    methods
        The preparations of the study file.
    of
        Whose the preparation is.
    sources
        Where the records came from.

    Returns
    -------
    method, unknown, differs
        The matched names; methods not known, or not told; plots with several.
    """
    told = rows["method"].where(rows["method"] != "").astype(object)
    filled = told.copy()
    for by in (rows["entry"], rows["name"]) if filled.isna().any() else ():
        single = filled.groupby(by).transform("nunique") == 1
        common = filled.groupby(by).transform("first").astype(object)
        filled.loc[filled.isna() & single] = common
    method, unknown = match_methods(rows.assign(method=filled.fillna("")), methods)
    whose = rows["entry"] if of == "plant" else rows["name"]
    method, odd = odd_preparations(rows, method, whose, of)
    known = method.where(method != "").groupby(whose)
    several = known.transform("nunique") > 1
    if not several.any():
        return method, unknown, odd
    named = {
        name: preparations_told(rows.loc[part.index], part, sources)
        for name, part in known
        if several[part.index[0]]
    }
    often = {str(name): int(number) for name, number in method.value_counts().items()}
    spelt = {
        name: spellings_told([str(told) for told in part.dropna().unique()], often)
        for name, part in known
        if several[part.index[0]] and not methods
    }
    differs = find(
        rows,
        several,
        "plot-differs",
        "method",
        message=f"preparations-of-{of}",
        named=whose.map(named),
        spelt=whose.map(spelt),
        group=entry_name if of == "plant" else rows["name"],
    )
    return method, unknown, gather(odd, differs)


def check_method_of_sheet(rows: pd.DataFrame, method: Texts, methods: Sequence[Method]) -> pd.DataFrame:
    """Find visits that tell another method than the plot sheet.

    Parameters
    ----------
    rows
        Visit records with name (of the plot) and method.
    method
        The method of the plot sheet, matched; "" for none.
    methods
        The preparations of the study file.
    """
    if (rows["method"].to_numpy(dtype=object) == "").all():
        return none_found()
    own, _ = match_methods(rows, methods)
    own = own.where(own != "", rows["method"])
    return find(
        rows,
        (own != "")
        & method.notna()
        & (method != "")
        & (of_each(own, _folded) != of_each(method.fillna(""), _folded)),
        "method-differs",
        "method",
        listed=method,
        group=lambda wrong: joined(wrong["name"], own[wrong.index]),
    )


def _folded(text: str) -> str:
    return "".join(text.split()).casefold()


def _proposal(text: str, names: dict[str, str]) -> str:
    close = difflib.get_close_matches(_folded(text), list(names), n=1)
    if close:
        name = names[close[0]]
        return (
            f'if {name} is meant, add it to the spellings of that one in the study file: also = ["{text}"] '
            f'under its [[methods]], name = "{name}"; or correct the sheet'
        )
    return f'correct the sheet, or add a table [[methods]] to the study file with name = "{text}"'


def check_planting_dates(
    rows: pd.DataFrame, closed: dt.date, *, several: pd.Series[bool], needed: bool
) -> pd.DataFrame:
    """Find plots without a planting date, with one in the future, or with several.

    Parameters
    ----------
    rows
        Records with site, block, plot and planted_date (the last day of the plot).
    closed
        The day after which no record can be true.
    several
        Whether the plot was planted on several days.
    needed
        Whether a row without a date is a problem (another sheet may hold it).
    """
    found = [
        find(
            rows,
            rows["planted_date"] > pd.Timestamp(closed),
            "planting-in-future",
            "planted_date",
            closed=closed,
            group=plot_name,
        ),
        find(rows, several, "several-planting-days", "planted_date", group=plot_name),
    ]
    if needed:
        found.append(
            find(rows, rows["planted_date"].isna(), "no-planting-date", "planted_date", group=plot_name)
        )
    return gather(*found)


def check_seasons(rows: pd.DataFrame) -> pd.DataFrame:
    """Find plots with planting days of several seasons: days count from one planting day a plot.

    Parameters
    ----------
    rows
        Records with site, block, plot, planted_first and planted_date (the last day).
    """
    apart = (rows["planted_date"] - rows["planted_first"]).dt.days
    return find(
        rows, apart > MOST_PLANTING_DAYS, "several-plantings", "planted_date", apart=apart, group=plot_name
    )


def radius_in_metres(
    rows: pd.DataFrame, sources: Sequence[Source], *, mixed: bool = False
) -> tuple[pd.Series[float], pd.DataFrame]:
    """Bring radius and diameter, metres and centimetres, to the radius in metres, and check it.

    A patch "of 1 m" can be a radius or a diameter: an area four times as large. The
    header has to say which; a header and the study file that disagree are listed,
    and so is a site whose radii are about twice those of the same methods elsewhere.

    Parameters
    ----------
    rows
        Records with site, block, plot, method and any of the radius words.
    sources
        Where they came from.
    mixed
        Whether what is too small for centimetres is known to be in metres.

    Returns
    -------
    radius, found
        Metres, blank where impossible.
    """
    given = [word for word in RADIUS_WORDS if word in rows.columns]
    radius = pd.Series(float("nan"), index=rows.index)
    if not given:
        return radius, none_found()
    found = []
    for word in given:
        values = rows[word]
        if "diameter" in word:
            values = values / 2
            found.append(_halved(rows, word))
        radius = radius.fillna(values / 100 if word.endswith("_cm") else values)
    shown = number_texts(rows[given[0]])  # as the cell has it, whatever its unit
    centimetres = radius.between(*_CENTIMETRES)
    wrong = ((radius < 0) | (radius > WIDEST_RADIUS_M)) & ~centimetres
    metres = (radius > 0) & (radius < _LEAST_RADIUS_M) & (given[0].endswith("_cm"))
    found += [
        find(
            rows, wrong, "impossible-radius", given[0], value=shown, widest=WIDEST_RADIUS_M, group=plot_name
        ),
        find(
            rows,
            centimetres,
            "radius-in-centimetres",
            given[0],
            value=shown,
            bare=given[0].removesuffix("_m"),
            group=plot_name,
        ),
    ]
    found.append(
        find(
            rows,
            metres,
            "radius-read-in-metres" if mixed else "radius-in-metres",
            given[0],
            value=shown,
            group=plot_name,
        )
    )
    radius = radius.where(~metres, 100 * radius if mixed else float("nan")).where(~(wrong | centimetres))
    found += [_named_diameter(rows, sources, radius), _like_diameter(rows, radius)]
    return radius, gather(*found)


def _halved(rows: pd.DataFrame, word: str) -> pd.DataFrame:
    return find(rows, rows[word].notna(), "diameter-halved", word, group=rows["source"].astype(str))


def _named_diameter(rows: pd.DataFrame, sources: Sequence[Source], radius: pd.Series[float]) -> pd.DataFrame:
    words = [word for word in RADIUS_WORDS if "radius" in word and word in rows.columns]
    speaks = {
        place: word
        for place, source in enumerate(sources)
        for word in words
        if {"diameter", "width", "across"} & set(plain(source.headers.get(word, "")).split())
    }
    return find(
        rows,
        rows["source"].isin(list(speaks)) & radius.notna(),
        "radius-like-diameter",
        words[0] if words else "",
        group=rows["source"].astype(str),
    )


def _like_diameter(rows: pd.DataFrame, radius: pd.Series[float]) -> pd.DataFrame:
    """Find sites where every method's radius is about twice its radius elsewhere."""
    if rows["site"].nunique() <= _FEWEST_ELSEWHERE:
        return none_found()
    plots = rows.assign(radius=radius, name=plot_name(rows))[["site", "method", "radius", "name"]]
    plots = plots.dropna().drop_duplicates(["name", "method", "radius"])
    middle = plots.groupby(["method", "site"])["radius"].median().reset_index()
    elsewhere = middle.groupby("method")["radius"].transform(_middle_of_others)
    middle["ratio"] = middle["radius"] / elsewhere
    like = middle.dropna().groupby("site")["ratio"].agg(["min", "max"])
    doubled = like.index[(like["min"] >= _LIKE_DOUBLE[0]) & (like["max"] <= _LIKE_DOUBLE[1])]
    number = plots.groupby("site").size()
    suspects = [site for site in doubled if number[site] >= 2]
    return find(
        rows,
        rows["site"].isin(suspects) & radius.notna(),
        "radius-like-diameter",
        "weed_free_radius_m",
        message="radius-twice-others",
        value=radius,
        group="like" + rows["site"],
    )


def _middle_of_others(values: pd.Series[float]) -> NDArray[np.float64]:
    """For each value the median of the others; blank where they are fewer than two."""
    number = len(values)
    if number <= _FEWEST_ELSEWHERE:
        return np.full(number, np.nan)
    rank = values.rank(method="first").to_numpy(dtype=int) - 1
    ordered = np.sort(values.to_numpy(dtype=float))
    # Without the value of rank r, those above it move down by one place.
    low, high = (number - 2) // 2, (number - 1) // 2
    return np.asarray((ordered[low + (rank <= low)] + ordered[high + (rank <= high)]) / 2)
