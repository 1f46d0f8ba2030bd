"""Files read once: what is parsed is what the digest is of, whatever happens to the file meanwhile."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Final

_KEPT: Final[ContextVar[dict[str, bytes] | None]] = ContextVar("kept", default=None)


@contextmanager
def read_once() -> Iterator[None]:
    """Keep what every file held when it was first read, until the end of this."""
    before = _KEPT.set({} if _KEPT.get() is None else _KEPT.get())
    try:
        yield
    finally:
        _KEPT.reset(before)


def content(path: Path) -> bytes:
    """Return what a file holds, or held when it was first read within `read_once`.

    Raises
    ------
    OSError
        When it cannot be read.
    """
    kept = _KEPT.get()
    if kept is None:
        return path.read_bytes()
    name = os.path.abspath(path)
    if name not in kept:
        kept[name] = path.read_bytes()
    return kept[name]
