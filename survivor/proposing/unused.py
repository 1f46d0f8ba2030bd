"""What lies in the folder of a study and is not used by its study file, each with its reason."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path
from typing import Any, Final

from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS
from survivor.planning.folder import DICTIONARY
from survivor.settings import STUDY_FILE
from survivor.settings.questions import quoted

_SAID: Final = re.compile(r"# Not used: |# .+ was not understood: ")
_OURS: Final = (STUDY_FILE, DICTIONARY, "plan.toml", "guideline.toml")
_WEATHER: Final = "daily temperature, it seems; the study file says how to use it"


def unused(folder: Path, text: str) -> list[str]:
    """Name every file and sheet that a study file leaves out, with its reason.

    Parameters
    ----------
    folder
        Of the study.
    text
        Its study file; its remarks give the reasons for what was looked at.

    Returns
    -------
    list of str
        Name, and reason, of each.
    """
    lines = text.split("\n")
    said = [line.removeprefix("# Not used: ").removeprefix("# ") for line in lines if _SAID.match(line)]
    used = set(_files(tomllib.loads(text)))
    weather = {line for line in lines if line.startswith("# file = ")}
    out = list(said)
    for path in sorted(folder.iterdir()):
        name = path.name
        if path.is_dir() or name in _OURS or name.startswith((".", f"{STUDY_FILE}.")):
            continue
        named = any(fnmatch(name, own) or name == own for own in used)
        if not named and not any(_speaks_of(own, name) for own in said):
            out.append(f"{name}: {_why(path, f'# file = {quoted(name)}' in weather)}")
    return out


def _speaks_of(remark: str, name: str) -> bool:
    """Tell whether a remark is of a file, or of a sheet of it."""
    return re.match(rf"{re.escape(' '.join(name.split()))}(?:, |: | was )", remark) is not None


def _files(tables: Any) -> Iterator[str]:
    """Every file that a study file names."""
    if isinstance(tables, dict):
        for key, value in tables.items():
            if key == "file" and isinstance(value, str):
                yield value
            else:
                yield from _files(value)
    elif isinstance(tables, list):
        for value in tables:
            yield from _files(value)


def _why(path: Path, of_weather: bool) -> str:
    if path.name.startswith("~$"):
        return "left by a spreadsheet program that has the workbook open"
    if path.suffix.lower() not in TEXT_ENDINGS + WORKBOOK_ENDINGS:
        kinds = ", ".join(sorted(TEXT_ENDINGS + WORKBOOK_ENDINGS))
        return f"no sheet by the ending of its name; sheets end in {kinds}"
    return _WEATHER if of_weather else f"nothing in {STUDY_FILE} names it"
