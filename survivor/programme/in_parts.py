"""A register within a programme: opened by one task, read by a task a part, put together by the last.

Parts lie in a folder that all tasks see. What a task of a part says is kept by the cluster until the last
task has it; where it is lost with its worker, that part is read again.
"""

from __future__ import annotations

import functools
import pickle
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from survivor.errors import SurvivorError
from survivor.files.writing import write_whole
from survivor.programme.record import Question, StudyRecord
from survivor.programme.study_answers import ReadAlready, digests_of
from survivor.records import Records
from survivor.records.parts import Part, Register, part_of
from survivor.records.reading import in_parts, read_records
from survivor.records.registers import join_parts, open_register, parts_about
from survivor.settings import STUDY_FILE, Settings, read_settings

Work = Callable[..., StudyRecord]  # folder of the programme, of the study, question; and what is read already
_REGISTER: Final = "register.pickle"


@dataclass(frozen=True)
class Opened:
    """A register whose rows are parted by place: where they lie, and digests of what they were read from."""

    home: str
    parts: int
    files: dict[str, str]


def begin(work: Work, top: str, folder: str, question: Question, room: str) -> StudyRecord | Opened:
    """Do a study; where it is a register of several parts, open it instead.

    Parameters
    ----------
    work
        Does one study.
    top, folder, question
        What it is given.
    room
        Folder for the parts of registers, seen by all tasks.
    """
    try:
        opened = _open(Path(top) / folder, Path(room))
    except (SurvivorError, OSError, ValueError):  # what is wrong is said by whoever does the whole
        opened = None
    return work(top, folder, question) if opened is None else opened


def _open(study: Path, room: Path) -> Opened | None:
    settings = read_settings(study)
    if not in_parts(study, settings.records.sheets) or parts_about(study, settings) < 2:
        return None
    files = digests_of(study, settings)
    home = Path(tempfile.mkdtemp(dir=room))
    register = open_register(study, settings, home)
    write_whole(home / _REGISTER, pickle.dumps(register), "what a register is read by")
    return Opened(str(home), register.parts, files)


def read_one(opened: Opened, number: int) -> Part | None:
    """Read one part; None where it cannot be read, which whoever does the whole then says."""
    try:
        return part_of(_register(opened.home), number)
    except Exception:
        return None


@functools.lru_cache(maxsize=1)
def _register(home: str) -> Register:
    """Read how a register is to be understood, once for all parts that a process reads."""
    with (Path(home) / _REGISTER).open("rb") as file:
        register: Register = pickle.load(file)
    return register


def finish(
    work: Work, place: tuple[str, str, Question], opened: Opened, parts: Sequence[Part | None]
) -> StudyRecord:
    """Do a study whose parts are read.

    Parameters
    ----------
    work
        Does one study.
    place
        Folder of the programme, of the study, and question.
    opened, parts
        What the tasks before gave.
    """
    whole = [part for part in parts if part is not None]
    if len(whole) < opened.parts:
        return work(*place)

    def read(file: Path, settings: Settings) -> Records:
        try:
            register = _register(opened.home)
        except OSError:  # the folder of parts is gone meanwhile
            return read_records(file, settings)
        # Tables of their own: what is put together is used up, and this task may have to be done again.
        own = [replace(part, intervals=dict(part.intervals)) for part in whole]
        return join_parts(file.parent if file.name == STUDY_FILE else file, register, own)

    return work(*place, ReadAlready(opened.files, read))
