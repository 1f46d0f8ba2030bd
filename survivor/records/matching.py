"""Columns of a sheet to our words: as the study file says, else forgivingly, and always shown."""

from __future__ import annotations

import difflib
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

import pandas as pd

from survivor.errors import RecordsError
from survivor.records.reading import HEADER_JOINT, Grid
from survivor.records.words import COLUMN_WORDS, RESERVED, plain, squeezed
from survivor.settings import Sheet
from survivor.vocabulary import SHEET_ONLY

MATCH_COLUMNS = ("file", "sheet", "header", "column", "how")

BY_STUDY_FILE = "study file"
SAME_WORD = "same word"
FORGIVING = "forgiving match"
NOT_USED = "not used"
_ALIKE_ENOUGH = 0.6  # for a proposal in an error


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
    grid: Grid, sheet: Sheet, wanted: Sequence[str], *, key: str, taken: dict[int, str] | None = None
) -> Matched:
    """Match the columns of one sheet to our words.

    Parameters
    ----------
    grid
        The sheet as read.
    sheet
        What the study file says of it.
    wanted
        Our words that such a sheet may hold.
    key
        The table of the study file that a mend belongs in, such as ``records.sheets``.
    taken
        Columns that are spoken for already (those of a wide sheet's visits), with
        the word to show for each.

    Raises
    ------
    RecordsError
        When the study file names a header that is not there, or two headers could
        be the same word of ours.
    """
    taken = taken or {}
    positions: dict[str, tuple[int, ...]] = {}
    how: dict[int, tuple[str, str]] = {place: (word, BY_STUDY_FILE) for place, word in taken.items()}
    for word, headers in sheet.columns.items():
        named = (headers,) if isinstance(headers, str) else headers
        positions[word] = tuple(find_header(grid, header, f"[{key}.columns] {word}") for header in named)
        how.update({place: (word, BY_STUDY_FILE) for place in positions[word]})
    free = [place for place in range(len(grid.header)) if place not in how]
    for word in wanted:
        if word in positions:
            continue
        found = _forgiving(grid, word, free)
        if len(found) > 1:
            rivals = [grid.header[place] for place in found]
            raise RecordsError(
                f"several headers could be the {word}: {', '.join(map(repr, rivals))}",
                where=grid.place,
                mend=f'name the right one in the study file: [{key}.columns] {word} = "{rivals[0]}"',
            )
        for place in found:
            exact = grid.header[place] == word
            positions[word], how[place] = (place,), (word, SAME_WORD if exact else FORGIVING)
            free.remove(place)
    table = pd.DataFrame(
        [
            (grid.file, grid.sheet, header, *how.get(place, ("", NOT_USED)))
            for place, header in enumerate(grid.header)
        ],
        columns=list(MATCH_COLUMNS),
    )
    own = tuple(word for word in positions if word not in COLUMN_WORDS)
    return Matched(positions, dict(sheet.every_row), own, table)


def find_header(grid: Grid, header: str, setting: str) -> int:
    """Find the column that the study file names, without regard to case and punctuation.

    Raises
    ------
    RecordsError
        When no header, or more than one, is like it.
    """
    for same in (
        [place for place, found in enumerate(grid.header) if found == header],
        [place for place, found in enumerate(grid.header) if squeezed(found) == squeezed(header)],
        [place for place, found in enumerate(grid.header) if squeezed(_last(found)) == squeezed(header)],
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
            if HEADER_JOINT in header and not any(HEADER_JOINT in found for found in grid.header)
            else ""
        ),
    )


def need(matched: Matched, grid: Grid, words: Collection[str], key: str) -> None:
    """Raise unless each needed word of ours has a column.

    Raises
    ------
    RecordsError
        Naming the file, the headers found, and the line to add to the study file.
    """
    absent = [word for word in words if not matched.has(word)]
    if not absent:
        return
    lines = "\n".join(f'    {word} = "{_proposal(matched, word)}"' for word in absent)
    raise RecordsError(
        f"no column was understood as {', '.join(absent)}; the headers are {_listed(grid)}",
        where=grid.place,
        mend=f"say in the study file which header it is:\n    [{key}.columns]\n{lines}\n"
        "(a title above the header: skip_rows; a header of two rows: header_rows = 2; "
        f"the same for the whole file: [{key}.every_row])",
    )


def _forgiving(grid: Grid, word: str, free: Sequence[int]) -> list[int]:
    exact = [place for place in free if grid.header[place] == word]
    if exact:
        return exact
    known = {squeezed(word), *(squeezed(other) for other in COLUMN_WORDS.get(word, ()))}
    whole = [place for place in free if squeezed(grid.header[place]) in known]
    if whole:
        return whole
    return [
        place
        for place in free
        if HEADER_JOINT in grid.header[place] and squeezed(_last(grid.header[place])) in known
    ]


def _last(header: str) -> str:
    return header.rsplit(HEADER_JOINT, 1)[-1]


def _listed(grid: Grid) -> str:
    return ", ".join(repr(header) for header in grid.header if header)


def _proposal(matched: Matched, word: str) -> str:
    unused = [
        str(header) for header in matched.table.loc[matched.table["how"] == NOT_USED, "header"] if header
    ]
    known = [plain(word), *map(plain, COLUMN_WORDS.get(word, ()))]
    alike = {header: max(_alike(plain(header), other) for other in known) for header in unused}
    best = max(alike, key=lambda header: alike[header], default="")
    return best if alike.get(best, 0.0) >= _ALIKE_ENOUGH else "the header of that column"


def _alike(one: str, other: str) -> float:
    return difflib.SequenceMatcher(None, one, other).ratio()


def foreign(matches: pd.DataFrame) -> pd.DataFrame:
    """Leave out the columns of our own field sheets that are not meant to be read.

    Parameters
    ----------
    matches
        As `survivor.records.Records.matches`. A column of such a name in a sheet that is
        not a field sheet of ours stays.
    """
    ours = (matches["how"] == NOT_USED) & matches["header"].isin(SHEET_ONLY)
    together = ours.groupby([matches["file"], matches["sheet"]], dropna=False).transform("sum")
    return matches[~(ours & (together == len(SHEET_ONLY)))]


def trait_name(header: str) -> str:
    """Make a column name of a header: small letters, figures and underscores.

    A name that means something else to us gets ``sheet_`` before it: a column
    headed Row becomes ``sheet_row``.
    """
    name = re.sub(r"\W+", "_", plain(header)).strip("_")
    return f"sheet_{name}" if name in RESERVED or not name[:1].isalpha() else name
