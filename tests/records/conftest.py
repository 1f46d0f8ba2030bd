"""Studies written to a folder for one test, and read back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from survivor.records import Records, read_records
from survivor.settings import read_settings

ReadStudy = Callable[..., Records]

COUNTS = """
[study]
name = "counts"
as_of = "2025-01-01"
[records]
kind = "counts"
"""
TAGGED = """
[study]
name = "tagged"
as_of = "2025-01-01"
[records]
kind = "tagged"
"""


def sheet(file: str = "visits.csv", more: str = "") -> str:
    return f'[[records.sheets]]\nfile = "{file}"\n{more}\n'


def record_codes(records: Records) -> set[str]:
    """Codes of what was found in the sheets: a small case says nothing of the study file's names."""
    found = records.problems[records.problems["file"] != "study.toml"]
    return {code for code in found["code"] if not code.startswith("one-plot-")}


@pytest.fixture
def read_study(tmp_path: Path) -> ReadStudy:
    """Write a study file and its sheets (text or bytes), and read the records."""

    def read(toml: str, **files: str | bytes) -> Records:
        (tmp_path / "study.toml").write_text(toml, encoding="utf-8")
        for name, content in files.items():
            path = tmp_path / name.replace("_csv", ".csv").replace("_xlsx", ".xlsx")
            if isinstance(content, bytes):
                path.write_bytes(content)
            else:
                path.write_text(content, encoding="utf-8")
        return read_records(tmp_path, read_settings(tmp_path))

    return read
