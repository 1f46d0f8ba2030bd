"""The entry on the desktop: run by the shell it is for, it passes the folder on as it is."""

import subprocess
import sys
from pathlib import Path

import pytest

from survivor.desk.shortcut import entry, write_shortcut
from survivor.errors import DeskError

FOLDERS = [
    "seasons",
    "my seasons",
    "it's $HOME `x`",
    'a "quoted" name',
    "100% done",
    "back\\slash",
    "Prüfung – 1",
]
ECHO = '#!/bin/sh\nfor each in "$@"; do printf \'%s\\n\' "$each"; done\n'


@pytest.fixture
def echo(tmp_path: Path) -> Path:
    """A program that says what it is given."""
    program = tmp_path / "python 3"
    program.write_text(ECHO)
    program.chmod(0o755)
    return program


@pytest.mark.parametrize("folder", FOLDERS)
def test_an_entry_for_macos_passes_the_folder_on(tmp_path: Path, echo: Path, folder: str):
    name, text = entry("darwin", echo, Path("/home") / folder)
    assert name.endswith(".command")
    (tmp_path / name).write_text(text)
    said = subprocess.run(["sh", str(tmp_path / name)], capture_output=True, text=True, check=True).stdout
    assert said.splitlines() == ["-m", "survivor", "desk", f"/home/{folder}"]


def words_of(line: str) -> list[str]:
    """Read a line as the Desktop Entry Specification says: first as a value, then as an Exec key."""
    value = line.replace("\\\\", "\\")
    words, here, quoted, skip = [], "", False, False
    for place, letter in enumerate(value):
        if skip:
            here, skip = here + letter, False
        elif quoted and letter == "\\" and value[place + 1] in '"`$\\':
            skip = True
        elif letter == '"':
            quoted = not quoted
        elif letter == " " and not quoted:
            words, here = [*words, here], ""
        else:
            here += letter
    return [word.replace("%%", "%") for word in [*words, here]]


@pytest.mark.parametrize("folder", FOLDERS)
def test_an_entry_for_linux_passes_the_folder_on(echo: Path, folder: str):
    name, text = entry("linux", echo, Path("/home") / folder)
    assert name.endswith(".desktop")
    line = next(line for line in text.splitlines() if line.startswith("Exec="))
    assert words_of(line.removeprefix("Exec=")) == [str(echo), "-m", "survivor", "desk", f"/home/{folder}"]


def test_an_entry_for_windows_quotes_each_word_and_no_sign_is_a_variable():
    name, text = entry("win32", Path("C:/Program Files/python.exe"), Path("C:/my %PATH% seasons"))
    assert name.endswith(".cmd")
    assert '"-m" "survivor" "desk" "C:/my %%PATH%% seasons"' in text
    assert text.endswith("\r\n")


def test_a_line_break_in_a_name_makes_no_second_line():
    for system in ("linux", "darwin", "win32"):
        with pytest.raises(DeskError):
            entry(system, Path("python"), Path("/home/x\nrm -r"))


def test_an_entry_is_written_again_and_nothing_else_is_replaced(tmp_path: Path):
    path = write_shortcut(tmp_path, tmp_path)
    assert path.stat().st_mode & 0o111
    assert str(sys.executable) in path.read_text()
    assert write_shortcut(tmp_path, tmp_path) == path
    path.write_text("mine")
    with pytest.raises(DeskError, match="already"):
        write_shortcut(tmp_path, tmp_path)
    assert path.read_text() == "mine"
    with pytest.raises(DeskError, match="no desktop"):
        write_shortcut(tmp_path, tmp_path / "none")
