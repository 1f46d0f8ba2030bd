"""What a call was given, looked at before anything is reckoned with it: numbers, lists, tables.

Each raises the error of the room that asks, with the name of the argument and what to give.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from numbers import Real
from types import UnionType
from typing import Any, TypeGuard

import numpy as np
import pandas as pd

from survivor.arrays import Floats
from survivor.errors import SurvivorError

Kind = type[SurvivorError]
_MOST_DRAWS = 1_000_000
_LINE = 60  # letters of a value that are shown


def brief(value: object) -> str:
    """Write what was given; what takes more than a line by its kind."""
    shown = repr(value)
    return shown if len(shown) <= _LINE and "\n" not in shown else f"this {type(value).__name__}"


def is_one_of(value: object, known: Iterable[object]) -> bool:
    """Whether a value is one of those known; what cannot be compared with them is none."""
    return bool(pd.api.types.is_scalar(value)) and value in list(known)


def base_level(levels: Sequence[Any], against: Any, by: str, kind: Kind) -> Any:
    """Level that the others are compared with: ``against``, or the first."""
    base = levels[0] if against is None else against
    if not is_one_of(base, levels):
        mend = f"levels in the records: {', '.join(map(str, levels))}"
        raise kind(f"{against!r} is not a level of {by}", where="against", mend=mend)
    return base


def is_number(value: object) -> TypeGuard[float]:
    """Whether a value is one real number that is not blank; True and False are none."""
    return not isinstance(value, bool) and isinstance(value, Real) and not math.isnan(float(value))


def must_be(value: object, kinds: type | UnionType, what: str, where: str, kind: Kind, mend: str) -> None:
    """Refuse what is not of the kinds that a function takes; ``what`` is what they are called."""
    if not isinstance(value, kinds):
        raise kind(f"this takes {what}, not {type(value).__name__}", where=where, mend=mend)


def amount(
    value: object,
    where: str,
    kind: Kind,
    mend: str,
    *,
    bounds: tuple[float, float] = (-math.inf, math.inf),
    above: float = -math.inf,
) -> float:
    """Return a finite number within bounds; anything else is refused.

    Parameters
    ----------
    value
        What was given.
    where
        Name of the argument.
    kind
        Class of the error.
    mend
        What to give.
    bounds, above
        Least and most that it may be; what it must be above.
    """
    if not is_number(value) or not (bounds[0] <= value <= bounds[1] and value > above) or math.isinf(value):
        raise kind(f"{value!r} is not a number that goes here", where=where, mend=mend)
    return float(value)


def count(value: object, where: str, kind: Kind, mend: str, least: int = 1) -> int:
    """Return a whole number, ``least`` or more; anything else is refused."""
    found = amount(value, where, kind, mend, bounds=(least, math.inf))
    if not found.is_integer():
        raise kind(f"{value!r} is no whole number", where=where, mend=mend)
    return int(found)


def numbers(value: object, where: str, kind: Kind, mend: str) -> Floats:
    """Return an array of numbers, NaN where one is blank; anything else is refused."""
    try:
        # Dates would come out as nanoseconds since 1970.
        dated = value is None or np.asarray(value).dtype.kind in "mM"
        found = None if dated else np.asarray(value, dtype=float)
    except (TypeError, ValueError):
        found = None
    if found is None:
        shown = repr(value) if isinstance(value, str | None) else type(value).__name__
        raise kind(f"{shown} holds something that is no number", where=where, mend=mend)
    return found


def dates(value: object, where: str, kind: Kind, mend: str) -> pd.DatetimeIndex:
    """Return dates as an index; anything else is refused, also numbers, which would be days of 1970."""
    column: pd.Series[Any] = pd.Series(value)  # type: ignore[call-overload,unused-ignore]
    try:
        if not pd.api.types.is_numeric_dtype(column):
            return pd.DatetimeIndex(pd.to_datetime(column, format="mixed"))
    except (TypeError, ValueError):
        pass
    raise kind("these are not all dates", where=where, mend=mend)


def draws_of(value: object, kind: Kind) -> int:
    """Return how often something is drawn, 1 to a million: more would not fit into memory."""
    mend = f"give a whole number up to {_MOST_DRAWS:,}, for example draws=999"
    found = count(value, "draws", kind, mend)
    if found > _MOST_DRAWS:
        raise kind(f"{value!r} draws are too many", where="draws", mend=mend)
    return found


def seed_of(value: object, kind: Kind) -> int:
    """Return where drawing starts, a whole number from 0; anything else is refused."""
    return count(value, "seed", kind, "give a whole number, for example seed=1", least=0)


def several(value: object, where: str, kind: Kind, mend: str) -> list[Any]:
    """Return one text as a list of one, and a list, tuple or array as it is; anything else is refused."""
    if isinstance(value, str):
        return [value]
    if not isinstance(value, Iterable) or isinstance(value, bytes | Mapping | pd.DataFrame):
        raise kind(f"{brief(value)} is no list", where=where, mend=mend)
    return list(value)


def columns_of(table: object, needed: Sequence[str], where: str, kind: Kind, mend: str) -> pd.DataFrame:
    """Return a table that has some columns; anything else is refused."""
    must_be(table, pd.DataFrame, "a table", where, kind, mend)
    assert isinstance(table, pd.DataFrame)
    absent = [name for name in needed if name not in table.columns]
    if absent:
        raise kind(f"the table has no column {', '.join(absent)}", where=where, mend=mend)
    return table
