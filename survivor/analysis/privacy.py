"""What a shared report may show: names of places and landholders taken out before anything is analysed.

Taking them out of the records, and not of what is written, keeps them from every form of the
report, from its figures and from the order of its rows. The records of a study itself stay as
they are: ``survivor check`` speaks to those who wrote them.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import Any, Final

from survivor.records import Records
from survivor.records.renaming import Words, in_words
from survivor.season.gauge import Gauges
from survivor.settings import Settings

NOT_SHOWN: Final = "not shown"
_A_NAME: Final = re.compile(r"[^\W\d_]{3,}")  # three letters on end: a code such as A1 or S12 names no place

#: Columns that tell who owns the land, or where it lies; left out unless the study file allows them.
LANDHOLDERS: Final = ("landholder", "owner", "landowner", "property", "address", "phone", "email")
COORDINATES: Final = (
    "latitude",
    "longitude",
    "lat",
    "lon",
    "long",
    "easting",
    "northing",
    "gps",
    "coordinates",
)


@dataclass(frozen=True)
class Shared:
    """A study as it may be shown."""

    settings: Settings
    records: Records
    gauges: Gauges
    provenance: dict[str, str]


def shared(
    settings: Settings,
    records: Records,
    gauges: Gauges,
    provenance: Mapping[str, str],
    sites: Mapping[str, str] | None = None,
) -> Shared:
    """Take out of a study what its report may not show.

    Parameters
    ----------
    settings
        The study file; ``[privacy]`` says what may be shown.
    records, gauges
        As read.
    provenance
        Version, seed and digests by file name.
    sites
        Numbers of the sites, where several studies share them; None: the study's own.

    Returns
    -------
    Shared
        The same where everything may be shown. Sites are numbered in an order that has nothing
        to do with their names, the same in every run; landholders' names are taken out of
        every text. Names of sites are found in texts whatever their case, and with spaces,
        hyphens or underscores between their words.
    """
    privacy = settings.privacy
    names: dict[str, str] = {}
    exact: dict[str, str] = {}
    if not privacy.show_places:
        exact = dict(sites or numbered_sites([(settings, records)]))
        exact |= _in_order("Gauge", [gauge.name for gauge in settings.gauges])
        files = _in_order("file", _files(settings))
        exact |= {name: PurePath(name).with_stem(new).name for name, new in files.items()}
        exact |= {PurePath(name).name: new for name, new in exact.items() if PurePath(name).name != name}
        names |= exact
    if not privacy.show_landholders:
        for name in _landholders(records):
            names.setdefault(name, NOT_SHOWN)
    if not names:
        return Shared(settings, records, gauges, dict(provenance))
    words = _replacing(names, exact)
    seen = Settings.model_validate_json(_texts(settings.model_dump_json(), words))
    return Shared(
        seen,
        records.renamed(seen, words),
        _regauged(gauges, words),
        {words(name): value for name, value in provenance.items()},
    )


def numbered_sites(studies: Sequence[tuple[Settings, Records]]) -> dict[str, str]:
    """Give the sites of studies numbers, one a name, in an order that tells nothing of them."""
    named = set[str]().union(*(_sites(settings, records) for settings, records in studies))
    return _numbered("Site", named, studies[0][0].study.seed)


def places_of(settings: Settings, records: Records) -> set[str]:
    """Names of the sites of a study, as it has them."""
    return _sites(settings, records)


def landholders_of(records: Records) -> set[str]:
    """Names of the landholders of a study, as it has them."""
    return _landholders(records)


def name_in(text: str, names: Iterable[str]) -> str | None:
    """Find a name in a text as it would be taken out of one: whole, or as words of it."""
    known = {_plain(name): name for name in names}
    if _plain(text) in known:
        return known[_plain(text)]
    anywhere = _anywhere({plain for plain, name in known.items() if _A_NAME.search(name)})
    found = anywhere.search(text) if anywhere is not None else None
    return known[_plain(found[0])] if found else None


def _sites(settings: Settings, records: Records) -> set[str]:
    told: set[str] = set()
    for frame in (records.intervals, records.plots, records.visits):
        if "site" in frame:
            told |= set(frame["site"].dropna().astype(str))
    told |= {line.site for line in settings.planted}
    told |= {site for gauge in settings.gauges for site in gauge.sites}
    told |= {point.site for point in settings.photo_points if point.site}
    return told - {""}


def _landholders(records: Records) -> set[str]:
    found: set[str] = set()
    for frame in (records.plots, records.visits, records.intervals):
        for column in frame.columns:
            if str(column).casefold() in LANDHOLDERS:
                found |= set(frame[column].dropna().astype(str).str.strip())
    return {name for name in found if _A_NAME.search(name)}


def _files(settings: Settings) -> list[str]:
    sheets = [*([settings.records.plots] if settings.records.plots else []), *settings.records.sheets]
    diary = settings.works.diary if settings.works else None
    files = [sheet.file for sheet in (*sheets, *([diary] if diary else []))]
    files += [gauge.file for gauge in settings.gauges] + [weather.file for weather in settings.weather]
    return list(dict.fromkeys(files))


def _numbered(word: str, names: Iterable[str], seed: int) -> dict[str, str]:
    """Give names numbers in an order that tells nothing of them."""
    drawn = sorted(names, key=lambda name: hashlib.sha256(f"{seed} {name}".encode()).hexdigest())
    return _in_order(word, drawn)


def _in_order(word: str, names: list[str]) -> dict[str, str]:
    width = len(str(len(names)))
    return {name: f"{word} {place:0{width}d}" for place, name in enumerate(names, start=1)}


def _replacing(names: Mapping[str, str], exact: Mapping[str, str]) -> Words:
    """Return what puts the new names into a text; a text that is one of ``exact`` whole is replaced so."""
    told = {_plain(name): new for name, new in names.items() if _A_NAME.search(name)}
    anywhere = _anywhere(told)

    def words(text: str) -> str:
        if text in exact:
            return exact[text]
        if anywhere is None:
            return text
        return anywhere.sub(lambda found: told.get(_plain(found[0]), NOT_SHOWN), text)

    return words


def _anywhere(plain: Iterable[str]) -> re.Pattern[str] | None:
    """Return a pattern that finds plain names, the longest first; None for no names."""
    longest = sorted(plain, key=len, reverse=True)
    # The names are plain already: one space between their words.
    pattern = "|".join(r"[\s_\-]+".join(map(re.escape, name.split())) for name in longest)
    return re.compile(rf"(?<![^\W_])(?:{pattern})(?![^\W_])", re.IGNORECASE) if longest else None


def _plain(name: str) -> str:
    return " ".join(re.split(r"[\s_\-]+", name.casefold().strip()))


def _texts(content: str, words: Words) -> str:
    """Put every text of a JSON document through ``words``; keys stay."""

    def walk(value: Any) -> Any:
        if isinstance(value, dict):
            return {key: walk(part) for key, part in value.items()}
        if isinstance(value, list):
            return [walk(part) for part in value]
        return words(value) if isinstance(value, str) else value

    return json.dumps(walk(json.loads(content)))


def _regauged(gauges: Gauges, words: Words) -> Gauges:
    return replace(
        gauges,
        records={
            words(name): replace(
                record,
                name=words(record.name),
                file=words(record.file),
                problems=in_words(record.problems, words),
            )
            for name, record in gauges.records.items()
        },
        problems=in_words(gauges.problems, words),
        accounts=in_words(gauges.accounts, words),
        weather={words(name): record for name, record in gauges.weather.items()},
    )
