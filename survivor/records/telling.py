"""Columns whose header is none of the plain words, told by weaker words and by what stands in them.

What is told here is written into the proposed study file, where a person sees it; a study file that is
read asks for plain words only.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from survivor.files import cells
from survivor.files.headers import Matched, squeezed
from survivor.files.sheets import HEADER_JOINT, Grid
from survivor.records.days_told import SPEAKS_OF_PLANTING
from survivor.records.words import COLUMN_WORDS, is_total

# Words that may mean something else as well: taken where no column has a plainer one.
_SECOND_WORDS: Final = {
    "site": "property, locality, place, farm, reserve, planting site",
    "block": "blk, bay, group, set",
    "plot": (
        "plot label, plot name or no, quad, strip, cell, peg colour, peg color, plot colour, plot "
        "color, colour, color, subplot, area, row, line, bed"
    ),
    "tag": (
        "plant, sapling, sapling no, stem, stem no, tube, no, number, id, marker, pin, pin no, pos, "
        "position, plant label, seedling label, ref, item"
    ),
    "species": "common name, plant species, tree species, species planted, species code, name, type",
    "method": (
        "treat, ground prep, soil prep, prep type, site works, ground works, technique, trt, trtmt, "
        "treatments, type of prep, prep done, planting method, what, method used"
    ),
    "date": (
        "checked, date checked, checked on, counted, counted on, date counted, date of count, "
        "count date, date of check, check date, date of survey, date inspected, inspected, date "
        "seen, seen, day, day of visit, visited on, date assessed, assessed, assessment date, "
        "when"
    ),
    "state": (
        "dead or alive, dead alive, alive dead missing, condition, survival, survived, living, "
        "result, plant state, plant status, health, outcome, code, observation"
    ),
    "alive": (
        "living, no living, number living, alive now, no surviving, number surviving, no left, "
        "left, survived, survival, still alive, total alive"
    ),
    "dead": "lost, no lost, losses, deaths, mortality, died, no died, dead to date",
    "planted": (
        "no of plants, number of plants, no plants, plants put in, seedlings planted, no "
        "seedlings, seedlings, number of seedlings, no of seedlings, trees planted, initial "
        "number, initial count, initial, start number, originally planted, qty planted, qty, "
        "quantity, quantity planted, tubes planted, stems planted, original, total"
    ),
    "planted_date": (
        "date put in, date pl, pl date, day planted, planting day, put in on, date in, in ground, when "
        "planted, planted when"
    ),
}  # fmt: skip
# What a label is of, and what it is called: Tree ID, Stake number, Treatment code.
_NOUNS: Final = {
    "site": "site paddock property location",
    "block": "block rep replicate bay",
    "plot": "plot quadrat strip transect subplot cell unit",
    "tag": "tag tree plant seedling sapling stem stake peg tube pin marker",
    "method": "treatment prep preparation method trt",
}
_LABELS: Final = {"method": "code type name id no group level"}
_USUAL_LABELS: Final = "id no number name code label ref tag"
SECOND_WORDS: Final[dict[str, frozenset[str]]] = {
    word: frozenset(squeezed(other) for other in others.split(", "))
    | {
        noun + label
        for noun in _NOUNS.get(word, "").split()
        for label in _LABELS.get(word, _USUAL_LABELS).split()
    }
    for word, others in _SECOND_WORDS.items()
}
# A header with its own key of codes: survival (1=alive 0=dead), Status A = alive.
OF_STATES: Final = re.compile(
    r"\b[\w+]{1,2} ?= ?(?:alive|live|living|dead)\b|\b(?:alive|live|living|dead) ?= ?[\w+]{1,2}\b",
    re.IGNORECASE,
)
_OF_CODES: Final = re.compile(r"trt|treat|prep", re.IGNORECASE)
_MOST_CODES: Final = 12
_MOSTLY: Final = 0.6  # of the filled cells of a column, for it to be one of states
_FEWEST_ROWS: Final = 3
_ROWS_LOOKED_AT: Final = 400
REMARKS: Final = re.compile(r"comment|note|remark|observer|recorder|who", re.IGNORECASE)


@dataclass(frozen=True)
class Written:
    """What stands in the columns of a table: looked at for each kind of sheet that it may be.

    Attributes
    ----------
    texts
        Cells of each column as text.
    shares
        Column -> share of its filled cells that are words for states.
    """

    texts: Sequence[Sequence[str]]
    shares: Mapping[int, float]


def columns_told(
    grid: Grid, matched: Matched, words: Collection[str], taken: Collection[int], written: Written
) -> dict[str, str]:
    """Tell columns that no plain word heads.

    Parameters
    ----------
    grid, matched
        The table, and what its plain headers were taken for.
    words
        Our words that such a table may hold.
    taken
        Columns that are of visits.
    written
        What stands in the columns.

    Returns
    -------
    dict
        Our word -> header.
    """
    grid = replace(grid, cells=grid.cells.head(_ROWS_LOOKED_AT))
    texts, shares = [column[:_ROWS_LOOKED_AT] for column in written.texts], written.shares
    used = {place for places in matched.positions.values() for place in places} | set(taken)
    heads = [header for header in grid.header if header]
    free = [
        place
        for place, header in enumerate(grid.header)
        if header and place not in used and heads.count(header) == 1
    ]
    told: dict[str, str] = {}

    def take(word: str, places: Sequence[int]) -> None:
        if len(places) == 1:
            told[word] = grid.header[places[0]]
            free.remove(places[0])

    def second(word: str) -> list[int]:
        return [place for place in free if _is_second(grid.header[place], word)]

    wanted = [word for word in words if not matched.has(word)]
    if "state" in wanted:
        mostly = [place for place in free if shares.get(place, 0.0) >= _MOSTLY]
        take("state", [place for place in mostly if _filled(grid.header[place], texts[place])])
    for word in ("date", "planted_date"):
        if word in wanted:
            take(word, [place for place in second(word) if cells.hold_days(grid.cells[place])])
    for word in (word for word in wanted if word in SECOND_WORDS and word not in ("date", "planted_date")):
        if word not in told:
            take(word, [place for place in second(word) if _may_be(grid.header[place], texts[place], word)])
    if "date" in wanted and "date" not in told:
        of_visits = [place for place in free if not SPEAKS_OF_PLANTING.search(grid.header[place])]
        take("date", [place for place in of_visits if cells.hold_days(grid.cells[place])])
    if "tag" in wanted and "tag" not in told and any(shares.get(place, 0.0) > _MOSTLY for place in taken):
        take("tag", _tags(grid, matched, free, texts)[:1])
    if "alive" in words and "plot" in wanted and "plot" not in told:
        take("plot", _labels(grid, free, texts)[:1])
    return told


def _is_second(header: str, word: str) -> bool:
    if OF_STATES.search(head := header.rsplit(HEADER_JOINT, 1)[-1]):  # its key: one plant a cell
        return word == "state"
    return squeezed(head) in SECOND_WORDS[word]


def _may_be(header: str, texts: Sequence[str], word: str) -> bool:
    """Tell whether what stands in a column can be what its header may mean."""
    filled = [text for text in texts if text and not is_total(text)]
    if len(filled) < min(_FEWEST_ROWS, len(texts)):
        return False
    distinct = set(filled)
    values = list(map(cells.one_number, distinct))
    numbers = not any(map(math.isnan, values))
    match word:
        case "tag":
            return len(distinct) >= _MOSTLY * len(filled) or len(filled) > 2 * len(distinct)
        case "alive" | "dead" | "planted":
            return numbers or word == "alive"
        case "method" if numbers:  # codes of preparations, which a key may explain
            whole = all(value % 1 == 0 for value in values)
            return whole and bool(_OF_CODES.search(header)) and len(distinct) <= _MOST_CODES
        case "block" if numbers:
            return len(distinct) < len(filled)
        case "species" | "method" | "site" | "block":
            return not numbers and len(distinct) < len(filled)
        case "state":
            coded = OF_STATES.search(header) is not None
            return (coded or not numbers) and len(distinct) < len(filled)
    return True


def _filled(header: str, texts: Sequence[str]) -> bool:
    filled = sum(text != "" for text in texts)
    return bool(texts) and filled / len(texts) >= 1 - _MOSTLY and not REMARKS.search(header)


def _tags(grid: Grid, matched: Matched, free: Sequence[int], texts: Sequence[Sequence[str]]) -> list[int]:
    """Columns that number the rows of a table, or those of each plot: one row a seedling."""
    plots = matched.positions.get("plot", ())[:1]
    number = [sum(text != "" for text in row) for row in zip(*texts, strict=True)]
    rows = [row for row, filled in enumerate(number) if filled >= _FEWEST_ROWS]
    plot = [texts[plots[0]][row] if plots else "" for row in rows]
    found = []
    for place in (place for place in free if not REMARKS.search(grid.header[place])):
        own = [texts[place][row] for row in rows]
        if len(own) >= _FEWEST_ROWS and all(own) and len(set(zip(plot, own, strict=True))) == len(own):
            found.append(place)
    return found


def _labels(grid: Grid, free: Sequence[int], texts: Sequence[Sequence[str]]) -> list[int]:
    """Columns whose every label is of one row alone: names of plots."""
    known = {squeezed(other) for other in COLUMN_WORDS["notes"]}
    found = []
    for place in free:
        header = grid.header[place]
        filled = [text for text in texts[place] if text and not is_total(text)]
        if (
            len(filled) >= _FEWEST_ROWS
            and len(set(filled)) == len(filled)
            and not REMARKS.search(header)
            and squeezed(header) not in known
            and all(math.isnan(cells.one_number(text)) for text in filled)
        ):
            found.append(place)
    return found
