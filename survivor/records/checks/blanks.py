"""Checks of blank states: where no cell says alive, or none says dead, the blanks may say it."""

from __future__ import annotations

from typing import Any, Final

import pandas as pd

from survivor.records.problems import Texts, find
from survivor.records.times import number
from survivor.vocabulary import State

_GONE: Final = (str(State.DEAD), str(State.MISSING), str(State.REPLANTED))
_MANY, _FEWEST = 0.1, 3  # share of the records, and cells: fewer blanks are cells that nobody filled in


def first_gone(rows: pd.DataFrame) -> pd.Series[Any]:
    """Day on which the plant of each record was first found dead or missing; the last day of all if never."""
    days = rows["date"].where(rows["state"].isin(_GONE)).groupby(rows["entry"]).transform("min")
    return days.fillna(pd.Timestamp.max)


def blank_untold(rows: pd.DataFrame, says: pd.Series[bool], place: Texts) -> pd.DataFrame:
    """Find blanks that a crew may have meant: alive where only deaths were written, dead where none was.

    Parameters
    ----------
    rows
        Records of seedlings, with entry, date and state.
    says
        Whether the state of each is told.
    place
        The visit that each is of; one of which no state is told was not made.
    """
    made = says.groupby(place).transform("any")
    alive, gone = rows["state"] == State.ALIVE, rows["state"].isin(_GONE)
    blank = (rows["state"] == "") & rows["date"].notna() & made
    if gone.any() and not alive.any():
        meant, other = "alive", blank & (rows["date"] < first_gone(rows))
    else:
        last = rows["date"].where(says).groupby(rows["entry"]).transform("max")
        meant, other = "dead", blank & (rows["date"] > last)
    one_word = bool(alive.any()) != bool(gone.any())
    if not one_word or number(rows, other) < max(_FEWEST, _MANY * number(rows)):
        other = pd.Series(False, index=rows.index)
    blanks = number(rows, other)
    return find(rows, other, "blank-untold", "state", meant=meant, blanks=blanks, group="all")
