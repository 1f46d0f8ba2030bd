"""An entry on the desktop that opens the desk by a double click."""

from __future__ import annotations

import os
import shlex
import sys
from pathlib import Path
from typing import Final

from survivor.errors import DeskError
from survivor.files.writing import write_whole

_MARK: Final = "made by survivor desk --shortcut"
_NAMES: Final = {"win32": "survivor desk.cmd", "darwin": "survivor desk.command"}


def write_shortcut(folder: Path, desktop: Path | None = None) -> Path:
    """Put an entry on the desktop.

    Parameters
    ----------
    folder
        That the desk is to be opened on.
    desktop
        Where entries lie; None: the desktop of this machine.

    Returns
    -------
    Path
        The entry.

    Raises
    ------
    DeskError
        When there is no desktop, or something else of that name is there.
    """
    where = desktop_here() if desktop is None else desktop
    if not where.is_dir():
        raise DeskError(
            "no desktop was found", where=str(where), mend="start the desk with: survivor desk FOLDER"
        )
    name, text = entry(sys.platform, Path(sys.executable), folder.resolve())
    path = where / name
    if path.is_symlink() or (
        path.exists() and _MARK not in path.read_text(encoding="utf-8", errors="replace")
    ):
        raise DeskError("something of this name is there already", where=str(path), mend="move it away")
    write_whole(path, text.encode(), "the entry")
    path.chmod(0o755)  # double-clicked, it is run
    return path


def desktop_here() -> Path:
    """Return the desktop of this machine: as the desktop's own settings say, else by its usual name."""
    home = Path.home()
    try:
        told = (home / ".config" / "user-dirs.dirs").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        told = ""
    for line in told.splitlines():
        if line.startswith("XDG_DESKTOP_DIR="):
            return Path(os.path.expandvars(line.partition("=")[2].strip('"')))
    return home / "Desktop"


def entry(system: str, python: Path, folder: Path) -> tuple[str, str]:
    """Return the name of an entry and what is in it.

    Parameters
    ----------
    system
        As `sys.platform` calls it.
    python
        Program that runs survivor.
    folder
        That the desk is to be opened on.

    Raises
    ------
    DeskError
        When a path holds a line break, which no entry can.
    """
    words = [str(python), "-m", "survivor", "desk", str(folder)]
    if any("\n" in word or "\r" in word for word in words):
        raise DeskError("the name of this folder holds a line break", mend="give the folder another name")
    if system == "win32":
        quoted = " ".join(f'"{word}"'.replace("%", "%%") for word in words)
        return _NAMES[system], f"@rem {_MARK}\r\n@chcp 65001 >nul\r\n@{quoted}\r\n@if errorlevel 1 pause\r\n"
    if system == "darwin":
        return _NAMES[system], f"#!/bin/sh\n# {_MARK}\nexec {shlex.join(words)}\n"
    quoted = " ".join(_for_desktop(word) for word in words)
    lines = [
        "[Desktop Entry]",
        "Type=Application",
        "Name=survivor desk",
        f"Comment={_MARK}",
        f"Exec={quoted}",
    ]
    return "survivor-desk.desktop", "\n".join([*lines, "Terminal=true", "Categories=Science;", ""])


def _for_desktop(word: str) -> str:
    """Quote a word as the Desktop Entry Specification asks for: its own quoting within that of values."""
    inner = "".join(f"\\{letter}" if letter in '"`$\\' else letter for letter in word)
    return f'"{inner}"'.replace("\\", "\\\\").replace("%", "%%")
