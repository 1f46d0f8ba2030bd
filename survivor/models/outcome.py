"""Alive or dead at a milestone, read from risk intervals.

Each chain of intervals (a tag; for counts a plot, species, method and planting)
is judged at its own visit nearest to the day asked for, within a window; of two
equally near the earlier. Found dead by then: dead. Seen alive then or later: alive,
since a plant alive later was alive then. Where there is no visit in the window,
those dead before it are dead, those found alive after it were alive, and those who
died in a stretch across the whole window are unknown, as are those last seen alive
before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.errors import ModelError
from survivor.intervals import ENTRY_GROUP, Codes, group_codes, sum_by

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Outcomes:
    """State of each chain at the milestone.

    Attributes
    ----------
    chains
        One row a chain with a known state: its first row, with ``alive`` and ``dead``.
    rows
        The intervals of all chains followed from planting, known or not.
    checks
        What was used and left out, in plain sentences with counts.
    """

    chains: pd.DataFrame
    rows: pd.DataFrame
    checks: tuple[str, ...]


def outcomes(frame: pd.DataFrame, at: float, window: float, columns: Sequence[str]) -> Outcomes:
    """Judge every chain at day ``at``.

    Parameters
    ----------
    frame
        Risk intervals.
    at, window
        Days since planting, and days either side of it.
    columns
        Columns that the model reads; they tell chains apart and must not change along one.

    Raises
    ------
    ModelError
        When a column changes along a chain, nobody was followed from planting, or no
        state is known.
    """
    keys = [name for name in ENTRY_GROUP if name in frame.columns]
    _refuse_changing(frame, keys, columns)
    codes, count = _chains(frame, list(dict.fromkeys([*keys, *columns])))
    start, stop = frame["start_day"].to_numpy(float), frame["stop_day"].to_numpy(float)
    at_risk, died = frame["at_risk"].to_numpy(float), frame["died"].to_numpy(float)
    first = np.full(count, np.inf)
    np.minimum.at(first, codes, start)
    entered = start == first[codes]
    planted = sum_by(codes[entered], at_risk[entered], count)
    followed = first == 0
    if not followed.any():
        raise ModelError(
            "no seedling was followed from planting: every one was first seen later",
            where="logistic model",
            mend='use model="grouped" or "cox", which allow for late tagging',
        )
    day, visited = _visit(codes, np.concatenate([stop, start]), count, at, window)
    mine = day[codes]
    dead = sum_by(codes, died * (stop <= mine), count)
    across = (start < mine) & (mine <= stop)
    seen_alive = np.maximum(
        sum_by(codes, (at_risk - died) * across, count), _alive_later(codes, start, at_risk, mine, count)
    )
    alive = np.minimum(seen_alive, planted - dead)
    lost_dead = sum_by(codes, died * ((start < mine) & (mine < stop)), count)
    known = followed & (alive + dead > 0)
    if not known.any():
        raise ModelError(
            f"nobody's state at day {at:g} is known",
            where="at",
            mend=f"choose a day within {window:g} days of a visit",
        )
    lines = np.flatnonzero(entered)
    row = np.full(count, -1, dtype=np.intp)
    row[codes[lines[::-1]]] = lines[::-1]
    chains = frame.iloc[row[known]].assign(alive=alive[known], dead=dead[known])
    unknown = np.where(followed, planted - dead - alive, 0.0)
    checks = [_used(day[followed & visited], at, window)]
    blind = followed & ~visited & (alive > 0)
    if blind.any():
        checks.append(
            f"{int((alive + dead)[blind].sum())} seedlings have no visit of their own in that window: "
            "found alive after it they count as alive, found dead before it as dead"
        )
    if unknown.sum() > 0:
        between = float(np.minimum(lost_dead, unknown).sum())
        checks.append(
            f"the state of {int(unknown.sum())} of {int(planted[followed].sum())} seedlings at that visit is "
            f"unknown and they are left out: {int(between)} died between visits either side of it, "
            f"{int(unknown.sum() - between)} were last seen alive before it"
        )
    if not followed.all():
        checks.append(f"{int(planted[~followed].sum())} seedlings first seen after planting are left out")
    return Outcomes(chains, frame[followed[codes]], tuple(checks))


def _chains(frame: pd.DataFrame, columns: Sequence[str]) -> tuple[Codes, int]:
    """Chain of each row and how many there are."""
    if (frame["start_day"] == 0).all():  # nothing follows on from another row
        return np.arange(len(frame), dtype=np.intp), len(frame)
    if not columns:
        return np.zeros(len(frame), dtype=np.intp), 1
    codes, levels = group_codes(frame, columns)
    return codes, len(levels)


def _used(days: Floats, at: float, window: float) -> str:
    if not len(days):
        return f"no visit within {window:g} days of day {at:g}: states are told by visits before and after it"
    span = f"day {days.min():g}" if days.min() == days.max() else f"days {days.min():g} to {days.max():g}"
    return f"alive or dead at the visit nearest to day {at:g} within {window:g} days ({span})"


def _visit(
    codes: Codes, days: Floats, count: int, at: float, window: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Day at which each chain is judged, and whether it was visited then."""
    chain = np.concatenate([codes, codes])
    near = (np.abs(days - at) <= window) & (days > 0)  # day 0 is the planting, not a visit
    order = np.flatnonzero(near)[np.lexsort((days[near], np.abs(days[near] - at)))]
    day, visited = np.full(count, float(at)), np.zeros(count, dtype=bool)
    # The nearest is written last and stays.
    day[chain[order[::-1]]] = days[order[::-1]]
    visited[chain[order]] = True
    return day, visited


def _alive_later(codes: Codes, start: Floats, at_risk: Floats, day: Floats, count: int) -> Floats:
    """Most seedlings of each chain seen alive on one day at or after the one it is judged at."""
    later = np.flatnonzero(start >= day)
    found = np.zeros(count)
    if len(later):
        moments, inverse = np.unique(start[later], return_inverse=True)
        together, place = np.unique(codes[later] * len(moments) + inverse, return_inverse=True)
        np.maximum.at(found, together // len(moments), np.bincount(place, weights=at_risk[later]))
    return found


def _refuse_changing(frame: pd.DataFrame, keys: Sequence[str], columns: Sequence[str]) -> None:
    """Raise where a column has other values later in a chain than at planting."""
    if not keys:
        return
    codes = group_codes(frame, keys)[0]
    start = frame["start_day"].to_numpy(float)
    first = np.full(int(codes.max()) + 1, np.inf)
    np.minimum.at(first, codes, start)
    entered = start == first[codes]
    for name in columns:
        pairs = frame[[name]].assign(_chain=codes)
        if len(pairs.drop_duplicates()) > len(pairs[entered].drop_duplicates()):
            raise ModelError(
                f"{name} changes between visits; a logistic model needs what held from planting on",
                where=f"column {name}",
                mend=f'leave {name} out, or use model="grouped"',
            )
