"""The demo's guideline, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from survivor.demo.seasons import seasons_files
from survivor.guideline import Guideline, make_guideline


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's three seasons and guideline file."""
    place = tmp_path_factory.mktemp("seasons")
    for name, content in seasons_files().items():
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_bytes(content)
    return place


@pytest.fixture(scope="session")
def made(folder: Path) -> Guideline:
    """Version 3 of it, nothing issued before."""
    return make_guideline(folder / "guideline.toml")


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    """A copy of the folder that a test may change."""
    shutil.copytree(folder, tmp_path / "seasons")
    return tmp_path / "seasons"
