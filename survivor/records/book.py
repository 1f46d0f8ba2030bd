"""The sheets of a study read: to tidy records, to histories, to risk intervals, with an account of each."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.files.sheets import must_be_there, read_whole, sheet_names
from survivor.intervals import row_codes
from survivor.progress import counted_off, tell
from survivor.records import counts, tagged
from survivor.records.accounts import (
    no_rows,
    why_nothing,
)
from survivor.records.checks.names import check_levels, check_rules, plants_by_plot
from survivor.records.checks.plots import NOT_RECORDED
from survivor.records.checks.sense import check_traits
from survivor.records.checks.states import check_states
from survivor.records.checks.study_names import StudyLines, check_own_lines, check_study_names
from survivor.records.diary import plot_works
from survivor.records.frames import (
    intervals_frame,
    planted_by_entry,
    planted_by_plot,
    plots_frame,
    visits_frame,
)
from survivor.records.plots import PlotTable, plot_table
from survivor.records.prepare import WORKINGS, left, prepare
from survivor.records.problems import (
    LINE,
    Source,
    account_table,
    find,
    gather,
    none_found,
    problem_table,
    say,
    set_aside,
)
from survivor.records.result import Records
from survivor.records.sheets import (
    RawSheet,
    read_diary_sheet,
    read_plot_sheet,
    read_visit_sheet,
    sites_of_plots,
)
from survivor.records.tables import holds_records
from survivor.records.tagged import Histories
from survivor.records.tidy import Tidy, stack, tidy_diary, tidy_plots, tidy_visits
from survivor.settings import STUDY_FILE, Settings, Sheet, key_lines
from survivor.vocabulary import PLOT_KEY, State

See = Callable[[tuple[str | int, ...], RawSheet], None]


def look_away(_place: tuple[str | int, ...], _sheet: RawSheet) -> None:
    """See nothing."""


def read_sheets(study_file: str | Path, settings: Settings, see: See) -> Records:
    """Read records that lie in sheets; parameters and errors as `survivor.records.read_records`."""
    given = Path(study_file)
    folder = given if given.is_dir() else given.parent
    name = STUDY_FILE if given.is_dir() else given.name
    closed = settings.records_closed or dt.date.today()
    need_files(folder, settings)
    plots, visits = _tidied(folder, settings, see)
    plots, visits, one_site = _one_site(plots, visits, settings)
    diary = read_diary(folder, settings, (plots, visits))
    in_order = [tidy for tidy in (plots, visits, diary) if tidy is not None]
    sources = (*(source for tidy in in_order for source in tidy.sources), Source(name, "", LINE))
    read = _taken_in(plots, visits, diary, sources)
    table = plot_table(plots, sources, settings, closed) if plots is not None else None
    held = [visits]
    del plots, visits, in_order  # of a large season each table takes as much memory as its file
    number = f"{len(read.records):,} records"
    tell(f"{number}, looked through")
    ready = prepare(held.pop(), table, sources, settings, closed)
    found = [not_read(folder, settings, sources), one_site, ready.found]
    found += [table.found] if table is not None else []
    notes = StudyLines(key_lines(given), len(sources) - 1)
    check_rules(settings, notes)
    silent, traits, rows = ready.silent, ready.traits, [ready.rows]
    del ready
    tell(f"{number}, made into risk intervals")
    made = [made_of(rows.pop(), traits, table, settings, sources)]
    gathered = gather(*found, made[0].found)
    tell(f"{number}, put together")
    whole = _put_together(made.pop(), silent, traits, table, read, gathered, settings, notes)
    return whole.with_works(plot_works(whole.plots, diary, settings, closed), read.records)


def _tidied(folder: Path, settings: Settings, see: See) -> tuple[Tidy | None, Tidy]:
    """Read the sheets and type their cells; the cells themselves are let go."""
    kind = settings.records.kind
    plot_sheet = read_plot_sheet(folder, settings.records.plots) if settings.records.plots else None
    sites = sites_of_plots(plot_sheet)
    visit_sheets = [
        read_visit_sheet(folder, sheet, settings, sites)
        for sheet in counted_off(settings.records.sheets, "sheet")
    ]
    if plot_sheet is not None:
        see(("records", "plots"), plot_sheet)
    for number, sheet in enumerate(visit_sheets):
        see(("records", "sheets", number), sheet)
    sheets = [*([plot_sheet] if plot_sheet else []), *visit_sheets]
    need_methods(sheets, settings)
    plots = stack([tidy_plots(plot_sheet, kind)]) if plot_sheet else None
    visits = stack([tidy_visits(sheet, kind) for sheet in visit_sheets], after=[plots])
    return plots, no_method(visits, sheets)


@dataclass(frozen=True)
class _TakenIn:
    """What there was to read, for the accounts: record, source and row of each, and what all of it tells."""

    records: pd.DataFrame
    sources: tuple[Source, ...]
    matches: pd.DataFrame
    sites: frozenset[str]
    filled: bool


def _taken_in(plots: Tidy | None, visits: Tidy, diary: Tidy | None, sources: tuple[Source, ...]) -> _TakenIn:
    tidies = [tidy for tidy in (plots, visits, diary) if tidy is not None]
    return _TakenIn(
        pd.concat([tidy.rows[["record", "source", "row"]] for tidy in tidies], ignore_index=True),
        sources,
        pd.concat([tidy.matches for tidy in tidies], ignore_index=True),
        frozenset(
            str(site)
            for tidy in (plots, visits)
            if tidy is not None and "site" in tidy.rows.columns
            for site in tidy.rows["site"].dropna().unique()
        ),
        tells(visits),
    )


def tells(visits: Tidy) -> bool:
    """Whether any visit record tells a state or a count, right or wrong."""
    told = visits.rows["state"] != "" if "state" in visits.rows.columns else visits.rows["alive"].notna()
    return bool(told.any()) or bool(visits.found["code"].isin(_TOLD_WRONG).any())


_TOLD_WRONG: Final = ("unreadable-count", "negative-count", "fractional-count", "percentage")


def _named_sheets(settings: Settings) -> list[Sheet]:
    """Sheets that the study file names: of visits, of plots, and the works diary."""
    diary = settings.works.diary if settings.works is not None else None
    beside = (settings.records.plots, diary)
    return [*settings.records.sheets, *(sheet for sheet in beside if sheet is not None)]


def need_files(folder: Path, settings: Settings) -> None:
    """Refuse a study whose sheets are not all there, without proposing one that has its use."""
    needed = [sheet.file for sheet in _named_sheets(settings)]
    beside = [*(gauge.file for gauge in settings.gauges), *(file.file for file in settings.weather)]
    for file in needed:
        if "*" in file:
            continue  # files of a register, which are looked for where they are read
        must_be_there(folder / file, file, named=[*needed, *beside])


def not_read(folder: Path, settings: Settings, sources: Sequence[Source]) -> pd.DataFrame:
    """Find sheets with a header of plots or seedlings in the workbooks of the study that nothing reads."""
    read = {(source.file, source.sheet.strip().casefold()) for source in sources}
    passed_over = {name.strip().casefold() for name in settings.records.passed_over}
    found = []
    for file in dict.fromkeys(source.file for source in sources if source.sheet):
        for sheet in sheet_names(folder / file):
            own = sheet.strip().casefold()
            if (file, own) in read or own in passed_over:
                continue
            if holds_records(read_whole(folder / file, name=file, sheet=sheet)):
                found.append(say("sheet-not-read", value=sheet, file=file))
    return gather(*found)


def need_methods(sheets: list[RawSheet], settings: Settings) -> None:
    """Refuse sheets without a preparation where preparations are to be compared.

    Raises
    ------
    RecordsError
        Naming the headers, and what to write in the study file.
    """
    if settings.study.purpose != "compare preparations" or any("method" in sheet.words for sheet in sheets):
        return
    sheet = sheets[0]
    headers = ", ".join(repr(header) for header in sheet.matches["header"] if header)
    table = "records.plots" if settings.records.plots else "records.sheets"
    raise RecordsError(
        f"no column was understood as method, so preparations cannot be compared; the headers are {headers}",
        where=sheet.sources[0].file,
        mend=f'say in the study file which header it is:\n    [{table}.columns]\n    method = "..."\n'
        'or, where nothing is compared, [study] purpose = "check a target"',
    )


def no_method(visits: Tidy, sheets: list[RawSheet]) -> Tidy:
    """Say so where no sheet tells a method and none is compared."""
    if any("method" in sheet.words for sheet in sheets):
        return visits
    return replace(visits, rows=visits.rows.assign(method=NOT_RECORDED))


def read_diary(folder: Path, settings: Settings, before: Sequence[Tidy | None]) -> Tidy | None:
    """Read the works diary, where the study file names one."""
    if settings.works is None or settings.works.diary is None:
        return None
    return stack([tidy_diary(read_diary_sheet(folder, settings.works.diary))], after=before)


def _one_site(plots: Tidy | None, visits: Tidy, settings: Settings) -> tuple[Tidy | None, Tidy, pd.DataFrame]:
    """Take all plots as one site where no sheet tells sites apart."""
    told = [tidy.rows["site"] for tidy in (plots, visits) if tidy is not None and "site" in tidy.rows.columns]
    if any((site != "").any() for site in told):
        return plots, visits, none_found()
    name = settings.study.name
    named = [
        None if tidy is None else replace(tidy, rows=tidy.rows.assign(site=name)) for tidy in (plots, visits)
    ]
    assert named[1] is not None
    return named[0], named[1], no_site(name)


def no_site(name: str) -> pd.DataFrame:
    """Say that all plots are taken as one site."""
    return say("no-site", "site", value=name)


def _put_together(
    made: Made,
    silent: pd.DataFrame,
    traits: tuple[str, ...],
    table: PlotTable | None,
    read: _TakenIn,
    found: pd.DataFrame,
    settings: Settings,
    notes: StudyLines,
) -> Records:
    sources = read.sources
    tagged_seedlings = settings.records.kind == "tagged"
    nothing = None
    if made.intervals.empty:
        problems = problem_table(found, sources)
        nothing = why_nothing(problems, sources, settings.study.name, filled=read.filled)
    rows = no_rows(traits) if made.intervals.empty else made.intervals
    if made.past is not None and len(rows):
        rows = tagged.assemble(made.past, rows, traits)
    intervals = intervals_frame(rows, traits, settings)
    if nothing is None:
        settings, unmatched = check_study_names(intervals, set(read.sites), settings, notes)
        plants = plants_by_plot(made.rows if tagged_seedlings else made.rows.iloc[:0])
        levels = [
            check_levels(table, made.rows, settings, plants),
            check_traits_of(table, made.rows, traits),
        ]
        found = gather(found, *levels, unmatched)
    else:
        found = gather(found, check_own_lines(settings, notes))
    kept = used_plots(table, found)
    if kept is not None:
        lived = names_with_intervals(made.entries, intervals)
        found = gather(found, without_visits(kept, lived, none=intervals.empty))
    seen = [part for part in (made.rows, silent) if not part.empty] or [silent]
    needed = ("record", "source", "row", *(() if tagged_seedlings else ("alive", "dead")))
    spare = [word for word in WORKINGS if word not in needed]
    seen = [part.drop(columns=spare, errors="ignore") for part in seen]
    entries, past = made.entries, made.past
    del made, rows  # before what they hold is copied in its last order
    visits = visits_frame(
        left(pd.concat(seen, ignore_index=True), found),
        sources,
        (*WORKINGS, *traits),
        tagged=tagged_seedlings,
    )
    del seen
    return Records(
        plots=plots_frame(kept, entries, traits, tagged=tagged_seedlings),
        visits=visits,
        intervals=intervals,
        accounts=account_table(read.records, found, sources),
        problems=problem_table(found, sources),
        matches=read.matches,
        _settings=settings,
        _traits=traits,
        _past=past,
        _found=found,
        _sources=sources,
        _nothing=None if nothing is None else (type(nothing), nothing.what, nothing.where, nothing.mend),
    )


@dataclass(frozen=True)
class Made:
    """Histories and intervals of the visit records, with what was found on the way.

    Of tagged seedlings ``intervals`` are the stretches, without facts (`survivor.records.tagged.assemble`).
    """

    intervals: pd.DataFrame
    entries: pd.DataFrame
    rows: pd.DataFrame
    found: pd.DataFrame
    past: Histories | None = None


def made_of(
    rows: pd.DataFrame,
    traits: tuple[str, ...],
    table: PlotTable | None,
    settings: Settings,
    sources: Sequence[Source],
) -> Made:
    """Make histories and risk intervals of ready visit records."""
    if rows.empty:
        return Made(rows, no_rows(traits), rows, none_found())
    if settings.records.kind == "tagged":
        planted = planted_by_plot(table, rows)
        held = [rows]
        del rows
        past, more = tagged.histories(held.pop(), planted, settings.rules)
        followed = tagged.follow(past, settings.rules.missing)
        rows = followed.rows
        return Made(
            intervals=followed.intervals,
            entries=past.entries,
            rows=rows.assign(state=rows["state"].where(~(rows["blank"] & rows["death"]), str(State.DEAD))),
            found=gather(more, check_states(past, followed)),
            past=past.shortened(),
        )
    counted, more = counts.counted(rows, planted_by_entry(table, rows), settings.rules, sources)
    return Made(
        intervals=counts.intervals(counted, traits),
        entries=counted.entries,
        rows=counted.told,
        found=gather(more, counts.check_left_out(counted)),
    )


def check_traits_of(table: PlotTable | None, rows: pd.DataFrame, traits: Sequence[str]) -> pd.DataFrame:
    """Look through the words of traits where they stand: in the plot sheet, or with the visits."""
    if table is None:
        return check_traits(rows.drop_duplicates("name"), traits)
    return check_traits(table.plots, (*table.traits, "weed_free_radius_m"))


def used_plots(table: PlotTable | None, found: pd.DataFrame) -> PlotTable | None:
    """Leave out the plots whose row of the plot sheet is excluded."""
    if table is None:
        return None
    lost = table.records.loc[table.records["record"].isin(set_aside(found)), "name"]
    if lost.empty:
        return table
    return replace(
        table,
        plots=table.plots[~table.plots.index.isin(lost)],
        planted=table.planted[~table.planted["name"].isin(lost)],
    )


def names_with_intervals(entries: pd.DataFrame, intervals: pd.DataFrame) -> frozenset[str]:
    """Name the plots of which any interval came."""
    places = [intervals[word] for word in PLOT_KEY]
    first = row_codes(places, in_order=False)[1]
    with_interval = set(zip(*(told.iloc[first] for told in places), strict=True))
    plots = entries.drop_duplicates("name")
    own = zip(*(plots[word] for word in PLOT_KEY), strict=True)
    return frozenset(name for name, place in zip(plots["name"], own, strict=True) if place in with_interval)


def without_visits(table: PlotTable, names: frozenset[str], *, none: bool) -> pd.DataFrame:
    """Find plots of the plot sheet that are not among those with an interval; ``none`` has one."""
    plots = table.plots.reset_index()
    # Where none has, it is one cause, said elsewhere, and not one a plot.
    return find(
        plots,
        ~plots["name"].isin(names),
        "plot-without-visits",
        "plot",
        message="no-plot-with-visits" if none else "",
        group="none" if none else "",
    )
