"""Columns of a sheet to our words: as the study file says, else forgivingly, and always shown.

The words are passed in: nothing here knows what a sheet is of. A header is compared
without regard to case, spaces and punctuation.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from survivor.errors import RecordsError
from survivor.files.sheets import HEADER_JOINT, Grid

MATCH_COLUMNS = ("file", "sheet", "header", "column", "how")

BY_STUDY_FILE = "study file"
SAME_WORD = "same word"
FORGIVING = "forgiving match"
NOT_USED = "not used"
_ALIKE_ENOUGH = 0.6  # for a proposal in an error

Spellings = Mapping[str, Sequence[str]]  # our word -> the words for it seen in sheets


@dataclass(frozen=True)
class Matched:
    """Which column of a sheet holds which of our words.

    Attributes
    ----------
    positions
        Our word -> columns of the grid (several are joined with a comma).
    fixed
        Our word -> what the study file says of every row.
    own
        Words of the study file that are not ours: traits under that name.
    table
        file, sheet, header, column, how; one row a header.
    """

    positions: dict[str, tuple[int, ...]]
    fixed: dict[str, str]
    own: tuple[str, ...]
    table: pd.DataFrame

    def has(self, word: str) -> bool:
        """Tell whether a column or the study file gives this word."""
        return word in self.positions or word in self.fixed


def match_columns(
    grid: Grid,
    named: Mapping[str, str | Sequence[str]],
    wanted: Sequence[str],
    spellings: Spellings,
    *,
    key: str,
    fixed: Mapping[str, str] | None = None,
    taken: Mapping[int, str] | None = None,
    lenient: Collection[str] = (),
) -> Matched:
    """Match the columns of one sheet to our words.

    Parameters
    ----------
    grid
        The sheet as read.
    named
        Our word -> header, or headers to join, as the study file says.
    wanted
        Our words that such a sheet may hold.
    spellings
        Every word of ours, with the other words for it.
    key
        The table of the study file that a mend belongs in, such as ``records.sheets``.
    fixed
        Our word -> what the study file says of every row.
    taken
        Columns that are spoken for already (those of a wide sheet's visits), with
        the word to show for each.

    Raises
    ------
    RecordsError
        When the study file names a header that is not there, or two headers could
        be the same word of ours.
    """
    positions: dict[str, tuple[int, ...]] = {}
    how = {place: (word, BY_STUDY_FILE) for place, word in (taken or {}).items()}
    for word, headers in named.items():
        parts = (headers,) if isinstance(headers, str) else headers
        positions[word] = tuple(find_header(grid, header, f"[{key}.columns] {word}") for header in parts)
        for place in positions[word]:  # what a column is by itself is told before what it is a part of
            if len(parts) == 1 or place not in how:
                how[place] = (word, BY_STUDY_FILE)
    free = [place for place in range(len(grid.header)) if place not in how]
    heads = [squeezed(header) for header in grid.header]
    ends = [squeezed(_last(header)) if HEADER_JOINT in header else "" for header in grid.header]
    for word in wanted:
        if word in positions:
            continue
        places = _forgiving((grid.header, heads, ends), word, spellings.get(word, ()), free)
        if len(places) > 1 and word in lenient:
            continue
        if len(places) > 1:
            rivals = [grid.header[place] for place in places]
            raise RecordsError(
                f"several headers could be the {word}: {', '.join(map(repr, rivals))}",
                where=grid.place,
                mend=f'name the right one in the study file: [{key}.columns] {word} = "{rivals[0]}"',
            )
        for place in places:
            exact = grid.header[place] == word
            positions[word], how[place] = (place,), (word, SAME_WORD if exact else FORGIVING)
            free.remove(place)
    told = [how.get(place, ("", NOT_USED)) for place in range(len(grid.header))]
    columns: tuple[Iterable[str], ...] = (
        [grid.file] * len(told), [grid.sheet] * len(told), grid.header,
        [word for word, _ in told], [kind for _, kind in told],
    )  # fmt: skip
    table = pd.DataFrame(
        {name: np.array(own, dtype=object) for name, own in zip(MATCH_COLUMNS, columns, strict=True)}
    )
    return Matched(positions, dict(fixed or {}), tuple(w for w in positions if w not in spellings), table)


def find_header(grid: Grid, header: str, setting: str) -> int:
    """Find the column that the study file names, without regard to case and punctuation.

    Raises
    ------
    RecordsError
        When no header, or more than one, is like it.
    """
    for same in (
        [place for place, own in enumerate(grid.header) if own == header],
        [place for place, own in enumerate(grid.header) if squeezed(own) == squeezed(header)],
        [place for place, own in enumerate(grid.header) if squeezed(_last(own)) == squeezed(header)],
    ):
        if len(same) == 1:
            return same[0]
        if same:
            raise RecordsError(
                f"{len(same)} columns have the header {header!r}: {', '.join(grid.header[p] for p in same)}",
                where=grid.place,
                mend=f"write the whole header at {setting}; where headers are equal, give each its own, "
                "or say header_rows where a row above tells them apart",
            )
    close = difflib.get_close_matches(header, [h for h in grid.header if h], n=1)
    raise RecordsError(
        f"no column has the header {header!r}; the headers are {_listed(grid)}",
        where=grid.place,
        mend=f"correct the study file at {setting}"
        + (f'; did you mean "{close[0]}"?' if close else "")
        + (
            "; where the header has two rows, say header_rows = 2 in the table of the file"
            if HEADER_JOINT in header and not any(HEADER_JOINT in own for own in grid.header)
            else ""
        ),
    )


def need(matched: Matched, grid: Grid, words: Collection[str], spellings: Spellings, key: str) -> None:
    """Raise unless each needed word of ours has a column.

    Raises
    ------
    RecordsError
        Naming the file, the headers found, and the line to add to the study file.
    """
    absent = [word for word in words if not matched.has(word)]
    if not absent:
        return
    lines = "\n".join(
        f'    {word} = "{_proposal(matched, word, spellings.get(word, ()))}"' for word in absent
    )
    raise RecordsError(
        f"no column was understood as {', '.join(absent)}; the headers are {_listed(grid)}",
        where=grid.place,
        mend=f"say in the study file which header it is:\n    [{key}.columns]\n{lines}\n"
        "(a title above the header: skip_rows; a header of two rows: header_rows = 2; "
        f"the same for the whole file: [{key}.every_row])",
    )


def _forgiving(
    headers: tuple[Sequence[str], ...], word: str, spellings: Sequence[str], free: Sequence[int]
) -> list[int]:
    """Find the columns of a word by their headers, whole and squeezed, and by the ends of joined ones."""
    as_they_are, heads, ends = headers
    if exact := [place for place in free if as_they_are[place] == word]:
        return exact
    spelt = _spelt(word, tuple(spellings))
    whole = [place for place in free if heads[place] in spelt]
    return whole or [place for place in free if HEADER_JOINT in as_they_are[place] and ends[place] in spelt]


@lru_cache(maxsize=1_000)
def _spelt(word: str, spellings: tuple[str, ...]) -> frozenset[str]:
    return frozenset({squeezed(word), *map(squeezed, spellings)})


def _last(header: str) -> str:
    return header.rsplit(HEADER_JOINT, 1)[-1]


def _listed(grid: Grid) -> str:
    return ", ".join(repr(header) for header in grid.header if header)


def _proposal(matched: Matched, word: str, spellings: Sequence[str]) -> str:
    unused = matched.table.loc[matched.table["how"] == NOT_USED, "header"]
    spelt = [plain(spelling) for spelling in (word, *spellings)]
    alike = {
        str(header): max(difflib.SequenceMatcher(None, plain(header), one).ratio() for one in spelt)
        for header in unused
        if header
    }
    best = max(alike, key=lambda header: alike[header], default="")
    return best if alike.get(best, 0.0) >= _ALIKE_ENOUGH else "the header of that column"


@lru_cache(maxsize=50_000)
def plain(text: str) -> str:
    """Write a header or word without case, punctuation and doubled spaces."""
    spoken = text.casefold().replace("%", " percent ").replace("#", " no ")
    return " ".join(re.sub(r"[^\w]+|_", " ", spoken).split())


@lru_cache(maxsize=50_000)
def squeezed(text: str) -> str:
    """Like `plain`, without any space: ``Plot ID``, ``plot_id`` and ``PlotId`` are one word."""
    return plain(text).replace(" ", "")
