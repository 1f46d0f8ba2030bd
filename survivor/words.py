"""How numbers, limits, counts, lists, dates, p values and sentences are written, everywhere.

One rule for every printed figure: half-way cases go away from zero, and a minus
sign is a minus sign.
"""

from __future__ import annotations

import math
import os
import re
import shlex
import subprocess
from collections.abc import Iterable, Sequence
from decimal import ROUND_HALF_UP, Decimal, localcontext
from numbers import Integral
from typing import TYPE_CHECKING, Any, Final

from survivor.vocabulary import CONFIDENCE

if TYPE_CHECKING:
    import pandas as pd

NONE = "–"
_GAPS: Final = re.compile("[\t\n\v\f\r]")
_NO_LETTERS: Final = re.compile("[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")

_NARROW = 2.0  # half-width in plants per 100 under which one decimal is worth printing


def number(value: float, digits: int = 0, *, sign: bool = False) -> str:
    """Write a number with thousands apart and a true minus sign; a dash where there is none.

    Parameters
    ----------
    value
        Any unit; NaN and infinite values give a dash.
    digits
        Places after the point.
    sign
        Write a plus sign before positive values.
    """
    if not math.isfinite(value):
        return NONE
    with localcontext(prec=400):  # of a number as large as a float can be
        exact = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)
    text = f"{abs(exact):,.{digits}f}"
    if exact == 0:
        return text
    return ("−" if exact < 0 else "+" if sign else "") + text


def counted(count: float, one: str, many: str = "") -> str:
    """Write a count with its noun: 1 plot, 24 plots."""
    return f"{number(count)} {one if count == 1 else many or one + 's'}"


def limits(lower: float, upper: float, digits: int = 0, *, sign: bool = False) -> str:
    """Write limits as ``71 to 84``; a dash where there are none."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return NONE
    return f"{number(lower, digits, sign=sign)} to {number(upper, digits, sign=sign)}"


_ROUND_ESTIMATES: Final = 1000.0  # of plants; from here an estimate is written to the ten


def estimated(value: float, size: float | None = None) -> str:
    """Write an estimated number of plants, to the ten where there are many; a dash where there is none.

    ``size``: of the estimate that a limit belongs to, which is rounded as that is.

    Examples
    --------
    >>> estimated(2968.7), estimated(968.7), estimated(968.7, 1010.0)
    ('2,970', '969', '970')
    """
    if not math.isfinite(value):
        return NONE
    step = 10.0 if (value if size is None else size) >= _ROUND_ESTIMATES else 1.0
    return number(step * math.floor(value / step + 0.5))


def confidence(level: float) -> str:
    """Write what limits are: 95 % CI.

    Examples
    --------
    >>> confidence(0.95), confidence(0.9)
    ('95 % CI', '90 % CI')
    """
    return f"{100 * level:g} % CI"


def level_of(table: pd.DataFrame) -> float:
    """Confidence level of the limits of a table: its column ``level``, else that of the package."""
    return float(table["level"].iloc[0]) if "level" in table.columns and len(table) else CONFIDENCE


def heading_of_limits(what: str, table: pd.DataFrame) -> str:
    """Write the heading of estimates with the level of a table's limits under it."""
    return f"{what}\n({confidence(level_of(table))})"


def range_words(level: float) -> str:
    """Write what a range of draws is; one at the level of the package needs no other word.

    Examples
    --------
    >>> range_words(0.95), range_words(0.9)
    ('range', '90 % range')
    """
    return "range" if level == CONFIDENCE else f"{100 * level:g} % range"


def estimated_beside(values: Sequence[float], mark: float | None = None) -> list[str]:
    """Write an estimated number and its limits; to the one where rounding would make one of them a mark.

    Examples
    --------
    >>> estimated_beside((2968.7, 2775.2, 3147.4)), estimated_beside((1302.4, 1217.0, 1381.0), 1300)
    (['2,970', '2,780', '3,150'], ['1,302', '1,217', '1,381'])
    """
    rounded = [estimated(value, values[0]) for value in values]
    met = mark is not None and number(mark) in rounded and mark not in values
    return [number(value) for value in values] if met else rounded


def plants(value: float) -> str:
    """Write plants to put in: rounded up, since a part of a plant is none; a dash where there is none."""
    return number(math.ceil(value - 1e-9)) if math.isfinite(value) else NONE


def plants_limits(lower: float, upper: float) -> str:
    """Write limits of plants to put in, rounded up; an infinite upper one as none."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return f"from {plants(lower)}, without an upper end" if math.isfinite(lower) else NONE
    return f"{plants(lower)} to {plants(upper)}"


def cost_limits(lower: float, upper: float, currency: str = "") -> str:
    """Write limits of an amount to the cent; an infinite upper one as none."""
    if math.isfinite(lower) and math.isinf(upper):
        return f"from {money(lower, currency)}, no upper limit"
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return NONE
    return f"{money(lower, currency)} to {money(upper, currency)}"


def per_100(value: float) -> str:
    """Write survival per 100 planted as a whole number.

    More places would be read as knowledge. ``under 1`` and ``over 99`` keep a
    rounded 0 or 100 from being read as none or all.
    """
    if math.isfinite(value) and 0 < value < 0.5:
        return "under 1"
    if math.isfinite(value) and 99.5 <= value < 100:
        return "over 99"
    return number(value)


def per_100_limits(lower: float, upper: float) -> str:
    """Write limits of survival per 100 planted."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return NONE
    return f"{per_100(lower)} to {per_100(upper)}"


def alive_limits(estimate: float, lower: float, upper: float) -> str:
    """Write survival per 100 planted with its limits in brackets."""
    return f"{per_100(estimate)} ({per_100_limits(lower, upper)})"


_MOST_PLACES: Final = 2


def difference_digits(*values: float) -> int:
    """Return the places for a difference and its limits, per 100 planted.

    One where the limits are narrow or a whole number would hide a sign; none otherwise.
    """
    finite = [value for value in values if math.isfinite(value)]
    if not finite:
        return 0
    hidden = any(0 < abs(value) < 0.5 for value in finite)
    return 1 if hidden or (max(finite) - min(finite)) / 2 < _NARROW else 0


def difference(
    estimate: float, lower: float, upper: float, *, marks: Sequence[Sequence[float]] = ()
) -> tuple[str, str]:
    """Write a difference per 100 planted with its sign, and its limits.

    ``marks``: what the estimate, the lower and the upper limit are held to, for each of the three;
    none of them is then written as a mark that it is not. At most two places.
    """
    digits = difference_digits(estimate, lower, upper)
    near = [
        (value, mark)
        for value, own in zip((estimate, lower, upper), marks, strict=False)
        for mark in own
        if value != mark
    ]
    while digits < _MOST_PLACES and any(number(v, digits) == number(mark, digits) for v, mark in near):
        digits += 1
    return number(estimate, digits, sign=True), limits(lower, upper, digits, sign=True)


_SIGNS: Final = {"dollar": "$", "dollars": "$", "euro": "€", "euros": "€", "pound": "£", "pounds": "£"}


def money(value: float, currency: str) -> str:
    """Write an amount to the cent with its currency's sign or name: ``$4.20``, ``4.20 EUR``.

    Examples
    --------
    >>> money(5.886, "dollars"), money(-5, "$"), money(4.2, "EUR")
    ('$5.89', '−$5.00', '4.20 EUR')
    """
    if not math.isfinite(value):
        return NONE
    mark = _SIGNS.get(currency.strip().casefold(), currency.strip())
    written = number(value, 2)
    if not mark:
        return written
    if len(mark) > 1 and not mark.endswith("$"):
        return f"{written} {mark}"
    return f"−{mark}{written[1:]}" if written.startswith("−") else f"{mark}{written}"


def change(value: float, currency: str) -> str:
    """Write a change of an amount with its sign: ``+$0.50``, ``−$1.00``."""
    return f"{'−' if value < 0 else '+'}{money(abs(value), currency)}"


# Not the names of `calendar`: those follow the language of the machine.
_MONTHS: Final = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def plain(value: float) -> str:
    """Write a setting as it was given: 5, 2.5."""
    return number(value, 0 if float(value).is_integer() else 1)


def chance(p_value: float) -> str:
    """Write a p value to two places, three below 0.1; never as zero."""
    if not math.isfinite(p_value):
        return NONE
    if p_value < 0.001:
        return "under 0.001"
    return number(p_value, 3 if p_value < 0.0995 else 2)


def month(which: int) -> str:
    """Name a month, 1 to 12."""
    return _MONTHS[which - 1]


def date(value: Any) -> str:
    """Write a date as day, month, year; a dash where there is none."""
    import pandas as pd

    when = pd.Timestamp(value)
    if pd.isna(when):
        return NONE
    return f"{when.day} {month(when.month)} {when.year}"


def dates(values: pd.Series[Any]) -> str:
    """Write the first and the last of some dates."""
    import pandas as pd

    days = pd.to_datetime(values).dropna()
    if days.empty:
        return NONE
    first, last = days.min(), days.max()
    if first == last:
        return date(first)
    if first.year == last.year:
        return f"{first.day} {month(first.month)} to {date(last)}"
    return f"{date(first)} to {date(last)}"


def month_day(value: str) -> str:
    """Write ``12-01`` as 1 December."""
    month_number, day = value.split("-")
    return f"{int(day)} {month(int(month_number))}"


def model_words(name: str) -> str:
    """Return a model's name as the report prints it."""
    words = {
        "grouped": "interval-censored (the answer)",
        "cox": "Cox",
        "logistic": "at the milestone",
        "mixed": "random plot effects",
    }
    return words.get(name, name)


_LEVEL: Final = re.compile(r"\w+\[T\.(.*)\]")
_FILE_FIRST: Final = re.compile(r"\S+\.[a-z]{3,7}(?=[:,; ]|$)")  # of what begins with a file's name


def term_words(term: object) -> str:
    """Write a model's term as the records have it: a level by its name, two together with "with".

    Examples
    --------
    >>> term_words("method[T.spot spray]"), term_words("method[T.rip]:weed_free_radius_m")
    ('spot spray', 'rip with the weed-free radius')
    """
    parts = [
        found[1] if (found := _LEVEL.fullmatch(part)) else part
        for part in re.split(r":(?![^\[]*\])", str(term))
    ]
    return " with ".join("the weed-free radius" if part == "weed_free_radius_m" else part for part in parts)


def listed(names: Iterable[str]) -> str:
    """Join names with commas and ``and``; with semicolons where a name has a comma of its own."""
    *first, last = list(names) or [""]
    if any("," in name for name in (*first, last)):
        return "; ".join((*first, last))
    return f"{', '.join(first)} and {last}" if first else last


def first_few(names: Iterable[object], most: int) -> str:
    """Join the first names with commas, and say how many more there are."""
    texts = [str(name) for name in names]
    return ", ".join(texts[:most]) + (f" and {len(texts) - most:,} more" if len(texts) > most else "")


def capital(text: str) -> str:
    """Begin with a capital letter, unless the name of a file comes first."""
    return text if _FILE_FIRST.match(text) else text[:1].upper() + text[1:]


def full_stop(text: str) -> str:
    """End with a full stop, unless it ends as a sentence does."""
    return text if not text or text.endswith((".", "?", "!")) else f"{text}."


def sentence(text: str) -> str:
    """Begin with a capital letter and end with a full stop."""
    return full_stop(capital(text.strip()))


def any_text(value: Any) -> str:
    """Write whatever a cell of the records holds."""
    import pandas as pd

    if value is None or (not isinstance(value, str | Sequence) and pd.isna(value)):
        return ""
    if isinstance(value, pd.Timestamp):
        return date(value)
    if isinstance(value, Integral) and not isinstance(value, bool):
        return number(float(value))
    if isinstance(value, float):
        return number(value, 0 if value.is_integer() else 2)
    return str(value)


def readable(text: str) -> str:
    """Replace signs that are no letters: moves of a cursor, turns of a text, none at all."""
    return _NO_LETTERS.sub("\N{REPLACEMENT CHARACTER}", _GAPS.sub(" ", text))


def typed(*parts: object) -> str:
    """Write a command as it can be typed: a name with spaces in it stands in quotation marks."""
    texts = [str(part) for part in parts]
    return subprocess.list2cmdline(texts) if os.name == "nt" else shlex.join(texts)
