"""Windows and macOS by simulation: their locks, renames, paths, names and line ends."""

from __future__ import annotations

import ctypes
import errno
import fcntl
import importlib.util
import os
import sys
import types
import unicodedata
from pathlib import Path

import pytest

from survivor.errors import RecordsError, WritingError
from survivor.files import lock as lock_module
from survivor.files import writing as module
from survivor.files.writing import MANIFEST, write_whole
from survivor.study import load
from tests.files.making import put
from tests.writing import small_season


def content(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.iterdir() if path.name != MANIFEST}


# --- Windows ---------------------------------------------------------------------------------------------


@pytest.fixture
def windows_lock(monkeypatch):
    """The module of locks as it is on Windows, where an open file cannot be taken away."""

    def locking(opened: int, mode: int, length: int) -> None:
        assert (mode, length) == (2, 1)
        try:
            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as fault:
            raise PermissionError(errno.EACCES, "Permission denied") from fault

    def unlink(path, **_):
        raise PermissionError(errno.EACCES, "used by another process")

    with monkeypatch.context() as patched:
        patched.setattr(sys, "platform", "win32")
        patched.setitem(sys.modules, "msvcrt", types.SimpleNamespace(locking=locking, LK_NBLCK=2))
        spec = importlib.util.spec_from_file_location("lock_on_windows", lock_module.__file__)
        assert spec is not None
        assert spec.loader is not None
        made = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(made)
        patched.setattr(Path, "unlink", unlink)
        yield made


def test_one_writer_on_windows(tmp_path, windows_lock, caplog):
    with windows_lock.held(tmp_path):
        with pytest.raises(WritingError, match="another run of survivor"), windows_lock.held(tmp_path):
            raise AssertionError("two writers")
        assert windows_lock.writer_of(tmp_path) is None  # its own
    with windows_lock.held(tmp_path):
        pass
    assert caplog.text == ""  # what is left of a run that ended by itself is no lock
    assert (tmp_path / lock_module.LOCK).read_bytes() == b""


def test_files_are_written_where_folders_cannot_be_exchanged_or_synced(tmp_path, monkeypatch):
    real_open = os.open

    def no_folders(path, flags, *more, **how):
        if os.path.isdir(path) and not how:
            raise PermissionError(errno.EACCES, "Permission denied")
        return real_open(path, flags, *more, **how)

    monkeypatch.setattr(module, "_exchanged", lambda stage, folder: False)
    monkeypatch.setattr(module.os, "open", no_folders)
    for version in ("1", "2"):
        put(tmp_path / "out", {"a": version, "b": version})
        write_whole(tmp_path / "out" / "c", version.encode(), "it")
    assert content(tmp_path / "out") == {"a": "2", "b": "2", "c": "2"}


def test_a_file_that_is_open_in_another_program_is_said_and_left(tmp_path, monkeypatch):
    """As Windows does while a spreadsheet program has it open."""
    put(tmp_path, {"report.xlsx": "1"})
    real = os.replace

    def held_open(source, target):
        if Path(target).name == "report.xlsx":
            raise PermissionError(errno.EACCES, "The process cannot access the file")
        real(source, target)

    with monkeypatch.context() as patched:
        patched.setattr(module, "_exchanged", lambda stage, folder: False)
        patched.setattr(module.os, "replace", held_open)
        with pytest.raises(WritingError, match="close the file if it is open"):
            put(tmp_path, {"report.xlsx": "2"})
    assert content(tmp_path) == {"report.xlsx": "1"}
    put(tmp_path, {"report.xlsx": "2"})
    assert content(tmp_path) == {"report.xlsx": "2"}


# --- macOS -----------------------------------------------------------------------------------------------


def test_folders_change_names_on_macos(tmp_path, monkeypatch):
    swaps = []

    def renamex_np(one: bytes, other: bytes, how: int) -> int:
        assert how == 2
        swaps.append((one, other))
        os.rename(one, one + b".aside")
        os.rename(other, one)
        os.rename(one + b".aside", other)
        return 0

    monkeypatch.setattr(module.sys, "platform", "darwin")
    monkeypatch.setattr(ctypes, "CDLL", lambda *_, **__: types.SimpleNamespace(renamex_np=renamex_np))
    for version in ("1", "2"):
        put(tmp_path / "out", {"a": version})
    assert len(swaps) == 2
    assert content(tmp_path / "out") == {"a": "2"}
    assert os.listdir(tmp_path) == ["out"]


# --- names and line ends ---------------------------------------------------------------------------------


def renamed(folder: Path, named: str, kept: str) -> Path:
    """A season whose study file names its sheet so, and whose folder keeps it so."""
    study = small_season(folder / "study")
    file = study / "study.toml"
    file.write_text(file.read_text().replace('"visits.csv"', f"'{named}'"), encoding="utf-8")
    (study / kept).parent.mkdir(exist_ok=True)
    (study / "visits.csv").rename(study / kept)
    return study


@pytest.mark.parametrize(
    ("named", "kept", "mend"),
    [
        ("sheets\\visits.csv", "sheets/visits.csv", "write / between folders"),
        ("Visits.CSV", "visits.csv", r"did you mean visits\.csv"),
        (
            unicodedata.normalize("NFC", "Māori ö.csv"),
            unicodedata.normalize("NFD", "Māori ö.csv"),
            "accents apart from their letters",
        ),
    ],
)
@pytest.mark.skipif(sys.platform != "linux", reason="a disk that knows every name by its bytes")
def test_a_name_that_another_machine_would_know_is_told_of(tmp_path, named, kept, mend):
    with pytest.raises(RecordsError, match=mend):
        load(renamed(tmp_path, named, kept))


def test_line_ends_and_marks_of_every_machine_are_read_alike(tmp_path):
    study = small_season(tmp_path / "study")
    plain = load(study).intervals
    for end, mark in ((b"\r\n", b"\xef\xbb\xbf"), (b"\r", b""), (b"\n", b"\xef\xbb\xbf")):
        for file in study.iterdir():
            lines = file.read_bytes().removeprefix(b"\xef\xbb\xbf").splitlines()
            file.write_bytes(mark + end.join(lines) + end)
        assert load(study).intervals.equals(plain)
