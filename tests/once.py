"""Studies read and analysed once a run, whichever test of whichever process asks for the same files."""

from __future__ import annotations

import fcntl
import hashlib
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import pytest

from survivor.analysis import Analysis, supporting
from survivor.study import Study, load

T = TypeVar("T")

_made: dict[str, Any] = {}
_folder: list[Path] = []


def share_in(folder: Path) -> None:
    """Keep what is made in this folder, which every process of the run has."""
    _folder[:] = [folder]


def once(name: str, make: Callable[[], T]) -> T:
    """Return what ``make`` gives; what has this name is made by the first process that asks for it."""
    if name not in _made:
        kept = _folder[0] / f"{hashlib.sha256(name.encode()).hexdigest()}.pickle"
        with kept.with_suffix(".lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            try:
                if kept.exists():
                    _made[name] = pickle.loads(kept.read_bytes())
                else:
                    _made[name] = make()
                    kept.write_bytes(pickle.dumps(_made[name]))
            finally:
                fcntl.flock(lock, fcntl.LOCK_UN)  # closing is not enough where a copy of the process is left
    found: T = _made[name]
    return found


def study_of(path: str | Path) -> Study:
    """Load a study; where the same files were loaded before, give what was read then."""
    return once(f"read {digest_of(Path(path))}", lambda: load(path))


def analysed(path: str | Path) -> Analysis:
    """Analyse a study; the same files are analysed once.

    With few re-randomised allocations: they are most of the work, and have tests of their own.
    """
    study = study_of(path)
    if "analysis" not in study.__dict__:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(supporting, "_DRAWS", 99)
            study.__dict__["analysis"] = once(f"analysed {digest_of(Path(path))}", study.analyse)
    return study.analysis


def digest_of(given: Path) -> str:
    """Return the digest of all files of a study."""
    folder = given if given.is_dir() else given.parent
    digest = hashlib.sha256(str(given.relative_to(folder)).encode())
    for file in sorted(folder.rglob("*")):
        if file.is_file():
            digest.update(f"{file.relative_to(folder)}\0{file.stat().st_size}\0".encode() + file.read_bytes())
    return digest.hexdigest()
