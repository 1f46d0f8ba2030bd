"""Which columns of a wide sheet belong to which visit, told by the days in their headers.

Sheets that tell survival as percentages only: shown, and refused as a basis of any inference.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final, Literal

import pandas as pd

from survivor.errors import RecordsError
from survivor.files import cells
from survivor.files.headers import Matched, plain, squeezed
from survivor.files.sheets import HEADER_JOINT, Grid
from survivor.records.words import COLUMN_WORDS, KEY_WORDS

_MONTHS: Final = cells.MONTH_NAME
_MONTH: Final = re.compile(
    rf"\b({_MONTHS})[ .'\N{{RIGHT SINGLE QUOTATION MARK}}-]*((?:20)?\d\d|\d)(?:st|nd|rd|th)?\b",
    re.IGNORECASE,
)
_BARE_MONTH: Final = re.compile(rf"{_MONTHS}\.?", re.IGNORECASE)
_YEAR: Final = re.compile(r"20\d\d(?:[/-](?:20)?\d\d)?")
_NO_YEAR: Final = re.compile(rf"\b\d{{1,2}}(?:st|nd|rd|th)?[ .-]{_MONTHS}\b", re.IGNORECASE)
_FIGURES: Final = re.compile(r"(\d{1,2})/(\d{1,2})")  # a day and a month, the year left out
_SHORT: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_ORDINAL: Final = r"(?:\d{1,2}(?:st|nd|rd|th)|first|second|third|fourth|fifth|sixth|last|final)"
_ROUND: Final = re.compile(
    r"\b(?:v|visit|check|round|survey|inspection|count|census|week|wk|month|mth|year|yr|day) ?\d{1,3}\b|"
    r"^[mtwy] ?\d{1,2}$|"
    r"\b(?:\d{1,3} ?d\.?a\.?p|d\.?a\.?p\.? ?\d{1,3})\b|"
    r"\b\d{1,3} ?(?:d|days?|wks?|weeks?|mo|mos|months?|mths?|yrs?|years?)\b|"
    rf"\b{_ORDINAL} (?:check|visit|round|survey|count|inspection)\b|"
    r"\b(?:spring|summer|autumn|winter) ?(?:20)?\d\d\b|"
    r"\b(?:before|after|pre|post|end of)[ -](?:the )?(?:first |second )?(?:summer|winter|dry season|frost)\b",
    re.IGNORECASE,
)
# A running number behind such words names a visit: State 1, State 2; % alive 3; Date 4.
_NUMBERED: Final = re.compile(
    r"(?:no\.? |number |n |count )?"
    r"(?:state|status|alive|live|living|survival|surviving|survivors|count|dead|died|deaths|lost|losses|"
    r"mortality|ht|hgt|height|date|cause|condition|health)"
    r"(?: ?(?:%|percent|per cent|count|\(?(?:c?m|a/d|%)\)?))?[ ._#-]*(\d{1,2})",
    re.IGNORECASE,
)
_OF_A_VISIT: Final = frozenset(
    {
        "alive", "live", "living", "state", "status", "count", "counts", "number", "no", "seedlings",
        "plants", "surviving", "survivors", "survived", "of", "visit", "a", "d", "or", "dead", "left",
        "still"
    }
)  # fmt: skip
_SINCE: Final = re.compile(  # tells how the dead are counted, and names no visit
    r"\b(?:not )?since (?:the )?(?:last|previous) (?:visit|count|check|survey|inspection)\b", re.IGNORECASE
)
_NO_SPECIES: Final = frozenset({"gone", "missing", "new", "note", "notes", "comment", "comments", "total"})
_TOTAL: Final = re.compile(r"\b(?:total|sum|all)\b", re.IGNORECASE)
_LIVE: Final = re.compile(r"^(?:alive|living)\b[\s:,/-]*|[\s:,/-]*\b(?:alive|living)$", re.IGNORECASE)
_DATE: Final = re.compile(r"(?:date|day|visited)s? ?(?:no\.? ?)?\d{0,2}", re.IGNORECASE)
_DEAD: Final = frozenset(
    {"dead", "died", "deaths", "losses", "lost", "mortality", "gaps", "failures", "mort"}
)
_HEIGHT: Final = frozenset({"height", "heights", "ht", "hts", "hgt"})
_VALUE: Final = ("state", "alive", "visit", "date")  # words of a header that tells what lived
_MOST_YEARS: Final = 4  # from planting to a visit whose header bears no year

Counted = Literal["alive", "dead", "per cent", "score"]


@dataclass(frozen=True)
class VisitColumns:
    """Columns of one visit.

    Attributes
    ----------
    value
        Place of the column of states or counts.
    day
        Its day, or None where the header tells a month, an age or a number only.
    height, cause, date
        Places of these, or None; a date only where the header of the states tells no day.
    counted
        What its header says that is counted.
    species, planted
        The species that the column is of and the place of the number planted, where each has its own.
    beside
        Other columns of the visit, that are not read.
    """

    value: int
    day: str | None
    height: int | None = None
    cause: int | None = None
    date: int | None = None
    counted: Counted = "alive"
    species: str | None = None
    planted: int | None = None
    beside: tuple[int, ...] = ()

    @property
    def places(self) -> tuple[int, ...]:
        """All its columns."""
        own = (self.value, self.height, self.cause, self.date, self.planted, *self.beside)
        return tuple(place for place in own if place is not None)


def visit_columns(
    headers: Sequence[str],
    order: cells.DateOrder = "day-first",
    planted: pd.Timestamp | None = None,
    words: Mapping[int, float] | None = None,
) -> tuple[tuple[VisitColumns, ...], tuple[int, ...]]:
    """Find the visits of a wide sheet.

    Parameters
    ----------
    headers
        Headers of the sheet, in order.
    order
        What 3/4/22 means in them; None: nobody knows, and such a day is left open.
    planted
        First planting day: a header without a year is of the first such day after it and
        after the visit before; None: it is left open.
    words
        Column -> share of its filled cells that are words for states: of several columns of one
        visit, the one of words tells the state.

    Returns
    -------
    visits, alone
        One a column of states or counts whose header holds a day, a month, an age or a number
        of a visit; and the columns of heights of one that has no such column, or several.
    """
    kinds = ("value", "dead", "per cent", "score", "height", "cause", "date", "planted")
    of_kind: dict[str, dict[int, str]] = {kind: {} for kind in kinds}
    rests: dict[int, str] = {}
    whens: dict[int, str] = {}
    years = _numbers_are_years(headers, planted)
    numbered = _numbered(headers) | _days_in_figures(headers)
    for place, header in enumerate(headers):
        when, rest = _parted(_SINCE.sub("", header), order, years)
        if when is None and place in numbered:
            when, rest = numbered[place]
        kind = _kind(rest)
        if when is not None and kind is not None:
            of_kind[kind][place] = when
        elif kind == "planted" or (kind == "date" and _DATE.fullmatch(header)):
            of_kind[kind][place] = ""
        if when is not None and kind not in ("height", "planted"):
            whens[place] = when
        rests[place] = rest.replace(HEADER_JOINT, " ").strip(" /")
    chosen, counted = _counted(of_kind)
    kept, by_species = _one_a_visit(chosen, rests, words or {})
    when_of = {place: chosen[place] for place in kept}
    days = _days(when_of, planted)
    dates = _dates_beside(of_kind["date"], when_of, days)
    numbers = {
        species: place
        for place in of_kind["planted"]
        for species in by_species.values()
        if squeezed(headers[place]).endswith(squeezed(species))
    }
    read = {*when_of, *dates.values(), *of_kind["cause"]}
    visits = tuple(
        VisitColumns(
            place,
            days[place],
            _only(when, when_of, of_kind["height"]),
            _only(when, when_of, of_kind["cause"]),
            dates.get(place),
            counted,
            by_species.get(place),
            numbers.get(by_species.get(place, "")),
            tuple(other for other, own in whens.items() if own == when and other not in read),
        )
        for place, when in when_of.items()
    )
    taken = {visit.height for visit in visits}
    return visits, tuple(place for place in of_kind["height"] if place not in taken)


def _numbered(headers: Sequence[str]) -> dict[int, tuple[str, str]]:
    """Find headers that are told apart by a running number: State 1, State 2."""
    plain_heads = [re.sub(r"^% ?", "percent ", header.strip()) for header in headers]
    found = {
        place: (f"v{one[1]}", header[: one.start(1)].strip(" ._#-"))
        for place, header in enumerate(plain_heads)
        if (one := re.fullmatch(rf"(?:percent )?(?:{_NUMBERED.pattern})", header, re.IGNORECASE)) is not None
    }
    stems = [rest.casefold() for _, rest in found.values()]
    return {place: told for place, told in found.items() if stems.count(told[1].casefold()) > 1}


def _days_in_figures(headers: Sequence[str]) -> dict[int, tuple[str, str]]:
    """Find headers such as 31/8 and 30/11, where one of them tells which figure is the day."""
    found = {
        place: (int(one[1]), int(one[2]))
        for place, header in enumerate(headers)
        if (one := _FIGURES.fullmatch(header.strip())) is not None
    }
    day_first, month_first = (all(own[at] <= len(_SHORT) for own in found.values()) for at in (1, 0))
    if len(found) < 2 or day_first == month_first:
        return {}
    days = {place: own if day_first else own[::-1] for place, own in found.items()}
    return {place: (f"{day} {_SHORT[month - 1]}", "") for place, (day, month) in days.items() if month}


def _counted(of_kind: dict[str, dict[int, str]]) -> tuple[dict[int, str], Counted]:
    """Take the columns of the living; those of the dead, per cent or scores where there are no others."""
    kinds: tuple[tuple[str, Counted], ...] = (
        ("value", "alive"), ("dead", "dead"), ("per cent", "per cent"), ("score", "score")
    )  # fmt: skip
    for kind, counted in kinds:
        if of_kind[kind]:
            return of_kind[kind], counted
    return {}, "alive"


def _one_a_visit(
    when_of: dict[int, str], rests: dict[int, str], words: Mapping[int, float]
) -> tuple[list[int], dict[int, str]]:
    """Choose the columns that tell what lived: one a visit, or one a visit and species.

    Returns
    -------
    places, species
        In the order of the sheet; species of those that are of one.
    """
    by_when: dict[str, list[int]] = {}
    for place, when in when_of.items():
        by_when.setdefault(when, []).append(place)
    sums = {place for places in by_when.values() for place in _sums(places, rests)}
    several = [
        [place for place in places if place not in sums] for places in by_when.values() if len(places) > 1
    ]
    rests = {place: _LIVE.sub("", rest) or rest for place, rest in rests.items()}
    kept = [places[0] for places in by_when.values() if len(places) == 1]
    names = {tuple(squeezed(rests[place]) for place in places) for places in several}
    told = {place for places in several for place in places if _tells_state(rests[place])}
    # The same names under every visit, none of them a word for a state or a count: species.
    if (
        len(several) > 1
        and len(names) == 1
        and not told
        and all(next(iter(names)))
        and not any(set(plain(rests[place]).split()) & _NO_SPECIES for places in several for place in places)
        and not any(words.get(place, 0.0) > 0 for places in several for place in places)
    ):
        of_species = {place: rests[place] for places in several for place in places}
        return [place for place in when_of if place not in sums], of_species
    for places in by_when.values():
        if len(places) == 1:
            continue
        own = [place for place in places if place in told] or [p for p in places if words.get(p, 0.0) > 0.5]
        kept += own if len(own) == 1 else places
    return sorted(kept), {}


def _sums(places: Sequence[int], rests: Mapping[int, str]) -> list[int]:
    """Tell which columns of a visit sum up two others at least: those headed Total."""
    sums = [place for place in places if _TOTAL.search(rests[place])]
    return sums if len(places) - len(sums) > 1 else []


@lru_cache(maxsize=10_000)
def _tells_state(rest: str) -> bool:
    known = [word for word in _VALUE if squeezed(rest) in map(squeezed, (word, *COLUMN_WORDS[word]))]
    return bool(known)


def _dates_beside(
    date_of: dict[int, str], when_of: dict[int, str], days: Mapping[int, str | None]
) -> dict[int, int]:
    """Pair the columns of dates with visits whose header tells no day: by name, else one by one."""
    open_visits = [place for place in when_of if days[place] is None]
    paired = {}
    for place in open_visits:
        same = [date for date, when in date_of.items() if when and when == when_of[place]]
        if len(same) == 1:
            paired[place] = same[0]
    rest = [place for place in open_visits if place not in paired]
    free = [date for date, when in date_of.items() if date not in paired.values()]
    if rest and len(rest) == len(free):
        paired |= dict(zip(rest, free, strict=True))
    return paired


# A full stop behind it ends the sentence.
_IN_FIGURES: Final = r"(?<![\d./-])\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2})(?![\d/-]|\.\d)"


def numeric_days(text: str) -> list[str]:
    """Days in a text that are written in figures, such as 12/07/2023."""
    return re.findall(_IN_FIGURES, text)


def days_in(text: str, order: cells.DateOrder) -> list[str]:
    """Days that stand in a sentence, as year-month-day."""
    return [day for day, _ in days_and_places(text, order)]


def days_and_places(text: str, order: cells.DateOrder) -> list[tuple[str, int]]:
    """Days that stand in a sentence, as year-month-day, and where each begins."""
    nth = r"\d{1,2}(?:st|nd|rd|th)?"
    year = (
        r"(?:\d{4}|\d\d(?=\s*(?:$|[.,;:)])))"  # of two figures: nothing follows that they may be a number of
    )
    named = rf"\b{nth}[ -](?:of )?{_MONTHS},?[ -]{year}|\b{_MONTHS} {nth},? \d{{4}}"
    found = re.finditer(rf"{named}|{_IN_FIGURES}|\b\d{{4}}-\d\d-\d\d", text, re.IGNORECASE)
    days = [(cells.one_date(one[0].replace(" of ", " "), order), one.start()) for one in found]
    return [(day, place) for day, place in days if day is not None]


@lru_cache(maxsize=10_000)
def is_round(text: str) -> bool:
    """Tell whether a text names a visit: V1, 6 wks, M3, Aug 23, last check."""
    return bool(_ROUND.search(text.strip()) or _MONTH.fullmatch(text.strip()))


def _numbers_are_years(headers: Sequence[str], planted: pd.Timestamp | None) -> bool:
    """Tell Aug 23, Nov 23, Feb 24 (months of years) from Aug 14, Oct 13, Dec 17 (days of months)."""
    numbers = [int(found[2]) for header in headers for found in [_MONTH.search(header)] if found]
    short = [number for number in numbers if number < 100]
    if any(number < 10 for number in numbers):  # Apr 2 is a day
        return False
    first = planted.year % 100 if planted is not None else min(short, default=0)
    return all(first <= number <= first + _MOST_YEARS for number in short) and short == sorted(short)


def _days(when_of: dict[int, str], planted: pd.Timestamp | None) -> dict[int, str | None]:
    """Day of each column; one without a year is the first after planting and the visit before."""
    days: dict[int, str | None] = {}
    before, last = planted, ""
    for place, when in when_of.items():
        if when == last:  # another species at the same visit
            days[place] = days[list(days)[-1]]
            continue
        last = when
        days[place] = when if re.fullmatch(r"\d{4}-\d\d-\d\d", when) else None
        if _NO_YEAR.fullmatch(when) and before is not None:
            written = [cells.one_date(f"{when} {before.year + more}") for more in range(_MOST_YEARS)]
            days[place] = next((day for day in written if day and pd.Timestamp(day) > before), None)
        if (day := days[place]) is not None:
            before = pd.Timestamp(day)
    return days


def _only(when: str, values: dict[int, str], others: dict[int, str]) -> int | None:
    """Return the one other column of a time that has one column of states; None where it is not sure."""
    found = [place for place, other in others.items() if other == when]
    return found[0] if len(found) == 1 and list(values.values()).count(when) == 1 else None


@lru_cache(maxsize=10_000)  # a sheet is cut in several ways, and its headers stand in most of them
def _parted(header: str, order: cells.DateOrder, years: bool = True) -> tuple[str | None, str]:
    """Part a header into its day (or month, age, number) and the other words; (None, header)."""
    parts = header.split(HEADER_JOINT)
    if (by_month := _month_of(parts)) is not None:
        return by_month
    for part in parts:
        words = part.replace("(", " ").replace(")", " ").split()
        spans = [(0, end) for end in range(len(words), 0, -1)]
        spans += [(at, end) for at in range(1, len(words)) for end in range(len(words), at, -1)]
        for start, end in spans:
            text = " ".join(words[start:end]).strip(",:;")
            day = None if re.fullmatch(r"\d+(\.\d+)?", text) else cells.one_date(text, order)
            if day is not None:
                rest = " ".join([*words[:start], *words[end:]])
                beside = [other for other in (*(p for p in parts if p != part), rest) if other]
                return day, HEADER_JOINT.join(o for o in beside if not (is_round(o) and not _beyond(o)))
    for place, part in enumerate(parts):  # a part that names a visit and nothing else
        if len(parts) > 1 and is_round(part) and not _beyond(part):
            return _when(part, years), HEADER_JOINT.join(parts[:place] + parts[place + 1 :])
    bare = cells.without_accents(header)
    for pattern in (_MONTH, _NO_YEAR, _ROUND):
        if (at := pattern.search(bare if len(bare) == len(header) else header)) is not None:
            rest = header[: at.start()] + header[at.end() :]
            spoken = set(plain(rest).split()) - _OF_A_VISIT
            known = spoken & (_HEIGHT | _DEAD | {"percent", "date", "cause"})
            unsure = pattern is _ROUND and spoken and not known
            return (None, header) if unsure else (_when(at[0], years), rest)
    return None, header


def _month_of(parts: Sequence[str]) -> tuple[str, str] | None:
    """Read a part that is the name of a month and no more, with its year where that is another part."""
    months = [part for part in parts if _BARE_MONTH.fullmatch(part.strip())]
    years = [part for part in parts if _YEAR.fullmatch(part.strip())]
    if len(months) != 1 or len(years) > 1:
        return None
    rest = HEADER_JOINT.join(part for part in parts if part not in (*months, *years))
    return squeezed(" ".join([*months, *years])), rest


def _beyond(part: str) -> set[str]:
    """Words of a part besides those that name a visit; dead, or alive, are such words."""
    rest = _MONTH.sub("", _ROUND.sub("", part))
    return set(plain(rest).split()) - {"visit", "of", "no", "a"}


def _when(text: str, years: bool) -> str:
    """Write a month, an age or a number of a visit in one way; a day without a year as such."""
    text = text.strip()
    if _NO_YEAR.fullmatch(text):
        return text.casefold()
    if not years and (found := _MONTH.fullmatch(text)) is not None:
        return f"{int(found[2])} {found[1].casefold()}"
    return squeezed(text)


@lru_cache(maxsize=10_000)
def _kind(rest: str) -> str | None:
    """Tell what a column of a visit holds by the words of its header besides the day."""
    words = set(plain(rest).split())
    if _HEIGHT & words:
        return "height"
    if any(squeezed(part) in _PLANTED for part in rest.split(HEADER_JOINT)):
        return "planted"
    if "percent" in words:
        return (
            "per cent"
            if words & {"alive", "living", "survival", "surviving", "live"} or len(words) == 1
            else None
        )
    if _DEAD & words and not words & {"alive", "or"}:
        return "dead"  # a count of the dead is no count of the living
    if _DATE.fullmatch(rest.strip()):
        return "date"
    known = [
        word
        for word, others in COLUMN_WORDS.items()
        if squeezed(rest.rsplit(HEADER_JOINT, 1)[-1]) in map(squeezed, (word, *others))
    ]
    if "cause" in known:
        return "cause"
    if "vigour" in known:
        return "score"
    return "value" if not known or set(known) & set(_VALUE) else None


_PLANTED: Final = frozenset(squeezed(word) for word in ("planted", *COLUMN_WORDS["planted"]))
_SHOWN: Final = 12  # lines of a summary that an error repeats
_OF_SURVIVAL: Final = frozenset({"survival", "survived", "surviving", "survivors", "alive", "live", "living"})
_AS_SHARE: Final = frozenset({"percent", "percentage", "pct", "rate", "share", "proportion"})


def refuse_percentages(
    grid: Grid, matched: Matched, labels: pd.DataFrame, counts: Sequence[tuple[str, pd.Series[Any]]]
) -> None:
    """Refuse a sheet whose counts are percentages, or that has percentages in place of counts.

    Parameters
    ----------
    grid, matched
        The sheet, and what its columns were taken for.
    labels
        Its rows, with site, block, plot, date and visit where told.
    counts
        Header and cells of each column that should hold counts; none: the sheet has no
        such column, and is looked through for one of percentages.

    Raises
    ------
    RecordsError
        With the percentages, and why nothing can be inferred from them.
    """
    if counts:
        if not all(_all_shares(column) for _, column in counts):
            return
        header, column = counts[-1]
    else:
        places = [place for place, header in enumerate(grid.header) if _speaks_of_shares(header)]
        if not places:
            return
        header, column = grid.header[places[0]], grid.cells[places[0]].reset_index(drop=True)
    raise RecordsError(
        f"this sheet tells survival as a percentage only, under {header!r}: {_listed(labels, column)}. "
        "These are shown and not analysed: how many seedlings and plots stand behind each is not told, so "
        "nobody can say how precise it is, and preparations cannot be compared",
        where=grid.place,
        mend="give the number planted and the number alive of every plot and visit; if plot sheets of "
        "the time still exist, enter those",
    )


def _speaks_of_shares(header: str) -> bool:
    words = set(plain(header).split())
    return bool(words & _OF_SURVIVAL) and (
        bool(words & _AS_SHARE) or words <= _OF_SURVIVAL - {"alive", "live"}
    )


def _all_shares(column: pd.Series[Any]) -> bool:
    """Tell whether every filled cell is a percentage, or a share between 0 and 1."""
    values, faults = cells.numbers(column)
    filled = cells.texts(column) != ""
    if not filled.any() or not (values.notna() | ~filled).all():
        return False
    if (faults[filled] == cells.PERCENTAGE).all():
        return True
    share = values[filled]
    return bool((faults[filled] == "").all() and share.between(0, 1).all() and (share % 1 != 0).any())


def _listed(labels: pd.DataFrame, column: pd.Series[Any]) -> str:
    told = cells.texts(column)
    when = [word for word in ("date", "visit") if word in labels.columns][:1]
    keys = [*(word for word in KEY_WORDS if word in labels.columns), *when]
    names = labels[keys].apply(cells.texts).agg(" ".join, axis=1) if keys else pd.Series("", index=told.index)
    rows = [
        f"{' '.join(name.split()) or f'row {row}'}: {value}"
        for name, row, value in zip(names, labels["row"], told, strict=True)
        if value
    ]
    more = f", and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    return ", ".join(rows[:_SHOWN]) + more


_LIVING: Final = re.compile(r"alive|live|living|count|surviv", re.IGNORECASE)
_REMARK: Final = re.compile(r"comment|note|remark", re.IGNORECASE)


def no_visits_named(grid: Grid, kind: str) -> RecordsError:
    """Return the error of a wide sheet of which no visit is named, with lines that would name one."""
    parts = [header.split(HEADER_JOINT) for header in grid.header if HEADER_JOINT in header]
    tops = list(dict.fromkeys(part[0] for part in parts))
    joined = next((header for header in grid.header if HEADER_JOINT in header), "")
    free = [header for header in grid.header if header and not _REMARK.search(header)]
    # Else a header that speaks of living plants, else the last that is no remark.
    alive = [header for header in free if _LIVING.search(header)]
    example = joined or (alive or free or list(grid.header))[0 if alive else -1]
    close = difflib.get_close_matches("alive", tops, n=1)
    lines = f'    [[records.visits]]\n    name = "{(close or tops or ["first visit"])[0]}"\n'
    what = "state" if kind == "tagged" else "count"
    lines += f'    date = "2022-05-31"\n    state = "{example}"'
    return RecordsError(
        "a wide sheet needs its visits named; the headers are "
        + ", ".join(repr(header) for header in grid.header if header),
        where=grid.place,
        mend=f"name each visit and the header of its {what} column in the study file, such as\n{lines}",
    )
