"""The three kinds of TOML file: one of each without a fault, and its reader."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from survivor.demo.files import text_file
from survivor.errors import GuidelineError, PlanError, StudyFileError, SurvivorError
from survivor.guideline import read_guideline
from survivor.planning.folder import blank_files
from survivor.planning.planfile import read_plan
from survivor.settings import read_settings


class Kind(NamedTuple):
    """A file without a fault, its reader, the reader's error, and where the keys are explained."""

    text: str
    read: Callable[[Path], object]
    error: type[SurvivorError]
    explained: str


KINDS = {
    "study": Kind(
        text_file("tagged-study.toml").decode(), read_settings, StudyFileError, "DATA-DICTIONARY.md"
    ),
    "plan": Kind(blank_files()["plan.toml"].decode(), read_plan, PlanError, "a plan.toml that explains"),
    "guideline": Kind(
        text_file("seasons-guideline.toml").decode(),
        read_guideline,
        GuidelineError,
        "guideline.toml explains",
    ),
}
