"""What pooling refuses, and how it says so."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

from survivor.errors import PoolingError
from survivor.pooling.limits import FACTORS, LIMITS
from survivor.pooling.spread import METHODS
from survivor.pooling.weighted import Floats

Numbers: TypeAlias = "Sequence[float] | Floats | pd.Series[Any]"


def checked(
    estimates: Numbers,
    std_errors: Numbers,
    method: str,
    limits: str,
    factor: str,
    units: Sequence[str] | None,
    known_limits: tuple[str, ...] = LIMITS,
) -> tuple[Floats, Floats, list[str]]:
    """Return estimates, variances and names, or say what is wrong.

    Raises
    ------
    PoolingError
        For too few units, lengths that differ, missing numbers, standard errors not above
        nought, names given twice, or a word that is not known.
    """
    for word, known, place in (
        (method, METHODS, "method"),
        (limits, known_limits, "limits"),
        (factor, FACTORS, "factor"),
    ):
        if word not in known:
            raise PoolingError(
                f"{word!r} is not known", where=place, mend=f"use one of: {', '.join(map(repr, known))}"
            )
    effect, error = _numbers(estimates, "estimates"), _numbers(std_errors, "std_errors")
    names = [str(place + 1) for place in range(len(effect))] if units is None else [str(n) for n in units]
    if not len(effect) == len(error) == len(names):
        raise PoolingError(
            f"{len(effect)} estimates, {len(error)} standard errors and {len(names)} names do not go"
            " together",
            where="estimates",
            mend="give one of each for every unit",
        )
    if len(effect) < 2:
        raise PoolingError(
            f"there {'is one unit' if len(effect) else 'are no units'}: nothing to pool",
            where="estimates",
            mend="give two units or more; one season's own limits stand as they are",
        )
    if twice := [name for name in dict.fromkeys(names) if names.count(name) > 1]:
        raise PoolingError(
            f"two units are called {twice[0]!r}", where="units", mend="give each season or site its own name"
        )
    wrong = ~(np.isfinite(effect) & np.isfinite(error) & (error > 0))
    if wrong.any():
        first = int(np.flatnonzero(wrong)[0])
        raise PoolingError(
            f"estimate {effect[first]:g} with standard error {error[first]:g} cannot be pooled",
            where=f"unit {names[first]}",
            mend="leave the unit out and say so, or give a finite estimate and a standard error above 0",
        )
    return effect, error**2, names


def _numbers(given: Numbers, name: str) -> Floats:
    try:
        found = np.asarray(given, dtype=float)
    except (TypeError, ValueError) as error:
        raise PoolingError("these are not all numbers", where=name, mend="give one number a unit") from error
    if found.ndim != 1:
        raise PoolingError(
            f"a list of numbers is needed, not a table of shape {found.shape}",
            where=name,
            mend="give one number a unit",
        )
    return found
