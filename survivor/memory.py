"""Memory that is no longer needed given back to the machine: what is freed, allocators keep for later."""

from __future__ import annotations

import ctypes
import sys
from functools import cache
from typing import Any


def give_back() -> None:
    """Return what the allocators of C and of Arrow hold beyond what is in use.

    Large tables leave hundreds of megabytes behind that a program with a copy beside it holds twice.
    """
    if (arrow := sys.modules.get("pyarrow")) is not None:
        arrow.default_memory_pool().release_unused()
    if (trim := _trim()) is not None:
        trim(0)


@cache
def _trim() -> Any:
    """Find the call of the C library that does so; None where it has none."""
    try:
        return ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError, TypeError):
        return None
