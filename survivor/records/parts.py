"""One part of a register: read, checked, made into risk intervals, and what is kept of it."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.files.datasets import Batches, Cells, Scattered, place_of, read_part
from survivor.files.headers import squeezed
from survivor.files.sheets import Grid
from survivor.frames import tables_share
from survivor.records import book
from survivor.records.accounts import (
    counted_up,
    no_rows,
    plants_put_in,
    rules_in_force,
    sites_with_lost_plants,
)
from survivor.records.checks.names import plants_by_plot
from survivor.records.collapsing import Alike, Rule, alike, intervals_of, packed, rules_kept
from survivor.records.folding import MEASURED, Folded, Named, fold, lines_of
from survivor.records.frames import intervals_frame, plots_frame, visits_frame
from survivor.records.plots import PlotTable
from survivor.records.prepare import WORKINGS, Whole, left, prepare
from survivor.records.problems import (
    NOWHERE,
    Source,
    account_table,
    causes_of,
    gather,
    none_found,
)
from survivor.records.sheets import RawSheet, visit_sheet_of
from survivor.records.summing import deaths_summed, may_be_summed, summed, visits_summed
from survivor.records.tidy import Tidy, stack, tidy_visits
from survivor.records.times import LIKE, TIMES
from survivor.settings import Settings, Sheet
from survivor.vocabulary import PLOT_KEY

EXAMPLES: Final = 200  # problems of one code that are listed; more are counted
_MANY: Final = ("tag",)  # texts of which hardly two are the same
# Of `WORKINGS` what tells histories apart, and where a record stood.
_OF_HISTORIES: Final = ("record", "source", "row", "name", "entry", "turn", "blank", "says", TIMES)
ON_SHEETS: Final = ("how-read", "assumed")  # said once a file, and not once a part


@dataclass(frozen=True)
class RegisterFile:
    """One table of the study file that names a register."""

    sheet: Sheet
    batches: Batches
    sample: RawSheet
    scattered: Scattered


@dataclass(frozen=True)
class Register:
    """What every part of a register is read by."""

    folder: Path
    settings: Settings
    closed: dt.date
    files: tuple[RegisterFile, ...]
    plots: Tidy | None
    table: PlotTable | None
    sources: tuple[Source, ...]
    together: str
    parts: int
    usual: Mapping[str, Sequence[str]]
    one_site: str
    named: Named | None
    sites: Mapping[str, str]


@dataclass(frozen=True)
class Part:
    """What is kept of one part, texts of its visits and intervals as categories: see `Records`.

    ``places`` holds a record of each plot and preparation; ``put_in``, ``lost`` and ``deaths`` are of tagged
    seedlings (`survivor.records.collapsing.Kept`).
    """

    plots: pd.DataFrame
    visits: pd.DataFrame
    intervals: dict[Rule, pd.DataFrame]
    accounts: pd.DataFrame
    causes: pd.DataFrame
    number: pd.Series[int]
    places: pd.DataFrame
    plants: pd.Series[int]
    put_in: pd.DataFrame | None
    lost: tuple[str, ...]
    deaths: pd.DataFrame | None
    lived: frozenset[str]
    sizes: Counter[str]
    rules: pd.DataFrame
    traits: tuple[str, ...]
    matches: pd.DataFrame
    sites: frozenset[str]
    filled: bool


def raw_sheet(
    folder: Path,
    batches: Batches,
    part: Cells,
    sheet: Sheet,
    settings: Settings,
    sites: Mapping[str, str],
) -> RawSheet:
    """Lay out rows of a register as those of a sheet; each has the row and the file that it is from."""
    grid = Grid(batches.name, "", batches.header, part.table(), places=tuple(range(len(batches.header))))
    raw = visit_sheet_of(folder, grid, sheet, settings, sites)
    line, own = raw.cells["line"].to_numpy(), len(raw.sources)
    source = raw.cells["source"].to_numpy() + own * part.file[line]
    sources = tuple(replace(source, file=shown) for shown in batches.shown for source in raw.sources)
    return replace(raw, cells=raw.cells.assign(row=part.row[line], source=source), sources=sources)


# ---- one part -----------------------------------------------------------------------------


@tables_share()
def part_of(register: Register, number: int) -> Part:
    """Read one part: check its records, make its risk intervals, and keep what an analysis needs."""
    table = _plots_of(register, number)
    apart = np.empty(0, dtype=np.intp)
    while True:
        cells, folded = _cells_of(register, number, apart)
        if not any(len(part.row) for _, part in cells):
            return _empty(table, register)
        looked_at = _looked_at(register, table, cells, folded)
        singly = _singly(looked_at, folded) if folded is not None else apart[:0]
        if not len(singly):
            return _kept_of(register, table, looked_at)
        apart = np.union1d(apart, singly)


def _cells_of(
    register: Register, number: int, apart: np.ndarray[Any, Any]
) -> tuple[list[tuple[RegisterFile, Cells]], Folded | None]:
    """Read a part; of seedlings that are alike only one, but for those of places that are apart."""
    cells = [
        (file, read_part(path).filled())
        for file in register.files
        if (path := file.scattered.paths[number]).exists()
    ]
    if register.named is None or not cells or not len(cells[0][1].row):
        return cells, None
    [(file, part)] = cells
    folded = fold(part, register.named, apart)
    return [(file, part.take(folded.kept))], folded


@dataclass(frozen=True)
class _LookedAt:
    """Records of a part, checked and made into histories; what was found stands for all that are alike."""

    read: pd.DataFrame
    traits: tuple[str, ...]
    silent: pd.DataFrame
    made: book.Made
    found: pd.DataFrame
    lines: np.ndarray[Any, Any]  # of what was found
    measured: np.ndarray[Any, Any]  # lines of seedlings that stand for others and have a measure
    matches: pd.DataFrame
    sites: frozenset[str]
    told: bool
    folded: Folded | None


def _looked_at(
    register: Register,
    table: PlotTable | None,
    parts: Sequence[tuple[RegisterFile, Cells]],
    folded: Folded | None,
) -> _LookedAt:
    settings = register.settings
    raws = [
        raw_sheet(register.folder, file.batches, part, file.sheet, settings, register.sites)
        for file, part in parts
        if len(part.row)
    ]
    if folded is not None:
        line = raws[0].cells["line"].to_numpy()
        stands = {TIMES: folded.times[line], LIKE: folded.like[line]}
        raws = [replace(raws[0], cells=raws[0].cells.assign(**stands))]
    visits = stack([tidy_visits(raw, settings.records.kind) for raw in raws], after=[register.plots])
    visits = _as_in_all(register, visits, raws)
    read, told = visits.rows[["record", "source", "row"]], book.tells(visits)
    line_of = visits.rows.set_index("record")["line"]
    measured = np.empty(0, dtype=np.intp)
    if folded is not None:
        words = [word for word in MEASURED if word in visits.rows.columns]
        own = visits.rows[words].notna().any(axis=1) & (visits.rows[TIMES] > 1)
        measured = visits.rows.loc[own, "line"].to_numpy(dtype=np.intp)
        read = read.assign(**{TIMES: visits.rows[TIMES]})
    sites = frozenset(map(str, visits.rows["site"].dropna().unique()))
    whole = table if table is None or len(table.plots) else register.table  # for what a label may mean
    beside = Whole(register.usual, None if folded is None else folded.tags)
    matches = visits.matches
    held = [visits]
    del raws, visits  # each table of a large part is let go as soon as another stands in its place
    ready = prepare(held.pop(), whole, register.sources, settings, register.closed, beside)
    silent, traits, found, rows = ready.silent, ready.traits, ready.found, [ready.rows]
    del ready
    made = book.made_of(rows.pop(), traits, table, settings, register.sources)
    found = gather(found, made.found)
    found = found[~((found["record"] == NOWHERE) & found["code"].isin(ON_SHEETS))]
    lines = lines_of(found, line_of)
    return _LookedAt(read, traits, silent, made, found, lines, measured, matches, sites, told, folded)


def _singly(looked_at: _LookedAt, folded: Folded) -> np.ndarray[Any, Any]:
    """Name the places whose seedlings are to be looked at one by one."""
    return np.union1d(
        folded.to_look_at_singly(looked_at.found, looked_at.lines), folded.places(looked_at.measured)
    )


def _kept_of(register: Register, table: PlotTable | None, looked_at: _LookedAt) -> Part:
    """Keep of a part what an analysis needs."""
    settings, made, found = register.settings, looked_at.made, looked_at.found
    traits, silent = looked_at.traits, looked_at.silent
    tagged = settings.records.kind == "tagged"
    needed = (*_OF_HISTORIES, *(() if tagged else ("alive", "dead")))
    spare = [word for word in WORKINGS if word not in needed]
    seen = [part for part in (made.rows, silent) if not part.empty] or [silent]
    seen = [part.drop(columns=spare, errors="ignore") for part in seen]
    kept = _alike(left(pd.concat(seen, ignore_index=True), found), traits, settings)
    del seen
    intervals, sizes = _intervals(made, kept, traits, settings)
    everything, read = found, looked_at.read
    if looked_at.folded is not None:
        everything = looked_at.folded.of_all(found, looked_at.lines)
        found = found.assign(**{TIMES: found["record"].map(read.set_index("record")[TIMES]).fillna(1)})
    causes = causes_of(everything, register.sources)
    usable = None if table is None else book.used_plots(table, table.found)
    accounts = account_table(read, looked_at.found, register.sources)
    plots = plots_frame(usable, made.entries, traits, tagged=tagged)
    visits = _visits(kept.rows, register, traits)
    put_in = deaths = None
    lost = sites_with_lost_plants(visits)
    if tagged and len(kept.rows):
        reported = next(iter(intervals.values()))
        put_in = plants_put_in(visits, plots, tagged=True)
        deaths = deaths_summed(reported, visits)
        last_day = float(reported["stop_day"].max()) if len(reported) else 0.0
        visits = visits_summed(visits, last_day, settings.milestones)
        if settings.rules.tagged == "at planting" and may_be_summed(reported):
            # A milestone behind the last visit of a part leaves more apart than one behind the last of all.
            intervals = {rule: summed(table, settings.milestones) for rule, table in intervals.items()}
    return Part(
        plots=plots,
        visits=packed(visits, but=_MANY),
        intervals=intervals,
        accounts=counted_up(accounts, read[TIMES].to_numpy() if TIMES in read.columns else None),
        causes=_examples(causes),
        number=causes["code"].value_counts(),
        places=_places(made.rows, traits),
        plants=plants_by_plot(made.rows),
        put_in=put_in,
        lost=lost,
        deaths=deaths,
        lived=book.names_with_intervals(made.entries, next(iter(intervals.values()))),
        sizes=Counter(sizes),
        rules=rules_in_force(found, settings),
        traits=traits,
        matches=looked_at.matches,
        sites=looked_at.sites,
        filled=looked_at.told,
    )


def _plots_of(register: Register, number: int) -> PlotTable | None:
    """Take the plots of the plot sheet that belong to a part."""
    table = register.table
    if table is None:
        return None
    told = table.plots[register.together]
    mine = told.map({text: place_of(squeezed(text), register.parts) for text in told.unique()}) == number
    names = table.plots.index[mine]
    return replace(
        table, plots=table.plots.loc[names], planted=table.planted[table.planted["name"].isin(names)]
    )


def _places(rows: pd.DataFrame, traits: Sequence[str]) -> pd.DataFrame:
    """Take a record of each plot and preparation."""
    facts = ["name", "method", *PLOT_KEY, "cohort"]
    columns = ["record", "source", "row", "tag", *facts, *traits]
    return rows.drop_duplicates(facts)[columns] if len(rows) else rows


def _as_in_all(register: Register, visits: Tidy, raws: Sequence[RawSheet]) -> Tidy:
    """Give the sources their numbers over all files, and name what no column tells."""
    places = {(s.file, s.sheet, s.record): n for n, s in enumerate(register.sources)}
    number = {
        n: places[s.file, s.sheet, s.record] for n, s in enumerate(visits.sources, sources_before(register))
    }
    rows = visits.rows.assign(source=visits.rows["source"].map(number))
    found = visits.found.assign(source=visits.found["source"].map(number))
    if register.one_site:
        rows = rows.assign(site=register.one_site)
    return book.no_method(replace(visits, rows=rows, found=found), [*raws, *_plot_words(register)])


def sources_before(register: Register) -> int:
    """Count the sources that come before those of the visits."""
    return len(register.plots.sources) if register.plots is not None else 0


def _plot_words(register: Register) -> list[Any]:
    return [] if register.plots is None else [_Words(tuple(register.plots.rows.columns))]


@dataclass(frozen=True)
class _Words:
    words: tuple[str, ...]


def _alike(rows: pd.DataFrame, traits: tuple[str, ...], settings: Settings) -> Alike:
    if settings.records.kind != "tagged" or rows.empty:
        return Alike(rows, pd.Series(dtype=int))
    return alike(rows, traits, settings.heights.at_least_cm if settings.heights is not None else None)


def _intervals(
    made: book.Made, kept: Alike, traits: tuple[str, ...], settings: Settings
) -> tuple[dict[Rule, pd.DataFrame], dict[str, int]]:
    if made.past is not None:
        return intervals_of(made.past, kept, traits, settings)
    rows = no_rows(traits) if made.intervals.empty else made.intervals
    table = intervals_frame(rows, traits, settings)
    # Preparations stand in an order of all parts, which is made of them together.
    plain = table.assign(method=table["method"].astype(object))
    return {rules_kept(settings.rules)[0]: packed(plain, but=_MANY)}, {}


def _visits(rows: pd.DataFrame, register: Register, traits: tuple[str, ...]) -> pd.DataFrame:
    tagged_seedlings = register.settings.records.kind == "tagged"
    needed = ("record", "source", "row", *(() if tagged_seedlings else ("alive", "dead")))
    spare = [word for word in WORKINGS if word not in needed]
    rows = rows.drop(columns=spare, errors="ignore")
    return visits_frame(rows, register.sources, (*WORKINGS, *traits), tagged=tagged_seedlings)


def _examples(causes: pd.DataFrame) -> pd.DataFrame:
    """Keep the first causes of each code, and all of those that other parts may share."""
    alone = causes["group"] == ""
    return causes[~alone | (causes.groupby(["code", alone]).cumcount() < EXAMPLES)]


def _empty(table: PlotTable | None, register: Register) -> Part:
    """Give what is kept of a part without visits: its plots."""
    none, traits = pd.DataFrame(), table.traits if table is not None else ()
    rows, number = no_rows(traits), pd.Series(dtype=int)
    usable = None if table is None else book.used_plots(table, table.found)
    return Part(
        plots_frame(usable, rows, traits, tagged=register.settings.records.kind == "tagged"),
        none, {}, none, causes_of(none_found(), ()), number, rows.iloc[:0], number,
        None, (), None, frozenset(), Counter(), rules_in_force(none_found(), register.settings), traits,
        none, frozenset(), False,
    )  # fmt: skip
