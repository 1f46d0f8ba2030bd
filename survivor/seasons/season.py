"""One season taken in beside others, and the records of several as one table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from survivor.analysis.milestone import milestone_day, reached
from survivor.analysis.models import of_methods, strata_of
from survivor.analysis.privacy import numbered_sites
from survivor.effects.confounding import layout
from survivor.errors import PoolingError
from survivor.seasons.counted_twice import refuse_counted_twice
from survivor.settings import Milestone, Settings
from survivor.study import Study


@dataclass(frozen=True, repr=False)
class Season:
    """A season of records, beside others.

    Attributes
    ----------
    name
        As tables and figures call it.
    study
        Where it comes from.
    intervals
        Risk intervals of the plants first put in, with a column ``season``.
    """

    name: str
    study: Study = field(repr=False)
    intervals: pd.DataFrame = field(repr=False)

    @property
    def settings(self) -> Settings:
        """What the season's study file says."""
        return self.study.settings

    @property
    def usual(self) -> str:
        """The preparation that the others are compared with: the first level, planted here or not."""
        method = self.intervals["method"]
        levels = isinstance(method.dtype, pd.CategoricalDtype)
        return str(method.cat.categories[0]) if levels else methods_of(self.intervals)[0]

    def strata(self) -> list[str] | None:
        """Name the strata of the season's own model."""
        return strata_of(self.intervals, self.settings)

    def __repr__(self) -> str:
        sites = self.intervals["site"].nunique()
        return f"Season {self.name!r}: {len(self.intervals)} risk intervals at {sites} sites"


def take_in(studies: Sequence[Study], names: Sequence[str] | None = None) -> tuple[Season, ...]:
    """Take studies in as seasons, each once.

    Parameters
    ----------
    studies
        One or more.
    names
        What to call them; None: the folders' names, or the studies' where folders share one.

    Raises
    ------
    PoolingError
        When two have one name, hold the same plants, or hold no survival; when they
        compare with different usual practices.
    """
    called = _names(studies) if names is None else [str(name) for name in names]
    if twice := [name for name in dict.fromkeys(called) if called.count(name) > 1]:
        raise PoolingError(
            f"two seasons are called {twice[0]!r}", where="names", mend="give each season its own name"
        )
    as_read = tuple(_taken(study, name) for study, name in zip(studies, called, strict=True))
    # Under their own names: sites that are numbered in each study would hide plants that are the same.
    refuse_counted_twice({season.name: season.intervals for season in as_read})
    seasons = _as_shown(as_read)
    usual = {season.name: season.usual for season in seasons}
    if len(set(usual.values())) > 1:
        said = "; ".join(f"{name}: {method}" for name, method in usual.items())
        raise PoolingError(
            f"the seasons compare with different practices ({said})",
            where="usual_practice",
            mend="name the same usual_practice, spelt alike, in every study file "
            "(also = [...] of a method takes other spellings)",
        )
    return seasons


def _names(studies: Sequence[Study]) -> list[str]:
    files = [study.path.resolve() for study in studies]
    if again := [file for file in dict.fromkeys(files) if files.count(file) > 1]:
        raise PoolingError(
            "this season is named twice, and would look like two that agree",
            where=again[0].parent.name,
            mend="name each season once",
        )
    folders = [file.parent.name for file in files]
    return folders if len(set(folders)) == len(folders) else [study.settings.study.name for study in studies]


def _taken(study: Study, name: str) -> Season:
    if (nothing := study.records.nothing) is not None:
        raise PoolingError(nothing.what, where=name, mend=nothing.mend)
    first = study.first_plants
    if first.empty:
        raise PoolingError(
            "no seedling was seen alive at one visit and looked at again later",
            where=name,
            mend=f"see what is wrong with its records: survivor check {study.path.parent.name}",
        )
    return Season(name, study, first.assign(season=name))


def _as_shown(seasons: Sequence[Season]) -> tuple[Season, ...]:
    """Return seasons under the names that may be shown.

    Where one study hides places all do, or the others would tell them; a site has one number
    in all seasons, so that what is reckoned is the same under either name.
    """
    privacies = [season.settings.privacy for season in seasons]
    hidden = not all(privacy.show_places for privacy in privacies)
    if not hidden and all(privacy.show_landholders for privacy in privacies):
        return tuple(seasons)
    read = [(season.settings, season.study.records) for season in seasons]
    sites = numbered_sites(read) if hidden else None
    return tuple(_taken(season.study.as_shown(sites), season.name) for season in seasons)


def methods_of(intervals: pd.DataFrame) -> list[str]:
    """Methods in the order of their levels, those without rows left out."""
    method = intervals["method"]
    if isinstance(method.dtype, pd.CategoricalDtype):
        return [str(level) for level in method.cat.remove_unused_categories().cat.categories]
    return sorted(method.astype(str).unique())


def join_seasons(seasons: Sequence[Season]) -> pd.DataFrame:
    """Put the records of seasons into one table of risk intervals.

    Plots are called by season too, so that a label used again is another plot; a site
    that comes again stays the same site. The methods' levels start with the usual practice.
    """
    methods = list(dict.fromkeys(name for season in seasons for name in methods_of(season.intervals)))
    parts = [
        season.intervals.assign(
            plot=season.name + ": " + season.intervals["plot"].astype(str),
            method=pd.Categorical(season.intervals["method"].astype(str), categories=methods),
        )
        for season in seasons
    ]
    joined = pd.concat(parts, ignore_index=True)
    words = [name for name in joined.columns if not pd.api.types.is_numeric_dtype(joined[name])]
    for name in words:  # a trait that one season did not write down
        if name != "method" and not pd.api.types.is_datetime64_any_dtype(joined[name]):
            joined[name] = joined[name].fillna("")
    return joined


def joint_strata(joined: pd.DataFrame, seasons: Sequence[Season]) -> list[str] | None:
    """Name strata of the joint model: season, and those of the studies' own models."""
    own = dict.fromkeys(name for season in seasons for name in season.settings.design.strata)
    kept = [
        name
        for name in dict.fromkeys(["season", *own])
        if name in joined.columns and joined[name].astype(str).nunique() > 1
    ]
    return kept or None


def side_by_side(intervals: pd.DataFrame, strata: Sequence[str] | None, usual: str) -> pd.DataFrame:
    """Keep preparations that some place joins to the usual practice: the rest can't be told from places."""
    places = [name for name in strata or () if name in ("site", "block")]
    if not places:
        return of_methods(intervals, intervals["method"].unique())
    parts = layout(intervals, "method", places).parts()
    return of_methods(intervals, next((part for part in parts if usual in map(str, part)), ()))


def common_day(seasons: Sequence[Season], milestone: str | None = None) -> tuple[Milestone, float]:
    """Give the milestone that all seasons are answered for, and the day.

    Parameters
    ----------
    seasons
        At least one.
    milestone
        Its name; None: the headline milestone of the first season.

    Raises
    ------
    PoolingError
        When a season has no such milestone, has another day for it, or has not reached it.
    """
    name = seasons[0].settings.headline_milestone.name if milestone is None else milestone
    days: dict[str, float] = {}
    for season in seasons:
        milestones = {each.name: each for each in season.settings.milestones}
        if name not in milestones:
            raise PoolingError(
                f"this season has no milestone {name!r}",
                where=season.name,
                mend=f"its milestones: {', '.join(milestones)}; name one that all seasons have",
            )
        day, said = milestone_day(season.intervals, milestones[name])
        if not reached(milestones[name], day):
            raise PoolingError(
                said, where=season.name, mend="wait for that visit, or name an earlier milestone"
            )
        days[season.name] = day
    same = [next(m for m in season.settings.milestones if m.name == name) for season in seasons]
    nominal = {milestone.day for milestone in same}
    # Days within each other's window are one milestone: the same visits answer for either.
    if max(nominal) - min(nominal) > min(milestone.window_days for milestone in same):
        raise PoolingError(
            f"{name!r} means different days: {', '.join(f'{day}' for day in sorted(nominal))}",
            where="milestones",
            mend="give the milestone the same day in every study file, or days within its window",
        )
    # One day for all: the earliest that all have been seen to.
    return next(m for m in seasons[0].settings.milestones if m.name == name), min(days.values())
