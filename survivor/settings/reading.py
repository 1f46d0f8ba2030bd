"""Reading a study file: found, parsed, checked, and its faults said with their lines."""

from __future__ import annotations

import datetime as dt
import json
import re
import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from survivor.errors import StudyFileError
from survivor.settings.faults import faults_in_words
from survivor.settings.filekinds import another_kind
from survivor.settings.lines import Place
from survivor.settings.lines import key_lines as lines_in
from survivor.settings.models import STUDY_FILE, Settings

DICTIONARY = "DATA-DICTIONARY.md"
_SHEETS = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")


def find_study_file(path: str | Path) -> Path:
    """Return the study file for a folder or for the file itself.

    Raises
    ------
    StudyFileError
        When there is neither.
    """
    given = Path(path)
    try:
        found = given / STUDY_FILE if given.is_dir() else given
        there = found.is_file()
    except OSError as fault:  # a name that no file can have, or a folder that may not be looked into
        raise StudyFileError(
            f"this cannot be opened: {fault.strerror or fault}", where=str(given), mend="check the name"
        ) from fault
    if not there:
        mend = f"name a folder that holds {STUDY_FILE}, or the study file itself; "
        has_sheets = given.is_dir() and any(file.suffix.lower() in _SHEETS for file in given.iterdir())
        mend += (
            f"`survivor new {given} --from-sheets` proposes one from the sheets in this folder"
            if has_sheets
            else "`survivor demo DIR` writes an example to start from"
        )
        raise StudyFileError("no study file here", where=str(given), mend=mend)
    return found


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
    file = find_study_file(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise StudyFileError(
            "the study file is not text in UTF-8", where=file.name, mend="save it again as UTF-8 text"
        ) from error
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise StudyFileError(
            f"the study file cannot be read as TOML: {_in_words(error)}",
            where=file.name,
            mend='look in that line for a missing quotation mark, bracket or "=" sign, or a key given twice; '
            "a text stands in quotation marks, a backslash in it is written twice; true and false have "
            "small letters",
        ) from error
    if (other := another_kind(raw, "study")) is not None:
        raise StudyFileError(other[0], where=file.name, mend=other[1])
    try:
        # Through JSON mode so that TOML arrays become the tuples of the frozen models.
        return Settings.model_validate_json(_as_json(raw))
    except ValidationError as error:
        said = faults_in_words(error, raw, lines_in(text))
        lead = "1 fault" if len(said) == 1 else f"{len(said)} faults"
        raise StudyFileError(
            f"{lead} in the study file:\n  " + "\n  ".join(said),
            where=file.name,
            mend=f"correct what is named above; every key is explained in the {DICTIONARY} that "
            "`survivor demo DIR` writes beside its study files",
        ) from error


def key_lines(path: str | Path) -> dict[Place, int]:
    """Line of every table and key of a study file; empty where it cannot be read."""
    given = Path(path)
    file = given / STUDY_FILE if given.is_dir() else given
    return lines_in(file.read_text(encoding="utf-8-sig")) if file.is_file() else {}


def _in_words(error: tomllib.TOMLDecodeError) -> str:
    """Put the parser's text with the line first and without its column."""
    said = str(error)
    at = re.search(r"\(at line (\d+), column \d+\)", said)
    if at is None:
        return said.replace("(at end of document)", "at the end of the file")
    return f"line {at[1]}: {said[: at.start()].strip()}"


def _as_json(raw: dict[str, Any]) -> str:
    def iso(value: object) -> str:
        if isinstance(value, dt.date | dt.datetime | dt.time):
            return value.isoformat()
        raise TypeError(f"{value!r} has no place in a study file")

    return json.dumps(raw, default=iso)
