"""A study: its file, its records and its season, tied together. It holds no statistics."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from survivor._version import __version__
from survivor.errors import StudyFileError
from survivor.files.content import content, read_once
from survivor.files.datasets import digest_of_all
from survivor.files.kinds import is_register
from survivor.files.writing import writing
from survivor.intervals import tally
from survivor.records import Records, read_records
from survivor.records.accounts import records_read
from survivor.records.sheets import RawSheet
from survivor.records.shown import Shown, shown_as_read
from survivor.records.work_names import RIP
from survivor.season.gauge import Gauges, read_gauges
from survivor.season.rain import check_dry_seasons, dry_season_gaps
from survivor.season.wet_works import check_dry_soil
from survivor.settings import Settings, find_study_file, read_settings
from survivor.vocabulary import Severity
from survivor.words import first_few

if TYPE_CHECKING:
    from survivor.analysis import Analysis
    from survivor.evidence.finding import Finding
    from survivor.season.moisture import SoilWater

Say = Callable[[str], None]


def _quiet(step: str) -> None:
    """Say nothing."""


@dataclass(frozen=True, repr=False)
class Study:
    """A season's records as read, and everything that can be asked of them.

    Attributes
    ----------
    path
        The study file.
    records, gauges
        What the files hold. The problems and accounts of ``records`` include those of the gauge files.
    """

    path: Path
    records: Records = field(repr=False)
    gauges: Gauges = field(repr=False)
    _digests: Mapping[str, str] = field(default_factory=dict, repr=False)  # of files by name; "": not there
    _shown: Mapping[str, str] | None = field(default=None, repr=False)  # provenance under other names

    @property
    def settings(self) -> Settings:
        """What the study file says, as far as the records can follow it."""
        return self.records.settings

    @property
    def problems(self) -> pd.DataFrame:
        """What is wrong with the records: code, severity, file, sheet, row, column, value, what, mend."""
        return self.records.problems

    @property
    def intervals(self) -> pd.DataFrame:
        """Risk intervals, one row a group of seedlings between two visits; none if no record can be used."""
        return self.records.intervals

    @property
    def first_plants(self) -> pd.DataFrame:
        """Risk intervals of the plants first put in, without infill: what the report analyses."""
        from survivor.analysis.models import first_plants

        return first_plants(self.records.intervals)

    @property
    def population(self) -> pd.DataFrame | None:
        """Plants of the whole planting by site and species, where the study file gives them."""
        from survivor.analysis.season import population

        return population(self.settings)

    @property
    def accounts(self) -> pd.DataFrame:
        """Where every record read has gone: used, excluded or listed, with the reason."""
        return self.records.accounts

    @property
    def matches(self) -> pd.DataFrame:
        """How each column of the files was understood."""
        return self.records.matches

    @cached_property
    def soil_water(self) -> SoilWater | None:
        """Daily soil water of the plots; None where the study file names no weather."""
        from survivor.season.moisture import soil_water

        return soil_water(self.settings, self.gauges, self.records.plots)

    @cached_property
    def analysis(self) -> Analysis:
        """The season analysed; computed once."""
        return self.analyse()

    def analyse(self, say: Say = _quiet) -> Analysis:
        """Analyse the season, under the names that a report may show (``[privacy]``).

        Parameters
        ----------
        say
            Called with a short text before each step.

        Raises
        ------
        RecordsError
            When no record at all can be used.
        """
        from survivor.analysis import analyse
        from survivor.analysis.privacy import shared

        self.records.need_intervals()
        seen = shared(self.settings, self.records, self.gauges, self._provenance())
        return analyse(seen.settings, seen.records, seen.gauges, seen.provenance, say)

    def as_shown(self, sites: Mapping[str, str] | None = None) -> Study:
        """Return the study under the names that may be shown (``[privacy]``), nothing analysed yet.

        Parameters
        ----------
        sites
            Numbers of the sites, which are then shown by number whatever the study file says;
            None: as the study file says.
        """
        from survivor.analysis.privacy import shared

        settings = self.settings
        if sites is not None:
            privacy = settings.privacy.model_copy(update={"show_places": False})
            settings = settings.model_copy(update={"privacy": privacy})
        seen = shared(settings, self.records, self.gauges, self._provenance(), sites)
        return replace(self, records=seen.records, gauges=seen.gauges, _shown=seen.provenance)

    def findings(self) -> tuple[Finding, ...]:
        """Give the answers, the headline first."""
        return self.analysis.findings

    def report(self, out: str | Path, say: Say = _quiet) -> Sequence[Path]:
        """Write the report, its findings and tables to a folder; the page is the first path returned."""
        from survivor.report.forms import NAMES, WHAT, write_report

        with writing(Path(out), WHAT, of=self.path, names=NAMES) as place:
            if "analysis" not in self.__dict__:  # not through the property, so that progress can be said
                self.__dict__["analysis"] = self.analyse(say)
            return write_report(self.analysis, place, say)

    @property
    def provenance(self) -> dict[str, str]:
        """Package version, seed, and digests of the study file and of every file it names."""
        return self._provenance()

    def _provenance(self) -> dict[str, str]:
        if self._shown is not None:
            return dict(self._shown)
        found = {
            "survivor": __version__,
            "seed": str(self.settings.study.seed),
            "settings": hashlib.sha256(self.settings.model_dump_json().encode()).hexdigest(),
        }
        if outside := [name for name in self._digests if _is_outside(self.path.parent, name)]:
            found["read from outside the study's folder"] = ", ".join(outside)
        return found | {f"sha256 of {name}": digest for name, digest in self._digests.items() if digest}

    @property
    def digests(self) -> dict[str, str]:
        """Digest of the study file and of every file that it names, by name; empty where there is none."""
        return dict(self._digests)

    @property
    def files(self) -> list[Path]:
        """Every file that the study file names, and itself first."""
        return [self.path.parent / name for name in self._digests]

    def _repr_html_(self) -> str:
        """Show in a notebook what was read, how much of it, and what is wrong with it."""
        counts = tally(self.first_plants) if len(self.intervals) else {}
        lines = {
            "records read": records_read(self.accounts),
            "risk intervals": len(self.intervals),
            **{name: counts[name] for name in ("seedlings", "plots", "sites") if name in counts},
            **{
                f"problems: {severity}": int(count)
                for severity, count in self.problems["severity"].value_counts(sort=False).items()
            },
        }
        rows = "".join(
            f"<tr><th scope='row'>{escape(name)}</th><td>{count:,}</td></tr>" for name, count in lines.items()
        )
        return f"<p><strong>{escape(self.settings.study.name)}</strong></p><table>{rows}</table>"

    def __repr__(self) -> str:
        return (
            f"Study {self.settings.study.name!r}: {records_read(self.accounts)} records read, "
            f"{len(self.intervals)} risk intervals, {len(self.problems)} problems"
        )


def load(path: str | Path) -> Study:
    """Read a study.

    Parameters
    ----------
    path
        A folder that holds ``study.toml``, or the study file itself.

    Returns
    -------
    Study

    Raises
    ------
    StudyFileError
        When the study file is missing, says something unknown, or names a file outside its folder without
        saying that this is meant.
    RecordsError
        When a file of records cannot be read or understood. Records of which none can be
        used are read all the same, for their problems and accounts; to analyse them is refused.

    Examples
    --------
    >>> study = survivor.load("datasets/counts")
    >>> len(study.first_plants)  # risk intervals
    272
    """
    return load_shown(path, 0)[0]


def load_shown(path: str | Path, rows: int) -> tuple[Study, tuple[Shown, ...]]:
    """Read a study, and show each of its sheets as it was read, with its first rows (at most 12).

    Raises
    ------
    StudyFileError, RecordsError
        As `load`; `survivor.records.shown.shown_sheets` shows the sheets of a study with a fault.
    """
    shown: list[Shown] = []

    def read(file: Path, settings: Settings) -> Records:
        def see(place: tuple[str | int, ...], sheet: RawSheet) -> None:
            if rows:
                shown.append(shown_as_read(place, sheet, settings, rows))

        return read_records(file, settings, see)

    return load_by(path, read), tuple(shown)


def load_by(path: str | Path, read: Callable[[Path, Settings], Records]) -> Study:
    """Read a study, its records by a function of the study file and what it says; errors as `load`."""
    file = find_study_file(path)
    with read_once():
        settings = read_settings(file)
        named = files_named(settings)
        _refuse_outside(file, settings, named)
        records = read(file, settings)
        gauges = _gauges(file.parent, records)
        in_parts = {sheet.file for sheet in settings.records.sheets}
        digests = {
            name: digest_of(file.parent / name, in_parts=name in in_parts) for name in (file.name, *named)
        }
    return Study(file, _together(records, gauges), gauges, digests)


def _gauges(folder: Path, records: Records) -> Gauges:
    """Read the gauges of the sites that the records hold, and check them against the season."""
    settings = records.settings
    gauges = read_gauges(folder, settings.gauges, settings.weather)
    closed = settings.records_closed
    gaps = dry_season_gaps(gauges, settings.gauges, records.intervals, settings.dry_season, closed)
    gauges = check_dry_seasons(gauges, gaps)
    return check_dry_soil(gauges, settings.gauges, records.works.rows, RIP)


def files_of(path: str | Path) -> list[Path]:
    """Name every file that a study file names, where it lies; nothing else of the study is read."""
    file = find_study_file(path)
    return [file.parent / name for name in files_named(read_settings(file))]


def files_named(settings: Settings) -> list[str]:
    """Name the files of a study, as the study file does."""
    diary = settings.works.diary if settings.works else None
    beside_visits = [sheet for sheet in (settings.records.plots, diary) if sheet is not None]
    sheets = [*settings.records.sheets, *beside_visits]
    beside = [*(gauge.file for gauge in settings.gauges), *(station.file for station in settings.weather)]
    return list(dict.fromkeys([*(sheet.file for sheet in sheets), *beside]))


def _is_outside(folder: Path, name: str) -> bool:
    home = os.path.realpath(folder)
    try:
        return os.path.commonpath([home, os.path.realpath(folder / name)]) != home
    except ValueError:  # another drive, or a name that no file can have
        return True


def _refuse_outside(file: Path, settings: Settings, named: Sequence[str]) -> None:
    outside = [name for name in named if _is_outside(file.parent, name)]
    if outside and not settings.study.outside:
        raise StudyFileError(
            f"{first_few(outside, 5)}: outside the folder of the study",
            where=file.name,
            mend="copy what is needed into the folder; or, if this is meant, say [study] outside = true",
        )


def digest_of(file: Path, *, in_parts: bool = True) -> str:
    """Return the digest of a file, of what was read within `read_once`; nothing where there is none.

    Of files that are read in batches (``in_parts``: this one may be) it is of their names and of what they
    hold now.
    """
    try:
        if in_parts and is_register(file):
            return digest_of_all(file)
        return hashlib.sha256(content(file)).hexdigest()
    except (OSError, ValueError):
        return ""


def _together(records: Records, gauges: Gauges) -> Records:
    """Add the problems and accounts of the gauge files to those of the records."""
    order = {severity: place for place, severity in enumerate(Severity)}
    problems = _stacked(records.problems, gauges.problems)
    graded = problems.sort_values("severity", key=lambda part: part.map(order), kind="stable")
    accounts = _stacked(records.accounts, gauges.accounts)
    return replace(records, problems=graded.reset_index(drop=True), accounts=accounts.reset_index(drop=True))


def _stacked(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    # As objects: a column of blanks alone has a kind of its own, which pandas warns of.
    filled = [table.astype(object) for table in (first, second) if not table.empty]
    return pd.concat(filled) if len(filled) > 1 else first if second.empty else second
