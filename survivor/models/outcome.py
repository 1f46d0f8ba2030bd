"""Alive or dead at a milestone, read from risk intervals.

Each chain of intervals (a tag; for counts a plot, species, method and planting)
is judged at its own visit nearest to the day asked for, within a window; of two
equally near the earlier. Found dead by then: dead. Seen alive then or later: alive,
since a plant alive later was alive then. Died in a stretch across the visit, or last
seen alive before it: unknown.

A plot that nobody visited in the window is left out as a whole. There the dead of
earlier visits are known and the living are not (or only those who lived on): to keep
those whose state is known would be to choose by the outcome. A plot in which all had
died before needs no visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import ENTRY_GROUP, group_codes, sum_by, tally
from survivor.models.paths import changing
from survivor.words import counted


@dataclass(frozen=True)
class Outcomes:
    """State of each chain at the milestone.

    Attributes
    ----------
    chains
        One row a chain with a known state: its first row, with ``alive`` and ``dead``.
    rows
        The intervals of all chains judged, their state known or not.
    checks
        What was used and left out, in plain sentences with counts.
    """

    chains: pd.DataFrame
    rows: pd.DataFrame
    checks: tuple[str, ...]

    @property
    def counts(self) -> dict[str, int]:
        """Seedlings and deaths whose state is known, plots and sites."""
        alive, dead = (int(self.chains[name].sum()) for name in ("alive", "dead"))
        return tally(self.chains) | {"seedlings": alive + dead, "died": dead}


def outcomes(
    frame: pd.DataFrame, at: float, window: float, columns: Sequence[str], plot: Sequence[str] = ()
) -> Outcomes:
    """Judge every chain at day ``at``.

    Parameters
    ----------
    frame
        Risk intervals.
    at, window
        Days since planting, and days either side of it.
    columns
        Columns that the model reads; they tell chains apart and must not change along one.
    plot
        Columns that name what is visited together; none: the whole table.

    Raises
    ------
    ModelError
        When a column changes along a chain, nobody was followed from planting, or no
        plot was visited in the window.
    """
    keys = [name for name in ENTRY_GROUP if name in frame.columns]
    _refuse_changing(frame, keys, columns)
    codes, count = _chains(frame, list(dict.fromkeys([*keys, *columns, *plot])))
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
    row = np.full(count, -1, dtype=np.intp)
    lines = np.flatnonzero(entered)
    row[codes[lines[::-1]]] = lines[::-1]
    units = group_codes(frame, plot)[0][row] if plot else np.zeros(count, dtype=np.intp)
    judged = followed & _judged(units, visited, planted - dead)
    if not judged.any():
        raise ModelError(
            f"there is no visit within {window:g} days of day {at:g}",
            where="at",
            mend=f"choose a day near a visit; visits are at days {_some(stop)}",
        )
    decided = judged & (alive + dead > 0)
    chains = frame.iloc[row[decided]].assign(alive=alive[decided], dead=dead[decided])
    checks = [
        *_used(day[judged & visited], at, window),
        *_left_out(planted, followed, judged, units),
        *_unknown(planted[judged], (planted - alive - dead)[judged], lost_dead[judged]),
    ]
    if not followed.all():
        checks.append(f"{int(planted[~followed].sum())} seedlings first seen after planting are left out")
    return Outcomes(chains, frame[judged[codes]], tuple(checks))


def _judged(units: Codes, visited: NDArray[np.bool_], left: Floats) -> NDArray[np.bool_]:
    """Whether each chain is in a plot that was visited in the window, or where all had died."""
    count = int(units.max()) + 1
    settled = (sum_by(units, visited, count) > 0) | (sum_by(units, left, count) == 0)
    return np.asarray(settled[units])


def _some(days: Floats) -> str:
    distinct = np.unique(days)
    return ", ".join(f"{day:g}" for day in distinct[:8]) + (", ..." if len(distinct) > 8 else "")


def _used(days: Floats, at: float, window: float) -> list[str]:
    if not len(days):
        return [f"everybody had died before the visits near day {at:g}"]
    span = f"day {days.min():g}" if days.min() == days.max() else f"days {days.min():g} to {days.max():g}"
    return [f"alive or dead at the visit nearest to day {at:g} within {window:g} days ({span})"]


def _left_out(
    planted: Floats, followed: NDArray[np.bool_], judged: NDArray[np.bool_], units: Codes
) -> list[str]:
    out = followed & ~judged
    if not out.any():
        return []
    plots = len(np.unique(units[out]))
    return [
        f"{counted(int(planted[out].sum()), 'seedling')} of {counted(plots, 'plot')} without a visit in that "
        f"window {'is' if planted[out].sum() == 1 else 'are'} left out"
    ]


def _unknown(planted: Floats, unknown: Floats, lost_dead: Floats) -> list[str]:
    if not unknown.sum() > 0:
        return []
    between = int(np.minimum(lost_dead, unknown).sum())
    return [
        f"the state at that visit is unknown for {int(unknown.sum())} of {int(planted.sum())} seedlings, "
        f"left out ({between} found dead later, {int(unknown.sum()) - between} last seen alive earlier)"
    ]


def _chains(frame: pd.DataFrame, columns: Sequence[str]) -> tuple[Codes, int]:
    """Chain of each row and how many there are."""
    if (frame["start_day"] == 0).all():  # nothing follows on from another row
        return np.arange(len(frame), dtype=np.intp), len(frame)
    if not columns:
        return np.zeros(len(frame), dtype=np.intp), 1
    codes, levels = group_codes(frame, columns)
    return codes, len(levels)


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
    most = np.zeros(count)
    if len(later):
        moments, inverse = np.unique(start[later], return_inverse=True)
        together, place = np.unique(codes[later] * len(moments) + inverse, return_inverse=True)
        np.maximum.at(most, together // len(moments), np.bincount(place, weights=at_risk[later]))
    return most


def _refuse_changing(frame: pd.DataFrame, keys: Sequence[str], columns: Sequence[str]) -> None:
    """Raise where a column has other values later in a chain than at planting."""
    for name in changing(frame, keys, columns):
        raise ModelError(
            f"{name} changes between visits; a logistic model needs what held from planting on",
            where=f"column {name}",
            mend=f'leave {name} out, or use model="grouped", which goes along each plant\'s own path of it',
        )
