"""Paths of covariates that change between visits, along which survival is predicted.

A covariate such as the stress of each interval has no one value to predict survival at:
the hazard of a plant follows the value of each stretch of its life. The path of a plant
is its own as long as it was watched; after its death, or its last visit, that of its
plot, then of its site: of all rows watched on a day the value under which most
seedlings stood. Nothing is held for longer than the visits of one round may lie apart.

A path stands in one column of a table of cells, so that a cell stays one row; models
read it as stretches, each with values of its own, and add up their hazards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import pandas as pd

from survivor.arrays import Codes, Floats
from survivor.errors import ModelError
from survivor.intervals import ENTRY_GROUP, group_codes, row_codes, whole_names
from survivor.words import listed

PATH: Final = "covariate path"
_HELD_DAYS: Final = 30.0  # how long a value stands for days on which nobody was watched: a round of visits


@dataclass(frozen=True, eq=False)
class Path:
    """Values of some covariates from planting on.

    Attributes
    ----------
    source
        Values that occur, one row a combination; shared by all paths of a study.
    ends
        Last day of each stretch, the first of which begins at day 0; the last is infinite.
    rows
        Row of ``source`` of each stretch.
    unknown
        Days (from, to) on which nobody was watched, the values being those beside them.
    place
        Where, in words, for a message.
    """

    source: pd.DataFrame
    ends: tuple[float, ...]
    rows: tuple[int, ...]
    unknown: tuple[tuple[float, float], ...]
    place: str

    def check(self, at: float) -> None:
        """Raise where values up to day ``at`` are not known."""
        for begins, ends in self.unknown:
            if min(ends, at) - begins > _HELD_DAYS:
                names = listed([str(name) for name in self.source.columns])
                until = begins + _HELD_DAYS if begins > 0 else 0.0
                where = f" at {self.place}" if self.place else ""
                raise ModelError(
                    f"{names} changes between visits and is not known{where} from day {begins:g} to day "
                    f"{min(ends, at):g}, when nobody was watched there",
                    where=f"column {names}",
                    mend=f"ask for a day up to {until:g}, or fit without {names}"
                    if until
                    else f"fit without {names}, or give records from planting on",
                )


@dataclass(frozen=True)
class Stretches:
    """Cells as stretches of life with covariates of their own.

    Attributes
    ----------
    frame
        One row a stretch, those of a cell one after the other.
    start, stop
        Days since planting of each, shape (s,).
    cell
        Cell of each, 0 to n - 1, shape (s,).
    """

    frame: pd.DataFrame
    start: Floats
    stop: Floats
    cell: Codes

    @property
    def first(self) -> Codes:
        """Place of the first stretch of each cell, shape (n,)."""
        return first_of(self.cell)


def first_of(cell: Codes) -> Codes:
    """Place of the first row of each cell, where the rows of a cell stand together."""
    return np.flatnonzero(np.concatenate([[True], cell[1:] != cell[:-1]])[: len(cell)])


def total(values: Floats, first: Codes) -> Floats:
    """Add up the stretches of each cell, along the first axis."""
    if len(first) == len(values):
        return values
    found: Floats = np.add.reduceat(values, first, axis=0)
    return found


def stretches(cells: pd.DataFrame, at: float) -> Stretches:
    """Take cells apart where a covariate changes.

    Parameters
    ----------
    cells
        One row a cell; a column ``PATH`` of :class:`Path` where some covariate changes.
    at
        Days since planting, the end of the last stretch of each.

    Raises
    ------
    ModelError
        Where the values of a path are not known up to ``at``.
    """
    count = len(cells)
    if PATH not in cells.columns or not count:
        return Stretches(cells, np.zeros(count), np.full(count, float(at)), np.arange(count, dtype=np.intp))
    which, known = pd.factorize(cells[PATH])
    for path in known:
        path.check(at)
    until = [int(np.searchsorted(path.ends, at)) + 1 for path in known]  # how many stretches begin before it
    number = np.array(until, dtype=np.intp)[which]
    cell = np.repeat(np.arange(count, dtype=np.intp), number)
    ends = [np.minimum(path.ends[:stop], at) for path, stop in zip(known, until, strict=True)]
    begins = [np.concatenate([[0.0], part[:-1]]) for part in ends]
    rows = [np.asarray(path.rows[:stop], dtype=np.intp) for path, stop in zip(known, until, strict=True)]
    source = known[0].source
    values = np.concatenate([rows[place] for place in which])
    frame = cells.drop(columns=PATH).iloc[cell].reset_index(drop=True)
    frame = frame.assign(**{str(name): source[name].array.take(values) for name in source.columns})
    return Stretches(
        frame,
        np.concatenate([begins[place] for place in which]),
        np.concatenate([ends[place] for place in which]),
        cell,
    )


def refuse_paths(cells: pd.DataFrame, model: str) -> None:
    """Raise where a model that has no survival along a path is asked for one."""
    if PATH in cells.columns and len(cells):
        names = listed([str(name) for name in cells[PATH].iloc[0].source.columns])
        raise ModelError(
            f"{names} changes between visits, and {model} gives no survival along a path of a covariate; "
            "survival at one value of it would not be survival of these plants",
            where=f"column {names}",
            mend='use model="grouped", "mixed" or "cox", or fit without it',
        )


def changing(frame: pd.DataFrame, keys: Sequence[str], columns: Sequence[str]) -> list[str]:
    """Columns that have values later in a chain which none of its rows had at its first day.

    Parameters
    ----------
    frame
        Risk intervals.
    keys
        Columns that tell chains apart; none: nothing tells what follows on from what.
    columns
        Columns to look at.
    """
    if not keys:
        return []
    start = frame["start_day"].to_numpy(float)
    if (start == start[:1]).all():  # nothing follows on from another row
        return []
    codes = row_codes([frame[name] for name in keys], in_order=False)[0]
    first = np.full(int(codes.max()) + 1, np.inf)
    np.minimum.at(first, codes, start)
    entered = start == first[codes]
    if entered.all():
        return []
    found = []
    for name in columns:
        pair = row_codes([codes, frame[name]], in_order=False)[0]
        if int(pair.max()) + 1 > len(np.unique(pair[entered])):
            found.append(name)
    return found


def paths_of(frame: pd.DataFrame, names: Sequence[str], entered: pd.DataFrame) -> list[Path]:
    """Path of each row at which seedlings entered.

    Parameters
    ----------
    frame
        Risk intervals.
    names
        Columns that change.
    entered
        Rows of ``frame`` at which seedlings entered; its index is that of ``frame``, 0 to n - 1.
    """
    value, source = group_codes(frame, names)
    start, stop, at_risk = (frame[name].to_numpy(float) for name in ("start_day", "stop_day", "at_risk"))
    rows = _Rows(start, stop, at_risk, value)
    keys = [name for name in ENTRY_GROUP if name in frame.columns]
    plant = group_codes(frame, keys)[0] if keys else np.zeros(len(frame), dtype=np.intp)
    wider = [plant, _codes(frame, "plot"), _codes(frame, "site")]
    own = entered.index.to_numpy()
    lines = [_Line.of(rows, codes) for codes in wider]
    made: dict[tuple[object, ...], Path] = {}
    alike: dict[tuple[object, ...], Path] = {}
    found = []
    for row in own:
        layers = [line.watched(codes[row]) for line, codes in zip(lines, wider, strict=True)]
        key = tuple(id(layer) for layer in layers)
        if key not in made:
            place = str(frame["site"].iloc[row]) if "site" in frame.columns else ""
            path = _path(layers, source, place)
            made[key] = alike.setdefault((path.ends, path.rows, path.unknown, place), path)
        found.append(made[key])
    return found


def given_paths(rows: pd.DataFrame, names: Sequence[str], plant: str) -> list[Path]:
    """Paths of plants as somebody gave them: rows in the order of ``plant``, then of ``start_day``.

    Raises
    ------
    ModelError
        Where a plant's stretches do not follow one another from day 0.
    """
    value, source = group_codes(rows, names)
    found = []
    for label, own in rows.groupby(plant, sort=False, observed=True):
        start, stop = own["start_day"].to_numpy(float), own["stop_day"].to_numpy(float)
        if start[0] != 0 or (start[1:] != stop[:-1]).any() or (stop <= start).any():
            raise ModelError(
                f"the stretches of {label} do not follow one another from day 0",
                where=f"column {plant}",
                mend="give start_day 0 first, then the stop_day of the row before",
            )
        ends = (*stop[:-1].tolist(), np.inf)
        rows_of = tuple(value[own.index].tolist())
        found.append(Path(source, ends, rows_of, ((float(stop[-1]), np.inf),), str(label)))
    return found


def _codes(frame: pd.DataFrame, column: str) -> Codes:
    """Plot or site of each row; all one where the table has none."""
    if column not in frame.columns:
        return np.zeros(len(frame), dtype=np.intp)
    return group_codes(frame, whole_names(frame, column)[0])[0]


@dataclass(frozen=True)
class _Rows:
    start: Floats
    stop: Floats
    at_risk: Floats
    value: Codes


_Layer = tuple[Floats, Codes]  # edges (k + 1,), value of each segment between them (k,), -1 nobody watched


@dataclass(frozen=True)
class _Line:
    """Rows of each group, and what was seen of it; equal ones are one object."""

    rows: _Rows
    order: Codes
    ends: Codes
    known: dict[int, _Layer]
    same: dict[bytes, _Layer]

    @classmethod
    def of(cls, rows: _Rows, codes: Codes) -> _Line:
        order = np.argsort(codes, kind="stable")
        ends = np.searchsorted(codes[order], np.arange(int(codes.max()) + 2))
        return cls(rows, order, ends, {}, {})

    def watched(self, code: int) -> _Layer:
        """Values seen in a group, segment by segment."""
        if code not in self.known:
            mine = self.order[self.ends[code] : self.ends[code + 1]]
            layer = _seen(replace(self.rows, **{name: part[mine] for name, part in vars(self.rows).items()}))
            self.known[code] = self.same.setdefault(layer[0].tobytes() + layer[1].tobytes(), layer)
        return self.known[code]


def _seen(rows: _Rows) -> _Layer:
    """Of rows watched on the same days, the value under which most seedlings stood."""
    edges = np.unique(np.concatenate([rows.start, rows.stop]))
    values, code = np.unique(rows.value, return_inverse=True)
    low, high = np.searchsorted(edges, rows.start), np.searchsorted(edges, rows.stop)
    watched = np.zeros((len(edges), len(values)))
    np.add.at(watched, (low, code), rows.at_risk)
    np.add.at(watched, (high, code), -rows.at_risk)
    watched = np.cumsum(watched, axis=0)[:-1]
    return edges, np.where(watched.max(axis=1) > 0.5, values[watched.argmax(axis=1)], -1)


def _path(layers: Sequence[_Layer], source: pd.DataFrame, place: str) -> Path:
    """Take what is seen of a plant, else of its plot, else of its site; in gaps what stands beside them."""
    edges = np.unique(np.concatenate([[0.0], *(layer[0] for layer in layers)]))
    value = np.full(len(edges) - 1, -1, dtype=np.intp)
    for seen, values in layers:
        inside = np.searchsorted(seen, edges[:-1], side="right") - 1
        there = (inside >= 0) & (inside < len(values))
        mine = np.where(there, values[np.clip(inside, 0, len(values) - 1)], -1)
        value = np.where(value < 0, mine, value)
    gaps = _unknown(edges, value)
    known = np.flatnonzero(value >= 0)
    # A gap takes the value before it; one at planting the first there is.
    before = known[np.maximum(np.searchsorted(known, np.arange(len(value)), side="right") - 1, 0)]
    value = value[before]
    last = np.flatnonzero(np.concatenate([value[1:] != value[:-1], [True]]))
    ends = (*edges[1:][last[:-1]].tolist(), np.inf)
    return Path(source, ends, tuple(value[last].tolist()), gaps, place)


def _unknown(edges: Floats, value: Codes) -> tuple[tuple[float, float], ...]:
    """Days on which nobody was watched, those that follow one another as one; the last without end."""
    found: list[tuple[float, float]] = []
    for (begins, ends), code in zip(pairwise([*edges.tolist(), np.inf]), [*value.tolist(), -1], strict=True):
        if code >= 0:
            continue
        if found and found[-1][1] == begins:
            begins = found.pop()[0]
        found.append((begins, ends))
    return tuple(found)
