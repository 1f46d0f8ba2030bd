"""Days of visits and of planting that stand beside the records: in titles, lines, and small tables."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from typing import Final

from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.headers import squeezed
from survivor.files.sheets import HEADER_JOINT, Grid, Whole, as_text
from survivor.records.visit_columns import days_and_places, is_round

SPEAKS_OF_PLANTING: Final = re.compile(r"\bplant(?:ed|ing)\b|\bput in\b", re.IGNORECASE)


_OF_A_VISIT: Final = re.compile(
    r"\b(?:dates?|visit\w*|count\w*|check\w*|survey\w*|monitor\w*|assess\w*|inspect\w*|seen)\b", re.IGNORECASE
)
_PLANTING_DATE: Final = re.compile(r"\bplant(?:ed|ing)\W+(?:dates?|day)\b", re.IGNORECASE)
_SEVERAL_DAYS: Final = re.compile(
    r"(?<![\d./-])\d{1,2}(?:st|nd|rd|th)? ?(?:-|\N{EN DASH}|to|and|&) ?$", re.IGNORECASE
)


def days_of_planting(title: str, order: cells.DateOrder) -> list[tuple[str, int]]:
    """Days of a title and where they begin, without those that it says are of a visit.

    "Date 14/8/23, planted 30/6/23" tells the second. The word next to the day goes before others:
    "Creek planting - visit 1, 14/8/23" is a visit. Of several days of planting (11-12 July 2023) none
    is taken: whose each is, is asked.
    """
    kept: list[tuple[str, int]] = []
    end = 0
    for day, place in days_and_places(title, order):
        before = _PLANTING_DATE.sub("planted", title[end:place])
        planting, visit = (_last(pattern, before) for pattern in (SPEAKS_OF_PLANTING, _OF_A_VISIT))
        if planting >= visit and not _SEVERAL_DAYS.search(before):
            kept.append((day, place))
        end = place
    return kept


def _last(pattern: re.Pattern[str], text: str) -> int:
    return max((found.start() for found in pattern.finditer(text)), default=-1)


def planted_by_site(texts: Sequence[str], sites: Sequence[str], order: cells.DateOrder) -> dict[str, str]:
    """Planting day of each site from a text such as "planted: Head 29/6/2023, Foot 11/7/2023"."""
    told: dict[str, str] = {}
    for text in (text for text in texts if SPEAKS_OF_PLANTING.search(text)):
        begin = SPEAKS_OF_PLANTING.search(text)
        end = begin.end() if begin else 0
        of_planting = days_of_planting(text, order)
        days = [(day, place) for day, place in of_planting if place >= end]
        if behind := _named_behind(text, days, end, sites):
            for site, day in behind:
                if told.setdefault(site, day) != day:
                    return {}
            continue
        for day, place in of_planting:
            named = [site for site in sites if _speaks_of(text[end:place], site, sites)]
            named = named or [site for site in sites if _speaks_of(text[:place], site, sites)]
            if len(named) == 1 and told.setdefault(named[0], day) != day:
                return {}
            end = place + 5
    return told


def _named_behind(
    text: str, days: Sequence[tuple[str, int]], begin: int, sites: Sequence[str]
) -> list[tuple[str, str]]:
    """Pair each day with the site behind it, in "planted 3/7/23 (Head), 4/7/23 (Foot)"; else nothing."""
    if not days or any(_speaks_of(text[begin : days[0][1]], site, sites) for site in sites):
        return []
    ends = [place for _, place in days[1:]] + [len(text)]
    pairs = []
    for (day, place), end in zip(days, ends, strict=True):
        named = [site for site in sites if _speaks_of(text[place:end], site, sites)]
        if len(named) != 1:
            return []
        pairs.append((named[0], day))
    return pairs


def _speaks_of(text: str, site: str, sites: Sequence[str]) -> bool:
    """Tell whether a text names a site, or that word of its name which no other site has."""
    said = set(re.findall(r"[^\W_]+", text.casefold()))
    words = [set(re.findall(r"[^\W_]+", other.casefold())) for other in sites]
    own = set(re.findall(r"[^\W_]+", site.casefold()))
    unique = own - set().union(*(other for other in words if other != own))
    return bool(unique) and bool(unique & said)


def days_elsewhere(whole: Whole, sites: Collection[str], order: cells.DateOrder) -> dict[str, dict[str, str]]:
    """Find days of visits in a table or a line: round, such as V1 -> site, or "" for all -> day.

    In a table each day belongs to the round that its row or its column names, and to the
    site that the other names; in a line ("V1 8/8/24, V2 9/10/24") to the round before it.
    Planting days stand under the round "planted".
    """
    texts = whole.rows.map(as_text)
    known = {squeezed(site): site for site in sites}
    out: dict[str, dict[str, str]] = {}

    def put(labels: Sequence[str], day: str) -> None:
        rounds = [label for label in labels if is_round(label) or SPEAKS_OF_PLANTING.search(label)]
        places = [known[squeezed(label)] for label in labels if squeezed(label) in known]
        if rounds and (places or not sites or len(labels) - len(rounds) < 2):
            name = "planted" if SPEAKS_OF_PLANTING.search(rounds[0]) else squeezed(rounds[0])
            out.setdefault(name, {}).setdefault(places[0] if places else "", day)

    for row in texts.index:
        line = texts.loc[row]
        filled = line[line != ""]
        if len(filled) == 1:
            for label, written in _IN_A_LINE.findall(filled.iloc[0]):
                if (day := cells.one_date(written, order)) is not None:
                    put([label], day)
            continue
        labels = [str(text) for text in filled if cells.one_date(text, order) is None]
        for column, text in filled.items():
            number = bool(re.fullmatch(r"[\d.]+", text))
            if number or (day := cells.one_date(text, order)) is None:
                continue
            above = texts.loc[: row - 1, column]
            above = above[(above != "") & above.map(lambda t: cells.one_date(t, order) is None)]
            put([*labels, *above.tail(1)], day)
    return out


_IN_A_LINE: Final = re.compile(
    r"\b(v\d{1,2}|(?:visit|round|check|survey) ?\d{1,2}|planted)[ :=]+"
    r"(\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2} [a-z]{3,9} \d{2,4})",
    re.IGNORECASE,
)


def date_in_headers(grid: Grid, name: str, places: Iterable[int]) -> str:
    """Read the day of a visit of a wide sheet from its name and the headers of its columns.

    Raises
    ------
    RecordsError
        When they hold none, or several.
    """
    texts = [name, *(part for place in places for part in grid.header[place].split(HEADER_JOINT))]
    found = {day for day in map(cells.one_date, texts) if day is not None}
    if len(found) == 1:
        return found.pop()
    raise RecordsError(
        f"no single day is given for the visit {name!r}, and its headers hold none",
        where=grid.place,
        mend=f'give it in the study file: [[records.visits]] name = "{name}", date = "2022-05-31" '
        '(or date_header = "..." where a column holds it)',
    )
