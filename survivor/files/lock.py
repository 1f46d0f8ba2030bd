"""One folder, one writer: a lock file that says which process holds it.

The system lets go of the lock when its process ends, however it ends; the file that is left behind then
is no lock, and whoever comes next takes it over and says so.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import logging
import os
import platform
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from survivor.errors import WritingError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

LOCK: Final = ".survivor-lock"
_SAYS: Final = logging.getLogger("survivor")
_TRIES, _PAUSE = 5, 0.05  # who only asks who writes has the lock for an instant
_OWN: Final[list[str]] = []  # folders that this process holds


@contextmanager
def held(folder: Path) -> Iterator[None]:
    """Hold a folder while something is written to it.

    Parameters
    ----------
    folder
        A folder that exists.

    Raises
    ------
    WritingError
        When another process holds it.
    OSError
        When no file can be made in the folder.
    """
    path, own = folder / LOCK, os.path.realpath(folder)
    while True:
        lock = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        earlier = os.read(lock, 1000).decode("utf-8", "replace").strip() if sys.platform != "win32" else ""
        if not _taken_in_time(lock):
            os.close(lock)
            raise WritingError(
                f"another run of survivor is writing to this folder{f' ({earlier})' if earlier else ''}",
                where=str(folder),
                mend="wait until it has ended, or name another folder",
            )
        if _is_at(lock, path):
            break
        os.close(lock)  # its holder has just ended, and has taken the file away
    try:
        if earlier:
            _SAYS.warning("%s: taken over from a run that did not end by itself (%s)", folder, earlier)
        now = dt.datetime.now().isoformat(" ", "seconds")
        os.ftruncate(lock, 0)
        os.lseek(lock, 0, os.SEEK_SET)
        os.write(lock, f"process {os.getpid()} of {platform.node()}, since {now}\n".encode())
        _OWN.append(own)
        yield
    finally:
        if own in _OWN:
            _OWN.remove(own)
        if _is_at(lock, path):
            with contextlib.suppress(
                OSError
            ):  # where an open file cannot be taken away, it is left, and empty
                os.ftruncate(lock, 0)
                path.unlink()
        os.close(lock)


def writer_of(folder: Path) -> str | None:
    """Return which other process writes to a folder now, in its own words; None where none does.

    Parameters
    ----------
    folder
        Nothing is made in it: who reads may have no right to.
    """
    if os.path.realpath(folder) in _OWN:
        return None
    try:
        lock = os.open(folder / LOCK, os.O_RDWR)
    except (OSError, ValueError):  # nobody's, or not ours to ask
        return None
    try:
        if _taken(lock):
            return None
        told = os.read(lock, 1000).decode("utf-8", "replace").strip() if sys.platform != "win32" else ""
        return told or "process not known"
    finally:
        os.close(lock)


def say_writer(folder: Path) -> None:
    """Warn whoever reads a folder that another process writes to it now."""
    if (writer := writer_of(folder)) is not None:
        said = "%s: another run of survivor is writing to this folder (%s); what is read may change"
        _SAYS.warning(said, folder, writer)


def _taken_in_time(lock: int) -> bool:
    """Whether the lock was got, now or within some tries."""
    for _ in range(_TRIES):
        if _taken(lock):
            return True
        time.sleep(_PAUSE)
    return False


def _taken(lock: int) -> bool:
    """Take the lock of the system on an open file; no where another process has it."""
    try:
        if sys.platform == "win32":
            msvcrt.locking(lock, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True  # a disk that knows no locks
    return True


def _is_at(lock: int, path: Path) -> bool:
    """Whether the open file is still the one of that name."""
    try:
        return os.path.samestat(os.fstat(lock), path.stat())
    except OSError:
        return False
