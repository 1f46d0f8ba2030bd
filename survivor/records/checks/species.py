"""Checks of species: names that may be another one, misspelt or shortened. Proposed, never done."""

from __future__ import annotations

import difflib
import re

import pandas as pd

from survivor.records.problems import find, none_found
from survivor.settings.nearest import look_alike

_CODE_PARTS = ((4, 4), (3, 3), (4, 3), (3, 4), (2, 2))  # letters of genus and species in one word


def check_species(rows: pd.DataFrame) -> pd.DataFrame:
    """Find species that may be another one: rare and close to a common one, or its short form."""
    often = rows.loc[rows["species"] != "", "species"].value_counts()
    names = [str(name) for name in often.index]
    likely: dict[str, tuple[str, list[str]]] = {}
    for species in names:
        others = [other for other in names if other != species]
        whole = [other for other in others if is_short_for(species, other)]
        if whole:
            likely[species] = ("a short form of ", whole)
            continue
        common = [other for other in others if often[other] >= 2 * often[species]]
        close = [other for other in common if look_alike(species, other)]
        close += difflib.get_close_matches(species, common, n=1, cutoff=0.85)
        if close:
            likely[species] = ("another one, misspelt: ", close[:1])
    if not likely:
        return none_found()
    what = {name: f"this species may be {kind}{' or '.join(found)}" for name, (kind, found) in likely.items()}
    mend = {
        name: f'if so, write in the study file under [records.sheets.species]: "{name}" = "{found[0]}"'
        + ("; which one it is the sheet does not tell" if len(found) > 1 else "")
        for name, (_, found) in likely.items()
    }
    return find(
        rows,
        rows["species"].isin(list(likely)),
        "species-spelling",
        word="species",
        what=rows["species"].map(what),
        mend=rows["species"].map(mend),
        group=rows["species"],
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
