"""Checks of the names that plots go by: sites and methods that may be others, misspelt, or stand alone.

Rules of the study file that its kind of records does not know.

Checks of species: names that may be another one, misspelt or shortened. Proposed, never done.
"""

from __future__ import annotations

import difflib
import json
import re
from typing import Final

import pandas as pd

from survivor.files.cells import all_figures
from survivor.files.names import likely_slips, look_alike
from survivor.records.checks.plots import NOT_RECORDED
from survivor.records.checks.study_names import StudyLines
from survivor.records.plots import PlotTable
from survivor.records.problems import find, gather, none_found
from survivor.records.times import often as how_often
from survivor.records.times import size_by
from survivor.settings import Settings
from survivor.vocabulary import FIRST_PLANTING


def check_levels(
    table: PlotTable | None, rows: pd.DataFrame, settings: Settings, plants: pd.Series[int]
) -> pd.DataFrame:
    """Find sites and methods that look like another, and those with a single plot.

    Parameters
    ----------
    table
        The plot table, where there is a plot sheet.
    rows
        Visit records that can be used.
    settings
        The study file; methods that it names are not misspelt.
    plants
        How many first plants each plot has (`plants_by_plot`).
    """
    used = set(rows["name"])
    listed = rows.iloc[:0] if table is None else table.plots.reset_index()
    found = []
    for word in ("method", "site"):
        told = (listed[word] != "").any()
        where = listed if told else rows
        where = where[where["name"].isin(used) & (where[word] != "") & (where[word] != NOT_RECORDED)]
        plots = (where if told else where.drop_duplicates(["name", word]))[word].value_counts()
        if not (word == "method" and settings.methods):
            found.append(_misspelt(where, word, plots))
        found.append(_alone(where, word, plots))
    if settings.records.kind == "tagged":
        found.append(_small(rows, plants))
    return gather(*found)


_FEW_PLANTS: Final = 2
_USUAL_PLANTS: Final = 10  # in the middle plot, from which on a plot of two is a likely slip


def plants_by_plot(rows: pd.DataFrame) -> pd.Series[int]:
    """Count the first plants of each plot."""
    if rows.empty:
        return pd.Series(dtype=int)
    first = rows[rows["cohort"] == FIRST_PLANTING]
    return size_by(first.drop_duplicates(["name", "tag"]), "name")


def _small(rows: pd.DataFrame, plants: pd.Series[int]) -> pd.DataFrame:
    """Find plots of one or two plants beside plots of many: their label may be a slip for another's."""
    if plants.empty or plants.median() < _USUAL_PLANTS:
        return none_found()
    small = plants[plants <= _FEW_PLANTS]
    return find(
        rows,
        rows["name"].isin(small.index) & (rows["cohort"] == FIRST_PLANTING),
        "small-plot",
        "plot",
        number=rows["name"].map(small),
        middle=plants.median(),
        group=rows["name"],
    )


def _misspelt(where: pd.DataFrame, word: str, plots: pd.Series[int]) -> pd.DataFrame:
    """Find names with no more plots than another that they look like."""
    likely = likely_slips([str(name) for name in plots.index])  # those with most plots first
    if not likely:
        return none_found()
    counted = {name: f"{number} plot{'s' if number != 1 else ''}" for name, number in plots.items()}
    like = where[word].map(likely)
    return find(
        where,
        where[word].isin(list(likely)),
        f"{word}-spelling",
        word,
        like=like,
        of_own=where[word].map(counted),
        of_like=like.map(counted),
        group=where[word],
    )


def _alone(where: pd.DataFrame, word: str, plots: pd.Series[int]) -> pd.DataFrame:
    """Find methods and sites with one plot only, where there is more than one of them."""
    single = plots.index[plots == 1]
    if not len(single) or len(plots) < 2:
        return none_found()
    alone = where[word].isin(single)
    return find(where, alone, f"one-plot-{word}", word, group=where[word])


_NAMED: Final = ("site", "block", "plot", "tag", "method", "species")
_DATE: Final = re.compile(
    r"\d{4}-\d{1,2}-\d{1,2}( 00:00(:00)?)?"
    r"|\d{1,2}[/.]\d{1,2}[/.](\d{4}|\d{2})"
    r"|\d{1,2}-[a-z]{3}(-\d{2,4})?",
    re.IGNORECASE,
)
_ERROR: Final = re.compile(r"#(N/A|REF!|VALUE!|NAME\?|DIV/0!|NULL!|NUM!)")
_BLANK: Final = re.compile(r"\W+|nan|n/a|null|none", re.IGNORECASE)
_NO_NAME: Final = (
    ("a date, as a spreadsheet makes of a name such as 1-2", _DATE),
    ("what a spreadsheet shows where a formula fails", _ERROR),
    ("no name", _BLANK),
)


def check_no_name(rows: pd.DataFrame) -> pd.DataFrame:
    """Find places, tags, methods and species that are called by a date, an error or no name at all."""
    found = []
    for word in _NAMED:
        if word not in rows:
            continue
        names = rows[word].unique()
        if all_figures(map(str, names)):
            continue
        kinds: dict[str, str] = {}
        for name in names:
            if str(name).isdigit():  # a plain number, as most tags are
                continue
            looks_like = _NO_NAME[:2] if word == "species" else _NO_NAME  # a species is often not known: ?
            kind = next((kind for kind, looks in looks_like if looks.fullmatch(str(name))), "")
            if kind:
                kinds[name] = kind
        if kinds:
            odd, kind_of = rows[word].isin(list(kinds)), rows[word].map(kinds)
            found.append(find(rows, odd, "no-name", word, kind=kind_of, group=rows[word]))
    return gather(*found)


_OF: Final = {
    "tagged": ("missing", "blank", "measured_means_alive", "tagged", "tags_alike"),
    "counts": ("count_rises",),
}
_SEEDLINGS: Final = {"tagged": "tagged seedlings", "counts": "counts"}


def check_rules(settings: Settings, notes: StudyLines) -> None:
    """Find rules for the other kind of records; one that says what holds anyway is not asked about."""
    kind = settings.records.kind
    other = "counts" if kind == "tagged" else "tagged"
    for name in _OF[other]:
        value = getattr(settings.rules, name)
        if value == type(settings.rules).model_fields[name].default:
            continue
        notes.say(
            "rule-without-use",
            ("rules", name),
            f"[rules] {name}",
            json.dumps(value),
            other=_SEEDLINGS[other],
            own=_SEEDLINGS[kind],
        )


_UNSURE: Final = "; which one it is the sheet does not tell"
_CODE_PARTS = ((4, 4), (3, 3), (4, 3), (3, 4), (2, 2))  # letters of genus and species in one word


def check_species(rows: pd.DataFrame) -> pd.DataFrame:
    """Find species that may be another one: rare and close to a common one, or its short form."""
    species = rows["species"]
    often = how_often(rows[species != ""], "species")
    names = [str(name) for name in often.index]
    likely: dict[str, tuple[str, list[str]]] = {}
    for name in names:
        beside = [other for other in names if other != name]
        whole = [other for other in beside if is_short_for(name, other)]
        if whole:
            likely[name] = ("a short form of ", whole)
            continue
        common = [other for other in beside if often[other] >= 2 * often[name]]
        close = [other for other in common if look_alike(name, other)]
        close += difflib.get_close_matches(name, common, n=1, cutoff=0.85)
        if close:
            likely[name] = ("another one, misspelt: ", close[:1])
    if not likely:
        return none_found()
    kind = {name: kind for name, (kind, _) in likely.items()}
    others = {name: " or ".join(found) for name, (_, found) in likely.items()}
    first = {name: found[0] for name, (_, found) in likely.items()}
    return find(
        rows,
        species.isin(list(likely)),
        "species-spelling",
        "species",
        kind=species.map(kind),
        others=species.map(others),
        first=species.map(first),
        unsure=species.map({name: _UNSURE for name, (_, found) in likely.items() if len(found) > 1}),
        group=species,
    )


def is_short_for(short: str, whole: str) -> bool:
    """Tell whether one name shortens the other: word by word ("E. cam."), or as one word ("EUCCAM")."""
    first, second = _words(short), _words(whole)
    if len(second) < 2 or len("".join(first)) >= len("".join(second)):
        return False
    if len(first) == len(second):
        return all(other.startswith(part) for part, other in zip(first, second, strict=True))
    return len(first) == 1 and first[0] in {second[0][:g] + second[1][:s] for g, s in _CODE_PARTS}


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W\d_]+|\d+", name.casefold())
