"""Checks of single cells: dates, counts, measures, keys, totals and spellings.

Heights that seem to be in another unit than their column: looked at, never changed.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any, Final

import pandas as pd

from survivor.files import cells as read
from survivor.files.cells import number_texts
from survivor.files.headers import Matched
from survivor.records.problems import Group, Source, Texts, find, gather, none_found
from survivor.records.words import speaks_of_sums
from survivor.vocabulary import State

# The most that a measure can be; the least is 0. No tree is known to be 120 m tall (Koch et al. 2004,
# Nature 428: 851-854, put the tallest that any could grow at 122 to 130 m).
_MOST = {"weed_cover": 100.0, "height_m": 150.0, "height_cm": 15_000.0}


def check_dates(rows: pd.DataFrame, word: str, raw: Texts, faults: Texts, group: Group = "") -> pd.DataFrame:
    """Find dates that can be read in two ways, in none, or as a spreadsheet's day number.

    Parameters
    ----------
    rows
        Records (record, source, row).
    word
        Our word for the column.
    raw, faults
        Text of each cell, and the fault of reading it.
    group
        Faults of one group are one problem.
    """
    if not (faults.to_numpy(dtype=object) != "").any():
        return none_found()
    return gather(
        find(rows, faults == read.AMBIGUOUS, read.AMBIGUOUS, word, value=raw, group=group),
        find(rows, faults == read.NOT_A_DATE, read.NOT_A_DATE, word, value=raw, group=group),
        find(
            rows,
            faults == read.SERIAL,
            read.SERIAL,
            word,
            value=raw,
            group=lambda own: own["source"].astype(str) + word,
        ),
    )


def check_counts(
    rows: pd.DataFrame,
    word: str,
    raw: Texts,
    values: pd.Series[float],
    faults: Texts,
    group: Group = "",
) -> tuple[pd.Series[float], pd.DataFrame]:
    """Find counts that are no counts: percentages, text, negative or broken numbers.

    Returns
    -------
    values, found
        The counts with the faulty ones blank, and the findings.
    """
    clean = faults == ""
    negative = clean & (values < 0)
    fractional = clean & ~negative & (values % 1 != 0) & values.notna()
    found = gather(
        find(rows, faults == read.PERCENTAGE, "percentage", word, value=raw, group=group),
        find(rows, faults == read.NOT_A_NUMBER, "unreadable-count", word, value=raw, group=group),
        find(rows, negative, "negative-count", word, value=raw, group=group),
        find(rows, fractional, "fractional-count", word, value=raw, group=group),
    )
    return values.where(clean & ~negative & ~fractional), found


def check_measures(
    rows: pd.DataFrame,
    word: str,
    raw: Texts,
    values: pd.Series[float],
    faults: Texts,
    group: Group = "",
) -> tuple[pd.Series[float], pd.DataFrame]:
    """Find measures that are no numbers, and those that nothing can have; a cover may have a % sign.

    Returns
    -------
    values, found
        The measures with the impossible ones blank, and the findings.
    """
    wrong = faults == read.NOT_A_NUMBER
    if word != "weed_cover":
        wrong |= faults == read.PERCENTAGE
    unreadable = find(rows, wrong, "unreadable-number", word, value=raw, group=group)
    if word not in _MOST:
        return values, unreadable
    impossible = (values < 0) | (values > _MOST[word])
    odd = find(
        rows, impossible, "impossible-measure", word, message=f"impossible-{word}", value=raw, group=group
    )
    return values.where(~impossible), gather(unreadable, odd)


def check_heights_of_dead(rows: pd.DataFrame) -> pd.DataFrame:
    """Find a height beside the word that the plant is dead, missing or was not found.

    Parameters
    ----------
    rows
        Visit records of tagged seedlings, with state and height_cm.
    """
    no_plant = rows["state"].isin([str(State.DEAD), str(State.MISSING), str(State.NOT_FOUND)])
    return find(rows, no_plant & (rows["height_cm"] > 0), "height-without-plant", "height_cm")


def total_rows(
    beside: Callable[[], pd.DataFrame], own: pd.Series[bool], told: pd.DataFrame
) -> pd.Series[bool]:
    """Tell the rows that sum up others: figures, a word for a sum, and no tag or plot of their own.

    Parameters
    ----------
    beside
        Gives the text of every cell beside the states or counts; asked for where a row may be a sum.
    own
        Rows with a tag (or plot) of their own.
    told
        Text of the states or counts, one column each.

    Returns
    -------
    Series of bool
        A word that stands in rows with a name of their own too (a site called Total Creek) is none
        for a sum; figures above 1 for states need no word.
    """
    plain_sums = ~own
    for _, column in told.items() if plain_sums.any() else ():
        plain_sums &= read.of_each(column, lambda text: text == "" or bool(_FIGURE.fullmatch(text)))
    if not plain_sums.any():
        return plain_sums
    figures = told.apply(lambda column: read.of_each(column, lambda text: bool(_FIGURE.fullmatch(text))))
    texts = beside()
    names = {text for column in texts.columns for text in texts.loc[own, column].unique()}
    words = {
        text
        for column in texts.columns
        for text in texts.loc[plain_sums, column].unique()
        if text and text not in names and speaks_of_sums(text)
    }
    says = texts.isin(words).any(axis=1)
    bare = (texts == "").all(axis=1) & (figures.any(axis=1)) & told.map(_above_one).any(axis=1)
    return plain_sums & (says | bare)


_FIGURE: Final = re.compile(r"[-+]?\d+(?:[.,]\d+)?\s*%?")


def _above_one(text: str) -> bool:
    number = read.measure(text.rstrip("% "))
    return number is not None and number > 1


def lines_unused(
    beside: pd.DataFrame,
    filled: pd.DataFrame,
    matched: Matched,
    own: pd.Series[bool],
    told: pd.DataFrame,
    skip: pd.Series[bool],
) -> pd.Series[bool]:
    """Tell the lines of a printed form that nobody filled in: a tag alone, below the records of its plot.

    Parameters
    ----------
    beside, filled, matched
        The cells beside the states, whether each of the sheet is filled, and what columns were taken for.
    own
        Rows with a tag of their own.
    told
        Text of the states, one column each.
    skip
        Rows that are no records.
    """
    says = (told != "").any(axis=1)
    bare = own & ~says
    if not bare.any():
        return bare
    known: set[Any] = {place for places in matched.positions.values() for place in places}
    tags: set[Any] = set(matched.positions["tag"])
    places = [place for place in beside.columns if place not in tags]
    labelled = filled[[place for place in places if place in known]].any(axis=1)
    written = [
        place for place in places if place in known or not _numbers_lines(read.texts(beside[place])[own])
    ]
    bare &= ~filled[written].any(axis=1)
    part = labelled.cumsum()
    below = (~bare & ~skip)[::-1].astype(int).groupby(part).cumsum()[::-1]
    return bare & (below == 0) & says.groupby(part).transform("any")


def _numbers_lines(column: pd.Series[Any]) -> bool:
    return bool(read.numbers(column)[0].diff().iloc[1:].eq(1).all())


def sums_of_rows_above(values: pd.DataFrame, unlabelled: pd.Series[bool]) -> pd.Series[bool]:
    """Tell which rows without a label hold the sums of the rows above them.

    Parameters
    ----------
    values
        Counts, one column a visit.
    unlabelled
        Rows whose plot is blank: only these can be totals.
    """
    total = pd.Series(False, index=values.index)
    if not unlabelled.any():
        return total
    above = values.where(~unlabelled, 0.0).fillna(0.0).cumsum()
    filled = values.notna()
    total |= (
        unlabelled & filled.any(axis=1) & ((values == above) | ~filled).all(axis=1) & (above > 0).any(axis=1)
    )
    return total


def check_totals(rows: pd.DataFrame) -> pd.DataFrame:
    """List the rows that sum up others, and those that hold a remark only."""
    if not rows["total"].any():  # of which notes are some
        return none_found()
    sums = find(rows, rows["total"] & ~rows["note"], "total-row", "plot")
    tags = rows["tag"] if "tag" in rows.columns else pd.Series("", index=rows.index)
    unused = rows["note"] & tags.str.fullmatch(r"\S*\d\S*")  # a tag, and no remark or header
    lines = find(rows, unused, "unused-line", "tag", group=rows["source"])
    return gather(sums, lines, find(rows, rows["note"] & ~unused, "note-row", "plot"))


def check_keys(rows: pd.DataFrame, words: list[str]) -> pd.DataFrame:
    """Find records whose plot (or tag) is blank."""
    return gather(*(find(rows, rows[word] == "", "blank-key", word) for word in words))


def check_blank_dates(rows: pd.DataFrame, unread: pd.Series[bool], says: pd.Series[bool]) -> pd.DataFrame:
    """Find records that say something and have no date.

    Parameters
    ----------
    rows
        Visit records.
    unread
        A date stands there and could not be read (listed already).
    says
        The record tells a state or a count.
    """
    return find(rows, rows["date"].isna() & ~unread & says, "blank-date", "date")


def check_renamed(rows: pd.DataFrame, word: str, values: Texts, by_rule: pd.Series[bool]) -> pd.DataFrame:
    """Say which names were read as others because the study file says so, each once a sheet.

    Parameters
    ----------
    rows
        Records with the column ``word``, as it stands in the sheet.
    values
        What each was read as.
    by_rule
        Whether the study file says so of the name.
    """
    if not by_rule.any():
        return none_found()
    other = (values != rows[word]) & by_rule
    return find(
        rows,
        other,
        "renamed",
        word,
        value=rows[word],
        read=values,
        group=lambda own: own["source"].astype(str) + word + rows.loc[own.index, word].astype(str),
    )


_FAR: Final = 30.0  # times the median of its column; plants of one visit differ less
_SHRUNK: Final = 50.0  # times lower than at the visit before
_FEWEST: Final = 3  # heights of which a median is taken


def check_heights(rows: pd.DataFrame, sources: Sequence[Source]) -> pd.DataFrame:
    """Find heights far from the others of their column and visit, and plants that shrank by far.

    Parameters
    ----------
    rows
        Visit records with entry, cohort, visit, date and height_cm (cm).
    sources
        Where they came from; their headers tell a column in metres from one in cm.

    Returns
    -------
    DataFrame
        Findings; the heights themselves are used as they were written.
    """
    height = rows["height_cm"].where(rows["height_cm"] > 0)
    least, most = height.min(), height.max()
    if not least * min(_FAR, _SHRUNK) <= most:  # no two are so far apart
        return none_found()
    # In a long sheet one column holds plants of all ages, so each visit is looked at alone.
    month = read.day_texts(rows["date"].dt.to_period("M").dt.to_timestamp())
    when = rows["visit"].where(rows["visit"] != "", month)
    alike = height.groupby([rows["source"], when, rows["cohort"]])
    middle = alike.transform("median").where(alike.transform("count") >= _FEWEST)
    low, high = height * _FAR <= middle, height >= middle * _FAR
    before = _before(rows, height.where(~high))
    shrunk = (height * _SHRUNK <= before) & ~low
    in_metres = rows["source"].map(lambda source: _in_metres(sources[source]))
    found = []
    for metres in (False, True):
        own = in_metres == metres
        likely, odd = (high, low | shrunk) if metres else (low | shrunk, high)
        for wrong, is_slip in ((own & likely, True), (own & odd, False)):
            if not wrong.any():
                continue
            told = pd.DataFrame({"height": height, "usual": middle, "last": before, "far": low | high})[wrong]
            found.append(_height_unit(rows[wrong], told, metres, is_slip=is_slip))
    return gather(*found)


def _height_unit(rows: pd.DataFrame, told: pd.DataFrame, metres: bool, *, is_slip: bool) -> pd.DataFrame:
    """Ask about heights of a column in metres, or in cm, that another unit would explain (or not)."""
    shown, usual, last = (_written(told[word], metres) for word in ("height", "usual", "last"))
    of_others = "the median of its column at this visit is " + usual
    slip = _written(told["height"] / 100 if metres else told["height"] * 100, metres, unit=False)
    unit, other, meant = ("m", "metres", "in cm") if metres else ("cm", "cm", "in metres")
    return find(
        rows,
        pd.Series(True, index=rows.index),
        "height-unit",
        "height_m" if metres else "height_cm",
        message="" if is_slip else "height-odd",
        value=_written(told["height"], metres, unit=False),
        height=shown,
        beside=of_others.where(told["far"], "it was " + last + " at its visit before"),
        slip=slip,
        unit=unit,
        other=other,
        meant=meant,
    )


def _before(rows: pd.DataFrame, height: pd.Series[float]) -> pd.Series[float]:
    """Height of each plant at the last visit before at which it was measured, cm."""
    told = pd.DataFrame({"entry": rows["entry"], "date": rows["date"], "height": height}).dropna()
    told = told.sort_values("date", kind="stable")
    return told.groupby("entry")["height"].shift().reindex(rows.index)


def _in_metres(source: Source) -> bool:
    return "height_m" in source.headers and "height_cm" not in source.headers


def _written(cm: pd.Series[float], metres: bool, *, unit: bool = True) -> Texts:
    values = (cm / 100 if metres else cm).round(6)
    return number_texts(values) + ((" m" if metres else " cm") if unit else "")
