"""Registers: visits larger than memory, read a part at a time, each part whole sites (or plots) of all files.

A part is read, checked and made into risk intervals as the sheets of a small study are, by the same code.
What is kept of it is one seedling for each history (`survivor.records.collapsing`), how many records went
where, and what is wrong: counted in full, with the first examples. What is usual among the records (the
middle day of a visit, the usual number of plants) is taken from the part; what the plot sheet, the works
diary and the study file say is compared once, over all parts.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from survivor.errors import RecordsError
from survivor.files.cells import texts
from survivor.files.datasets import (
    Batches,
    batches_of,
    cells_of,
    scatter,
)
from survivor.files.headers import squeezed
from survivor.files.kinds import WORKBOOK_ENDINGS
from survivor.frames import tables_share
from survivor.memory import give_back
from survivor.parallel import side_by_side
from survivor.progress import tell
from survivor.records import book
from survivor.records.accounts import counted_up, no_rows, why_nothing
from survivor.records.checks.names import check_levels, check_rules
from survivor.records.checks.study_names import StudyLines, check_own_lines, check_study_names
from survivor.records.collapsing import Kept, Rule, packed, rules_kept, unpacked
from survivor.records.diary import plot_works
from survivor.records.folding import MEASURED, Named, plain_tags
from survivor.records.frames import intervals_frame, methods_in_order
from survivor.records.parts import (
    EXAMPLES,
    ON_SHEETS,
    Part,
    Register,
    RegisterFile,
    part_of,
    raw_sheet,
    sources_before,
)
from survivor.records.plots import PlotTable, plot_table
from survivor.records.problems import (
    LINE,
    NOWHERE,
    Source,
    account_table,
    causes_of,
    gather,
    join_causes,
    none_found,
    print_problems,
)
from survivor.records.result import ROW_ORDER, Records
from survivor.records.sheets import RawSheet, read_plot_sheet, sites_of_plots
from survivor.records.summing import may_be_summed, summed, summed_by_cause
from survivor.records.tidy import Tidy, stack, tidy_plots, tidy_visits
from survivor.settings import STUDY_FILE, Settings, Sheet, key_lines
from survivor.vocabulary import PLOT_KEY
from survivor.words import counted

_A_PART: Final = 250_000  # records of a part, about
_ALIKE: Final = 4  # times as many where one seedling stands for those like it; but for the first parts:
_FEWEST_PARTS: Final = 8
_MOST: Final = 0.9  # of the tags
_MOST_PARTS: Final = 500  # files held open at once
_SAMPLE: Final = 2_000  # rows that tell how a file is to be understood
_BY: Final = (*ROW_ORDER["visits"][:-2], "planted_date", "date", "start_day", "row")
_SPELT: Final = ("site", "block", "species", "method")  # words with one spelling in all parts


def read_register(study_file: str | Path, settings: Settings) -> Records:
    """Read a study whose visits are a register; parameters and errors as `read_records`."""
    with tempfile.TemporaryDirectory(prefix="survivor-") as home:
        register = open_register(study_file, settings, Path(home))
        parts = side_by_side(partial(part_of, register), range(register.parts))
    return join_parts(study_file, register, parts)


def open_register(study_file: str | Path, settings: Settings, home: Path) -> Register:
    """Look a register through, and part its rows by place.

    Parameters
    ----------
    study_file, settings
        As for `read_records`.
    home
        An empty folder for the parts; `survivor.records.parts.part_of` reads each from there.

    Raises
    ------
    RecordsError
        As `read_records`.
    """
    folder, name = _placed(study_file)
    closed = settings.records_closed or dt.date.today()
    book.need_files(folder, settings)
    for sheet in settings.records.sheets:
        _refuse_what_needs_the_whole(sheet)
    register = _opened(folder, name, settings, closed, home)
    tell(f"{_number(register)}, looked through")
    give_back()
    return register


def join_parts(study_file: str | Path, register: Register, parts: Sequence[Part]) -> Records:
    """Put the parts of a register together; they are used up."""
    tell(f"{_number(register)}, put together")
    with tables_share():
        notes = StudyLines(key_lines(Path(study_file)), len(register.sources) - 1)
        records = _put_together(register, parts, notes)
    give_back()
    return records


def parts_about(study_file: str | Path, settings: Settings) -> int:
    """Say how many parts a register is read in; errors as `read_records`."""
    folder, _ = _placed(study_file)
    return _how_many([batches_of(folder, sheet.file) for sheet in settings.records.sheets])


def _placed(study_file: str | Path) -> tuple[Path, str]:
    given = Path(study_file)
    return (given, STUDY_FILE) if given.is_dir() else (given.parent, given.name)


def _number(register: Register) -> str:
    return f"{sum(file.scattered.rows for file in register.files):,} records"


def _how_many(batches: Sequence[Batches], folded: bool = False) -> int:
    parts = sum(one.about() for one in batches) // _A_PART
    if folded:
        parts = min(parts, max(_FEWEST_PARTS, parts // _ALIKE))
    return min(max(1, parts), _MOST_PARTS)


def needs_the_whole(sheet: Sheet) -> str:
    """Name what the study file says of a sheet that only the whole of it can tell; empty where nothing is."""
    plain = Sheet(file=sheet.file)
    words = ("sheet", "area", "turned", "sections", "ticked", "skip_rows", "header_rows", "fill_down")
    return next((word for word in words if getattr(sheet, word) != getattr(plain, word)), "")


def _refuse_what_needs_the_whole(sheet: Sheet) -> None:
    if Path(sheet.file).suffix.lower() in WORKBOOK_ENDINGS:
        what, mend = "a workbook cannot stand beside a register", "save it as CSV or Parquet"
        raise RecordsError(what, where=sheet.file, mend=mend)
    if word := needs_the_whole(sheet):
        raise RecordsError(
            f"{word} needs the whole sheet, and a register is read in parts",
            where=sheet.file,
            mend=f"save the file with one header row and every cell filled in, and leave out {word}",
        )


# ---- opened: how the files are understood, and their rows parted by place ---------------


def _opened(folder: Path, name: str, settings: Settings, closed: dt.date, home: Path) -> Register:
    plot_sheet = read_plot_sheet(folder, settings.records.plots) if settings.records.plots else None
    sites, kind = sites_of_plots(plot_sheet), settings.records.kind
    batches = [batches_of(folder, sheet.file) for sheet in settings.records.sheets]
    samples = [
        _sample(folder, one, sheet, settings, sites)
        for one, sheet in zip(batches, settings.records.sheets, strict=True)
    ]
    book.need_methods([*([plot_sheet] if plot_sheet else []), *samples], settings)
    read = list(zip(settings.records.sheets, batches, samples, strict=True))
    by = "site" if all(_headers(sample, one, "site") for _, one, sample in read) else "plot"
    named = _named(read, kind)
    parts = _how_many(batches, named is not None and not named.measures and _folds(samples[0]))
    files = []
    for number, (sheet, one, sample) in enumerate(read):
        (own := home / str(number)).mkdir()
        words = {word: heads[0] for word in _SPELT if len(heads := _headers(sample, one, word)) == 1}
        place = _headers(sample, one, by)
        scattered = scatter(one, place, squeezed, own, parts, list(dict.fromkeys(words.values())))
        scattered.words = {word: scattered.words[head] for word, head in words.items()}
        files.append(RegisterFile(sheet, one, sample, scattered))
    plots = stack([tidy_plots(plot_sheet, kind)]) if plot_sheet else None
    visits = stack([tidy_visits(sample, kind) for sample in samples], after=[plots])
    sites_told = _sites_told(plots, files)
    if not sites_told and plots is not None:
        plots = replace(plots, rows=plots.rows.assign(site=settings.study.name))
    diary = book.read_diary(folder, settings, (plots, visits))
    of_diary = diary.sources if diary is not None else ()
    sources = (*(plots.sources if plots else ()), *visits.sources, *of_diary, Source(name, "", LINE))
    return Register(
        folder,
        settings,
        closed,
        tuple(files),
        plots,
        plot_table(plots, sources, settings, closed) if plots is not None else None,
        sources,
        by,
        parts,
        _usual(files),
        "" if sites_told else settings.study.name,
        named,
        sites,
    )


def _sample(
    folder: Path, batches: Batches, sheet: Sheet, settings: Settings, sites: Mapping[str, str]
) -> RawSheet:
    for table in batches.each(_SAMPLE):
        if len(table):
            return raw_sheet(
                folder, batches, cells_of(table.slice(0, _SAMPLE)).filled(), sheet, settings, sites
            )
    raise RecordsError(
        "no records yet: there is a header and no row below it",
        where=sheet.file,
        mend="write the records below the header",
    )


def _headers(sample: RawSheet, batches: Batches, word: str) -> list[str]:
    """Headers of the columns that were taken for a word; none where the study file tells it for all rows."""
    taken = sample.matches[sample.matches["column"] == word]["header"]
    return [head for head in batches.header if head in set(taken)]


def _named(read: Sequence[tuple[Sheet, Batches, RawSheet]], kind: str) -> Named | None:
    """Tell the columns by which seedlings are known apart; None where they cannot be told by columns."""
    if kind != "tagged" or len(read) != 1:
        return None
    _, batches, sample = read[0]
    header, tag = batches.header, _headers(sample, batches, "tag")
    place = [head for word in ("site", "plot") for head in _headers(sample, batches, word)]
    if len(tag) != 1 or not place:
        return None
    taken = sample.matches.set_index("header")["column"].astype(str).to_dict()
    measures = [head for head in header if taken.get(head, "").partition(" at ")[0] in MEASURED]
    return Named(tuple(map(header.index, place)), header.index(tag[0]), tuple(map(header.index, measures)))


def _folds(sample: RawSheet) -> bool:
    """Tell whether most seedlings have tags such that one may stand for those like it."""
    tags = texts(sample.cells["tag"]).to_numpy()
    return bool(plain_tags(np.unique(tags)).mean() >= _MOST)


def _sites_told(plots: Tidy | None, files: Sequence[RegisterFile]) -> bool:
    in_plots = plots is not None and "site" in plots.rows.columns and bool((plots.rows["site"] != "").any())
    return in_plots or any(
        file.sheet.every_row.get("site") or any(text.strip() for text in file.scattered.words.get("site", ()))
        for file in files
    )


def _usual(files: Sequence[RegisterFile]) -> dict[str, list[str]]:
    """Spellings of some words over all files, the commonest first."""
    usual: dict[str, list[str]] = {}
    for word in _SPELT:
        times: Counter[str] = Counter()
        for file in files:
            times.update({text.strip(): n for text, n in file.scattered.words.get(word, {}).items()})
        usual[word] = [text for text, _ in sorted(times.items(), key=lambda one: (-one[1], one[0])) if text]
    return usual


# ---- put together -------------------------------------------------------------------------


def _put_together(register: Register, parts: Sequence[Part], notes: StudyLines) -> Records:
    settings, table, sources = register.settings, register.table, register.sources
    check_rules(settings, notes)
    traits = _traits(parts)
    visits = unpacked(_in_order([part.visits for part in parts], register.together == "site"), but=())
    under = _under(parts, traits, settings, register.together == "site")
    intervals = under.pop(rules_kept(settings.rules)[0])
    rows = _stacked([part.places for part in parts])
    found = [book.not_read(register.folder, settings, sources), *_said(register)]
    found += [table.found] if table is not None else []
    nothing = None
    if intervals.empty:
        found.append(check_own_lines(settings, notes))
    else:
        sites = frozenset().union(*(part.sites for part in parts))
        sites |= frozenset(map(str, table.plots["site"])) if table is not None else frozenset()
        settings, unmatched = check_study_names(intervals, sites, settings, notes)
        plants = pd.concat([part.plants for part in parts if len(part.plants)])
        found += [
            check_levels(table, rows, settings, plants),
            book.check_traits_of(table, rows, traits),
            unmatched,
        ]
    kept = book.used_plots(table, gather(*found)) if table is not None else None
    if kept is not None:
        lived = frozenset().union(*(part.lived for part in parts))
        found.append(book.without_visits(kept, lived, none=intervals.empty))
    plots = _plots(parts, traits, kept)
    diary = book.read_diary(register.folder, settings, _before_diary(register))
    works = plot_works(plots, diary, settings, register.closed)
    everywhere = gather(*found, works.found)
    causes = [causes_of(everywhere, sources), *(part.causes for part in parts)]
    problems, number = _problems(causes, [part.number for part in parts], sources)
    if intervals.empty:
        filled = any(part.filled for part in parts)
        nothing = why_nothing(problems, sources, settings.study.name, filled=filled)
    beside = [tidy.rows[["record", "source", "row"]] for tidy in (register.plots, diary) if tidy is not None]
    own = [account_table(pd.concat(beside, ignore_index=True), everywhere, sources)] if beside else []
    accounts = counted_up(_stacked([*own, *(part.accounts for part in parts)]))
    sizes: Counter[str] = sum((part.sizes for part in parts), Counter())
    rules = parts[0].rules.assign(records=sum(part.rules["records"] for part in parts))
    return Records(
        plots=plots,
        visits=visits,
        intervals=intervals,
        accounts=accounts,
        problems=problems,
        matches=_matches(register, parts),
        _settings=settings,
        _traits=traits,
        _sources=sources,
        _nothing=None if nothing is None else (type(nothing), nothing.what, nothing.where, nothing.mend),
        works=works,
        _kept=Kept(under, dict(sizes), rules, number, _deaths(parts), _put_in(parts), _lost(parts)),
    )


def _traits(parts: Sequence[Part]) -> tuple[str, ...]:
    """Traits that every part with records could carry into its intervals."""
    told = [part.traits for part in parts if len(part.visits)]
    return tuple(name for name in (told[0] if told else ()) if all(name in own for own in told))


def _stacked(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else tables[0]


def _in_same_codes(tables: Sequence[pd.DataFrame]) -> list[pd.DataFrame]:
    """Give each text one code in all tables: categories in alphabetical order."""
    levels: dict[str, set[str]] = {}
    for table in tables:
        for name in table.select_dtypes("category"):
            levels.setdefault(str(name), set()).update(table[name].cat.categories)
    kinds = {name: pd.CategoricalDtype(sorted(known, key=str)) for name, known in levels.items()}
    return [table.astype({name: kind for name, kind in kinds.items() if name in table}) for table in tables]


def _in_order(tables: Sequence[pd.DataFrame], by_site: bool) -> pd.DataFrame:
    """Put tables of parts, each in its own order, into one order."""
    table = _stacked(_in_same_codes(tables))
    if table.empty:
        return table
    by = ["site"] if by_site else [name for name in _BY if name in table.columns]
    codes = [pd.factorize(table[name], sort=True)[0] for name in reversed(by)]
    order = np.lexsort(codes)
    return table.take(order).reset_index(drop=True)


def _under(
    parts: Sequence[Part], traits: Sequence[str], settings: Settings, by_site: bool
) -> dict[Rule, pd.DataFrame]:
    """Risk intervals of all parts by rule, those not reported packed."""
    reported, summing = rules_kept(settings.rules)[0], False
    under = {}
    for rule in next((list(part.intervals) for part in parts if part.intervals), [reported]):
        tables = [part.intervals.pop(rule) for part in parts if rule in part.intervals]
        table = _in_order(tables or [intervals_frame(no_rows(traits), traits, settings)], by_site)
        carried = {trait for part in parts for trait in part.traits} - set(traits)
        table = table.drop(columns=[name for name in carried if name in table.columns])
        if rule == reported:  # the first
            summing = settings.records.kind == "tagged" and may_be_summed(table)
        table = summed(table, settings.milestones) if summing else table
        table["method"] = pd.Categorical(table["method"], categories=methods_in_order(table, settings))
        under[rule] = unpacked(table) if rule == reported else packed(table)
    return under


def _deaths(parts: Sequence[Part]) -> pd.DataFrame | None:
    told = [part.deaths for part in parts if part.deaths is not None]
    return unpacked(summed_by_cause(_stacked(_in_same_codes(told))), but=()) if told else None


def _put_in(parts: Sequence[Part]) -> pd.DataFrame | None:
    told = [part.put_in for part in parts if part.put_in is not None]
    if not told:
        return None
    return pd.concat(told).groupby(["site", "method"], sort=True).sum().reset_index()


def _lost(parts: Sequence[Part]) -> tuple[str, ...]:
    return tuple(sorted({site for part in parts for site in part.lost}))


def _plots(parts: Sequence[Part], traits: Sequence[str], kept: PlotTable | None) -> pd.DataFrame:
    plots = _stacked([part.plots for part in parts])
    if "species" in plots.columns:
        plots["species"] = plots["species"].fillna("")
    by = [name for name in (*PLOT_KEY, "species") if name in plots.columns]
    return plots.sort_values(by, kind="stable").reset_index(drop=True)


def _said(register: Register) -> list[pd.DataFrame]:
    """Say what holds of the files as a whole."""
    visits = stack(
        [tidy_visits(file.sample, register.settings.records.kind) for file in register.files],
        after=[register.plots],
    )
    said = visits.found[(visits.found["record"] == NOWHERE) & visits.found["code"].isin(ON_SHEETS)]
    return [said, book.no_site(register.one_site) if register.one_site else none_found()]


def _before_diary(register: Register) -> tuple[Tidy | None, Tidy]:
    """Give what the records and sources of the diary are numbered after."""
    number = sum(len(file.sample.sources) for file in register.files)
    first = sources_before(register)
    none = pd.DataFrame()
    return register.plots, Tidy(none, none_found(), register.sources[first : first + number], none)


def _problems(
    causes: Sequence[pd.DataFrame], numbers: Sequence[pd.Series[int]], sources: Sequence[Source]
) -> tuple[pd.DataFrame, pd.Series[int]]:
    """Problems of all parts, the first examples of each code, and how many there are of each."""
    joined = join_causes(causes)
    shared = joined[joined["group"] != ""]["code"].value_counts()
    alone = causes[0][causes[0]["group"] == ""]["code"].value_counts()
    for of_part, number in zip(causes[1:], numbers, strict=True):
        of_groups = of_part[of_part["group"] != ""]["code"].value_counts()
        alone = alone.add(number.sub(of_groups, fill_value=0), fill_value=0)
    number = alone.add(shared, fill_value=0).astype(int)
    kept = joined[joined.groupby("code").cumcount() < EXAMPLES]
    listed = kept["code"].value_counts()
    more = number - listed.reindex(number.index).fillna(0).astype(int)
    table = print_problems(kept, sources)
    last = {str(line["code"]): line for line in table.to_dict("records")}
    rest = [
        {
            **last[code],
            "row": pd.NA,
            "value": "",
            "what": f"and {counted(count, 'more problem')} of this kind, "
            f"{listed.get(code, 0) + count:,} in all",
        }
        for code, count in zip(map(str, more.index), more.astype(int).tolist(), strict=True)
        if count > 0
    ]
    if not rest:
        return table, number
    both = pd.concat([table, pd.DataFrame(rest).astype(table.dtypes.to_dict())], ignore_index=True)
    place = {code: n for n, code in enumerate(table["code"].drop_duplicates())}
    order = both["code"].map(place).sort_values(kind="stable").index
    return both.loc[order].reset_index(drop=True), number


def _matches(register: Register, parts: Sequence[Part]) -> pd.DataFrame:
    own = [] if register.plots is None else [register.plots.matches]
    own += [part.matches for part in parts if len(part.matches)]
    return pd.concat(own).drop_duplicates(ignore_index=True)
