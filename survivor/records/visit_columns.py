"""Which columns of a wide sheet belong to which visit, told by the days in their headers."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from survivor.records import cells
from survivor.records.reading import HEADER_JOINT
from survivor.records.words import COLUMN_WORDS, plain, squeezed

_MONTH: Final = re.compile(
    r"\b(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}[ .'-]*(20)?\d\d\b", re.IGNORECASE
)
_HEIGHT: Final = frozenset({"height", "heights", "ht", "hts", "hgt"})
_VALUE: Final = ("state", "alive", "visit", "date")  # words of a header that tells what lived


@dataclass(frozen=True)
class VisitColumns:
    """Columns of one visit.

    Attributes
    ----------
    value
        Place of the column of states or counts.
    day
        Its day, or None where the header tells a month only.
    height, cause
        Places of these, or None.
    """

    value: int
    day: str | None
    height: int | None = None
    cause: int | None = None

    @property
    def places(self) -> tuple[int, ...]:
        """All its columns."""
        return tuple(place for place in (self.value, self.height, self.cause) if place is not None)


def visit_columns(headers: Sequence[str]) -> tuple[tuple[VisitColumns, ...], tuple[int, ...]]:
    """Find the visits of a wide sheet.

    Parameters
    ----------
    headers
        Headers of the sheet, in order.

    Returns
    -------
    visits, alone
        One a column of states or counts whose header holds a day or a month; and the
        columns of heights of a day that has no such column, or several.
    """
    of_kind: dict[str, dict[int, str]] = {"value": {}, "height": {}, "cause": {}}
    for place, header in enumerate(headers):
        when, rest = _parted(header)
        if when is not None and (kind := _kind(rest)) is not None:
            of_kind[kind][place] = when
    when_of = of_kind["value"]
    visits = tuple(
        VisitColumns(
            place,
            when if re.fullmatch(r"\d{4}-\d\d-\d\d", when) else None,
            _only(when, when_of, of_kind["height"]),
            _only(when, when_of, of_kind["cause"]),
        )
        for place, when in when_of.items()
    )
    taken = {visit.height for visit in visits}
    return visits, tuple(place for place in of_kind["height"] if place not in taken)


def _only(when: str, values: dict[int, str], others: dict[int, str]) -> int | None:
    """Return the one other column of a time that has one column of states; None where it is not sure."""
    found = [place for place, other in others.items() if other == when]
    return found[0] if len(found) == 1 and list(values.values()).count(when) == 1 else None


def _parted(header: str) -> tuple[str | None, str]:
    """Part a header into its day (or month, in small letters) and the other words; (None, header)."""
    for part in header.split(HEADER_JOINT):
        words = part.split()
        spans = [(0, end) for end in range(len(words), 0, -1)] + [
            (at, len(words)) for at in range(1, len(words))
        ]
        for start, end in spans:
            text = " ".join(words[start:end])
            day = None if text.replace(".", "").isdigit() else cells.one_date(text, "day-first")
            if day is not None:
                return day, header.replace(part, " ".join([*words[:start], *words[end:]]), 1)
    month = _MONTH.search(header)
    if month is None:
        return None, header
    return squeezed(month[0]), header[: month.start()] + header[month.end() :]


def _kind(rest: str) -> str | None:
    """Tell what a column of a visit holds by the words of its header besides the day."""
    if _HEIGHT & set(plain(rest).split()):
        return "height"
    known = [
        word for word, others in COLUMN_WORDS.items() if squeezed(rest) in map(squeezed, (word, *others))
    ]
    if "cause" in known:
        return "cause"
    return "value" if not known or set(known) & set(_VALUE) else None
