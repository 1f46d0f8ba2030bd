"""Studies written to a folder for one test, and read back."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.records import Records, read_records
from survivor.settings import read_settings
from tests.records.making import ReadStudy
from tests.writing import write_files


@pytest.fixture
def read_study(tmp_path: Path) -> ReadStudy:
    """Write a study file and its sheets (text or bytes), and read the records."""

    def read(toml: str, **files: str | bytes) -> Records:
        named = {name.replace("_csv", ".csv").replace("_xlsx", ".xlsx"): files[name] for name in files}
        write_files(tmp_path, {"study.toml": toml, **named})
        return read_records(tmp_path, read_settings(tmp_path))

    return read
