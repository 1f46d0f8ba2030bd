"""Records: everything read from the sheets of a study, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import pandas as pd

from survivor.errors import RecordsError
from survivor.records import tagged
from survivor.records.accounts import first_causes, plants_put_in, rules_in_force, sites_with_lost_plants
from survivor.records.collapsing import Kept
from survivor.records.diary import PlotWorks, no_works
from survivor.records.frames import INTERVAL_ORDER, intervals_frame, likely_causes
from survivor.records.problems import Source, account_table, finding_table, gather, none_found, problem_table
from survivor.records.renaming import Words, in_words, ordered
from survivor.records.tagged import Histories, Missing, Unknown
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING, PLOT_KEY

ROW_ORDER: Final = {  # of the rows of each table: by these of its columns
    "plots": (*PLOT_KEY, "species"),
    "visits": (*PLOT_KEY, "tag", "species", "cohort", "date", "row"),
    "intervals": INTERVAL_ORDER,
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
        Of a register each row stands for all seedlings alike in it, without a tag where they are summed
        over pasts (`survivor.records.summing`).
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
    _kept: Kept | None = field(repr=False, default=None)  # of a register

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
        if self._kept is not None and self._kept.plants is not None:
            return self._kept.plants
        return plants_put_in(self.visits, self.plots, tagged=self._settings.records.kind == "tagged")

    @property
    def sites_with_lost_plants(self) -> tuple[str, ...]:
        """Sites with plants that were not found when they were last looked for."""
        if self._kept is not None:
            return tuple(sorted(self._kept.lost))
        return sites_with_lost_plants(self.visits)

    @property
    def findings(self) -> pd.DataFrame:
        """Every finding at its own cell, with the columns of ``problems``, which joins those of one cause."""
        return finding_table(self._found, self._sources)

    @property
    def rules(self) -> pd.DataFrame:
        """Rules of the study file that mend or read records: rule, what, records (touched)."""
        return rules_in_force(self._found, self._settings) if self._kept is None else self._kept.rules

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
        found = gather(self._found, works.found)
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
            What became of a tag not found any more: "censored", it is followed to its
            last sighting; "dead", it died by the next visit of its plot; "alive", it
            lived to the last. The latter two bound every answer.

        Returns
        -------
        DataFrame
            As ``intervals``. Counts know neither tags nor missing plants, so theirs
            are the same under every rule.
        """
        if self._kept is not None and self._kept.under:
            rule = (missing or self._settings.rules.missing, unknown)
            reported = rule == (self._settings.rules.missing, "censored")
            return self.intervals.copy() if reported else self._kept.intervals(rule)
        if self._past is None:
            return self.intervals.copy()
        followed = tagged.follow(self._past, missing or self._settings.rules.missing, unknown)
        return intervals_frame(
            tagged.assemble(self._past, followed.intervals, self._traits), self._traits, self._settings
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
            return ordered(in_words(getattr(self, name), words), ROW_ORDER[name])

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
            _kept=self._kept and self._kept.renamed(words, ROW_ORDER["intervals"]),
        )

    def deaths(self, intervals: pd.DataFrame) -> pd.DataFrame:
        """Give the rows of risk intervals on which seedlings died, each with its likely cause.

        Parameters
        ----------
        intervals
            Reported risk intervals of the plants first put in.

        Returns
        -------
        DataFrame
            As ``intervals``, with ``cause``; none where no cause was recorded, or no seedling has a tag.
        """
        if self._kept is not None and self._kept.deaths is not None:
            own = self._kept.deaths
            own = own[own["cohort"] == FIRST_PLANTING]
            return own.assign(method=own["method"].astype(intervals["method"].dtype))
        died = intervals[(intervals["died"] > 0) & (intervals["tag"].astype(str) != "")]
        told = self.visits["cause"].fillna("").astype(str) if "cause" in self.visits.columns else None
        if told is None or not (told != "").any():
            return died[:0].assign(cause="")
        return died.assign(cause=likely_causes(died, self.visits))

    def sizes(self) -> dict[str, int]:
        """Count the seedlings that entered, died, were lost from sight, and lived to the end.

        Returns
        -------
        dict
            entered, died, lost, alive; the last three sum to the first. First
            planting and infill together.
        """
        if self._kept is not None and self._kept.sizes:
            return dict(self._kept.sizes)
        if self._past is not None:
            return tagged.sizes(self._past, tagged.follow(self._past, self._settings.rules.missing))
        keys = [*PLOT_KEY, "species", "cohort", "planted_date"]
        table = self.intervals.sort_values("start_day").groupby(keys, observed=True, dropna=False)
        entered, died = int(table["at_risk"].first().sum()), int(self.intervals["died"].sum())
        return {"entered": entered, "died": died, "lost": 0, "alive": entered - died}
