"""Reading a study file: found in its folder, and its faults said with their lines."""

from __future__ import annotations

from pathlib import Path

from survivor.arguments import must_be
from survivor.errors import StudyFileError
from survivor.files.content import content
from survivor.files.faults import Place
from survivor.files.toml import key_lines as lines_in
from survivor.files.toml import read_toml
from survivor.settings.models import STUDY_FILE, Settings
from survivor.words import typed

_SHEETS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")


def find_study_file(path: str | Path) -> Path:
    """Return the study file for a folder or for the file itself.

    Raises
    ------
    StudyFileError
        When there is neither.
    """
    mend = 'give for example survivor.load("datasets/tagged")'
    must_be(path, str | Path, "the name of a folder or study file", "path", StudyFileError, mend)
    given = Path(path)
    try:
        file = given / STUDY_FILE if given.is_dir() else given
        there = file.is_file()
    except OSError as fault:  # a name that no file can have, or a folder that may not be looked into
        raise StudyFileError(
            f"this cannot be opened: {fault.strerror or fault}", where=str(given), mend="check the name"
        ) from fault
    if there:
        return file
    has_sheets = given.is_dir() and any(beside.suffix.lower() in _SHEETS for beside in given.iterdir())
    start = (
        f"`{typed('survivor', 'new', given, '--from-sheets')}` proposes one from the sheets in this folder"
        if has_sheets
        else "`survivor demo DIR` writes an example to start from"
    )
    mend = f"name a folder that holds {STUDY_FILE}, or the study file itself; {start}"
    raise StudyFileError("no study file here", where=str(given), mend=mend)


def read_settings(path: str | Path) -> Settings:
    """Read a study file.

    Parameters
    ----------
    path
        The study file, or the folder that holds ``study.toml``.

    Raises
    ------
    StudyFileError
        When the file is not TOML, is a plan or a guideline file, or a key or value in it is not known; every
        fault is listed with its line, its key, its value and the mend.
    """
    return read_toml(find_study_file(path), Settings, "study", StudyFileError)


def key_lines(path: str | Path) -> dict[Place, int]:
    """Line of every table and key of a study file; empty where it cannot be read."""
    given = Path(path)
    file = given / STUDY_FILE if given.is_dir() else given
    return lines_in(content(file).decode("utf-8-sig")) if file.is_file() else {}
