"""Checks of the names in the study file against the records: sites, strata, methods, planted numbers.

A name that no record has is said with its line, what the records hold, and the mend;
it is never matched in silence. What cannot be used is left out of the settings that
the later stages read (`Usable`), so that a slip in one line does not end the answer.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from typing import Final

import pandas as pd

from survivor.files.faults import Place, line_of
from survivor.files.names import look_alike, meant, nearest
from survivor.intervals import entries
from survivor.records.english import MESSAGES
from survivor.records.problems import FINDING_COLUMNS, NOWHERE, none_found
from survivor.records.words import COLUMN_WORDS
from survivor.settings import Gauge, Planted, Settings
from survivor.vocabulary import FIRST_PLANTING
from survivor.words import first_few

_MOST_LISTED: Final = 12
LIKELY_STRATA: Final = ("site", "block")


@dataclass
class StudyLines:
    """Findings on the study file, each with its line.

    Attributes
    ----------
    lines
        Line of each key (`survivor.settings.key_lines`).
    source
        Number of the study file among the sources.
    """

    lines: dict[Place, int]
    source: int
    found: list[tuple[object, ...]] = field(default_factory=list)

    def say(
        self, code: str, place: Place, key: str, value: str = "", *, message: str = "", **said: object
    ) -> None:
        """Add a finding; ``key`` is how the place is written for the reader, ``said`` as for `find`."""
        line = line_of(place, self.lines)
        row = NOWHERE if line is None else line
        what, mend = (text.format(value=value, **said) for text in MESSAGES[message or code])
        self.found.append(
            (NOWHERE, self.source, row, code, key, value, what, mend, said.get("group", ""), "")
        )

    def table(self) -> pd.DataFrame:
        """Make a table of the findings so far."""
        return pd.DataFrame(self.found, columns=list(FINDING_COLUMNS)) if self.found else none_found()


def listed(names: Collection[object]) -> str:
    """Write names as a reader scans them: the first dozen, and how many more."""
    texts = sorted(str(name) for name in names)
    return first_few(texts, _MOST_LISTED) if texts else "none"


def check_study_names(
    intervals: pd.DataFrame, sites_read: Collection[str], settings: Settings, notes: StudyLines
) -> tuple[Settings, pd.DataFrame]:
    """Compare the names of the study file with the records.

    Parameters
    ----------
    intervals
        Risk intervals.
    sites_read
        Every site of any record, also of those excluded.
    settings
        The study file.
    notes
        Lines of the study file.

    Returns
    -------
    settings, found
        The settings that the records can follow: planted numbers and sites of gauges
        that match, spelt as in the records; strata that exist. And what was found.
    """
    first = intervals[intervals["cohort"] == FIRST_PLANTING]
    planted = _planted(first, sites_read, settings, notes)
    gauges = _gauges(intervals, sites_read, settings, notes)
    strata = _strata(intervals, settings, notes)
    _methods(intervals, settings, notes)
    _costs(settings, notes)
    _aim(first, settings, notes)
    _columns(settings, notes)
    design = settings.design.model_copy(update={"strata": strata})
    used = settings.model_copy(update={"planted": planted, "gauges": gauges, "design": design})
    return used, notes.table()


def check_own_lines(settings: Settings, notes: StudyLines) -> pd.DataFrame:
    """Check what the study file says by itself, where no record can be used to compare it with."""
    _costs(settings, notes)
    _columns(settings, notes)
    return notes.table()


def _respelt(name: str, known: Collection[str]) -> str | None:
    """Find the known name that differs at most in case and spaces."""
    if name in known:
        return name
    plain = {"".join(other.split()).casefold(): other for other in known}
    return plain.get("".join(name.split()).casefold())


def _no_site(name: str, sites: Collection[str], sites_read: Collection[str]) -> str:
    if _respelt(name, sites_read) is not None:
        return f"no record of the site {name} can be used"
    return f"no record has the site {name}{_holds(name, sites, 'the records hold')}"


def _holds(name: str, known: Collection[str], lead: str) -> str:
    proposal = meant(name, known)
    return f"{proposal}{'' if proposal else ';'} {lead}: {listed(known)}"


def _planted(
    first: pd.DataFrame, sites_read: Collection[str], settings: Settings, notes: StudyLines
) -> tuple[Planted, ...]:
    pairs = {(str(a), str(b)) for a, b in first[["site", "species"]].drop_duplicates().to_numpy()}
    sites = {site for site, _ in pairs}
    of_species = {species for _, species in pairs if species}
    told = {theirs: ours for sheet in settings.records.sheets for theirs, ours in sheet.species.items()}
    kept: list[Planted] = []
    for number, row in enumerate(settings.planted):
        place: Place = ("planted", number)
        site = _respelt(row.site, sites)
        if site is None:
            notes.say(
                "planted-unmatched",
                (*place, "site"),
                "[[planted]] site",
                row.site,
                why=_no_site(row.site, sites, sites_read),
                group=row.site,
            )
            continue
        species = told.get(row.species, row.species) if row.species else None
        here = {kind for where, kind in pairs if where == site and kind}
        if species and not of_species:
            notes.say(
                "planted-unmatched",
                (*place, "species"),
                "[[planted]] species",
                species,
                message="planted-by-site",
                group="no species",
            )
            species = None
        if species and _respelt(species, here) is None:
            notes.say(
                "planted-unmatched",
                (*place, "species"),
                "[[planted]] species",
                species,
                message="planted-of-no-plot",
                site=site,
                known=_holds(species, here, "the records of this site hold"),
            )
            continue
        kept.append(row.model_copy(update={"site": site, "species": species and _respelt(species, here)}))
    _without_number(pairs, kept, settings, notes)
    return tuple(kept)


def _without_number(
    pairs: set[tuple[str, str]], kept: Sequence[Planted], settings: Settings, notes: StudyLines
) -> None:
    """Say which sites and species of the plots have no planted number."""
    if not settings.planted:
        return
    if not kept:
        notes.say("planted-missing", ("planted", 0), "[[planted]]", message="planted-nowhere")
        return
    whole = {row.site for row in kept if row.species is None}
    single = {(row.site, row.species) for row in kept}
    bare = sorted(pair for pair in pairs if pair[0] not in whole and pair not in single)
    if bare:
        names = [" ".join(part for part in pair if part) for pair in bare]
        notes.say("planted-missing", ("planted", 0), "[[planted]]", names=listed(names))


def _gauges(
    intervals: pd.DataFrame, sites_read: Collection[str], settings: Settings, notes: StudyLines
) -> tuple[Gauge, ...]:
    sites = {str(site) for site in intervals["site"].unique()}
    kept, covered = [], set()
    for number, gauge in enumerate(settings.gauges):
        spelt = []
        for name in gauge.sites:
            site = _respelt(name, sites)
            if site is None:
                notes.say(
                    "gauge-site-unmatched",
                    ("gauges", number, "sites"),
                    f"[[gauges]] {gauge.name}, sites",
                    name,
                    why=_no_site(name, sites, sites_read),
                )
            spelt.append(site or name)
        covered |= set(spelt) if gauge.sites else sites
        kept.append(gauge.model_copy(update={"sites": tuple(spelt)}))
    dry = sorted(sites - covered)
    if settings.gauges and dry:
        notes.say("site-without-gauge", ("gauges", 0), "[[gauges]] sites", sites=listed(dry))
    if settings.gauges and settings.dry_season is None:
        name = settings.gauges[0].name
        notes.say("dry-season-absent", ("gauges", 0, "name"), "[[gauges]] name", name)
    return tuple(kept)


def _strata(intervals: pd.DataFrame, settings: Settings, notes: StudyLines) -> tuple[str, ...]:
    kept = []
    for name in settings.design.strata:
        filled = name in intervals.columns and (intervals[name].astype(str) != "").any()
        if filled:
            kept.append(name)
            continue
        others = [word for word in intervals.columns if word in LIKELY_STRATA] or list(LIKELY_STRATA)
        notes.say(
            "stratum-absent",
            ("design", "strata"),
            "[design] strata",
            name,
            message="" if name in LIKELY_STRATA else "stratum-unknown",
            why="the records tell no" if name in intervals.columns else "no column of the records is called",
            others=listed(others),
        )
    if not kept or len(kept) < len(settings.design.strata):
        kept = list(dict.fromkeys(["site", *kept])) if settings.design.strata else kept
    return tuple(kept)


def _methods(intervals: pd.DataFrame, settings: Settings, notes: StudyLines) -> None:
    present = [str(method) for method in intervals["method"].cat.categories]
    for number, method in enumerate(settings.methods):
        if method.name not in present:
            place = ("methods", number, "name")
            notes.say("method-without-plots", place, "[[methods]] name", method.name, present=listed(present))
    usual = settings.design.usual_practice
    if usual is not None and usual not in present:
        close = nearest(usual, present)
        notes.say(
            "usual-practice-absent",
            ("design", "usual_practice"),
            "[design] usual_practice",
            usual,
            message="" if close else "usual-practice-unknown",
            first=present[0],
            present=listed(present),
            close=close,
        )
    elif usual is None and len(present) > 1 and settings.study.purpose == "compare preparations":
        notes.say(
            "usual-practice-unnamed",
            ("design",),
            "[design] usual_practice",
            first=present[0],
            present=listed(present),
        )


def _costs(settings: Settings, notes: StudyLines) -> None:
    costed = [method.name for method in settings.methods if method.costed]
    bare = [method.name for method in settings.methods if not method.costed]
    names = [method.name for method in settings.methods]
    if costed and bare:
        place = ("methods", names.index(bare[0]))
        notes.say("method-without-cost", place, "[[methods]] cost", bare=listed(bare))
    if costed and settings.costs is None:
        notes.say("currency-absent", ("methods", names.index(costed[0])), "[[methods]] cost")


def _aim(first: pd.DataFrame, settings: Settings, notes: StudyLines) -> None:
    """Say where the season cannot answer what the study file asks."""
    if settings.study.purpose == "check a target" and settings.target is None:
        notes.say("target-absent", ("study", "purpose"), "[study] purpose", settings.study.purpose)
    last = int(first["stop_day"].max()) if len(first) else 0
    beyond = [
        (number, milestone)
        for number, milestone in enumerate(settings.milestones)
        if 0 < last < milestone.day - milestone.window_days
    ]
    if not beyond or entries(first)["at_risk"].sum() == first["died"].sum():
        return  # where all are known to be dead, a later visit has nothing left to tell
    asked = {settings.headline_milestone.name: settings.headline_milestone}
    if settings.target is not None:
        asked |= {m.name: m for m in settings.milestones if m.name == settings.target.milestone}
    for number, milestone in beyond:
        notes.say(
            "milestone-not-reached" if milestone.name in asked else "later-milestone",
            ("milestones", number, "day"),
            "[[milestones]] day",
            str(milestone.day),
            last=last,
            milestone=milestone.name,
            opens=milestone.day - milestone.window_days,
        )


def _columns(settings: Settings, notes: StudyLines) -> None:
    """Find words of the user's own that are likely one of ours, misspelt."""
    tables: list[tuple[Place, str, dict[str, object]]] = [
        (("records", "sheets", number), "[records.sheets.columns]", dict(sheet.columns))
        for number, sheet in enumerate(settings.records.sheets)
    ]
    if settings.records.plots is not None:
        tables.append((("records", "plots"), "[records.plots.columns]", dict(settings.records.plots.columns)))
    for place, key, columns in tables:
        for word in (word for word in columns if word not in COLUMN_WORDS):
            if like := next((ours for ours in COLUMN_WORDS if look_alike(word, ours)), None):
                notes.say("column-word", (*place, "columns", word), key, word, like=like)
