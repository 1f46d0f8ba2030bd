"""The words that sheets use for our columns, states and plantings.

Words that mean different things to different crews ("x", "eaten", "lost", "L") are
left out on purpose: a key beside the records explains them, or they are asked for.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.files.cells import all_figures
from survivor.files.headers import NOT_USED, plain
from survivor.vocabulary import DRY_SEASON, FIRST_PLANTING, INFILL, INTERVAL_COLUMNS, SHEET_ONLY, State

# Our word for a column -> the words for it seen in sheets, our own word always among them.
_COLUMN_WORDS: Final = {
    "site": "site name, site id, site code, location, paddock, field, bank",
    "block": "block id, block no, rep, replicate, allocation block",
    "plot": ("plot id, plot no, plot number, plot name, plot code, quadrat, quadrat no, transect"),
    "tag": (
        "tag no, tag number, tag id, stake, stake no, peg, peg no, tree no, tree, label, seedling, "
        "seedling id, seedling no, seedling tag, plant id, plant no, plant tag"
    ),
    "species": "species name, taxon, spp, sp",
    "cohort": "planting cohort, planting round, first planting or infill",
    "method": (
        "preparation, prep, site preparation, site prep, ground preparation, soil preparation, treatment, "
        "preparation method, prep method, works, what was done, what we did"
    ),
    "visit": "visit name, visit no, visit number, survey, monitoring visit, inspection",
    "date": "visit date, date visited, visited, date of visit, survey date, monitoring date, inspection date",
    "state": (
        "status, seedling state, seedling status, alive or dead, alive dead, a d, fate, alive, alive y n"
    ),
    "alive": (
        "no alive, number alive, n alive, alive count, count alive, live, no live, living, live "
        "plants, plants alive, surviving, survivors, count, live trees, live seedlings, live stems, "
        "trees alive, seedlings alive, stems alive, live count, trees living, living trees, living plants"
    ),
    "dead": "no dead, number dead, n dead, dead count, dead seen, plants dead, lost, no lost",
    "infill": (
        "no infill, number infill, infilled, infill plants, infill planted, refill, "
        "refilled, blanking, gapping, replanted"
    ),
    "planted": (
        "no planted, number planted, n planted, planted number, plants planted, total planted, plants, "
        "put in, no put in, number put in, planted no, planted n, planted count"
    ),
    "planted_date": "planting date, plant date, date planted, date of planting, planted on, planting",
    "planted_until": ("planting end, planting end date, planted to, last planting day, planting finished"),
    "weed_free_radius_m": (
        "weed free radius, radius m, radius, weed free patch radius m, weed free to, clear to, clear radius, "
        "cleared radius, clear radius m, cleared radius m, weed free to m, cleared to m, clear to m"
    ),
    "weed_free_radius_cm": (
        "radius cm, weed free patch radius cm, clear radius cm, cleared radius cm, "
        "weed free to cm, clear to cm"
    ),
    "weed_free_diameter_m": (
        "weed free diameter, diameter m, diameter, weed free patch diameter m, cleared across m, "
        "cleared across, weed free across m, clear across m, patch across m, weed free width m"
    ),
    "weed_free_diameter_cm": (
        "diameter cm, weed free patch diameter cm, cleared across cm, weed free across cm, clear across cm"
    ),
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

# What no answer rests on: of several columns that could be one, none is taken.
LENIENT_WORDS: Final = (*NOTE_WORDS, *MEASURE_WORDS, "cause", "dead", *TRAIT_WORDS)

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
        DRY_SEASON,
        "file", "sheet", "row", "record", "source", "line", "total", "note", "replant", "state_said",
        "date_unread", "name", "entry", "label",
        "turn", "day", "blank", "says", "number", "at_planting", "turn_before", "planted_first", "death",
        "period", "plants", "times", "like", "patch_radius_m", "date_other", "planted_other",
    }
)  # fmt: skip

_STATE_WORDS: Final = {
    State.ALIVE: (
        "alive, a, ok, okay, ✓, ✔, √, ☑, tick, live, living, lives, 1, true, surviving, survived, "
        "healthy, good, fair, fine, well, thriving, vigorous, green, growing, poor, sick, weak, "
        "stressed, struggling, yellow, yellowing, wilted, wilting, browsed, nibbled, grazed, chewed, "
        "leaning, alive but poor, alive poor, alive browsed, browsed alive, reshoot, reshot, "
        "reshooting, resprout, resprouted, resprouting, coppicing"
    ),
    State.DEAD: ("dead, d, died, dead plant, 0, false, †, ✗, ✘, ×, killed, deceased"),
    State.MISSING: (
        "missing, m, gone, plant gone, plant missing, no plant, absent, pulled out, dug up, dug out, "
        "washed out, washed away, disappeared, vanished, not there"
    ),
    State.NOT_FOUND: (
        "not found, nf, n f, tag lost, lost tag, tag not found, tag missing, no tag, no peg, peg "
        "lost, peg missing, no stake, stake lost, not located, can't find, cannot find, cant find"
    ),
    State.NOT_VISITED: (
        "not visited, nv, n v, not assessed, not surveyed, not recorded, not checked, not seen, not "
        "done, na, n a, no data, nd, skipped"
    ),
    State.DOUBTFUL: ("doubtful, in doubt, unsure, not sure, uncertain"),
    State.REPLANTED: (
        "replanted, replant, replaced, replacement, dead replanted, dead replaced, died replanted, d "
        "replanted, gone replanted, missing replanted, dead now replanted, new plant, new seedling, "
        "refilled, dead refilled, infilled, dead infilled"
    ),
}
STATE_WORDS: Final[dict[State, tuple[str, ...]]] = {
    state: tuple(words.split(", ")) for state, words in _STATE_WORDS.items()
}
COHORT_WORDS: Final[dict[str, tuple[str, ...]]] = {
    FIRST_PLANTING: ("", "planting", "first planting", "original", "first", "no", "n", "0", "false"),
    INFILL: ("infill", "infilled", "refill", "refilled", "blanking", "gapping", "replacement", "replanted",
             "yes", "y", "1", "true"),
}  # fmt: skip

_TOTAL: Final = re.compile(
    r"(grand |sub ?)?(total|sum)s?\b.*|.* (sub ?)?totals?"
    r"|(no|number|count)? ?(of )?(alive|living|dead|survivors)( (all|total|percent|count))?"
    r"|living|alive|all|percent|survival|count|plot|site|block|mean|average"
    r"|(means?|averages?)( (of|alive|living|percent|survival|all)\b.*)?|.* (mean|average)"
    r"|all (sites|plots|blocks|species|alive|living|plants|seedlings|preps)"
    r"|tot|ave?|avg|median|min|minimum|max|maximum|sd|std|stdev|(std|standard) (dev|deviation|err|error)"
    r"|percent (alive|living|survival|dead)|survival( percent)?|overall"
)


@lru_cache(maxsize=50_000)
def is_total(label: str) -> bool:
    """Tell whether a label says that its row sums up others."""
    return not label.isdigit() and bool(_TOTAL.fullmatch(plain(label)))


def name_records(labels: list[str]) -> np.ndarray[Any, Any]:
    """Tell which labels name a record of its own: all but blanks and those of sums."""
    plain = all_figures(filter(None, labels))
    return np.array([label != "" and (plain or not is_total(label)) for label in labels], dtype=bool)


_SUMS: Final = re.compile(r"\b(living|alive|dead|total|survival|survivors|mean|average)\b")


@lru_cache(maxsize=50_000)
def speaks_of_sums(label: str) -> bool:
    """Tell whether a label may stand before a sum: believed only of a row without a name of its own."""
    return is_total(label) or bool(_SUMS.search(plain(label)))


@lru_cache(maxsize=50_000)
def spoken(word: str) -> str:
    """Write the word for a state without case, joining signs and a full stop at its end.

    More careful than `plain`: ``A?`` is not ``A``, and ``-1`` is not ``1``.
    """
    whole = re.sub(r"^(\d+)\.0+$", r"\1", word.casefold().strip())
    joined = re.sub(r"(?<=[a-z])\s*[-–—_/,;+&]\s*(?=[a-z])", " ", whole)
    return " ".join((joined.removesuffix(".") or joined).split())


def folded_works(text: str) -> str:
    """Write a preparation without case, spaces and signs and words for "and"; figures keep theirs."""
    joined = re.sub(r"\b(?:and|plus|with|then)\b|&", " ", text.casefold())
    return re.sub(r"(?<!\d)[\W_]+|[\W_]+(?!\d)|(?<=\d)\s+(?=\d)", "", joined)


def folded_name(text: str) -> str:
    """Write a site, block or plot without case and spaces, and without signs but between figures."""
    return re.sub(r"(?<=[^\W\d_])[\s_-]+(?=[^\W_])|\s+", "", text.casefold())


def trait_name(header: str) -> str:
    """Make a column name of a header: small letters, figures and underscores.

    A name that means something else to us gets ``sheet_`` before it: a column
    headed Row becomes ``sheet_row``.
    """
    name = re.sub(r"\W+", "_", plain(header)).strip("_")
    return f"sheet_{name}" if name in RESERVED or not name[:1].isalpha() else name


def foreign(matches: pd.DataFrame) -> pd.DataFrame:
    """Leave out the columns of our own field sheets that are not meant to be read.

    Parameters
    ----------
    matches
        As `survivor.records.Records.matches`. A column of such a name in a sheet that is
        not a field sheet of ours stays.
    """
    ours = (matches["how"] == NOT_USED) & matches["header"].isin(SHEET_ONLY)
    together = ours.groupby([matches["file"], matches["sheet"]], dropna=False).transform("sum")
    return matches[~(ours & (together == len(SHEET_ONLY)))]


def of_words(matches: pd.DataFrame) -> pd.Series[bool]:
    """Tell which matches are of words in cells, which are shown behind the header of their column.

    Parameters
    ----------
    matches
        As `survivor.records.Records.matches`.
    """
    read = matches["column"].astype(str)
    heads = matches.loc[read.isin(["state", "cohort", "infill"]) | read.str.startswith("state at "), "header"]
    starts = tuple(f"{header}: " for header in heads.unique())
    return matches["header"].astype(str).str.startswith(starts) if starts else matches["header"].isna()
