"""Two copies of a file of sheets: which rows were added or taken out, and which cells are others."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

import pandas as pd

from survivor.errors import RecordsError
from survivor.files.sheets import as_text, read_rows, sheet_names


@dataclass(frozen=True)
class Cell:
    """A cell that is another one: where it is in the new copy, and both texts."""

    sheet: str
    row: int
    column: int
    before: str
    now: str


@dataclass(frozen=True)
class Differences:
    """What differs between two copies.

    Attributes
    ----------
    added, gone
        Rows of the new copy that the earlier one has not, and the other way round.
    cells
        That are others, in rows that both have.
    """

    added: int
    gone: int
    cells: tuple[Cell, ...]


def differences(before: Path, now: Path) -> Differences | None:
    """Compare two copies of a file, sheet by sheet, as a person would write their cells.

    Parameters
    ----------
    before, now
        The earlier copy and the new one.

    Returns
    -------
    Differences or None
        None where either cannot be read.
    """
    try:
        old, new = _texts(before), _texts(now)
    except (RecordsError, OSError):
        return None
    added = gone = 0
    cells: list[Cell] = []
    for sheet in dict.fromkeys([*new, *old]):
        earlier, later = old.get(sheet, []), new.get(sheet, [])
        for kind, a, b, c, d in SequenceMatcher(None, earlier, later, autojunk=False).get_opcodes():
            if kind == "equal":
                continue
            both = min(b - a, d - c)
            added, gone = added + (d - c - both), gone + (b - a - both)
            for place in range(both):
                cells += _others(sheet, c + place + 1, earlier[a + place], later[c + place])
    return Differences(added, gone, tuple(cells))


def _texts(file: Path) -> dict[str, list[tuple[str, ...]]]:
    """Rows of each sheet as texts, empty cells at the end of a row left out."""
    found = {}
    for name in sheet_names(file):
        rows: pd.DataFrame = read_rows(file, name=file.name, sheet=name or None)
        found[name] = [_trimmed(tuple(map(as_text, row))) for row in rows.itertuples(index=False, name=None)]
    return found


def _trimmed(row: tuple[str, ...]) -> tuple[str, ...]:
    filled = [place for place, text in enumerate(row) if text]
    return row[: filled[-1] + 1] if filled else ()


def _others(sheet: str, row: int, before: tuple[str, ...], now: tuple[str, ...]) -> Iterator[Cell]:
    for column in range(max(len(before), len(now))):
        old, new = (each[column] if column < len(each) else "" for each in (before, now))
        if old != new:
            yield Cell(sheet, row, column, old, new)
