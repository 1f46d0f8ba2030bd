"""Heights that seem to be in another unit than their column: looked at, never changed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import pandas as pd

from survivor.records.cells import number_texts
from survivor.records.problems import Source, Texts, find, gather, none_found

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
    if height.notna().sum() < 2:
        return none_found()
    # In a long sheet one column holds plants of all ages, so each visit is looked at alone.
    month = rows["date"].dt.strftime("%Y-%m").fillna("")
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
        shown, usual, last = (_written(values, metres) for values in (height, middle, before))
        of_others = ", and the median of its column at this visit is " + usual
        other = "write them in " + ("metres" if metres else "cm")
        unit = "m" if metres else "cm"
        slip = _written(height / 100 if metres else height * 100, metres, unit=False)
        told = "in cm" if metres else "in metres"
        likely, odd = (high, low | shrunk) if metres else (low | shrunk, high)
        what = (
            "this height is "
            + shown
            + of_others.where(low | high, ", and it was " + last + " at its visit before")
        )
        for wrong, mend in (
            (likely, f"if it is {told}, write " + slip + f" ({unit}); it is used as it stands until then"),
            (odd, f"correct it if it is wrong; if the other heights of its column are {told}, {other}"),
        ):
            found.append(
                find(
                    rows,
                    own & wrong,
                    "height-unit",
                    word="height_m" if metres else "height_cm",
                    value=_written(height, metres, unit=False),
                    what=what,
                    mend=mend,
                )
            )
    return gather(found)


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
