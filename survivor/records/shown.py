"""The sheets of a study as their owner knows them: own headings, first rows, and what each column is.

A sheet that cannot be understood is shown all the same, with the reason, so that it can be put right.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.faults import Place
from survivor.files.headers import NOT_USED
from survivor.files.sheets import Line, as_text
from survivor.records.sheets import RawSheet, grid_of, read_plot_sheet, read_visit_sheet
from survivor.records.words import PLOT_SHEET_WORDS, STATE_WORDS, VISIT_SHEET_WORDS, spoken
from survivor.settings import Settings, Sheet

_MOST_WORDS: Final = 40  # different words of one column of states
_OF_PLOTS: Final = ("records", "plots")


@dataclass(frozen=True)
class Column:
    """A column of a sheet: its heading, what it is taken as ("": not used), why, and what it is a part of."""

    heading: str
    word: str
    how: str
    part_of: tuple[str, ...] = ()


@dataclass(frozen=True)
class Word:
    """A word for a state: how many cells say it, and the state that it is taken for ("": none)."""

    word: str
    cells: int
    state: str


@dataclass(frozen=True)
class Shown:
    """A sheet as it stands, and as it is understood.

    Attributes
    ----------
    place
        Of its table in the study file.
    sheet
        What the study file says of it.
    columns
        One a column; none where the sheet cannot be opened.
    rows
        Number in the sheet -> cells as a person would write them.
    words
        Words of ours that such a sheet may hold.
    states
        Of tagged seedlings: the different words for states, the commonest first.
    fault
        Why it is not understood; None where it is.
    above
        Number and texts of the rows above the first one, those of the heading among them.
    """

    place: Place
    sheet: Sheet
    columns: tuple[Column, ...]
    rows: Mapping[int, tuple[str, ...]]
    words: tuple[str, ...]
    states: tuple[Word, ...]
    fault: RecordsError | None
    above: tuple[Line, ...] = ()


def shown_sheets(folder: Path, settings: Settings, rows: int) -> Iterator[Shown]:
    """Show every sheet of records that a study file names, with its first rows.

    Parameters
    ----------
    folder
        Where the files are.
    settings
        The study file.
    rows
        How many rows below the heading.
    """
    for place, sheet in _named(settings):
        yield _shown(folder, settings, place, sheet, slice(0, rows))


def shown_as_read(place: Place, raw: RawSheet, settings: Settings, rows: int) -> Shown:
    """Show a sheet that has just been read; parameters as `shown_sheets`, and where its table stands."""
    return _as_read(settings, place, raw, raw.top.head(rows))


def rows_around(
    folder: Path, settings: Settings, file: str, sheet: str, row: int, beside: int
) -> Shown | None:
    """Show the sheet of some name with the rows around one; None where the study file names no such sheet.

    Parameters
    ----------
    folder, settings
        As for `shown_sheets`.
    file, sheet
        As a problem names them.
    row
        Number in the sheet.
    beside
        How many rows before and after it.
    """
    for place, named in _named(settings):
        if named.file == file and (not sheet or named.sheet in (None, sheet)):
            try:
                grid = grid_of(folder, named)
            except RecordsError:  # why it cannot be read is said where the records are
                continue
            at = int(grid.cells.index.searchsorted(row))
            return _shown(folder, settings, place, named, slice(max(at - beside, 0), at + beside + 1))
    return None


def _named(settings: Settings) -> Iterator[tuple[Place, Sheet]]:
    if settings.records.plots is not None:
        yield _OF_PLOTS, settings.records.plots
    for number, sheet in enumerate(settings.records.sheets):
        yield ("records", "sheets", number), sheet


def _shown(folder: Path, settings: Settings, place: Place, sheet: Sheet, which: slice) -> Shown:
    records = settings.records
    of_plots = place == _OF_PLOTS
    words = PLOT_SHEET_WORDS if of_plots else VISIT_SHEET_WORDS[records.kind]
    try:
        grid = grid_of(folder, sheet)
    except RecordsError as fault:
        return Shown(place, sheet, (), {}, words, (), fault)
    top = grid.cells.iloc[which]
    try:
        raw = read_plot_sheet(folder, sheet) if of_plots else read_visit_sheet(folder, sheet, settings, {})
    except RecordsError as fault:
        columns = tuple(Column(heading, _told(sheet, heading), "") for heading in grid.header)
        return Shown(place, sheet, columns, _rows(top), words, (), fault, grid.above)
    return _as_read(settings, place, raw, top)


def _as_read(settings: Settings, place: Place, raw: RawSheet, top: pd.DataFrame) -> Shown:
    of_plots = place == _OF_PLOTS
    words = PLOT_SHEET_WORDS if of_plots else VISIT_SHEET_WORDS[settings.records.kind]
    matches = zip(raw.matches["header"], raw.matches["column"], raw.matches["how"], strict=True)
    columns = tuple(
        Column(heading, word if how != NOT_USED else "", how, tuple(_parts_with(raw.sheet, heading, word)))
        for heading, word, how in matches
    )
    states = _states(raw) if settings.records.kind == "tagged" and not of_plots else ()
    return Shown(place, raw.sheet, columns, _rows(top), words, states, None, raw.above)


def _rows(top: pd.DataFrame) -> dict[int, tuple[str, ...]]:
    texts = top.map(as_text)
    return {int(row): tuple(map(str, line)) for row, line in zip(texts.index, texts.to_numpy(), strict=True)}


def _told(sheet: Sheet, heading: str) -> str:
    """Return what the study file says of a heading."""
    named = ((word, (told,) if isinstance(told, str) else told) for word, told in sheet.columns.items())
    return next((word for word, told in named if heading in told), "")


def _parts_with(sheet: Sheet, heading: str, word: str) -> Iterator[str]:
    """Give the words that a heading is one of several columns of, besides what it is taken as."""
    for other, told in sheet.columns.items():
        if not isinstance(told, str) and len(told) > 1 and heading in told and other != word:
            yield other


def _states(raw: RawSheet) -> tuple[Word, ...]:
    if "state" not in raw.cells:
        return ()
    written: pd.Series[str] = cells.texts(raw.cells.loc[~raw.cells["total"], "state"])
    known = {spoken(word): str(state) for state, words in STATE_WORDS.items() for word in words}
    counts = written[written != ""].value_counts().head(_MOST_WORDS)
    return tuple(
        Word(str(word), int(times), raw.sheet.states.get(str(word)) or known.get(spoken(str(word)), ""))
        for word, times in counts.items()
    )
