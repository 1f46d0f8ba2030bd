"""Every study below a folder, and whether what is kept of it still holds."""

from __future__ import annotations

import datetime as dt
import os
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from survivor._version import __version__
from survivor.errors import ProgrammeError, SurvivorError
from survivor.programme import english as en
from survivor.programme.record import FOLDER, Question, StudyRecord
from survivor.settings import STUDY_FILE, read_settings
from survivor.study import digest_of
from survivor.words import typed


@dataclass(frozen=True)
class Found:
    """A study below the programme's folder: its own folder, and how many bytes lie in it."""

    folder: str
    size: int


def find_studies(top: Path, warn: Callable[[str], None] = lambda _: None) -> list[Found]:
    """Find every folder below that holds a study file, in the order of their names.

    Folders whose name begins with a dot are passed over, and links are not followed.

    Parameters
    ----------
    top
        Folder of the programme.
    warn
        Called with what is said of a folder that cannot be looked into.

    Raises
    ------
    ProgrammeError
        When there is none, or the folder cannot be looked into.
    """

    def closed(fault: OSError) -> None:
        if Path(fault.filename) == top:
            _refuse(fault)
        warn(f"{fault.filename}: this folder cannot be looked into, so no study in it is known")

    found = []
    for home, folders, files in os.walk(top, onerror=closed):
        folders[:] = sorted(name for name in folders if not name.startswith(".") and name != FOLDER)
        if STUDY_FILE in files:
            inside = Path(home).relative_to(top).as_posix()
            found.append(Found(inside, sum(_size(Path(home) / name) for name in files)))
    if not found:
        raise ProgrammeError(
            en.NO_STUDIES,
            where=str(top),
            mend=f"name the folder above your study folders, each with its {STUDY_FILE}; or try "
            + typed("survivor", "demo", "--programme", 40, "DIR"),
        )
    return sorted(found, key=lambda study: study.folder)


def _refuse(fault: OSError) -> None:
    raise ProgrammeError(
        f"this folder cannot be looked into: {fault.strerror or fault}",
        where=str(fault.filename),
        mend="check its name, and that you may read there",
    )


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def headlines(
    top: Path, studies: list[Found], known: Mapping[str, StudyRecord]
) -> dict[str, tuple[str, float, float]]:
    """Name, day and window of the headline milestone of every study whose study file can be read."""
    told = {}
    for study in studies:
        record = known.get(study.folder)
        file = top / study.folder / STUDY_FILE
        if record is not None and record.headline and record.files.get(STUDY_FILE) == digest_of(file):
            told[study.folder] = record.headline
            continue
        try:
            head = read_settings(file).headline_milestone
        except SurvivorError:
            continue  # it is listed once it is read in whole
        told[study.folder] = (head.name, float(head.day), float(head.window_days))
    return told


def question_of(told: Mapping[str, tuple[str, float, float]], milestone: str | None) -> Question:
    """Ask for a milestone by its name, or for the one that most studies have in their headline.

    Raises
    ------
    ProgrammeError
        When no study has it.
    """
    asked = Counter((name, day) for name, day, _ in told.values() if milestone in (None, name))
    if not asked:
        named = sorted({name for name, _, _ in told.values()})
        raise ProgrammeError(
            "no study file can be read" if not told else f"no study has the headline milestone {milestone!r}",
            where="milestone",
            mend=f"headline milestones of these studies: {', '.join(named)}"
            if named
            else "see survivor check",
        )
    (name, day), _ = min(asked.items(), key=lambda item: (-item[1], item[0][1], item[0][0]))
    return Question(name, day, __version__)


def holds(record: StudyRecord | None, top: Path, question: Question) -> bool:
    """Whether a record is of the same question, version and files as they are now."""
    return (
        record is not None
        and record.question == question
        and record.as_of in ("", dt.date.today().isoformat())
        and all(digest_of(top / record.folder / name) == was for name, was in record.files.items())
    )
