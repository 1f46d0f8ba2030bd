"""Names that a study hides, refused in the guideline file: it would print them, or look for them in vain."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from survivor.analysis.privacy import landholders_of, name_in, places_of
from survivor.errors import GuidelineError
from survivor.guideline.file import GuidelineFile
from survivor.study import Study


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
