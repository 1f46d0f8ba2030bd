"""Days as people write them: one day each, or what stands in the way. Never guessed."""

from __future__ import annotations

import datetime as dt
import functools
import re
import unicodedata
from typing import Final, Literal

DateOrder = Literal["day-first", "month-first"] | None

# Faults; each is the code of a problem.
AMBIGUOUS: Final = "ambiguous-date"
NOT_A_DATE: Final = "unreadable-date"
SERIAL: Final = "serial-date"  # read, and noted

_FIRST_SERIAL, _LAST_SERIAL = 20_000, 80_000  # 1954 to 2119: what a spreadsheet's day number can mean here
_FIRST_YEAR, _LAST_YEAR = 1800, 2200  # no record was kept, and none will be, outside them
_SERIAL_ORIGIN = dt.date(1899, 12, 30)
_YEAR_FIRST = re.compile(r"(\d{4})[-/. ](\d{1,2})[-/. ](\d{1,2})(?:[t ]\d{1,2}:.*)?")
_SOLID = re.compile(r"((?:19|20)\d{2})(\d{2})(\d{2})")
_NUMERIC = re.compile(r"(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4}|\d{2})(?: \d{1,2}:.*)?")
_QUOTE = "['\N{RIGHT SINGLE QUOTATION MARK}]"  # 14 Aug '23
_DAY_NAMED = re.compile(
    rf"(\d{{1,2}})(?:st|nd|rd|th|er)?[-/. ]*(?:de )?([a-z]{{3,10}})[-/., ]*(?:de )?{_QUOTE}?(\d{{4}}|\d{{2}})"
)
_NAMED_DAY = re.compile(
    r"([a-z]{3,9})[-/. ]*(\d{1,2})(?:st|nd|rd|th)?[-/., ]+['\N{RIGHT SINGLE QUOTATION MARK}]?(\d{4}|\d{2})"
)
_WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[ ,]+")
# Names of months, and their short forms, in English and in the languages of crews that have come from abroad.
_MONTH_NAMES: Final = (
    "january janvier januar enero gennaio janeiro januari janner janv ene gen",
    "february fevrier februar febrero febbraio fevereiro februari fevr fev",
    "march mars marz marzo marco maart mrz mrt",
    "april avril abril aprile avr abr",
    "may mai mayo maggio maio mei mag",
    "june juin juni junio giugno junho giu",
    "july juillet juli julio luglio julho juil lug",
    "august aout agosto augustus ago",
    "september septembre septiembre setiembre settembre setembro",
    "october octobre oktober octubre ottobre outubro okt ott",
    "november novembre noviembre",
    "december decembre dezember diciembre dicembre dezembro dez dic",
)
_MONTHS = {
    name: number
    for number, names in enumerate(_MONTH_NAMES, start=1)
    for english in [names.split()[0]]
    for name in (*names.split(), english[:3], english[:4])
}
MONTH_NAME: Final = "(?:" + "|".join(sorted(_MONTHS, key=len, reverse=True)) + ")"  # as a pattern


@functools.lru_cache(maxsize=2**15)  # the days of a season stand in each of its files
def read_day(text: str, order: DateOrder = None) -> tuple[str | None, str]:
    """Read a day that somebody wrote.

    Parameters
    ----------
    text
        Year-month-day, a month by its name in several languages, 3/4/22, or a spreadsheet's day number.
    order
        What tells 3 April from 4 March; without it such a text is no day yet.

    Returns
    -------
    day, fault
        As year-month-day, or None; and "" or a fault. `SERIAL` is read all the same.
    """
    text = _WEEKDAY.sub("", text.casefold())
    if not text.isascii():
        text = without_accents(text)
    if not text:
        return None, ""
    if (match := _YEAR_FIRST.fullmatch(text) or _SOLID.fullmatch(text)) is not None:
        return day_of(*match.groups())
    if re.fullmatch(r"\d+(\.\d+)?", text):
        return serial_day(float(text))
    if (match := _DAY_NAMED.fullmatch(text)) is not None and match[2] in _MONTHS:
        return day_of(match[3], _MONTHS[match[2]], match[1])
    if (match := _NAMED_DAY.fullmatch(text)) is not None and match[1] in _MONTHS:
        return day_of(match[3], _MONTHS[match[1]], match[2])
    if (match := _NUMERIC.fullmatch(text)) is not None:
        return _numeric(match[1], match[2], match[3], order)
    return None, NOT_A_DATE


def without_accents(text: str) -> str:
    """Write letters without the accents on them: février is fevrier."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))


def _numeric(first: str, second: str, year: str, order: DateOrder) -> tuple[str | None, str]:
    if order == "day-first":
        return day_of(year, second, first)
    if order == "month-first":
        return day_of(year, first, second)
    day_first, month_first = day_of(year, second, first), day_of(year, first, second)
    readings = {reading[0] for reading in (day_first, month_first) if reading[0] is not None}
    if len(readings) == 2:
        return None, AMBIGUOUS
    return (readings.pop(), "") if readings else (None, NOT_A_DATE)


def serial_day(number: float) -> tuple[str | None, str]:
    """Read a spreadsheet's day number, or a day written as one number: 20220531."""
    if number.is_integer() and (solid := _SOLID.fullmatch(str(int(number)))) is not None:
        return day_of(*solid.groups())
    if not _FIRST_SERIAL <= number <= _LAST_SERIAL:
        return None, NOT_A_DATE
    return (_SERIAL_ORIGIN + dt.timedelta(days=int(number))).isoformat(), SERIAL


def day_of(year: int | str, month: int | str, day: int | str) -> tuple[str | None, str]:
    """Return year, month and day as one, or `NOT_A_DATE`; a year of two digits is of this century."""
    whole_year = int(year) + (2000 if len(str(year)) == 2 else 0)
    if not _FIRST_YEAR <= whole_year <= _LAST_YEAR:
        return None, NOT_A_DATE
    try:
        return dt.date(whole_year, int(month), int(day)).isoformat(), ""
    except ValueError:
        return None, NOT_A_DATE


def tells_by_order(text: str) -> bool:
    """Tell whether only an order tells the day from the month of a text, such as 13/04/2022."""
    found = _NUMERIC.fullmatch(text)
    return found is not None and int(found[1]) != int(found[2])  # 7/7 is one day in either order
