"""A blank study folder to start from: study file, headers, data dictionary, plan file."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Final

from survivor.errors import PlanError
from survivor.planning.folder import DICTIONARY, PLOT_HEADER, PLOTS, RADIUS
from survivor.report.files import is_there, write_files
from survivor.settings import STUDY_FILE
from survivor.settings.dictionary import key_table

PLAN: Final = "plan.toml"
VISITS: Final = "visits.csv"
_VISIT_HEADER: Final = (
    "Site", "Block", "Plot", "Tag", "Species", "Visit", "Date", "State", "Height (cm)", "Likely cause",
    "Weed cover (%)", "Observer", "Notes",
)  # fmt: skip


def blank_files() -> dict[str, bytes]:
    """Return every file of a blank study folder by name."""
    dictionary = _text("new-dictionary.md").replace("{{ keys }}", key_table().strip())
    return {
        STUDY_FILE: _text("new-study.toml").encode(),
        PLOTS: (",".join([*PLOT_HEADER.values(), RADIUS]) + "\n").encode(),
        VISITS: (",".join(_VISIT_HEADER) + "\n").encode(),
        DICTIONARY: dictionary.encode(),
        PLAN: _text("new-plan.toml").encode(),
    }


def write_blank(folder: Path) -> tuple[Path, ...]:
    """Write a blank study folder.

    Raises
    ------
    PlanError
        When a file of that name is there already (nothing is written then), or the
        folder cannot be written to.
    """
    files = blank_files()
    there = [name for name in files if is_there(folder / name)]
    if there:
        raise PlanError(
            f"{there[0]} is there already",
            where=str(folder),
            mend="name a new folder; nothing is written over",
        )
    return write_files(folder, files, "the folder", PlanError)


def _text(name: str) -> str:
    file = resources.files("survivor.planning").joinpath("text", name)
    return file.read_text(encoding="utf-8").replace("\r\n", "\n")
