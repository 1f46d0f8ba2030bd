"""How a number is written beside a mark; the same rounding as the report's tables.

One rule for every printed figure: half-way cases go away from nought, and a minus
sign is a minus sign.
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

NONE = "–"


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
    exact = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), rounding=ROUND_HALF_UP)
    text = f"{abs(exact):,.{digits}f}"
    if exact == 0:
        return text
    return ("−" if exact < 0 else "+" if sign else "") + text


def limits(lower: float, upper: float, digits: int = 0, *, sign: bool = False) -> str:
    """Write limits as ``71 to 84``; a dash where there are none."""
    if not (math.isfinite(lower) and math.isfinite(upper)):
        return NONE
    return f"{number(lower, digits, sign=sign)} to {number(upper, digits, sign=sign)}"


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


def money(value: float, currency: str) -> str:
    """Write an amount to the cent with its currency's sign or name: ``$4.20``, ``4.20 EUR``."""
    if not math.isfinite(value):
        return NONE
    mark = currency.strip()
    written = number(value, 2)
    return f"{mark}{written}" if len(mark) == 1 or mark.endswith("$") else f"{written} {mark}"
