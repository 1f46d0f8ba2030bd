"""The sheets that the study file names: read, matched and laid out one record a row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from survivor import settings as study_file
from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.headers import Matched, find_header, match_columns, need, squeezed
from survivor.files.looks import decimals, hidden, looks_told
from survivor.files.sheets import HEADER_JOINT, Grid, Line, read_whole
from survivor.records.checks.cells import lines_unused, sums_of_rows_above, total_rows
from survivor.records.days_told import date_in_headers
from survivor.records.problems import WORKS_ROW, Source
from survivor.records.sections import filled_down, with_sections
from survivor.records.ticks import refuse_one_of_ticks, with_states, works_ticked
from survivor.records.together import parted
from survivor.records.visit_columns import no_visits_named, refuse_percentages
from survivor.records.words import (
    COLUMN_WORDS,
    COUNT_WORDS,
    KEY_WORDS,
    LENIENT_WORDS,
    MEASURE_WORDS,
    PLOT_SHEET_WORDS,
    VISIT_SHEET_WORDS,
    folded_name,
    folded_works,
    is_total,
    name_records,
)
from survivor.records.work_names import DIARY_WORDS

# What a visit says; in a wide sheet only the columns that the study file names say it.
VISIT_WORDS = ("visit", "date", "state", "alive", "dead", "height_cm", "height_m", "cause", "weed_cover")
_FEWEST_COLUMNS, _FEWEST_WORDS = 4, 3  # of a sheet, and of a remark, for a row with one cell to be a remark
_PARTED = ("planted", "height_cm")  # which may stand in one cell with a count, or a state
_OF_SPECIES = ("species", "planted")  # which a visit of a wide sheet may tell
DIARY = "works.diary"  # its table in the study file
_LABELS = (*KEY_WORDS, "tag", "species", "method", "visit")
_TOP_ROWS = 12  # kept of each sheet as they stand


@dataclass(frozen=True)
class RawSheet:
    """Records of one sheet, cells as they are.

    Attributes
    ----------
    cells
        record, source, row, line (one text a row of the sheet), total (whether the
        row is no record: it sums up others, or is a note), note, and one column a word of ours, of
        untyped cells.
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
    top
        Its first rows, as they stand, for who looks it through.
    above
        Number and texts of the rows above them, those of the header among them.
    """

    cells: pd.DataFrame
    words: tuple[str, ...]
    own: tuple[str, ...]
    sheet: study_file.Sheet
    sources: tuple[Source, ...]
    matches: pd.DataFrame
    said: tuple[str, ...]
    top: pd.DataFrame
    above: tuple[Line, ...] = ()


def read_plot_sheet(folder: Path, sheet: study_file.Sheet) -> RawSheet:
    """Read the sheet with one row a plot; every column without a meaning is a trait.

    Raises
    ------
    RecordsError
        When it cannot be read, or no column tells the plot.
    """
    grid = grid_of(folder, sheet)
    matched = _matched(grid, sheet, PLOT_SHEET_WORDS, "records.plots")
    need(matched, grid, ["plot"], COLUMN_WORDS, "records.plots")
    matched = _with_traits(matched, grid)
    grid = _as_shown(folder, sheet, grid, matched)
    return _long(grid, matched, sheet, _with_named(PLOT_SHEET_WORDS, sheet), "plot row")


def read_visit_sheet(
    folder: Path, sheet: study_file.Sheet, settings: study_file.Settings, sites: Mapping[str, str]
) -> RawSheet:
    """Read one sheet of visits.

    Parameters
    ----------
    folder
        Where the file is.
    sheet, settings
        What the study file says of it, and of all.
    sites
        Plot -> site as the plot sheet tells (`sites_of_plots`), for days told by site.

    Raises
    ------
    RecordsError
        When the sheet cannot be read or a needed column is not understood.
    """
    return visit_sheet_of(folder, grid_of(folder, sheet), sheet, settings, sites)


def visit_sheet_of(
    folder: Path, grid: Grid, sheet: study_file.Sheet, settings: study_file.Settings, sites: Mapping[str, str]
) -> RawSheet:
    """Lay out the cells of a sheet of visits, as `read_visit_sheet`."""
    records = settings.records
    words = _with_named(VISIT_SHEET_WORDS[records.kind], sheet)
    # Of sheets of both shapes, those that name visits of their own are the wide ones.
    named = sheet.visits or records.visits or not any(s.visits for s in records.sheets)
    if records.shape == "wide" and named and not sheet.field_sheet:
        return _wide(folder, grid, sheet, settings, sites)
    matched = _matched(grid, sheet, words, "records.sheets")
    refuse_one_of_ticks(grid, matched.positions.get("state", ()))
    grid = _as_shown(folder, sheet, grid, matched)
    values = [place for word in ("state", "alive") for place in matched.positions.get(word, ())]
    grid = looks_told(folder / sheet.file, grid, values, turned=sheet.turned)
    needed = ("plot", "tag", "date", "state") if records.kind == "tagged" else ("plot", "date", "alive")
    if records.kind == "counts":
        facts = _facts(grid, matched, (*KEY_WORDS, "date", "visit", "alive"))
        counts = [(_headers(grid, matched).get("alive", "alive"), facts["alive"])] if "alive" in facts else []
        if sheet.counted != "alive per cent":
            refuse_percentages(grid, matched, facts, counts)
    _tags_need_plots(grid, matched)
    need(matched, grid, needed, COLUMN_WORDS, "records.sheets")
    return _long(grid, matched, sheet, words, "visit row", settings.methods)


def read_diary_sheet(folder: Path, sheet: study_file.Sheet) -> RawSheet:
    """Read the works diary: a row a work, of a plot or of all plots of a preparation, block or site.

    Raises
    ------
    RecordsError
        When it cannot be read, or no column tells the work, or where it was done.
    """
    grid = grid_of(folder, sheet)
    words = tuple(DIARY_WORDS)
    matched = match_columns(
        grid, sheet.columns, words, DIARY_WORDS, key=DIARY, fixed=sheet.every_row, lenient=words[6:]
    )
    place = [] if any(matched.has(word) for word in (*KEY_WORDS, "method")) else ["plot"]
    need(matched, grid, ["work", *place], DIARY_WORDS, DIARY)
    return _long(_as_shown(folder, sheet, grid, matched), matched, sheet, words, WORKS_ROW)


def sites_of_plots(plots: RawSheet | None) -> dict[str, str]:
    """Site of each plot label that the plot sheet has once, labels without case and spaces."""
    if plots is None or not {"plot", "site"} <= set(plots.cells.columns):
        return {}
    rows = plots.cells[~plots.cells["total"]]
    plot, site = cells.of_each_text(rows["plot"], squeezed), cells.texts(rows["site"])
    pairs = pd.DataFrame({"plot": plot, "site": site}).drop_duplicates()
    pairs = pairs[~pairs["plot"].duplicated(keep=False)]
    return dict(zip(pairs["plot"], pairs["site"], strict=True))


def grid_of(folder: Path, sheet: study_file.Sheet) -> Grid:
    """Read the cells of a sheet, as the study file says where they are.

    Raises
    ------
    RecordsError
        When it cannot be read.
    """
    whole = read_whole(folder / sheet.file, name=sheet.file, sheet=sheet.sheet)
    whole = whole if sheet.area is None else whole.part(sheet.area)
    grid = (whole.turned() if sheet.turned else whole).cut(sheet.skip_rows, sheet.header_rows)
    if sheet.sections:
        grid = with_sections(grid) or grid
    if sheet.ticked:
        grid = with_states(grid) or grid
    if sheet.turned:
        return grid
    out_of_sight = hidden(folder / sheet.file, grid.sheet)
    rows = len(set(out_of_sight.rows) & set(grid.cells.index))
    heads = [grid.header[n] for n, place in enumerate(grid.places) if place in out_of_sight.columns]
    said = [
        f"{rows:,} rows that are hidden in the sheet, by a filter it seems, are read as the others"
    ] * bool(rows)
    said += [f"hidden in the sheet and read as the others: column {', '.join(map(repr, heads))}"] * bool(
        heads
    )
    return replace(grid, said=(*grid.said, *said))


def _as_shown(folder: Path, sheet: study_file.Sheet, grid: Grid, matched: Matched) -> Grid:
    """Write labels that are broken numbers as the sheet shows them: plot 1.10 is not plot 1.1."""
    if sheet.turned:
        return grid
    table = grid.cells.copy()
    for place in {p for word in ("block", "plot", "tag") for p in matched.positions.get(word, ())}:
        column = table[place]
        broken = cells.of_each(column, lambda cell: isinstance(cell, float) and not cell.is_integer())
        if not broken.any():
            continue
        shown = decimals(folder / sheet.file, grid.sheet, grid.places[place], list(table.index))
        table[place] = pd.Series(
            [
                f"{cell:.{shown[row]}f}" if row in shown and isinstance(cell, float) else cell
                for row, cell in column.items()
            ],
            index=column.index,
            dtype=object,
        )
    return replace(grid, cells=table)


def _matched(
    grid: Grid, sheet: study_file.Sheet, words: Sequence[str], key: str, taken: dict[int, str] | None = None
) -> Matched:
    return match_columns(
        grid,
        sheet.columns,
        words,
        COLUMN_WORDS,
        key=key,
        fixed=sheet.every_row,
        taken=taken,
        lenient=LENIENT_WORDS,
    )


def _with_named(words: Sequence[str], sheet: study_file.Sheet) -> list[str]:
    """Our words for such a sheet, and those that the study file names all the same."""
    named = (*sheet.columns, *sheet.every_row, *(["planted_date"] if sheet.planted_by_site else []))
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


def _column(
    grid: Grid,
    matched: Matched,
    word: str,
    fill_down: Sequence[str] = (),
    methods: Sequence[study_file.Method] = (),
) -> pd.Series[Any]:
    """Cells of one of our words: a column, several joined, or what every row shares.

    A part of a joined label is taken as above where it is blank and ``fill_down`` names a
    word of its column; other words are filled later, when it is known which rows are records.
    """
    of_rows_together = word in (*COUNT_WORDS, *MEASURE_WORDS)
    columns = [
        grid.cells[place].reset_index(drop=True) if of_rows_together else _carried_down(grid, place)
        for place in matched.positions.get(word, ())
    ]
    if not columns:
        return pd.Series(matched.fixed.get(word, ""), index=range(len(grid.cells)), dtype=object)
    heads = [grid.header[place].strip(" ?") for place in matched.positions[word]]
    if word == "method" and (works := works_ticked(columns, heads)) is not None:
        return works
    if len(columns) == 1:
        return columns[0]
    down = {place for filled in fill_down for place in matched.positions.get(filled, ())}
    of_works = set(matched.positions.get("method", ()))
    texts = [
        _one_way(cells.texts(column), place in of_works, methods)
        for column, place in zip(columns, matched.positions[word], strict=True)
    ]
    texts = [
        text.where((text != "") & ~cells.of_each(text, is_total)).ffill().fillna("")
        if place in down
        else text
        for place, text in zip(matched.positions[word], texts, strict=True)
    ]
    parts = zip(*texts, strict=True)
    return pd.Series([", ".join(part for part in row if part) for row in parts], dtype=object)


def _one_way(column: pd.Series[Any], of_works: bool, methods: Sequence[study_file.Method]) -> pd.Series[Any]:
    """Write a part of a label in one way: preparations by their names, else its commonest spelling."""
    fold = folded_works if of_works else folded_name
    often = column.value_counts().index
    best = {fold(text): text for text in reversed(often)}
    if of_works:
        best |= {fold(spelling): own.name for own in methods for spelling in (*own.also, own.name)}
    return column.map({text: best[fold(text)] if text else text for text in often})


def _carried_down(grid: Grid, place: int) -> pd.Series[Any]:
    """Give a label merged downwards to every row (a count merged so is of the rows together)."""
    merged = [(top, foot) for top, foot, own in grid.merged_down if own == place and top in grid.cells.index]
    column = grid.cells[place].copy() if merged else grid.cells[place]
    for top, foot in merged:
        column.loc[top:foot] = column.loc[top]
    return column.reset_index(drop=True)


def _facts(
    grid: Grid,
    matched: Matched,
    words: Sequence[str],
    fill_down: Sequence[str] = (),
    methods: Sequence[study_file.Method] = (),
) -> pd.DataFrame:
    """One row a row of the sheet: the columns that are there."""
    columns: dict[str, Any] = {"row": grid.cells.index.to_numpy()}
    columns["line"] = grid.cells.index.to_numpy()
    for word in (*words, *matched.own):
        if matched.has(word):
            columns[word] = _column(grid, matched, word, fill_down, methods)
    return pd.DataFrame(columns)


def _headers(grid: Grid, matched: Matched) -> dict[str, str]:
    return {word: ", ".join(grid.header[p] for p in places) for word, places in matched.positions.items()}


def _sorted_out(
    facts: pd.DataFrame,
    grid: Grid,
    matched: Matched,
    sheet: study_file.Sheet,
    values: Sequence[pd.Series[Any]],
    counts: bool,
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Mark the rows that are no records, and take blank cells as above where the study file says so.

    Parameters
    ----------
    facts, grid, matched, sheet
        The rows, and how they were read.
    values
        Columns that tell states or counts.
    counts
        Whether they are counts.

    Returns
    -------
    facts, said
        With total (the row sums up others) and note (it holds a remark only); what was filled.
    """
    named = [word for word in ("tag", "work", "plot") if word in facts.columns and word not in matched.own]
    key = named[0] if named else None
    own = pd.Series(key is None, index=facts.index)
    for place in matched.positions.get(key or "", ()):
        own |= cells.of_texts(_carried_down(grid, place), name_records)
    told = pd.DataFrame({n: cells.texts(column) for n, column in enumerate(values)}, index=facts.index)
    there, again = _looked_through(grid)
    table = grid.cells.reset_index(drop=True)
    beside = [n for n in table.columns if not any(table[n].equals(column) for column in values)]
    beside_texts = cache(lambda: table[beside].apply(cells.texts))
    total = total_rows(beside_texts, own, told)
    if "species" in facts.columns and counts:
        total |= cells.texts(facts["species"]).map(is_total)
    if counts and "plot" in facts.columns:
        number = pd.DataFrame({place: cells.numbers(column)[0] for place, column in enumerate(values)})
        labels = [word for word in _LABELS if word in facts.columns]
        bare = [word for word in labels if word == "plot" or "plot" in sheet.fill_down]
        total |= sums_of_rows_above(number, (facts[bare].apply(cells.texts) == "").all(axis=1))
    again &= ~total
    note = (_notes(table, there.sum(axis=1), own, told) | again) & ~total
    if key == "tag":
        note |= lines_unused(table[beside], there, matched, own, told, total | note)
    facts = facts.assign(total=total | note, note=note)
    facts, number_filled = filled_down(facts, sheet.fill_down)
    words = ", ".join(sheet.fill_down)
    note_filled = f"{number_filled:,} blank cells of {words} taken as the cell above, as the study file says"
    return facts, (note_filled,) if number_filled else ()


def _notes(
    table: pd.DataFrame, filled: pd.Series[int], own: pd.Series[bool], told: pd.DataFrame
) -> pd.Series[bool]:
    """Tell rows with one filled cell that is no label of a record: a remark below or between the records."""
    alone = filled == 1
    if alone.any():
        alone &= (told == "").all(axis=1)  # what tells a state is no remark
    if len(table.columns) < _FEWEST_COLUMNS or not alone.any():
        return pd.Series(False, index=own.index)
    words = table[alone].apply(cells.texts).max(axis=1).map(lambda text: len(str(text).split()))
    return alone & (~own | (words >= _FEWEST_WORDS).reindex(own.index, fill_value=False))


def _looked_through(grid: Grid) -> tuple[pd.DataFrame, pd.Series[bool]]:
    """Tell which cells are filled, and which rows hold the header once more, as on each page."""
    filled, again = {}, np.ones(len(grid.cells), dtype=bool)
    for place, header in enumerate(grid.header):
        filled[place] = cells.of_each_text(grid.cells[place], bool).to_numpy(dtype=bool)
        if again.any():
            head = [squeezed(part) for part in (header, *header.split(HEADER_JOINT))]
            again &= cells.of_each_text(grid.cells[place], partial(_is_blank_or_in, head)).to_numpy()
    there = pd.DataFrame(filled, index=range(len(grid.cells)))
    again &= there.sum(axis=1).to_numpy() >= _FEWEST_WORDS
    if sum(header != "" for header in grid.header) < _FEWEST_COLUMNS:
        again[:] = False
    return there, pd.Series(again).astype(bool)


def _is_blank_or_in(head: Sequence[str], text: str) -> bool:
    return text == "" or squeezed(text) in head


def _long(
    grid: Grid,
    matched: Matched,
    sheet: study_file.Sheet,
    words: Sequence[str],
    record: str,
    methods: Sequence[study_file.Method] = (),
) -> RawSheet:
    raw = _facts(grid, matched, words, sheet.fill_down, methods)
    values = [raw[word] for word in ("state", "alive") if word in raw.columns]
    raw, said = _sorted_out(raw, grid, matched, sheet, values, "state" not in raw.columns)
    raw, parts = parted(_planted_by_site(raw, sheet), sheet.states)
    said = (*said, *parts)
    raw["source"] = 0
    raw["record"] = np.arange(len(raw))
    headers = _headers(grid, matched)
    source = Source(grid.file, grid.sheet, record, headers, sheet.date_order, sheet.counted)
    kept = tuple(word for word in dict.fromkeys((*words, *_PARTED)) if word in raw.columns)
    return RawSheet(
        raw, kept, matched.own, sheet, (source,), matched.table, (*grid.said, *said), _top(grid), grid.above
    )


def _top(grid: Grid) -> pd.DataFrame:
    return grid.cells.head(_TOP_ROWS).copy()


def _planted_by_site(facts: pd.DataFrame, sheet: study_file.Sheet) -> pd.DataFrame:
    if not sheet.planted_by_site or "site" not in facts.columns:
        return facts
    days = by_site(cells.texts(facts["site"]), sheet.planted_by_site)
    told = "planted_date" in facts.columns and (cells.texts(facts["planted_date"]) != "").any()
    return facts if told else facts.assign(planted_date=days)


def by_site(sites: pd.Series[Any], days: Mapping[str, str]) -> pd.Series[Any]:
    """Day of each site, names compared without case, spaces and punctuation; "" where none is told."""
    known = {squeezed(site): day for site, day in days.items()}
    return sites.map(lambda site: known.get(squeezed(site), ""))


def _tags_need_plots(grid: Grid, matched: Matched) -> None:
    """Refuse a sheet whose rows tell the tag of a seedling and not its plot."""
    if matched.has("plot") or not matched.has("tag"):
        return
    tag = grid.header[matched.positions["tag"][0]]
    raise RecordsError(
        f"no column was understood as plot: the rows tell a seedling by {tag!r} alone, and the same tag may "
        "stand in two plots",
        where=grid.place,
        mend="write the plot, and the site where there are several, beside each tag (a look-up in the list "
        'of what was planted does it); or name the column: [records.sheets.columns] plot = "..."',
    )


# ---- wide sheets: each visit cell of each row is a record ------------------------------


def _wide(
    folder: Path,
    grid: Grid,
    sheet: study_file.Sheet,
    settings: study_file.Settings,
    sites: Mapping[str, str],
) -> RawSheet:
    records, rules, methods = settings.records, settings.rules, settings.methods
    visits = sheet.visits or records.visits
    if not visits:
        raise no_visits_named(grid, records.kind)
    slots = [_slot(grid, visit, records.kind, rules) for visit in visits]
    refuse_one_of_ticks(grid, [slot["state"] for slot in slots if "state" in slot])
    taken = {
        place: f"{word} at {visit.name}"
        for visit, slot in zip(visits, slots, strict=True)
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
    matched = _matched(grid, sheet, words, "records.sheets", taken)
    _tags_need_plots(grid, matched)
    need(
        matched,
        grid,
        ("plot", "tag") if records.kind == "tagged" else ("plot",),
        COLUMN_WORDS,
        "records.sheets",
    )
    grid = _as_shown(folder, sheet, grid, matched)
    facts = _facts(grid, matched, words, sheet.fill_down, methods)
    value = "state" if records.kind == "tagged" else "alive"
    values = [slot[value] for slot in slots if value in slot]
    grid = looks_told(folder / sheet.file, grid, values, turned=sheet.turned)
    counted = [grid.cells[place].reset_index(drop=True) for place in values]
    facts, said = _sorted_out(facts, grid, matched, sheet, counted, records.kind == "counts")
    facts = _planted_by_site(facts, sheet)
    if records.kind == "counts" and sheet.counted != "alive per cent":
        headers = [grid.header[slot["alive"]] for slot in slots if "alive" in slot]
        refuse_percentages(grid, matched, facts, list(zip(headers, counted, strict=True)))
    shared = _headers(grid, matched)
    parts, sources = [], []
    for place, (visit, slot) in enumerate(zip(visits, slots, strict=True)):
        # A total row is one record, whatever it sums up.
        rows = facts if place == 0 else facts[~facts["total"]]
        parts.append(_at_visit(rows, grid, visit, slot, place, sites))
        over = {**shared, **{word: grid.header[column] for word, column in slot.items()}}
        sources.append(
            Source(grid.file, grid.sheet, f"visit {visit.name}", over, sheet.date_order, sheet.counted)
        )
    raw, told = parted(pd.concat(parts, ignore_index=True), sheet.states)
    said = (*said, *told)
    raw["record"] = np.arange(len(raw))
    kept = tuple(word for word in dict.fromkeys((*words, *VISIT_WORDS, *_OF_SPECIES)) if word in raw.columns)
    how = (*grid.said, *said)
    return RawSheet(raw, kept, matched.own, sheet, tuple(sources), matched.table, how, _top(grid), grid.above)


def _slot(grid: Grid, visit: study_file.Visit, kind: str, rules: study_file.Rules) -> dict[str, int]:
    """Columns of one visit: our word -> place in the grid."""
    value = "state" if kind == "tagged" else "alive"
    named = {
        value: visit.state, "height_cm": visit.height, "date": visit.date_header, "cause": visit.cause,
        "planted": visit.planted,
    }  # fmt: skip
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
    facts: pd.DataFrame,
    grid: Grid,
    visit: study_file.Visit,
    slot: dict[str, int],
    place: int,
    sites: Mapping[str, str],
) -> pd.DataFrame:
    rows = facts.assign(source=place, visit=visit.name)
    if visit.species is not None:
        rows["species"] = visit.species
    for word, column in slot.items():
        rows[word] = grid.cells[column].reset_index(drop=True).loc[facts.index]
    if visit.date_by_site:
        named = cells.texts(facts["site"]) if "site" in facts.columns else pd.Series("", index=facts.index)
        named = named.where(named != "", cells.texts(facts["plot"]).map(squeezed).map(sites).fillna(""))
        rows["date"] = by_site(named, visit.date_by_site)
    elif "date" not in slot:
        rows["date"] = visit.date or date_in_headers(grid, visit.name, slot.values())
    return rows
