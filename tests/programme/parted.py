"""A register of few records within a programme, read in parts all the same."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Final

from survivor.records import registers

TAGGED: Final = Path(__file__).parents[2] / "datasets" / "tagged"
RECORDS: Final = 3_000  # of a part, of the 10,000 or so of the study


def write_register(folder: Path) -> Path:
    """Write the demo's tagged study as a register: its visits under a name that may mean several files."""
    shutil.copytree(TAGGED, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    (folder / "study.toml").write_text(text.replace('"visits.csv"', '"visits*.csv"'), encoding="utf-8")
    return folder


def small_parts() -> None:
    """Have this process, one of a cluster, read registers in small parts."""
    registers._A_PART = RECORDS  # type: ignore[misc]
