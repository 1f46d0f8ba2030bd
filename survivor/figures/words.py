"""How a number is written beside a mark; the same rounding as the report's tables.

One rule for every printed figure: half-way cases go away from nought, and a minus
sign is a minus sign.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal, localcontext
from typing import Final

NONE = "–"

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


def many(count: float, one: str, more: str = "") -> str:
    """Write a count with its noun: ``1 day``, ``24 days``."""
    return f"{number(count)} {one if count == 1 else more or one + 's'}"


def limits(lower: float, upper: float, digits: int = 0, *, sign: bool = False) -> str:
    """Write limits as ``71 to 84``; a dash where there are none."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return NONE
    return f"{number(lower, digits, sign=sign)} to {number(upper, digits, sign=sign)}"


def plants(value: float) -> str:
    """Write plants to put in: rounded up, since a part of a plant is none; a dash where there is none."""
    return number(math.ceil(value - 1e-9)) if math.isfinite(value) else NONE


def plants_limits(lower: float, upper: float) -> str:
    """Write limits of plants to put in, rounded up; an infinite upper one as none."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return f"from {plants(lower)}, without an upper end" if math.isfinite(lower) else NONE
    return f"{plants(lower)} to {plants(upper)}"


def cost_limits(lower: float, upper: float) -> str:
    """Write limits of an amount to the cent; an infinite upper one as none."""
    if math.isfinite(lower) and math.isinf(upper):
        return f"from {number(lower, 2)}, no upper limit"
    return limits(lower, upper, 2)


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


_MOST_PLACES: Final = 2


def difference_digits(*values: float) -> int:
    """Return the places for a difference and its limits, per 100 planted.

    One where the limits are narrow or a whole number would hide a sign; none otherwise.
    """
    known = [value for value in values if math.isfinite(value)]
    if not known:
        return 0
    hidden = any(0 < abs(value) < 0.5 for value in known)
    return 1 if hidden or (max(known) - min(known)) / 2 < _NARROW else 0


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


def money(value: float, currency: str) -> str:
    """Write an amount to the cent with its currency's sign or name: ``$4.20``, ``4.20 EUR``."""
    if not math.isfinite(value):
        return NONE
    mark = currency.strip()
    written = number(value, 2)
    if not mark:
        return written
    return f"{mark}{written}" if len(mark) == 1 or mark.endswith("$") else f"{written} {mark}"
