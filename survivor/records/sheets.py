"""The sheets that the study file names: read, matched and laid out one record a row."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from survivor import settings as study_file
from survivor.errors import RecordsError
from survivor.records import cells
from survivor.records.checks.cells import sums_of_rows_above, total_rows
from survivor.records.matching import Matched, find_header, match_columns, need
from survivor.records.problems import Source
from survivor.records.reading import HEADER_JOINT, Grid, read_grid
from survivor.records.summaries import refuse_percentages
from survivor.records.words import (
    COLUMN_WORDS,
    COUNT_WORDS,
    KEY_WORDS,
    MEASURE_WORDS,
    PLOT_SHEET_WORDS,
    VISIT_SHEET_WORDS,
)

# What a visit says; in a wide sheet only the columns that the study file names say it.
VISIT_WORDS = ("visit", "date", "state", "alive", "dead", "height_cm", "height_m", "cause", "weed_cover")
_ALIVE = re.compile(r"alive|live|living|count|surviv", re.IGNORECASE)
_REMARKS = re.compile(r"comment|note|remark", re.IGNORECASE)
_LABELS = (*KEY_WORDS, "tag", "species", "visit")


@dataclass(frozen=True)
class RawSheet:
    """Records of one sheet, cells as they are.

    Attributes
    ----------
    cells
        record, source, row, line (one text a row of the sheet), total (whether the
        row sums up others), and one column a word of ours, of untyped cells.
    words
        The words of ours among the columns.
    own
        Words that are not ours: traits under that name.
    sheet
        What the study file says of it.
    sources
        One for a long sheet, one a visit for a wide one.
    matches
        file, sheet, header, column, how.
    said
        How the file was read, where that was not plain.
    """

    cells: pd.DataFrame
    words: tuple[str, ...]
    own: tuple[str, ...]
    sheet: study_file.Sheet
    sources: tuple[Source, ...]
    matches: pd.DataFrame
    said: tuple[str, ...]


def read_plot_sheet(folder: Path, sheet: study_file.Sheet) -> RawSheet:
    """Read the sheet with one row a plot; every column without a meaning is a trait.

    Raises
    ------
    RecordsError
        When it cannot be read, or no column tells the plot.
    """
    grid = _grid(folder, sheet)
    matched = match_columns(grid, sheet, PLOT_SHEET_WORDS, key="records.plots")
    need(matched, grid, ["plot"], "records.plots")
    matched = _with_traits(matched, grid)
    return _long(grid, matched, sheet, _with_named(PLOT_SHEET_WORDS, sheet), "plot row", sums=())


def read_visit_sheet(
    folder: Path, sheet: study_file.Sheet, records: study_file.Records, rules: study_file.Rules
) -> RawSheet:
    """Read one sheet of visits.

    Parameters
    ----------
    folder
        Where the file is.
    sheet, records, rules
        What the study file says of it.

    Raises
    ------
    RecordsError
        When the sheet cannot be read or a needed column is not understood.
    """
    grid = _grid(folder, sheet)
    words = _with_named(VISIT_SHEET_WORDS[records.kind], sheet)
    if records.shape == "wide":
        return _wide(grid, sheet, records, rules)
    matched = match_columns(grid, sheet, words, key="records.sheets")
    needed = ("plot", "tag", "date", "state") if records.kind == "tagged" else ("plot", "date", "alive")
    if records.kind == "counts":
        facts = _facts(grid, matched, (*KEY_WORDS, "date", "visit", "alive"))
        counts = [(_headers(grid, matched).get("alive", "alive"), facts["alive"])] if "alive" in facts else []
        refuse_percentages(grid, matched, facts, counts)
    need(matched, grid, needed, "records.sheets")
    sums = ("alive",) if records.kind == "counts" else ()
    return _long(grid, matched, sheet, words, "visit row", sums)


def _grid(folder: Path, sheet: study_file.Sheet) -> Grid:
    return read_grid(
        folder / sheet.file,
        name=sheet.file,
        sheet=sheet.sheet,
        skip_rows=sheet.skip_rows,
        header_rows=sheet.header_rows,
    )


def _with_named(words: Sequence[str], sheet: study_file.Sheet) -> list[str]:
    """Our words for such a sheet, and those that the study file names all the same."""
    named = (*sheet.columns, *sheet.every_row)
    return list(dict.fromkeys([*words, *(word for word in named if word in COLUMN_WORDS)]))


def _with_traits(matched: Matched, grid: Grid) -> Matched:
    positions = dict(matched.positions)
    table = matched.table.copy()
    for place, header in enumerate(grid.header):
        if header and header not in positions and table.loc[place, "how"] == "not used":
            positions[header] = (place,)
            table.loc[place, ["column", "how"]] = [header, "trait"]
    own = (*matched.own, *(word for word in positions if word not in matched.positions))
    return Matched(positions, matched.fixed, own, table)


def _column(grid: Grid, matched: Matched, word: str) -> pd.Series[Any]:
    """Cells of one of our words: a column, several joined, or what every row shares."""
    of_rows_together = word in (*COUNT_WORDS, *MEASURE_WORDS)
    columns = [
        grid.cells[place].reset_index(drop=True) if of_rows_together else _carried_down(grid, place)
        for place in matched.positions.get(word, ())
    ]
    if not columns:
        return pd.Series(matched.fixed.get(word, ""), index=range(len(grid.cells)), dtype=object)
    if len(columns) == 1:
        return columns[0]
    parts = zip(*map(cells.texts, columns), strict=True)
    return pd.Series([", ".join(part for part in row if part) for row in parts], dtype=object)


def _carried_down(grid: Grid, place: int) -> pd.Series[Any]:
    """Give a label merged downwards to every row (a count merged so is of the rows together)."""
    column = grid.cells[place].copy()
    for top, foot, merged in grid.merged_down:
        if merged == place and top in column.index:
            column.loc[top:foot] = column.loc[top]
    return column.reset_index(drop=True)


def _facts(grid: Grid, matched: Matched, words: Sequence[str]) -> pd.DataFrame:
    """One row a row of the sheet: the columns that are there."""
    columns: dict[str, Any] = {"row": grid.cells.index.to_numpy()}
    columns["line"] = [f"{grid.file}|{grid.sheet}|{row}" for row in grid.cells.index]
    for word in (*words, *matched.own):
        if matched.has(word):
            columns[word] = _column(grid, matched, word)
    return pd.DataFrame(columns)


def _headers(grid: Grid, matched: Matched) -> dict[str, str]:
    return {word: ", ".join(grid.header[p] for p in places) for word, places in matched.positions.items()}


def _totals(facts: pd.DataFrame, counts: Sequence[pd.Series[Any]]) -> pd.Series[bool]:
    labels = facts[[word for word in _LABELS if word in facts.columns]].apply(cells.texts)
    total = total_rows(labels, list(labels.columns))
    if counts and "plot" in labels.columns:
        values = pd.DataFrame({place: cells.numbers(column)[0] for place, column in enumerate(counts)})
        total |= sums_of_rows_above(values, labels["plot"] == "")
    return total


def _long(
    grid: Grid,
    matched: Matched,
    sheet: study_file.Sheet,
    words: Sequence[str],
    record: str,
    sums: Sequence[str],
) -> RawSheet:
    raw = _facts(grid, matched, words)
    raw["total"] = _totals(raw, [raw[word] for word in sums if word in raw.columns])
    raw["source"] = 0
    raw["record"] = np.arange(len(raw))
    source = Source(grid.file, grid.sheet, record, _headers(grid, matched), sheet.date_order)
    kept = tuple(word for word in words if word in raw.columns)
    return RawSheet(raw, kept, matched.own, sheet, (source,), matched.table, grid.said)


# ---- wide sheets: each visit cell of each row is a record ------------------------------


def _wide(
    grid: Grid, sheet: study_file.Sheet, records: study_file.Records, rules: study_file.Rules
) -> RawSheet:
    if not records.visits:
        raise _no_visits(grid, records.kind)
    slots = [_slot(grid, visit, records.kind, rules) for visit in records.visits]
    taken = {
        place: f"{word} at {visit.name}"
        for visit, slot in zip(records.visits, slots, strict=True)
        for word, place in slot.items()
    }
    named = _with_named(VISIT_SHEET_WORDS[records.kind], sheet)
    words = [word for word in named if word not in VISIT_WORDS]
    misplaced = [word for word in VISIT_WORDS if word in sheet.columns or word in sheet.every_row]
    if misplaced:
        raise RecordsError(
            f"in a wide sheet each visit has its own {misplaced[0]}",
            where=grid.place,
            mend="take it out of [records.sheets.columns] and name it at each visit, [[records.visits]]",
        )
    matched = match_columns(grid, sheet, words, key="records.sheets", taken=taken)
    need(matched, grid, ("plot", "tag") if records.kind == "tagged" else ("plot",), "records.sheets")
    facts = _facts(grid, matched, words)
    counted = [grid.cells[slot["alive"]].reset_index(drop=True) for slot in slots if "alive" in slot]
    facts["total"] = _totals(facts, counted)
    if records.kind == "counts":
        headers = [grid.header[slot["alive"]] for slot in slots if "alive" in slot]
        refuse_percentages(grid, matched, facts, list(zip(headers, counted, strict=True)))
    shared = _headers(grid, matched)
    parts, sources = [], []
    for place, (visit, slot) in enumerate(zip(records.visits, slots, strict=True)):
        # A total row is one record, whatever it sums up.
        rows = facts if place == 0 else facts[~facts["total"]]
        parts.append(_at_visit(rows, grid, visit, slot, place))
        over = {**shared, **{word: grid.header[column] for word, column in slot.items()}}
        sources.append(Source(grid.file, grid.sheet, f"visit {visit.name}", over, sheet.date_order))
    raw = pd.concat(parts, ignore_index=True)
    raw["record"] = np.arange(len(raw))
    kept = tuple(word for word in (*words, *VISIT_WORDS) if word in raw.columns)
    return RawSheet(raw, kept, matched.own, sheet, tuple(sources), matched.table, grid.said)


def _slot(grid: Grid, visit: study_file.Visit, kind: str, rules: study_file.Rules) -> dict[str, int]:
    """Columns of one visit: our word -> place in the grid."""
    value = "state" if kind == "tagged" else "alive"
    named = {value: visit.state, "height_cm": visit.height, "date": visit.date_header, "cause": visit.cause}
    slot = {
        word: find_header(grid, header, f"[[records.visits]] {visit.name}")
        for word, header in named.items()
        if header is not None
    }
    if value not in slot and (kind == "counts" or "height_cm" not in slot):
        raise RecordsError(
            f"the visit {visit.name!r} names no column that says how many or which seedlings were alive",
            where=grid.place,
            mend=f'say which header it is: [[records.visits]] name = "{visit.name}", state = "..."',
        )
    if value not in slot and not rules.measured_means_alive:
        raise RecordsError(
            f"the visit {visit.name!r} has a height and no state, and a height alone does not tell a state",
            where=grid.place,
            mend="name its state column, or say [rules] measured_means_alive = true where that is so",
        )
    return slot


def _at_visit(
    facts: pd.DataFrame, grid: Grid, visit: study_file.Visit, slot: dict[str, int], place: int
) -> pd.DataFrame:
    rows = facts.assign(source=place, visit=visit.name)
    for word, column in slot.items():
        rows[word] = grid.cells[column].reset_index(drop=True).loc[facts.index]
    if "date" not in slot:
        rows["date"] = visit.date or _date_in_headers(grid, visit, slot)
    return rows


def _date_in_headers(grid: Grid, visit: study_file.Visit, slot: dict[str, int]) -> str:
    texts = [
        visit.name,
        *(part for place in slot.values() for part in grid.header[place].split(HEADER_JOINT)),
    ]
    found = {day for day in map(cells.one_date, texts) if day is not None}
    if len(found) == 1:
        return found.pop()
    raise RecordsError(
        f"no single day is given for the visit {visit.name!r}, and its headers hold none",
        where=grid.place,
        mend=f'give it in the study file: [[records.visits]] name = "{visit.name}", date = "2022-05-31" '
        '(or date_header = "..." where a column holds it)',
    )


def _no_visits(grid: Grid, kind: str) -> RecordsError:
    parts = [header.split(HEADER_JOINT) for header in grid.header if HEADER_JOINT in header]
    tops = list(dict.fromkeys(part[0] for part in parts))
    joined = next((header for header in grid.header if HEADER_JOINT in header), "")
    free = [header for header in grid.header if header and not _REMARKS.search(header)]
    # Else a header that speaks of living plants, else the last that is no remark.
    alive = [header for header in free if _ALIVE.search(header)]
    example = joined or (alive or free or list(grid.header))[0 if alive else -1]
    close = difflib.get_close_matches("alive", tops, n=1)
    lines = f'    [[records.visits]]\n    name = "{(close or tops or ["first visit"])[0]}"\n'
    what = "state" if kind == "tagged" else "count"
    lines += f'    date = "2022-05-31"\n    state = "{example}"'
    return RecordsError(
        "a wide sheet needs its visits named; the headers are "
        + ", ".join(repr(header) for header in grid.header if header),
        where=grid.place,
        mend=f"name each visit and the header of its {what} column in the study file, such as\n{lines}",
    )
