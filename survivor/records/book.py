"""Records: everything read from the sheets of a study, and what became of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.files.sheets import must_be_there, read_whole, sheet_names
from survivor.progress import counted_off, tell
from survivor.records import counts, tagged
from survivor.records.accounts import (
    first_causes,
    no_rows,
    plants_put_in,
    rules_in_force,
    why_nothing,
)
from survivor.records.checks.names import check_levels, check_rules
from survivor.records.checks.plots import NOT_RECORDED
from survivor.records.checks.sense import check_traits
from survivor.records.checks.states import check_states
from survivor.records.checks.study_names import StudyLines, check_own_lines, check_study_names
from survivor.records.diary import PlotWorks, no_works, plot_works
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
    finding_table,
    gather,
    none_found,
    problem_table,
    say,
    set_aside,
)
from survivor.records.renaming import Words, in_words, ordered
from survivor.records.sheets import (
    RawSheet,
    read_diary_sheet,
    read_plot_sheet,
    read_visit_sheet,
    sites_of_plots,
)
from survivor.records.tables import holds_records
from survivor.records.tagged import Histories, Missing, Unknown
from survivor.records.tidy import Tidy, stack, tidy_diary, tidy_plots, tidy_visits
from survivor.settings import STUDY_FILE, Settings, Sheet, key_lines
from survivor.vocabulary import PLOT_KEY, State

_ORDER: Final = {  # of the rows of each table: by these of its columns
    "plots": (*PLOT_KEY, "species"),
    "visits": (*PLOT_KEY, "tag", "species", "cohort", "date", "row"),
    "intervals": (*PLOT_KEY, "tag", "species", "cohort", "planted_date", "start_day"),
}


@dataclass(frozen=True)
class Records:
    """The records of a study, tidy, with an account of every one.

    Attributes
    ----------
    plots
        One row a plot (and a species, where numbers planted are told by species):
        site, block, plot, species, method, planted_date (the last planting day),
        planted (seedlings), weed_free_radius_m, and every trait found.
    visits
        One row a visit record that is not excluded: keys, visit, date, day (since
        planting), state (as recorded) or alive, height_cm, cause and whatever else
        was recorded; file, sheet, row.
    intervals
        Risk intervals, `survivor.vocabulary.INTERVAL_COLUMNS`, then the traits, then
        the dry season where the study file gives one; none where no record can be used (`nothing`).
    accounts
        `survivor.vocabulary.ACCOUNT_COLUMNS`: one row a record read; fate is
        "used", "excluded" (not used until corrected) or "listed" (tells nothing more).
    problems
        `survivor.vocabulary.PROBLEM_COLUMNS`, the gravest first; every reason that an account gives is
        there. `first_problems` leaves out what may follow from another of them: what a person mends first.
    matches
        file, sheet, header, column, how: what was taken for which of our words.
    works
        What was done to every plot, by the diary or by its preparation, and departures from the plan.
    """

    plots: pd.DataFrame
    visits: pd.DataFrame
    intervals: pd.DataFrame
    accounts: pd.DataFrame
    problems: pd.DataFrame
    matches: pd.DataFrame
    _settings: Settings = field(repr=False)
    _traits: tuple[str, ...] = field(repr=False)
    _past: Histories | None = field(repr=False, default=None)
    _found: pd.DataFrame = field(repr=False, default_factory=none_found)
    _sources: tuple[Source, ...] = field(repr=False, default=())
    _nothing: tuple[type[RecordsError], str, str, str] | None = field(repr=False, default=None)
    works: PlotWorks = field(repr=False, default_factory=no_works)

    @property
    def nothing(self) -> RecordsError | None:
        """Why no record can be used, the commonest cause first; None where any can."""
        if self._nothing is None:
            return None
        kind, what, where, mend = self._nothing
        return kind(what, where=where, mend=mend)

    def need_intervals(self) -> None:
        """Refuse records of which none can be used.

        Raises
        ------
        RecordsError
            As `nothing` says.
        """
        if (nothing := self.nothing) is not None:
            raise nothing

    @property
    def settings(self) -> Settings:
        """The study file as far as the records can follow it.

        Planted numbers and sites of gauges that no record matches are left out, and
        strata that the records do not tell; each has a problem.
        """
        return self._settings

    @property
    def first_problems(self) -> pd.DataFrame:
        """What to look at first: ``problems`` without those that may follow from another of them."""
        return first_causes(self.problems, self.accounts)

    @property
    def plants(self) -> pd.DataFrame:
        """Plants put in, by site and method: planted, and of these first_plants and replants."""
        return plants_put_in(self.visits, self.plots, tagged=self._settings.records.kind == "tagged")

    @property
    def findings(self) -> pd.DataFrame:
        """Every finding at its own cell, with the columns of ``problems``, which joins those of one cause."""
        return finding_table(self._found, self._sources)

    @property
    def rules(self) -> pd.DataFrame:
        """Rules of the study file that mend or read records: rule, what, records (touched)."""
        return rules_in_force(self._found, self._settings)

    def with_works(self, works: PlotWorks, read: pd.DataFrame) -> Records:
        """Return the records with the works of the plots, and what was found of them.

        Parameters
        ----------
        works
            What was done to every plot.
        read
            record, source, row of every record read.
        """
        if works.found.empty:
            return replace(self, works=works)
        found = gather([self._found, works.found])
        return replace(
            self,
            works=works,
            accounts=account_table(read, found, self._sources),
            problems=problem_table(found, self._sources),
            _found=found,
        )

    def under(self, *, missing: Missing | None = None, unknown: Unknown = "censored") -> pd.DataFrame:
        """Make the risk intervals under another rule.

        Parameters
        ----------
        missing
            "dead": a plant gone from its position died by the visit at which it was
            first missing; "unknown": it tells nothing. None: as the study file says.
        unknown
            What became of a tag never found again: "censored", it is followed to its
            last sighting; "dead", it died by the next visit of its plot; "alive", it
            lived to the last. The latter two bound every answer.

        Returns
        -------
        DataFrame
            As ``intervals``. Counts know neither tags nor missing plants, so theirs
            are the same under every rule.
        """
        if self._past is None:
            return self.intervals.copy()
        followed = tagged.follow(self._past, missing or self._settings.rules.missing, unknown)
        return intervals_frame(
            tagged.assemble(self._past, followed, self._traits), self._traits, self._settings
        )

    def renamed(self, settings: Settings, words: Words) -> Records:
        """Return the records with every text put through ``words``, in the order of the new names.

        Parameters
        ----------
        settings
            The study file under the new names, as far as the records can follow it.
        words
            Gives two names that differ two names that differ.
        """

        def in_order(name: str) -> pd.DataFrame:
            return ordered(in_words(getattr(self, name), words), _ORDER[name])

        past, nothing = self._past, self._nothing
        if nothing is not None:
            kind, what, where, mend = nothing
            nothing = kind, words(what), words(where), words(mend)
        return replace(
            self,
            plots=in_order("plots"),
            visits=in_order("visits"),
            intervals=in_order("intervals"),
            accounts=in_words(self.accounts, words),
            problems=in_words(self.problems, words),
            matches=in_words(self.matches, words),
            works=replace(
                self.works,
                rows=ordered(in_words(self.works.rows, words), (*PLOT_KEY, "date", "work")),
                departures=ordered(in_words(self.works.departures, words), (*PLOT_KEY, "work")),
                found=none_found(),
            ),
            _settings=settings,
            _nothing=nothing,
            _found=none_found(),  # findings at single cells name what stands in the sheets
            # Nobody reads the names by which tables of one study find each other.
            _past=past and replace(past, entries=in_words(past.entries, words, ("name", "entry"))),
        )

    def sizes(self) -> dict[str, int]:
        """Count the seedlings that entered, died, were lost from sight, and lived to the end.

        Returns
        -------
        dict
            entered, died, lost, alive; the last three sum to the first. First
            planting and infill together.
        """
        if self._past is not None:
            return tagged.sizes(self._past, tagged.follow(self._past, self._settings.rules.missing))
        keys = [*PLOT_KEY, "species", "cohort", "planted_date"]
        table = self.intervals.sort_values("start_day").groupby(keys, observed=True, dropna=False)
        entered, died = int(table["at_risk"].first().sum()), int(self.intervals["died"].sum())
        return {"entered": entered, "died": died, "lost": 0, "alive": entered - died}


See = Callable[[tuple[str | int, ...], RawSheet], None]


def _look_away(_place: tuple[str | int, ...], _sheet: RawSheet) -> None:
    """See nothing."""


def read_records(study_file: str | Path, settings: Settings, see: See = _look_away) -> Records:
    """Read the records that a study file names.

    Parameters
    ----------
    study_file
        The study file, or its folder; the sheets are named relative to it.
    settings
        What the study file says.
    see
        Called with the place of each table in the study file and its sheet as it was read.

    Returns
    -------
    Records
        Whatever is wrong with single records is in its problems; nothing is left
        out in silence. Where no record at all can be used it holds no interval and says
        why (`Records.nothing`).

    Raises
    ------
    RecordsError
        When a file cannot be read or a needed column is not understood.
    """
    given = Path(study_file)
    folder = given if given.is_dir() else given.parent
    name = STUDY_FILE if given.is_dir() else given.name
    closed = settings.records_closed or dt.date.today()
    _need_files(folder, settings)
    plots, visits = _tidied(folder, settings, see)
    plots, visits, one_site = _one_site(plots, visits, settings)
    diary = _diary(folder, settings, (plots, visits))
    in_order = [tidy for tidy in (plots, visits, diary) if tidy is not None]
    sources = (*(source for tidy in in_order for source in tidy.sources), Source(name, "", LINE))
    read = _taken_in(plots, visits, diary, sources)
    table = plot_table(plots, sources, settings, closed) if plots is not None else None
    held = [visits]
    del plots, visits, in_order  # of a large season each table takes as much memory as its file
    number = f"{len(read.records):,} records"
    tell(f"{number}, looked through")
    ready = prepare(held.pop(), table, sources, settings, closed)
    found = [_not_read(folder, settings, sources), one_site, ready.found]
    found += [table.found] if table is not None else []
    notes = StudyLines(key_lines(given), len(sources) - 1)
    check_rules(settings, notes)
    silent, traits, rows = ready.silent, ready.traits, [ready.rows]
    del ready
    tell(f"{number}, made into risk intervals")
    made = [_made(rows.pop(), traits, table, settings, sources)]
    gathered = gather([*found, made[0].found])
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
    _need_methods(sheets, settings)
    plots = stack([tidy_plots(plot_sheet, kind)]) if plot_sheet else None
    visits = stack([tidy_visits(sheet, kind) for sheet in visit_sheets], after=[plots])
    return plots, _no_method(visits, sheets)


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
    told = visits.rows["state"] != "" if "state" in visits.rows.columns else visits.rows["alive"].notna()
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
        bool(told.any()),
    )


def _named_sheets(settings: Settings) -> list[Sheet]:
    """Sheets that the study file names: of visits, of plots, and the works diary."""
    diary = settings.works.diary if settings.works is not None else None
    beside = (settings.records.plots, diary)
    return [*settings.records.sheets, *(sheet for sheet in beside if sheet is not None)]


def _need_files(folder: Path, settings: Settings) -> None:
    """Refuse a study whose sheets are not all there, without proposing one that has its use."""
    needed = [sheet.file for sheet in _named_sheets(settings)]
    beside = [*(gauge.file for gauge in settings.gauges), *(file.file for file in settings.weather)]
    for file in needed:
        must_be_there(folder / file, file, named=[*needed, *beside])


def _not_read(folder: Path, settings: Settings, sources: Sequence[Source]) -> pd.DataFrame:
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
                found.append(
                    say(
                        "sheet-not-read",
                        value=sheet,
                        what=f"the sheet {sheet} of {file} has the header of a sheet of plots or "
                        "seedlings, and is not read",
                        mend="name it in a table [[records.sheets]]; or, if it is a copy or a summary, "
                        f'write under [records]: not_read = ["{sheet}"]',
                    )
                )
    return gather(found)


def _need_methods(sheets: list[RawSheet], settings: Settings) -> None:
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


def _no_method(visits: Tidy, sheets: list[RawSheet]) -> Tidy:
    """Say so where no sheet tells a method and none is compared."""
    if any("method" in sheet.words for sheet in sheets):
        return visits
    return replace(visits, rows=visits.rows.assign(method=NOT_RECORDED))


def _diary(folder: Path, settings: Settings, before: Sequence[Tidy | None]) -> Tidy | None:
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
    found = say(
        "no-site",
        word="site",
        value=name,
        what="no column tells sites apart: all plots are taken as one site under the name of the study",
        mend='nothing, if it is one site; else name the column, or [records.sheets.every_row] site = "..."',
    )
    assert named[1] is not None
    return named[0], named[1], found


def _put_together(
    made: _Made,
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
        nothing = why_nothing(found, sources, settings.study.name, filled=read.filled)
    rows = no_rows(traits) if made.intervals.empty else made.intervals
    intervals = intervals_frame(rows, traits, settings)
    if nothing is None:
        settings, unmatched = check_study_names(intervals, set(read.sites), settings, notes)
        levels = [check_levels(table, made.rows, settings), _check_traits(table, made.rows, traits)]
        found = gather([found, *levels, unmatched])
    else:
        found = gather([found, check_own_lines(settings, notes)])
    kept = _kept(table, found)
    if kept is not None:
        found = gather([found, _without_visits(kept, made.entries, intervals)])
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
class _Made:
    """Histories and intervals of the visit records, with what was found on the way."""

    intervals: pd.DataFrame
    entries: pd.DataFrame
    rows: pd.DataFrame
    found: pd.DataFrame
    past: Histories | None = None


def _made(
    rows: pd.DataFrame,
    traits: tuple[str, ...],
    table: PlotTable | None,
    settings: Settings,
    sources: Sequence[Source],
) -> _Made:
    if rows.empty:
        return _Made(rows, no_rows(traits), rows, none_found())
    if settings.records.kind == "tagged":
        planted = planted_by_plot(table, rows)
        held = [rows]
        del rows
        past, more = tagged.histories(held.pop(), planted, settings.rules)
        followed = tagged.follow(past, settings.rules.missing)
        rows = followed.rows
        return _Made(
            intervals=tagged.assemble(past, followed, traits),
            entries=past.entries,
            rows=rows.assign(state=rows["state"].where(~(rows["blank"] & rows["death"]), str(State.DEAD))),
            found=gather([more, check_states(past, followed)]),
            past=past.shortened(),
        )
    counted, more = counts.counted(rows, planted_by_entry(table, rows), settings.rules, sources)
    return _Made(
        intervals=counts.intervals(counted, traits),
        entries=counted.entries,
        rows=counted.told,
        found=gather([more, counts.check_left_out(counted)]),
    )


def _check_traits(table: PlotTable | None, rows: pd.DataFrame, traits: Sequence[str]) -> pd.DataFrame:
    """Look through the words of traits where they stand: in the plot sheet, or with the visits."""
    if table is None:
        return check_traits(rows.drop_duplicates("name"), traits)
    return check_traits(table.plots, (*table.traits, "weed_free_radius_m"))


def _kept(table: PlotTable | None, found: pd.DataFrame) -> PlotTable | None:
    """Leave out the plots whose row of the plot sheet is excluded."""
    if table is None:
        return None
    lost = table.records.loc[table.records["record"].isin(set_aside(found)), "name"]
    return replace(
        table,
        plots=table.plots[~table.plots.index.isin(lost)],
        planted=table.planted[~table.planted["name"].isin(lost)],
    )


def _without_visits(table: PlotTable, entries: pd.DataFrame, intervals: pd.DataFrame) -> pd.DataFrame:
    """Find plots of the plot sheet of which no interval came."""
    with_interval = intervals[list(PLOT_KEY)].drop_duplicates()
    names = entries.drop_duplicates("name")[["name", *PLOT_KEY]].merge(with_interval, on=list(PLOT_KEY))[
        "name"
    ]
    plots = table.plots.reset_index()
    none = intervals.empty  # one cause, said elsewhere, and not one a plot
    return find(
        plots,
        ~plots["name"].isin(names),
        "plot-without-visits",
        word="plot",
        what="no visit of any plot can be used" if none else "no visit of this plot can be used",
        mend="see what else is said of the visits: nothing can be analysed until some can be used"
        if none
        else "add its visits, or correct their labels; without them the plot is left out of every answer",
        group=pd.Series("none" if none else "", index=plots.index),
    )
