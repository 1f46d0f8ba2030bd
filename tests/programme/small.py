"""A small programme to try things on: invented studies, one of them copied, one broken."""

from __future__ import annotations

import shutil
from pathlib import Path

from survivor.demo.programme import write_programme
from survivor.programme import Programme

#: Numbers of the invented studies taken: a tagged one that hides its places, counts, and one without TOML.
TAKEN = (2, 6, 10, 11, 12)
HIDDEN, BROKEN = 2, 12


def small_programme(folder: Path, *, copied: bool = True) -> Path:
    """Write the studies below ``folder``; ``copied``: one of them a second time under another name."""
    written = list(write_programme(folder.with_name("all"), max(TAKEN)))
    for number in TAKEN:
        home = written[number - 1]
        shutil.copytree(home, folder / home.parent.name / home.name)
    if copied:
        shutil.copytree(written[TAKEN[1] - 1], folder / "zz-saved-again")
    return folder


def study_of(made: Programme, number: int) -> str:
    """Folder of a study by its number."""
    return next(record.folder for record in made.records if f"-{number:04d}-" in record.folder)
