"""The words that sheets use for our columns, states and plantings.

A header or a word is compared without regard to case, spaces and punctuation.
Words that mean different things to different crews ("?", "x", "eaten", "L") are
left out on purpose: they are asked for, never guessed.
"""

from __future__ import annotations

import re
from typing import Final

from survivor.vocabulary import FIRST_PLANTING, INFILL, INTERVAL_COLUMNS, State

# Our word for a column -> the words for it seen in sheets, our own word always among them.
_COLUMN_WORDS: Final = {
    "site": "site name, site id, site code, location, paddock",
    "block": "block id, block no, rep, replicate, allocation block",
    "plot": ("plot id, plot no, plot number, plot name, plot code, quadrat, quadrat no, transect"),
    "tag": (
        "tag no, tag number, tag id, stake, stake no, seedling, seedling id, seedling no, "
        "seedling tag, plant id, plant no, plant tag"
    ),
    "species": "species name, taxon, spp, sp",
    "cohort": "planting cohort, planting round, first planting or infill",
    "method": (
        "preparation, prep, site preparation, site prep, ground preparation, treatment, "
        "preparation method, prep method"
    ),
    "visit": "visit name, visit no, visit number, survey, monitoring visit, inspection",
    "date": ("visit date, date visited, date of visit, survey date, monitoring date, inspection date"),
    "state": ("status, seedling state, seedling status, alive or dead, alive dead, a d, fate, alive"),
    "alive": (
        "no alive, number alive, n alive, alive count, count alive, live, no live, live "
        "plants, plants alive, surviving, survivors, count"
    ),
    "dead": "no dead, number dead, n dead, dead count, dead seen, plants dead",
    "infill": (
        "no infill, number infill, infilled, infill plants, infill planted, refill, "
        "refilled, blanking, gapping, replanted"
    ),
    "planted": (
        "no planted, number planted, n planted, planted number, plants planted, total planted, plants"
    ),
    "planted_date": "planting date, plant date, date planted, date of planting, planted on, planting",
    "planted_until": ("planting end, planting end date, planted to, last planting day, planting finished"),
    "weed_free_radius_m": "weed free radius, radius m, radius, weed free patch radius m",
    "weed_free_radius_cm": "radius cm, weed free patch radius cm",
    "weed_free_diameter_m": "weed free diameter, diameter m, weed free patch diameter m",
    "weed_free_diameter_cm": "diameter cm, weed free patch diameter cm",
    "height_cm": "height, ht, ht cm, hgt, hgt cm, height in cm",
    "height_m": "ht m, hgt m, height in m",
    "cause": "cause of death, likely cause, cause of loss, death cause, likely cause of death",
    "weed_cover": "weed cover percent, weeds percent, percent weed cover, weed cover pct",
    "vigour": "vigor",
    "browsing": "browsed, browse",
    "observer": "observers, recorder, recorded by, observed by",
    "notes": "note, comment, comments, remarks, remark",
    "crew": "planting crew, planted by",
    "texture": "soil texture, soil",
    "slope": "slope position, slope degrees",
    "aspect": "",
    "landform": "land form",
    "past_land_use": "previous land use, land use",
    "provenance": "seed source",
    "stock_type": "stock, stocktype",
    "landholder": "landowner, owner",
    "latitude": "lat",
    "longitude": "lon",
    "easting": "",
    "northing": "",
}
COLUMN_WORDS: Final[dict[str, tuple[str, ...]]] = {
    word: tuple(others.split(", ")) if others else () for word, others in _COLUMN_WORDS.items()
}

DATE_WORDS: Final = ("date", "planted_date", "planted_until")
COUNT_WORDS: Final = ("alive", "dead", "infill", "planted")
MEASURE_WORDS: Final = ("height_cm", "height_m", "weed_cover")
RADIUS_WORDS: Final = (
    "weed_free_radius_m", "weed_free_radius_cm", "weed_free_diameter_m", "weed_free_diameter_cm",
)  # fmt: skip

# Facts of a plot that explain its survival, carried into the intervals.
TRAIT_WORDS: Final = (
    "crew", "texture", "slope", "aspect", "landform", "past_land_use", "provenance", "stock_type",
)  # fmt: skip
# Facts that tell whose or where a plot is: kept in the plot table, never carried further.
PRIVATE_WORDS: Final = ("landholder", "latitude", "longitude", "easting", "northing")
NOTE_WORDS: Final = ("vigour", "browsing", "observer", "notes")

KEY_WORDS: Final = ("site", "block", "plot")
PLOT_SHEET_WORDS: Final = (
    *KEY_WORDS, "species", "method", "planted", "planted_date", "planted_until", *RADIUS_WORDS,
    *TRAIT_WORDS, *PRIVATE_WORDS, "observer", "notes",
)  # fmt: skip
_BOTH_KINDS: Final = (
    *KEY_WORDS, "species", "cohort", "method", "visit", "date", "planted_date", "planted_until", "infill",
    *RADIUS_WORDS, *MEASURE_WORDS, "cause", *NOTE_WORDS, *TRAIT_WORDS, *PRIVATE_WORDS,
)  # fmt: skip
VISIT_SHEET_WORDS: Final[dict[str, tuple[str, ...]]] = {
    "tagged": (*_BOTH_KINDS, "tag", "state"),
    "counts": (*_BOTH_KINDS, "alive", "dead", "planted"),
}

# Names that a trait of the user's own cannot take: they mean something else to us.
RESERVED: Final = frozenset(
    {
        *(word for word in COLUMN_WORDS if word not in TRAIT_WORDS),
        *INTERVAL_COLUMNS,
        "file", "sheet", "row", "record", "source", "line", "total", "date_unread", "name", "entry", "label",
        "turn", "day", "blank", "says", "number", "at_planting", "turn_before", "planted_first", "death",
        "period", "plants", "patch_radius_m", "date_other", "planted_other",
    }
)  # fmt: skip

STATE_WORDS: Final[dict[State, tuple[str, ...]]] = {
    State.ALIVE: (
        "alive",
        "a",
        "live",
        "living",
        "1",
        "true",
        "reshoot",
        "reshooting",
        "resprouted",
        "resprouting",
    ),
    State.DEAD: ("dead", "d", "died", "0", "false"),
    State.MISSING: ("missing", "m", "gone", "plant gone", "plant missing"),
    State.NOT_FOUND: ("not found", "nf", "tag lost", "lost tag", "tag not found", "tag missing", "no tag"),
    State.NOT_VISITED: ("not visited", "nv", "not assessed", "not surveyed", "not recorded", "na", "n a"),
}
COHORT_WORDS: Final[dict[str, tuple[str, ...]]] = {
    FIRST_PLANTING: ("", "planting", "first planting", "original", "first", "no", "n", "0", "false"),
    INFILL: ("infill", "infilled", "refill", "refilled", "blanking", "gapping", "replacement", "replanted",
             "yes", "y", "1", "true"),
}  # fmt: skip

_TOTAL: Final = re.compile(r"(grand |sub ?)?(total|sum)s?\b.*|mean|average")


def plain(text: str) -> str:
    """Write a header or word without case, punctuation and doubled spaces."""
    spoken = text.casefold().replace("%", " percent ").replace("#", " no ")
    return " ".join(re.sub(r"[^\w]+|_", " ", spoken).split())


def squeezed(text: str) -> str:
    """Like `plain`, without any space: ``Plot ID``, ``plot_id`` and ``PlotId`` are one word."""
    return plain(text).replace(" ", "")


def is_total(label: str) -> bool:
    """Tell whether a label says that its row sums up others."""
    return bool(_TOTAL.fullmatch(plain(label)))


def spoken(word: str) -> str:
    """Write the word for a state without case, joining signs and a full stop at its end.

    More careful than `plain`: ``A?`` is not ``A``, and ``-1`` is not ``1``.
    """
    whole = re.sub(r"^(\d+)\.0+$", r"\1", word.casefold().strip())
    return " ".join(re.sub(r"(?<=[a-z])[-_/](?=[a-z])", " ", whole).removesuffix(".").split())
