"""The files that a study, plan or guideline names, their state on disk and what they hold."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from survivor.files.kinds import MOST_BYTES

STUDY_FILE: Final = "study.toml"

Stamp = tuple[tuple[str, int, int], ...]


def tables_of(file: Path) -> dict[str, Any]:
    """Return the tables of a TOML file, not to be changed; none where it cannot be read."""
    try:
        state = file.stat()
        return {} if state.st_size > MOST_BYTES else _tables(file, state.st_mtime_ns, state.st_size)
    except (OSError, ValueError, RecursionError):
        return {}


@lru_cache(maxsize=512)
def _tables(file: Path, changed: int, size: int) -> dict[str, Any]:
    return tomllib.loads(file.read_text(encoding="utf-8-sig"))


def files_named(tables: object) -> Iterator[str]:
    """Every file or study that the tables of a TOML file name."""
    if isinstance(tables, dict):
        for key, value in tables.items():
            if key in ("file", "from_study", "study") and isinstance(value, str):
                yield value
            yield from files_named(value)
    elif isinstance(tables, list):
        for value in tables:
            yield from files_named(value)


def stamp_of(home: Path) -> Stamp:
    """State on disk of a study file and of the files that it names: path, time of change, size."""
    file = home / STUDY_FILE
    return tuple(_stamp(path) for path in (file, *(home / name for name in files_named(tables_of(file)))))


def _stamp(path: Path) -> tuple[str, int, int]:
    try:
        state = path.stat()
    except (OSError, ValueError):
        return str(path), 0, -1
    return str(path), state.st_mtime_ns, state.st_size


def mark_of(stamp: Stamp) -> str:
    """Tell a state of the files from every other in a word of an address."""
    return hashlib.sha256(repr(stamp).encode()).hexdigest()


def digest_of(file: Path) -> str:
    """Return the sha256 of a file, reckoned once for each state of it."""
    state = file.stat()
    return _digested(file, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=4096)
def _digested(file: Path, changed: int, size: int) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
