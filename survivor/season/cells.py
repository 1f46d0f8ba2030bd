"""What stands in a cell of a weather file: a number, a blank, or a number that stands for missing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

import numpy as np

SENTINELS: Final = frozenset({-9999.0, -999.0, -999.9, -99.9, -99.99, -99.0, 9999.0, 99999.0, 99999.9})
BLANKS: Final = frozenset({"", "-", "--", ".", "na", "n/a", "nan", "null", "none", "missing", "not read"})


def number_in(text: str) -> float | None:
    """Return the finite number that a text is, with a point or one comma; None where it is none."""
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    try:
        number = float(plain)
    except ValueError:
        return None
    return number if np.isfinite(number) else None


def some(days: Iterable[dt.date]) -> str:
    """List the first five days and say how many more there are."""
    listed = [str(day) for day in days]
    return ", ".join(listed[:5]) + (f" and {len(listed) - 5} more" if len(listed) > 5 else "")
