"""From a guideline file to a guideline: its versions, its radius, and what to try next."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from survivor._version import __version__
from survivor.errors import GuidelineError
from survivor.files.content import content, read_once
from survivor.guideline.advice import Advice, Established, Question, advise
from survivor.guideline.file import GuidelineFile, Row, SeasonTaken, read_guideline
from survivor.guideline.ground import RadiusAdvice, kinds_of, radius_advice, refuse_hidden
from survivor.guideline.record import issued_versions
from survivor.guideline.rule import row_words, usual_rule
from survivor.guideline.trynext import try_next
from survivor.guideline.versions import (
    Change,
    Version,
    changes,
    refuse_other_advice,
)
from survivor.guideline.works import WorkAdvice, works_advice, works_of_seasons
from survivor.seasons import Season, join_seasons, take_in
from survivor.seasons.season import common_day

Say = Callable[[str], None]


@dataclass(frozen=True, repr=False)
class Guideline:
    """A guideline, made.

    Attributes
    ----------
    file, path
        What the guideline file says, and where it is.
    version
        The current one, with its advice.
    rule
        In force.
    at_day
        Days since planting that the advice is told for.
    seasons
        Taken in.
    radius, changes, next
        Weed-free radius; what each version changed, newest first; what to try next.
    unplaced
        Sites of which some plots lie on no kind of ground: in none of the advice.
    works
        Advice on works and their timing, over all kinds of ground, where seasons ask about works.
    provenance
        Version, seed and digest of every input by name.
    """

    file: GuidelineFile
    path: Path = field(repr=False)
    version: Version
    rule: tuple[Row, ...]
    at_day: float
    seasons: tuple[Season, ...]
    radius: tuple[RadiusAdvice, ...]
    changes: tuple[Change, ...]
    next: pd.DataFrame
    unplaced: tuple[str, ...]
    provenance: dict[str, str]
    works: tuple[WorkAdvice, ...] = ()

    @property
    def advice(self) -> tuple[Advice, ...]:
        """The current version's advice."""
        return self.version.advice

    @property
    def table(self) -> pd.DataFrame:
        """One row a kind of ground and preparation."""
        lines = [
            {
                "ground": row.ground,
                "preparation": row.preparation,
                "against": row.against,
                "advice": row.answer,
                "estimate": row.estimate,
                "lower": row.lower,
                "upper": row.upper,
                "limits_for": row.of,
                "p_adjusted": row.p_adjusted,
                "n_seasons": row.n_seasons,
                "n_sites": row.n_sites,
                "n_plots": row.n_plots,
                "n_seedlings": row.n_seedlings,
                "new_season_lower": None if row.coming is None else row.coming.lower,
                "new_season_upper": None if row.coming is None else row.coming.upper,
                "possible_lower": row.possible_lower,
                "possible_upper": row.possible_upper,
                "extra_cost_per_plant": row.extra_cost,
                "cost_per_extra_alive": row.cost_per_extra,
                **_cost_columns("cost_per_established", row.established),
                **_cost_columns("usual_cost_per_established", row.usual_established),
                "dearer": row.dearer,
                "grade": row.strength,
                "why": row.held,
            }
            for row in self.advice
        ]
        return pd.DataFrame(lines)

    @property
    def by_season(self) -> pd.DataFrame:
        """What each season alone says: ``ground, preparation, season, estimate, lower, upper, n_sites``."""
        lines = [
            {"ground": row.ground, "preparation": row.preparation, **vars(says)}
            for row in self.advice
            for says in row.seasons
        ]
        return pd.DataFrame(lines, columns=list(_BY_SEASON))

    def __repr__(self) -> str:
        return (
            f"{self.file.guideline.name}, version {self.version.number}\n{self.table.to_string(index=False)}"
        )

    def _repr_html_(self) -> str:
        return str(self.table.to_html(index=False))


_BY_SEASON: Final = ("ground", "preparation", "season", "estimate", "lower", "upper", "n_sites")


def _cost_columns(name: str, cost: Established | None) -> dict[str, float | None]:
    if cost is None:
        return {name: None, f"{name}_lower": None, f"{name}_upper": None}
    return {name: cost.cost, f"{name}_lower": cost.lower, f"{name}_upper": cost.upper}


def make_guideline(path: str | Path, say: Say = lambda _: None, *, draft: bool = False) -> Guideline:
    """Make a guideline from its file and the studies it names.

    Parameters
    ----------
    path
        The guideline file; studies are named relative to it.
    say
        Called with a short text before each step.
    draft
        Do not hold the advice against what was issued under this version.

    Raises
    ------
    GuidelineError
        When the file is wrong, this version was issued with other advice, or records of another
        guideline stand in its way.
    PoolingError
        When a season is counted twice, or seasons do not go together.
    """
    given = Path(path)
    with read_once():
        file = read_guideline(given)
        digest = hashlib.sha256(content(given)).hexdigest()
    issued = issued_versions(given, file.guideline.name)
    seasons = _taken(file, given, say)
    joined = join_seasons(seasons)
    joined["ground"] = kinds_of(joined, file.ground)
    placed = joined[joined["ground"] != ""]
    if placed.empty:
        raise GuidelineError(
            "no plot lies on any kind of ground",
            where="[[ground]]",
            mend="give the words of your plot sheets",
        )
    rule = tuple(file.rule or usual_rule(file.guideline.smallest_difference))
    question = Question(file, rule, *common_day(seasons, file.guideline.milestone))
    since = {season.name: taken.since for season, taken in zip(seasons, file.seasons, strict=True)}
    versions = []
    for number in range(1, file.guideline.version + 1):
        record = issued.get(number)
        if number < file.guideline.version and record is not None:
            versions.append(record)
            continue
        own = tuple(season for season in seasons if since[season.name] <= number)
        say(f"Version {number}: {len(own)} season{'' if len(own) == 1 else 's'}")
        versions.append(_version(number, own, joined, question, say))
        if record is not None and not draft:
            refuse_other_advice(record, versions[-1], given.name)
    say("Weed-free radius")
    names = [ground.name for ground in file.ground]
    radius = radius_advice(seasons, joined, names, question.at, file.guideline.radius_gain)
    lost = joined.loc[joined["ground"] == "", "site"].astype(str).unique()
    return Guideline(
        file=file,
        path=given,
        version=versions[-1],
        rule=rule,
        at_day=question.at,
        seasons=seasons,
        radius=radius,
        changes=changes(versions, rule),
        next=try_next(versions[-1].advice, file.ground, file.guideline.smallest_difference),
        unplaced=tuple(sorted(lost)),
        provenance=_provenance(file, given, digest, seasons),
        works=works_advice(works_of_seasons(seasons), rule),
    )


def _taken(file: GuidelineFile, given: Path, say: Say) -> tuple[Season, ...]:
    from survivor.study import load

    studies, names = [], []
    for taken in file.seasons:
        say(f"Reading {taken.study}")
        studies.append(load(given.parent / taken.study))
        names.append(_called(taken))
    refuse_hidden(file, dict(zip(names, studies, strict=True)))
    return take_in(studies, names)


def _called(taken: SeasonTaken) -> str:
    place = Path(taken.study)
    return taken.name or (place.parent.name if place.suffix == ".toml" else place.name)


def _version(
    number: int, seasons: Sequence[Season], joined: pd.DataFrame, question: Question, say: Say
) -> Version:
    file, names = question.file, tuple(season.name for season in seasons)
    return Version(
        number,
        file.guideline.dated if number == file.guideline.version else "",
        names,
        tuple(f"{row.gives}: {row_words(row)}" for row in question.rule),
        advise(seasons, joined[joined["season"].isin(names)], question, say),
        # Practice has no version of its own: only an issued record tells when it came in.
        tuple(f"{line.preparation} on {line.ground}: {line.says} ({line.source})" for line in file.practice),
    )


def _provenance(file: GuidelineFile, given: Path, digest: str, seasons: Sequence[Season]) -> dict[str, str]:
    provenance = {
        "survivor": __version__,
        "seed": str(file.guideline.seed),
        f"sha256 of {given.name}": digest,
    }
    for season in seasons:
        for name, value in season.study.provenance.items():
            if name.startswith("sha256"):
                provenance[f"{season.name}: {name}"] = value
    return provenance
