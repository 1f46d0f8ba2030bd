"""Records: everything read from the sheets of a study, and what became of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from survivor.errors import RecordsError
from survivor.records import counts, tagged
from survivor.records.checks.levels import check_levels
from survivor.records.checks.plots import NOT_RECORDED
from survivor.records.checks.rules import check_rules
from survivor.records.checks.states import check_states
from survivor.records.checks.study_names import StudyLines, check_own_lines, check_study_names
from survivor.records.frames import (
    intervals_frame,
    planted_by_entry,
    planted_by_plot,
    plots_frame,
    visits_frame,
)
from survivor.records.mended import rules_in_force
from survivor.records.nothing import no_rows, why_nothing
from survivor.records.plots import PlotTable, plot_table
from survivor.records.prepare import WORKINGS, Ready, left, prepare
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
from survivor.records.reading import must_be_there
from survivor.records.sheets import RawSheet, read_plot_sheet, read_visit_sheet
from survivor.records.tagged import Histories, Missing, Unknown
from survivor.records.tidy import Tidy, stack, tidy_plots, tidy_visits
from survivor.settings import STUDY_FILE, Settings, key_lines
from survivor.vocabulary import PLOT_KEY, State


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
        One row a visit record that is not set aside: keys, visit, date, day (since
        planting), state (as recorded) or alive, height_cm, cause and whatever else
        was recorded; file, sheet, row.
    intervals
        Risk intervals, `survivor.vocabulary.INTERVAL_COLUMNS` and then the traits; none
        where no record can be used (`nothing`).
    accounts
        `survivor.vocabulary.ACCOUNT_COLUMNS`: one row a record read; fate is
        "used", "set aside" (not used until mended) or "listed" (tells nothing).
    problems
        `survivor.vocabulary.PROBLEM_COLUMNS`, the gravest first.
    matches
        file, sheet, header, column, how: what was taken for which of our words.
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
    _nothing: tuple[str, str, str] | None = field(repr=False, default=None)

    @property
    def nothing(self) -> RecordsError | None:
        """Why no record can be used, the commonest cause first; None where any can."""
        if self._nothing is None:
            return None
        what, where, mend = self._nothing
        return RecordsError(what, where=where, mend=mend)

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
    def findings(self) -> pd.DataFrame:
        """Every finding at its own cell, with the columns of ``problems``, which joins those of one cause."""
        return finding_table(self._found, self._sources)

    @property
    def rules(self) -> pd.DataFrame:
        """Rules of the study file that mend or read records: rule, what, records (touched)."""
        return rules_in_force(self._found, self._settings)

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


def read_records(study_file: str | Path, settings: Settings) -> Records:
    """Read the records that a study file names.

    Parameters
    ----------
    study_file
        The study file, or its folder; the sheets are named relative to it.
    settings
        What the study file says.

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
    kind = settings.records.kind
    closed = settings.records_closed or dt.date.today()
    _need_files(folder, settings)
    plot_sheet = read_plot_sheet(folder, settings.records.plots) if settings.records.plots else None
    visit_sheets = [
        read_visit_sheet(folder, sheet, settings.records, settings.rules) for sheet in settings.records.sheets
    ]
    sheets = [*([plot_sheet] if plot_sheet else []), *visit_sheets]
    _need_methods(sheets, settings)
    plots = stack([tidy_plots(plot_sheet, kind)]) if plot_sheet else None
    visits = stack([tidy_visits(sheet, kind) for sheet in visit_sheets], after=plots)
    visits = _no_method(visits, sheets)
    plots, visits, one_site = _one_site(plots, visits, settings)
    sources = (*(plots.sources if plots else ()), *visits.sources, Source(name, "", LINE))
    table = plot_table(plots, sources, settings, closed) if plots is not None else None
    ready = prepare(visits, table, sources, settings, closed)
    found = [one_site, *([table.found] if table is not None else []), ready.found]
    notes = StudyLines(key_lines(given), len(sources) - 1)
    check_rules(settings, notes)
    return _put_together(ready, table, plots, visits, sources, gather(found), settings, notes)


def _need_files(folder: Path, settings: Settings) -> None:
    """Refuse a study whose sheets are not all there, without proposing one that has its use."""
    plots = settings.records.plots
    needed = [sheet.file for sheet in settings.records.sheets] + ([plots.file] if plots else [])
    beside = [*(gauge.file for gauge in settings.gauges), *(file.file for file in settings.weather)]
    for file in needed:
        must_be_there(folder / file, file, named=[*needed, *beside])


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
    ready: Ready,
    table: PlotTable | None,
    plots: Tidy | None,
    visits: Tidy,
    sources: tuple[Source, ...],
    found: pd.DataFrame,
    settings: Settings,
    notes: StudyLines,
) -> Records:
    tagged_seedlings = settings.records.kind == "tagged"
    made = _made(ready, table, settings)
    found = gather([found, made.found])
    nothing = None
    if made.intervals.empty:
        told = visits.rows["state"] != "" if tagged_seedlings else visits.rows["alive"].notna()
        nothing = why_nothing(found, sources, settings.study.name, filled=bool(told.any()))
    rows = no_rows(ready.traits) if made.intervals.empty else made.intervals
    intervals = intervals_frame(rows, ready.traits, settings)
    read = pd.concat([tidy.rows for tidy in (plots, visits) if tidy is not None], ignore_index=True)
    if nothing is None:
        sites = set(read["site"].dropna().astype(str))
        settings, unmatched = check_study_names(intervals, sites, settings, notes)
        found = gather([found, check_levels(table, ready.rows, settings), unmatched])
    else:
        found = gather([found, check_own_lines(settings, notes)])
    kept = _kept(table, found)
    if kept is not None:
        found = gather([found, _without_visits(kept, made.entries, intervals)])
    seen = [part for part in (made.rows, ready.silent) if not part.empty] or [ready.silent]
    visited = left(pd.concat(seen, ignore_index=True), found)
    return Records(
        plots=plots_frame(kept, made.entries, ready.traits, tagged=tagged_seedlings),
        visits=visits_frame(visited, sources, (*WORKINGS, *ready.traits), tagged=tagged_seedlings),
        intervals=intervals,
        accounts=account_table(read[["record", "source", "row"]], found, sources),
        problems=problem_table(found, sources),
        matches=pd.concat([tidy.matches for tidy in (plots, visits) if tidy is not None], ignore_index=True),
        _settings=settings,
        _traits=ready.traits,
        _past=made.past,
        _found=found,
        _sources=sources,
        _nothing=None if nothing is None else (nothing.what, nothing.where, nothing.mend),
    )


@dataclass(frozen=True)
class _Made:
    """Histories and intervals of the visit records, with what was found on the way."""

    intervals: pd.DataFrame
    entries: pd.DataFrame
    rows: pd.DataFrame
    found: pd.DataFrame
    past: Histories | None = None


def _made(ready: Ready, table: PlotTable | None, settings: Settings) -> _Made:
    rows = ready.rows
    if rows.empty:
        return _Made(rows, no_rows(ready.traits), rows, none_found())
    if settings.records.kind == "tagged":
        past, more = tagged.histories(rows, planted_by_plot(table, rows), settings.rules)
        followed = tagged.follow(past, settings.rules.missing)
        rows = followed.rows
        return _Made(
            intervals=tagged.assemble(past, followed, ready.traits),
            entries=past.entries,
            rows=rows.assign(state=rows["state"].where(~(rows["blank"] & rows["death"]), str(State.DEAD))),
            found=gather([more, check_states(past, followed)]),
            past=past,
        )
    counted, more = counts.counted(rows, planted_by_entry(table, rows), settings.rules)
    return _Made(
        intervals=counts.intervals(counted, ready.traits),
        entries=counted.entries,
        rows=rows,
        found=gather([more, counts.check_left_out(counted)]),
    )


def _kept(table: PlotTable | None, found: pd.DataFrame) -> PlotTable | None:
    """Leave out the plots whose row of the plot sheet is set aside."""
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
        else "add its visits, or mend their labels; without them the plot is left out of every answer",
        group=pd.Series("none" if none else "", index=plots.index),
    )
