"""A study: its file, its records and its season, tied together. It holds no statistics."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from survivor.records import Records, read_records
from survivor.season.gauges import Gauges, read_gauges
from survivor.settings import Settings, find_study_file, read_settings
from survivor.vocabulary import Severity

if TYPE_CHECKING:
    from survivor.analysis import Analysis
    from survivor.evidence import Finding
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
    settings, records, gauges
        What the study file says, and what the files hold. The problems and accounts of
        ``records`` include those of the gauge files.
    """

    path: Path
    settings: Settings
    records: Records = field(repr=False)
    gauges: Gauges = field(repr=False)
    _shown: Mapping[str, str] | None = field(default=None, repr=False)  # provenance under other names

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
        """Where every record read has gone: used, set aside or listed, with the reason."""
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
        return replace(
            self, settings=seen.settings, records=seen.records, gauges=seen.gauges, _shown=seen.provenance
        )

    def findings(self) -> tuple[Finding, ...]:
        """Give the answers, the headline first."""
        return self.analysis.findings

    def report(self, out: str | Path, say: Say = _quiet) -> Sequence[Path]:
        """Write the report, its findings and tables to a folder; the page is the first path returned."""
        from survivor.report.page import write_report

        # Analysed here rather than through the property so that progress can be said.
        analysis = self.__dict__.setdefault("analysis", self.analyse(say))
        say("Writing the report")
        return write_report(analysis, Path(out))

    @property
    def provenance(self) -> dict[str, str]:
        """Package version, seed, and digests of the study file and of every file it names."""
        return self._provenance()

    def _provenance(self) -> dict[str, str]:
        from survivor import __version__

        if self._shown is not None:
            return dict(self._shown)
        found = {
            "survivor": __version__,
            "seed": str(self.settings.study.seed),
            "settings": hashlib.sha256(self.settings.model_dump_json().encode()).hexdigest(),
        }
        for name in self._files():
            file = self.path.parent / name
            if file.is_file():
                found[f"sha256 of {file.name}"] = hashlib.sha256(file.read_bytes()).hexdigest()
        return found

    def _files(self) -> list[str]:
        named = [sheet.file for sheet in self.settings.records.sheets]
        if self.settings.records.plots is not None:
            named.append(self.settings.records.plots.file)
        named += [gauge.file for gauge in self.settings.gauges]
        named += [weather.file for weather in self.settings.weather]
        return list(dict.fromkeys([self.path.name, *named]))

    def _repr_html_(self) -> str:
        """Show in a notebook what was read, how much of it, and what is wrong with it."""
        from html import escape

        from survivor.intervals import tally

        counts = tally(self.first_plants) if len(self.intervals) else {}
        lines = {
            "records read": len(self.accounts),
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
            f"Study {self.settings.study.name!r}: {len(self.accounts)} records read, "
            f"{len(self.intervals)} risk intervals, {len(self.problems)} problems"
        )


def load(path: str | Path) -> Study:
    """Read a study.

    Parameters
    ----------
    path
        A folder that holds ``study.toml``, or the study file itself.

    Raises
    ------
    StudyFileError
        When the study file is missing or says something unknown.
    RecordsError
        When a file of records cannot be read or understood. Records of which none can be
        used are read all the same, for their problems and accounts; to analyse them is refused.
    """
    file = find_study_file(path)
    settings = read_settings(file)
    records = read_records(file, settings)
    settings = records.settings  # as far as the records can follow the study file
    gauges = read_gauges(file.parent, settings.gauges, settings.weather)
    return Study(file, settings, _together(records, gauges), gauges)


def _together(records: Records, gauges: Gauges) -> Records:
    """Add the problems and accounts of the gauge files to those of the records."""
    order = {severity: place for place, severity in enumerate(Severity)}
    problems = _stacked(records.problems, gauges.problems)
    graded = problems.sort_values("severity", key=lambda part: part.map(order), kind="stable")
    accounts = _stacked(records.accounts, gauges.accounts)
    return replace(records, problems=graded.reset_index(drop=True), accounts=accounts.reset_index(drop=True))


def _stacked(first: pd.DataFrame, second: pd.DataFrame) -> pd.DataFrame:
    filled = [table for table in (first, second) if not table.empty]
    return pd.concat(filled) if filled else first
