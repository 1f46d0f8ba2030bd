"""How much of each season is read, and what waits for an answer: kept for the next time."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from survivor._version import __version__
from survivor.desk.folder import Folder
from survivor.desk.named import STUDY_FILE, Stamp, files_named, stamp_of, tables_of
from survivor.errors import SurvivorError
from survivor.files.kinds import kind_of
from survivor.files.writing import write_whole

_WORDS: Final = "read.json"


def summary_of(folder: Folder, home: Path) -> str:
    """Say how much is read of a season as its files are now; "" where nobody has read it since."""
    try:
        told = json.loads(_file(folder, home).read_text(encoding="utf-8"))
        return str(told["words"]) if told["of"] == _of(home, stamp_of(home)) else ""
    except (OSError, ValueError, KeyError, TypeError):
        return ""


def keep_summary(folder: Folder, home: Path, stamp: Stamp, words: str) -> None:
    """Keep what was read of a season; where that cannot be written, it is read again another time."""
    file = _file(folder, home)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        text = json.dumps({"of": _of(home, stamp), "words": words}, ensure_ascii=False)
        write_whole(file, text.encode(), "what was read")
    except (OSError, SurvivorError):
        return


def seasons_in(folder: Folder) -> Iterator[Path]:
    """Give the folder of each study."""
    for file in folder.files(STUDY_FILE):
        if file.name == STUDY_FILE and kind_of(tables_of(file)) == "study":
            yield file.parent


def not_read(folder: Folder) -> list[Path]:
    """Return the seasons that nobody has read since their files changed."""
    return [home for home in seasons_in(folder) if not summary_of(folder, home)]


def read_all(path: Path) -> Iterator[tuple[str, str]]:
    """Read each season that was not read since it changed, and keep how much of it is read.

    Parameters
    ----------
    path
        Folder that a desk is opened on.

    Yields
    ------
    season, words
        Before a season is read, its name without words; after it, with them.

    Raises
    ------
    DeskError
        When there is no such folder.
    """
    folder = Folder.of(path)
    for home in not_read(folder):
        yield folder.title_of(home), ""
        yield folder.title_of(home), read_one(folder, home)


def read_one(folder: Folder, home: Path) -> str:
    """Read a season, and keep how much of it is read."""
    from survivor.proposing.reading import what_is_read

    stamp = stamp_of(home)
    try:
        folder.keep_inside(home, files_named(tables_of(home / STUDY_FILE)))
        words = what_is_read(home)
    except SurvivorError as fault:
        words = what_is_read(home, fault)
    keep_summary(folder, home, stamp, words)
    return words


def _file(folder: Folder, home: Path) -> Path:
    return folder.own(home) / _WORDS


def _of(home: Path, stamp: Stamp) -> list[list[str | int]]:
    files: list[list[str | int]] = [
        [os.path.relpath(path, home), changed, size] for path, changed, size in stamp
    ]
    return [[__version__, 0, 0], *files]
