"""Which plots lie on which kind of ground, by the words of the plot sheets.

Names that a study hides, refused in the guideline file: it would print them, or look for them in vain.

The weed-free radius advised: from where more stops paying, with its limits.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survivor.analysis.models import season_formula
from survivor.analysis.privacy import landholders_of, name_in, places_of
from survivor.effects.dose import dose
from survivor.errors import GuidelineError, SurvivorError
from survivor.guideline.file import Ground, GuidelineFile
from survivor.models.fit import fit
from survivor.seasons import Season
from survivor.seasons.season import joint_strata
from survivor.study import Study


def kinds_of(intervals: pd.DataFrame, grounds: Sequence[Ground]) -> pd.Series[str]:
    """Name the kind of ground of each row; empty where it lies on none.

    Parameters
    ----------
    intervals
        Risk intervals of all seasons.
    grounds
        The kinds, each with its columns and words; letter case does not matter.

    Raises
    ------
    GuidelineError
        When a column is not recorded, a word is on no plot, or a plot lies on two kinds.
    """
    kinds = np.full(len(intervals), "", dtype=object)
    for ground in grounds:
        lies = np.ones(len(intervals), dtype=bool)
        for column, words in ground.where.items():
            lies &= _has(intervals, ground, column, words)
        two = lies & (kinds != "")
        if two.any():
            place = int(np.flatnonzero(two)[0])
            site = intervals["site"].iloc[place]
            raise GuidelineError(
                f"plots at {site} lie on two kinds of ground: {kinds[place]} and {ground.name}",
                where="[[ground]]",
                mend="give each kind words that no other has",
            )
        kinds[lies] = ground.name
    return pd.Series(kinds, index=intervals.index, dtype=str, name="ground")


def _has(intervals: pd.DataFrame, ground: Ground, column: str, words: Sequence[str]) -> NDArray[np.bool_]:
    if column not in intervals.columns:
        names = [name for name in intervals.columns if intervals[name].dtype == object or name == "site"]
        raise GuidelineError(
            f"no plot sheet has a column {column!r}",
            where=f"[[ground]] {ground.name}",
            mend=f"use a column that the study files carry: {', '.join(map(str, names))}",
        )
    plain = intervals[column].astype(str).str.casefold()
    wanted = [word.casefold() for word in words]
    absent = [word for word, small in zip(words, wanted, strict=True) if not (plain == small).any()]
    if absent:
        seen = sorted(word for word in intervals[column].astype(str).unique() if word)
        raise GuidelineError(
            f"no plot has {column} {absent[0]!r}",
            where=f"[[ground]] {ground.name}",
            mend=f"words in the plot sheets: {', '.join(seen[:12])}",
        )
    holds: NDArray[np.bool_] = plain.isin(wanted).to_numpy(dtype=bool)
    return holds


def refuse_hidden(file: GuidelineFile, studies: Mapping[str, Study]) -> None:
    """Raise where the guideline file names what a study file of its seasons hides.

    Parameters
    ----------
    file
        The guideline file.
    studies
        As read, by what the guideline calls the season.

    Raises
    ------
    GuidelineError
        Naming the key and the value.
    """
    _refuse_places(file, studies)
    for season, study in studies.items():
        if study.settings.privacy.show_landholders:
            continue
        names = landholders_of(study.records)
        for place, text, by in _texts(file, studies):
            if by and (name := name_in(text, names)) is not None:
                raise GuidelineError(
                    f"{place} = {text!r} names {name!r}, a landholder, and the study file of {season} shows "
                    "none ([privacy] show_landholders)",
                    where="the guideline file",
                    mend=f"{_BY_TRAIT}; or write show_landholders = true under [privacy] of that study file",
                )


_BY_TRAIT = "say what ground it is by a trait of the plot sheets, such as texture or slope"


def _refuse_places(file: GuidelineFile, studies: Mapping[str, Study]) -> None:
    # Where one study hides places all are numbered, so none of any study may be named.
    hiding = [season for season, study in studies.items() if not study.settings.privacy.show_places]
    if not hiding:
        return
    names = set[str]().union(*(places_of(study.settings, study.records) for study in studies.values()))
    for place, text, by in _texts(file, studies):
        if (name := name_in(text, names)) is None:
            continue
        files, hide = ("the study file", "hides") if len(hiding) == 1 else ("the study files", "hide")
        raise GuidelineError(
            f"{place} = {text!r} names the site {name!r}, and {files} of {', '.join(hiding)} {hide} places "
            "([privacy] show_places = false): sites have numbers here",
            where="the guideline file",
            mend=f"{_BY_TRAIT if by else 'write it without the name'}; or, where its places may be shown, "
            f"write show_places = true in {files}",
        )


def _texts(file: GuidelineFile, seasons: Mapping[str, Study]) -> Iterator[tuple[str, str, bool]]:
    """Go through the texts that are printed or looked for: key, text, and whether it says which plots."""
    for ground in file.ground:
        for column, words in ground.where.items():
            for word in words:
                yield f"[[ground]] {ground.name}: where.{column}", word, True
    for season in seasons:
        yield "[[seasons]] name (without it the folder's)", season, False
    yield from _within(file.model_dump(mode="json", exclude={"seasons": True, "rule": True}), "")


def _within(part: Any, place: str) -> Iterator[tuple[str, str, bool]]:
    if isinstance(part, str):
        yield place, part, False
    elif isinstance(part, dict):
        for key, value in part.items():
            if key != "where":
                yield from _within(value, f"{place}.{key}" if place else key)
    elif isinstance(part, list):
        for number, value in enumerate(part, start=1):
            yield from _within(value, f"{place}.{number}")


RADIUS = "weed_free_radius_m"
AT_PLANTING = "at planting"


@dataclass(frozen=True)
class RadiusAdvice:
    """For one kind of ground, or all: metres with limits where it is reached, and the sentence."""

    ground: str
    value: float | None
    lower: float | None
    upper: float | None
    sentence: str
    n_plots: int = 0


def radius_advice(
    seasons: Sequence[Season], joined: pd.DataFrame, grounds: Sequence[str], at: float, gain: float
) -> tuple[RadiusAdvice, ...]:
    """Advise on the weed-free radius for all ground together, then for each kind."""
    if RADIUS not in joined.columns or joined[RADIUS].isna().all():
        return (RadiusAdvice("all kinds", None, None, None, "No weed-free radius is in the records."),)
    with_radii = set(joined.loc[joined[RADIUS].notna(), "season"].astype(str))
    # A season without a radius has none that could have been measured late.
    late = [
        season.name
        for season in seasons
        if season.name in with_radii and season.settings.design.radius_measured != AT_PLANTING
    ]
    if late:
        caution = (
            f"The radius was not measured at planting in {', '.join(late)}, so it is part of what the "
            "preparations did. No radius is advised from it."
        )
        return (RadiusAdvice("all kinds", None, None, None, caution),)
    kinds = [_of("all kinds", joined[joined["ground"] != ""], joined, seasons, at, gain)]
    kinds += [_of(name, joined[joined["ground"] == name], joined, seasons, at, gain) for name in grounds]
    return tuple(kinds)


def _of(
    name: str, rows: pd.DataFrame, joined: pd.DataFrame, seasons: Sequence[Season], at: float, gain: float
) -> RadiusAdvice:
    measured = rows[rows[RADIUS].notna()].copy()
    if measured.empty:
        return RadiusAdvice(name, None, None, None, "No plot of these seasons lies on such ground.")
    measured["method"] = measured["method"].cat.remove_unused_categories()
    plots = len(measured[["season", "site", "block", "plot"]].drop_duplicates())
    try:
        fitted = fit(measured, season_formula(measured)[0], strata=joint_strata(measured, seasons))
        response = dose(fitted, RADIUS, at, gain=gain, radius_measured=AT_PLANTING)
    except SurvivorError as fault:
        return RadiusAdvice(name, None, None, None, f"Not known: {fault.what}.", plots)
    stops = response.stops_paying
    if stops is None:
        remark = " ".join(response.checks) or "The response to the radius could not be estimated."
        return RadiusAdvice(name, None, None, None, remark, plots)
    return RadiusAdvice(name, stops.value, stops.lower, stops.upper, stops.sentence, plots)
