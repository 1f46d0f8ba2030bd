"""The demo's guideline, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from survivor.demo.seasons import seasons_files
from survivor.guideline import Guideline, make_guideline
from tests.writing import write_files


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's three seasons and guideline file."""
    return write_files(tmp_path_factory.mktemp("seasons"), seasons_files())


@pytest.fixture(scope="session")
def made(folder: Path) -> Guideline:
    """Version 3 of it, nothing issued before."""
    return make_guideline(folder / "guideline.toml")


@pytest.fixture
def copy(folder: Path, tmp_path: Path) -> Path:
    """A copy of the folder that a test may change."""
    shutil.copytree(folder, tmp_path / "seasons")
    return tmp_path / "seasons"
