"""Cases of one road: the first are run always, the others among the slow tests."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import pytest


def some_slow(cases: Iterable[Any], quick: int | Sequence[Any]) -> list[Any]:
    """Mark the cases behind the first so many, or those that are not among some, as slow."""
    return [
        case
        if (place < quick if isinstance(quick, int) else case in quick)
        else pytest.param(case, marks=pytest.mark.slow)
        for place, case in enumerate(cases)
    ]
