"""Records of issued versions, kept beside the guideline file under the guideline's own name.

They go by the name that is printed as the title, so that a file saved under another name has
the same history. A record also tells the file that it was made from.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from survivor.errors import GuidelineError
from survivor.guideline.advice import Advice, Beside, Established, SeasonSays
from survivor.guideline.versions import Version

FOLDER: Final = "versions"
FORMAT: Final = 1
_LONGEST: Final = 60  # letters of the title in a file's name


def record_path(guideline_file: Path, title: str, number: int) -> Path:
    """Where the record of a version is kept."""
    named = re.sub(r"\W+", "-", _plain(title))[:_LONGEST].strip("-") or "guideline"
    return guideline_file.parent / FOLDER / f"{named}-{number}.json"


def record_text(version: Version, title: str, guideline_file: Path) -> str:
    """Return a version as JSON text."""
    content = {"format": FORMAT, "guideline": title, "file": guideline_file.name, **asdict(version)}
    del content["recorded"]
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def issued_versions(guideline_file: Path, title: str) -> dict[int, Version]:
    """Read every version issued under a title, by number.

    Records without a title were kept under the file's name and are found by it.

    Raises
    ------
    GuidelineError
        When a record of this guideline is damaged, or the folder holds records of another
        guideline that were made from this file, or that take the same file names.
    """
    issued: dict[int, Version] = {}
    folder = guideline_file.parent / FOLDER
    for path in sorted(folder.glob("*-*.json")):
        kept, number = path.stem.rsplit("-", 1)
        if not number.isdigit():
            continue
        expected = record_path(guideline_file, title, int(number))
        raw = _content(path)
        whose, made_from = raw.get("guideline"), raw.get("file")
        if whose is None:
            if kept in (guideline_file.stem, expected.stem.rsplit("-", 1)[0]):
                issued.setdefault(int(number), read_record(path))
        elif _plain(str(whose)) == _plain(title):
            issued[int(number)] = read_record(path)
        elif made_from == guideline_file.name or path.name == expected.name:
            raise GuidelineError(
                f"{FOLDER}/ holds records of another guideline with this file's name, {whose!r}",
                where=f"{FOLDER}/{path.name}",
                mend=f"keep that name for the guideline ({str(whose)!r} under [guideline]), so that its "
                "history is kept; or put a new guideline into a folder of its own",
            )
    return issued


def read_record(path: Path) -> Version:
    """Read the record of a version.

    Raises
    ------
    GuidelineError
        When the record is damaged.
    """
    try:
        raw = _content(path)
        if raw["format"] != FORMAT:
            raise KeyError("format")
        advice = tuple(_advice(line) for line in raw["advice"])
        return Version(
            int(raw["number"]),
            str(raw["dated"]),
            tuple(raw["seasons"]),
            tuple(raw["rule"]),
            advice,
            tuple(raw["practice"]),
            recorded=True,
        )
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _damaged(path) from error


def _content(path: Path) -> dict[str, Any]:
    try:
        raw = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise _damaged(path) from error
    if not isinstance(raw, dict):
        raise _damaged(path)
    return raw


def _damaged(path: Path) -> GuidelineError:
    return GuidelineError(
        "the record of an issued version cannot be read",
        where=f"{path.parent.name}/{path.name}",
        mend="restore it from your copies; or remove it, and that version is reckoned again from its seasons",
    )


def _advice(line: dict[str, Any]) -> Advice:
    seasons = tuple(SeasonSays(**says) for says in line.pop("seasons"))
    words: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in line.items()
    }
    words["beside"] = tuple(Beside(**neighbour) for neighbour in line.get("beside") or ())
    for key in ("established", "usual_established"):
        words[key] = Established(**line[key]) if line.get(key) else None
    return Advice(**words, seasons=seasons)


def _plain(title: str) -> str:
    """Write a title without case and without spaces too many."""
    return " ".join(title.casefold().split())
