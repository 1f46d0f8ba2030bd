"""A study, plan or guideline file changed by a form: held to its model first, and then written whole."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from survivor.errors import DeskError, GuidelineError, PlanError, StudyFileError, SurvivorError
from survivor.files.editing import edited
from survivor.files.faults import Place, faults_by_place
from survivor.files.kinds import MOST_BYTES, FileKind
from survivor.files.lock import held
from survivor.files.toml import key_lines, validated
from survivor.files.writing import write_whole

if TYPE_CHECKING:
    from pydantic import BaseModel


MARK: Final = "of"  # field of a form: the state of the file that it was made of


@dataclass(frozen=True)
class Kept:
    """A file of one kind that forms change.

    Attributes
    ----------
    path
        The file.
    model
        What its tables and keys have to be.
    kind
        What it is called.
    error
        Class of its faults.
    """

    path: Path
    model: type[BaseModel]
    kind: FileKind
    error: type[SurvivorError]

    def tables(self) -> dict[str, Any]:
        """Return its tables as they are now.

        Raises
        ------
        SurvivorError
            When it is not there, or not TOML.
        """
        try:
            return tomllib.loads(self.text())
        except (OSError, ValueError, RecursionError) as fault:
            raise self.error(
                f"the {self.kind} file cannot be read: {fault}",
                where=self.path.name,
                mend="correct it by hand",
            ) from fault

    def faults_after(self, changes: Mapping[Place, Any]) -> dict[Place, str]:
        """Return what would be wrong with the file after some changes, by place; nothing is written."""
        from pydantic import ValidationError

        raw = tomllib.loads(edited(self.text(), changes, self.path.name, self.error))
        try:
            self.model.model_validate_json(json.dumps(raw, default=str))
        except ValidationError as fault:
            return faults_by_place(fault, self.model, raw)
        return {}

    def mark(self) -> str:
        """Tell the state of the file from every other."""
        return _mark(self.text())

    def change(self, changes: Mapping[Place, Any], of: str) -> bool:
        """Change the file.

        Parameters
        ----------
        changes
            As for `survivor.files.editing.edited`.
        of
            State of the file that they belong to.

        Returns
        -------
        bool
            Whether anything was changed.

        Raises
        ------
        SurvivorError
            When the file is in another state, would then say something that is not allowed, cannot be
            written, or something else writes there now; it is as it was.
        """
        return bool(changes) and self.rewrite(
            lambda text: edited(text, changes, self.path.name, self.error), of
        )

    def rewrite(self, changed: Callable[[str], str], of: str) -> bool:
        """Change the text of the file; returns and raises as `change`."""
        with held(self.path.parent):  # what another page or command writes meanwhile is not lost
            text = self.text()
            if of != _mark(text):
                raise DeskError(
                    f"the {self.kind} file was changed since this page was made",
                    where=self.path.name,
                    mend="go back, reload the page, and answer again",
                )
            after = changed(text)
            if after == text:
                return False
            source = (self.path.name, key_lines(after))
            validated(tomllib.loads(after), self.model, self.kind, self.error, source)
            write_whole(self.path, after.encode(), f"the {self.kind} file")
        return True

    def text(self) -> str:
        """Return it as it stands.

        Raises
        ------
        OSError
            When it cannot be read.
        SurvivorError
            When it is larger than such a file can be.
        """
        with self.path.open(encoding="utf-8-sig", newline="") as opened:
            text = opened.read(MOST_BYTES + 1)
        if len(text) > MOST_BYTES:
            raise self.error(
                "this is more than such a file holds", where=self.path.name, mend="correct it by hand"
            )
        return text


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def plan_in(file: Path) -> Kept:
    """Return a plan file."""
    from survivor.planning.planfile import Plan

    return Kept(file, Plan, "plan", PlanError)


def guideline_in(file: Path) -> Kept:
    """Return a guideline file."""
    from survivor.guideline.file import GuidelineFile

    return Kept(file, GuidelineFile, "guideline", GuidelineError)


def study_in(home: Path) -> Kept:
    """Return the study file of a folder."""
    from survivor.settings import STUDY_FILE, Settings

    return Kept(home / STUDY_FILE, Settings, "study", StudyFileError)
