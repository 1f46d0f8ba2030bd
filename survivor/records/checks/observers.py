"""Visits taken twice by two observers: the first is used, the second listed, and the two compared."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survivor.proportions import wilson
from survivor.records.cells import number_texts
from survivor.records.problems import find, gather, none_found, say


def check_observers(rows: pd.DataFrame, keys: Sequence[str], value: str, noun: str) -> pd.DataFrame:
    """Find records of one thing at one visit by a second observer, and say how well the two agree.

    Parameters
    ----------
    rows
        Records that say something, in the order of the sheets, with observer where told.
    keys
        Columns that name the thing and the visit.
    value
        Column with what is said: a state, or a count.
    noun
        What the thing is called, such as ``tag``.

    Returns
    -------
    DataFrame
        Findings: each second record is listed; one sentence a sheet compares.
    """
    if "observer" not in rows.columns or not rows.duplicated(list(keys)).any():
        return none_found()
    rows = rows.sort_values("record", kind="stable")
    key = pd.Series(rows.groupby(list(keys), sort=False, dropna=False).ngroup(), index=rows.index)
    told = rows["observer"].astype(str).str.casefold()
    first = told.groupby(key).transform("first")
    own = key.astype(str) + "|" + told
    # A second record by the same hand, or by nobody named, is a slip and not a second look.
    second = key.duplicated() & (told != "") & (first != "") & (told != first) & ~own.duplicated()
    if not second.any():
        return none_found()
    earlier = rows[value].groupby(key).transform("first")
    by = rows["observer"].groupby(key).transform("first")
    found = find(
        rows,
        second,
        "second-observer",
        word=noun,
        what="taken again at this visit by another observer: "
        + rows["observer"].astype(str)
        + " wrote "
        + _words(rows[value])
        + ", "
        + by.astype(str)
        + " "
        + _words(earlier)
        + ", which is used",
        mend="nothing; the second look is not in the answer",
    )
    pairs = pd.DataFrame({"first": earlier[second], "second": rows.loc[second, value]})
    compared = [
        say("observers-compared", what=_agreement(part, noun), mend=_MEND, source=int(source), word=noun)
        for source, part in pairs.groupby(rows.loc[second, "source"])
    ]
    return gather([found, *compared])


_MEND = (
    "nothing where they agree well enough for what is asked; else settle how the state is told in the field"
)


def _words(values: pd.Series[float]) -> pd.Series[str]:
    if pd.api.types.is_float_dtype(values):
        return number_texts(values)
    return values.astype(str).where(values.astype(str) != "", "nothing")


def _agreement(pairs: pd.DataFrame, noun: str) -> str:
    same, number = int((pairs["first"] == pairs["second"]).sum()), len(pairs)
    low, high = (float(limit) for limit in wilson(same, number))
    visits = f"{noun} visits were" if number != 1 else f"{noun} visit was"
    what = (
        f"{number:,} {visits} taken by two observers; they wrote the same in {same:,} "
        f"({100 * same / number:.0f} %; 95 % limits {100 * low:.0f} to {100 * high:.0f} %, as if each erred "
        "by itself)"
    )
    if not pd.api.types.is_float_dtype(pairs["first"]) or same == number:
        return what
    apart = pairs["second"] - pairs["first"]
    return (
        f"{what}; the second count differed from the first by {apart.mean():+.1f} plants on average and by "
        f"{apart.abs().max():g} at most"
    )
