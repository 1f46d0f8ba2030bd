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


def planted_by_site(texts: Sequence[str], sites: Sequence[str], order: cells.DateOrder) -> dict[str, str]:
    """Planting day of each site from a text such as "planted: Head 29/6/2023, Foot 11/7/2023"."""
    told: dict[str, str] = {}
    for text in (text for text in texts if SPEAKS_OF_PLANTING.search(text)):
        begin = SPEAKS_OF_PLANTING.search(text)
        end = begin.end() if begin else 0
        for day, place in days_and_places(text, order):
            named = [site for site in sites if _speaks_of(text[end:place], site, sites)]
            named = named or [site for site in sites if _speaks_of(text[:place], site, sites)]
            if len(named) == 1 and told.setdefault(named[0], day) != day:
                return {}
            end = place + 5
    return told


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
