"""Files read once: what is parsed is what the digest is of, whatever happens to the file meanwhile."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path
from typing import Final

from survivor.files.kinds import LARGE

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
        When it cannot be read, is no ordinary file (a pipe never ends), or is so large that only text read
        in parts may be.
    """
    kept = _KEPT.get()
    if kept is None:
        return _read(path)
    name = os.path.abspath(path)
    if name not in kept:
        kept[name] = _read(path)
    return kept[name]


def _read(path: Path) -> bytes:
    about = path.stat()
    if not stat.S_ISREG(about.st_mode):
        raise OSError(errno.EINVAL, "it is no ordinary file", str(path))
    if about.st_size > LARGE:
        said = f"it is larger than {LARGE // 10**6} MB, which is read of no file at once"
        raise OSError(errno.EFBIG, said, str(path))
    return path.read_bytes()
