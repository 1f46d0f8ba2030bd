"""A state told by which of several columns is ticked: Alive, Dead and Missing side by side, a mark in one.

A preparation told by which of its works are ticked: Ripped and Sprayed side by side, yes or no in each.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.headers import plain
from survivor.files.sheets import HEADER_JOINT, Grid
from survivor.vocabulary import State

STATE: Final = "State"  # what the one column is called that stands for the several
_NAMES: Final[dict[str, State]] = {
    "alive": State.ALIVE, "live": State.ALIVE, "living": State.ALIVE, "dead": State.DEAD, "died": State.DEAD,
    "missing": State.MISSING, "gone": State.MISSING, "absent": State.MISSING, "not found": State.NOT_FOUND,
    "no tag": State.NOT_FOUND, "not visited": State.NOT_VISITED, "not seen": State.NOT_VISITED,
    "replanted": State.REPLANTED, "replaced": State.REPLANTED,
    "a": State.ALIVE, "d": State.DEAD, "m": State.MISSING, "nf": State.NOT_FOUND,
}  # fmt: skip
_NAMED: Final = re.compile(
    rf"(.*?)\b({'|'.join(sorted(_NAMES, key=len, reverse=True))})\b(.*)", re.IGNORECASE
)
_GONE: Final = (State.DEAD, State.MISSING)
_MARKS: Final = frozenset({"x", "✓", "✔", "√", "☑", "1", "y", "yes", "tick", "true", "t", "*", "•", "/", "+"})
_NO_MARK: Final = frozenset({"", "0", "n", "no", "false"})
_MOSTLY: Final = 0.9  # of the filled cells are marks, and of the rows with one have one only
_FEWEST: Final = 4  # rows with a mark


def with_states(grid: Grid) -> Grid | None:
    """Read columns of which one is ticked as one column of states.

    Returns
    -------
    Grid or None
        The column stands in place of the first of them, headed by what they share and "State". A row
        with marks in two of them holds both words, which is no state. None where there are no such columns.
    """
    groups = _ticked(grid)
    if not groups:
        return None
    first = {group[0][0]: group for group in groups}
    gone = {place for group in groups for place, _, _ in group[1:]}
    kept = [place for place in range(len(grid.header)) if place not in gone]
    header, columns = [], []
    for place in kept:
        if place in first:
            shared = first[place][0][1]
            header.append(f"{shared}{HEADER_JOINT}{STATE}" if shared else STATE)
            columns.append(_states(grid, first[place]))
        else:
            header.append(grid.header[place])
            columns.append(grid.cells[place])
    now = {place: number for number, place in enumerate(kept)}
    table = pd.concat(columns, axis=1).set_axis(range(len(kept)), axis="columns")
    return replace(
        grid,
        header=tuple(header),
        cells=table.astype(object),
        merged_down=tuple((top, foot, now[place]) for top, foot, place in grid.merged_down if place in now),
        places=tuple(grid.places[place] for place in kept),
    )


def refuse_one_of_ticks(grid: Grid, named: Iterable[int]) -> None:
    """Refuse to read one of such columns alone: what is ticked in the others would be no visit.

    Parameters
    ----------
    grid
        The sheet, its columns as they are.
    named
        Places of the columns that are taken as states.

    Raises
    ------
    RecordsError
        Where the column of a mark is named by itself.
    """
    named = set(named)
    for group in _ticked(grid):
        if named & {place for place, _, _ in group}:
            headers = ", ".join(repr(grid.header[place]) for place, _, _ in group)
            shared = group[0][1]
            one = f"{shared}{HEADER_JOINT}{STATE}" if shared else STATE
            raise RecordsError(
                f"a mark in one of the columns {headers} tells the state, and one of them is named alone",
                where=grid.place,
                mend="write ticked = true in the table of the sheet, and name them together: "
                f'state = "{one}"',
            )


NO_WORKS: Final = "no preparation"


def works_ticked(columns: Sequence[pd.Series[Any]], headers: Sequence[str]) -> pd.Series[Any] | None:
    """Name a preparation by those of several works that were done: Ripped Y, Sprayed N is Ripped.

    Returns
    -------
    Series or None
        None where a column holds anything but yes and no, or a mark.
    """
    done = []
    for column in columns:
        low = cells.of_each(cells.texts(column), str.casefold)
        if not low.isin(_MARKS | _NO_MARK | {"-"}).all() or not low.isin(_MARKS).any():
            return None
        done.append(low.isin(_MARKS).to_numpy())
    rows = zip(*done, strict=True)
    names = [[head for head, own in zip(headers, row, strict=True) if own] for row in rows]
    return pd.Series([" + ".join(own) or NO_WORKS for own in names], index=columns[0].index, dtype=object)


_Column = tuple[int, str, State]  # place, what its header says besides, and the state that it names


def _groups(header: Sequence[str]) -> list[list[_Column]]:
    """Columns side by side whose headers differ by the name of a state alone, living and dead among them."""
    named: list[_Column | None] = []
    for place, text in enumerate(header):
        found = _NAMED.fullmatch(plain(text.replace(HEADER_JOINT, " ")))
        if found is None:
            named.append(None)
            continue
        shared = _without(text, found[2])
        named.append((place, shared, _NAMES[found[2].casefold()]))
    groups = []
    for _, run in groupby(named, key=lambda own: None if own is None else own[1]):
        group = [own for own in run if own is not None]
        states = [state for _, _, state in group]
        if len(set(states)) == len(states) > 1 and State.ALIVE in states and set(states) & set(_GONE):
            groups.append(group)
    return groups


def _without(text: str, name: str) -> str:
    """Take the name of a state out of a header, and what parted it from the rest."""
    words = r"[\W_]+".join(map(re.escape, name.split()))
    rest = re.sub(rf"(?<![^\W_]){words}(?![^\W_])", "", text, count=1, flags=re.IGNORECASE)
    return rest.replace("()", "").strip(f" {HEADER_JOINT.strip()}-:?")


def _ticked(grid: Grid) -> list[list[_Column]]:
    """Find columns with a mark in one of them; at a visit at which all lived it is always the first."""
    ticked = [group for group in _groups(grid.header) if _holds_marks(grid, group)]
    several = any((_marked(grid, group).any(axis=0)).sum() > 1 for group in ticked)
    return ticked if several else []


def _holds_marks(grid: Grid, group: Sequence[_Column]) -> bool:
    marked = _marked(grid, group)
    filled = ~_texts(grid, group).isin(_NO_MARK)
    rows = marked.sum(axis=1)
    number = int((rows > 0).sum())
    return bool(
        number >= _FEWEST
        and marked.to_numpy().sum() >= _MOSTLY * filled.to_numpy().sum()
        and (rows == 1).sum() >= _MOSTLY * number
    )


def _texts(grid: Grid, group: Sequence[_Column]) -> pd.DataFrame:
    own = {place: cells.of_each(cells.texts(grid.cells[place]), str.casefold) for place, _, _ in group}
    return pd.DataFrame(own, index=grid.cells.index)


def _marked(grid: Grid, group: Sequence[_Column]) -> pd.DataFrame:
    return _texts(grid, group).isin(_MARKS)


def _states(grid: Grid, group: Sequence[_Column]) -> pd.Series[str]:
    """Name the state whose column is ticked; with two ticks, or another word in a cell, all that is said."""
    told = np.full(len(grid.cells), "", dtype=object)
    for place, _, state in group:
        text = cells.texts(grid.cells[place])
        low = cells.of_each(text, str.casefold)
        marked = low.isin(_MARKS)
        said = text.where(~marked, str(state)).where(marked | ~low.isin(_NO_MARK), "")
        told = np.where(
            said == "", told, np.where(told == "", said, pd.Series(told, index=said.index) + ", " + said)
        )
    return pd.Series(told, index=grid.cells.index, dtype=object)
