"""Checks of single cells: dates, counts, measures, keys, totals and spellings."""

from __future__ import annotations

import pandas as pd

from survivor.records import cells as read
from survivor.records.problems import Texts, find, gather, none_found
from survivor.records.words import is_total
from survivor.vocabulary import State

_MOST_NAMES = 12  # that one problem lists
_WHOLE = 100.0  # % of the ground
_NEVER_BELOW_NOUGHT = {
    "weed_cover": (
        "a weed cover is 0 to 100 % of the ground",
        "give the share of the ground under weeds, in %, or leave the cell blank",
    ),
    "height_m": (
        "a height cannot be below 0",
        "give the height in metres, or leave the cell blank where none was measured",
    ),
    "height_cm": (
        "a height cannot be below 0",
        "give the height in cm, or leave the cell blank where none was measured",
    ),
}
_DATE_ORDER_MEND = (
    "say in the study file which comes first: under the file's table [[records.sheets]], or [records.plots], "
    'write date_order = "day-first" or date_order = "month-first"'
)


def check_dates(
    rows: pd.DataFrame, word: str, raw: Texts, faults: Texts, group: Texts | None = None
) -> pd.DataFrame:
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
    return gather(
        [
            find(
                rows,
                faults == read.AMBIGUOUS,
                read.AMBIGUOUS,
                word=word,
                value=raw,
                what="this date can be read as day and month or as month and day",
                mend=_DATE_ORDER_MEND,
                group=group,
            ),
            find(
                rows,
                faults == read.NOT_A_DATE,
                read.NOT_A_DATE,
                word=word,
                value=raw,
                what="this is not a day",
                mend="write one day as year-month-day; for work over several days, the last of them",
                group=group,
            ),
            find(
                rows,
                faults == read.SERIAL,
                read.SERIAL,
                word=word,
                value=raw,
                what="a spreadsheet's day number was read as a day",
                mend="nothing, if the days in the visits are right; else format the column as dates",
                group=rows["source"].astype(str) + word,
            ),
        ]
    )


def check_counts(
    rows: pd.DataFrame,
    word: str,
    raw: Texts,
    values: pd.Series[float],
    faults: Texts,
    group: Texts | None = None,
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
        [
            find(
                rows,
                faults == read.PERCENTAGE,
                "percentage",
                word=word,
                value=raw,
                what="a percentage stands where a number of seedlings is needed",
                mend="give the number of seedlings; a percentage alone cannot be analysed",
                group=group,
            ),
            find(
                rows,
                faults == read.NOT_A_NUMBER,
                "unreadable-count",
                word=word,
                value=raw,
                what="this is not a number of seedlings",
                mend="give a whole number, or leave the cell blank where nobody counted",
                group=group,
            ),
            find(
                rows,
                negative,
                "negative-count",
                word=word,
                value=raw,
                what="a number of seedlings cannot be negative",
                mend="give a number of 0 or more, or leave the cell blank where nobody counted",
                group=group,
            ),
            find(
                rows,
                fractional,
                "fractional-count",
                word=word,
                value=raw,
                what="a number of seedlings cannot be broken",
                mend="give a whole number; a share or a mean cannot be analysed",
                group=group,
            ),
        ]
    )
    return values.where(clean & ~negative & ~fractional), found


def check_measures(
    rows: pd.DataFrame,
    word: str,
    raw: Texts,
    values: pd.Series[float],
    faults: Texts,
    group: Texts | None = None,
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
    unreadable = find(
        rows,
        wrong,
        "unreadable-number",
        word=word,
        value=raw,
        what="this is not a number; the measure was left blank",
        mend="give a number, with a point for the decimals",
        group=group,
    )
    if word not in _NEVER_BELOW_NOUGHT:
        return values, unreadable
    what, mend = _NEVER_BELOW_NOUGHT[word]
    impossible = (values < 0) | ((values > _WHOLE) if word == "weed_cover" else False)
    odd = find(
        rows,
        impossible,
        "impossible-measure",
        word=word,
        value=raw,
        what=f"{what}; the measure was left blank",
        mend=mend,
        group=group,
    )
    return values.where(~impossible), gather([unreadable, odd])


def check_heights_of_dead(rows: pd.DataFrame) -> pd.DataFrame:
    """Find a height beside the word that the plant is dead, missing or was not found.

    Parameters
    ----------
    rows
        Visit records of tagged seedlings, with state and height_cm.
    """
    no_plant = rows["state"].isin([str(State.DEAD), str(State.MISSING), str(State.NOT_FOUND)])
    return find(
        rows,
        no_plant & (rows["height_cm"] > 0),
        "height-without-plant",
        word="height_cm",
        value=rows["height_cm"].map("{:g}".format),
        what="a height stands beside the state " + rows["state"].astype(str) + "; the state is used",
        mend="correct the state if the plant lives, else take the height out or write it into a remark",
    )


def total_rows(rows: pd.DataFrame, labels: list[str]) -> pd.Series[bool]:
    """Tell which rows sum up others: one of their labels says so."""
    total = pd.Series(False, index=rows.index)
    for word in labels:
        distinct = rows[word].unique()
        total |= rows[word].isin([label for label in distinct if label and is_total(label)])
    return total


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


def check_totals(rows: pd.DataFrame, total: pd.Series[bool]) -> pd.DataFrame:
    """List the rows that sum up others."""
    return find(
        rows,
        total,
        "total-row",
        word="plot",
        what="this row sums up others and was left out",
        mend="nothing; or remove it from the sheet",
    )


def check_keys(rows: pd.DataFrame, words: list[str]) -> pd.DataFrame:
    """Find records whose plot (or tag) is blank."""
    return gather(
        find(
            rows,
            rows[word] == "",
            "blank-key",
            word=word,
            what=f"the {word} is blank, so nobody can tell what the record is of",
            mend=f"write the {word} into every row",
        )
        for word in words
    )


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
    return find(
        rows,
        rows["date"].isna() & ~unread & says,
        "blank-date",
        word="date",
        what="the visit has no date",
        mend="write the day of the visit into every row, or into the study file for a wide sheet",
    )


def check_renamed(rows: pd.DataFrame, word: str, values: Texts, by_rule: pd.Series[bool]) -> pd.DataFrame:
    """Say which names were read as others because the study file says so, once a sheet.

    Parameters
    ----------
    rows
        Records with the column ``word``, as it stands in the sheet.
    values
        What each was read as.
    by_rule
        Whether the study file says so of the name.
    """
    other = (values != rows[word]) & by_rule
    if not other.any():
        return none_found()
    pairs = pd.DataFrame({"theirs": rows[word], "ours": values})[other].drop_duplicates()
    listed = [f"{theirs} as {ours}" for theirs, ours in pairs.itertuples(index=False, name=None)]
    more = f" and {len(listed) - _MOST_NAMES} more" if len(listed) > _MOST_NAMES else ""
    return find(
        rows,
        other,
        "renamed",
        word=word,
        what="names read as the study file says: " + ", ".join(listed[:_MOST_NAMES]) + more,
        mend="nothing, if that is right",
        group=rows["source"].astype(str) + word,
    )
