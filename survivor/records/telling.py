"""Columns whose header is none of the plain words, told by weaker words and by what stands in them.

What is told here is written into the proposed study file, where a person sees it; a study file that is
read asks for plain words only.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Final

import pandas as pd

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


def columns_told(
    grid: Grid, matched: Matched, words: Collection[str], taken: Collection[int], shares: Mapping[int, float]
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
    shares
        Column -> share of its filled cells that are words for states.

    Returns
    -------
    dict
        Our word -> header.
    """
    grid = replace(grid, cells=grid.cells.head(_ROWS_LOOKED_AT))
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

    wanted = [word for word in words if not matched.has(word)]
    if "state" in wanted:
        take("state", [place for place in free if shares.get(place, 0.0) >= _MOSTLY and _filled(grid, place)])
    for word in ("date", "planted_date"):
        if word in wanted:
            take(
                word,
                [
                    place
                    for place in free
                    if _is_second(grid, place, word) and cells.hold_days(grid.cells[place])
                ],
            )
    for word in (word for word in wanted if word in SECOND_WORDS and word not in ("date", "planted_date")):
        if word not in told:
            take(
                word,
                [place for place in free if _is_second(grid, place, word) and _may_be(grid, place, word)],
            )
    if "date" in wanted and "date" not in told:
        take(
            "date",
            [
                place
                for place in free
                if cells.hold_days(grid.cells[place]) and not SPEAKS_OF_PLANTING.search(grid.header[place])
            ],
        )
    if "tag" in wanted and "tag" not in told and any(shares.get(place, 0.0) > _MOSTLY for place in taken):
        take("tag", _tags(grid, matched, free)[:1])
    if "alive" in words and "plot" in wanted and "plot" not in told:
        take("plot", _labels(grid, free)[:1])
    return told


def _is_second(grid: Grid, place: int, word: str) -> bool:
    head = grid.header[place].rsplit(HEADER_JOINT, 1)[-1]
    if OF_STATES.search(head):  # its key says what stands in it, one plant a cell
        return word == "state"
    return squeezed(head) in SECOND_WORDS[word]


def _may_be(grid: Grid, place: int, word: str) -> bool:
    """Tell whether what stands in a column can be what its header may mean."""
    texts = cells.texts(grid.cells[place])
    filled = texts[(texts != "") & ~texts.map(is_total)]
    if len(filled) < min(_FEWEST_ROWS, len(texts)):
        return False
    numbers = bool(cells.numbers(filled)[0].notna().all())
    match word:
        case "tag":
            return filled.nunique() >= _MOSTLY * len(filled) or len(filled) > 2 * filled.nunique()
        case "alive" | "dead" | "planted":
            return numbers or word == "alive"
        case "method" if numbers:  # codes of preparations, which a key may explain
            whole = bool((cells.numbers(filled)[0] % 1 == 0).all())
            return whole and bool(_OF_CODES.search(grid.header[place])) and filled.nunique() <= _MOST_CODES
        case "block" if numbers:
            return filled.nunique() < len(filled)
        case "species" | "method" | "site" | "block":
            return not numbers and filled.nunique() < len(filled)
        case "state":
            coded = OF_STATES.search(grid.header[place]) is not None
            return (coded or not numbers) and filled.nunique() < len(filled)
    return True


def _filled(grid: Grid, place: int) -> bool:
    texts = cells.texts(grid.cells[place])
    return bool((texts != "").mean() >= 1 - _MOSTLY) and not REMARKS.search(grid.header[place])


def _tags(grid: Grid, matched: Matched, free: Sequence[int]) -> list[int]:
    """Columns that number the rows of a table, or those of each plot: one row a seedling."""
    plots = matched.positions.get("plot", ())[:1]
    plot = cells.texts(grid.cells[plots[0]]) if plots else pd.Series("", index=grid.cells.index)
    rows = (cells.table_texts(grid.cells) != "").sum(axis=1) >= _FEWEST_ROWS
    found = []
    for place in free:
        texts = cells.texts(grid.cells[place])[rows]
        own = pd.DataFrame({"plot": plot[rows], "tag": texts})
        if len(texts) >= _FEWEST_ROWS and (texts != "").all() and not own.duplicated().any():
            found.append(place)
    return [place for place in found if not REMARKS.search(grid.header[place])]


def _labels(grid: Grid, free: Sequence[int]) -> list[int]:
    """Columns whose every label is of one row alone: names of plots."""
    found = []
    for place in free:
        texts = cells.texts(grid.cells[place])
        filled = texts[(texts != "") & ~texts.map(is_total)]
        words = bool(len(filled)) and not cells.numbers(filled)[0].notna().any()
        if (
            words
            and len(filled) >= _FEWEST_ROWS
            and filled.is_unique
            and not REMARKS.search(grid.header[place])
        ):
            found.append(place)
    known = {squeezed(other) for other in COLUMN_WORDS["notes"]}
    return [place for place in found if squeezed(grid.header[place]) not in known]
