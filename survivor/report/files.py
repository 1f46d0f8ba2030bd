"""Files to a folder, or a plain reason why they could not be written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from survivor.errors import ReportError, SurvivorError


def is_there(path: Path) -> bool:
    """Whether there is something at a path; no where it cannot be looked at, which writing then says."""
    try:
        return path.exists()
    except OSError:  # a name that no file can have
        return False


def write_files(
    folder: Path,
    files: Mapping[str, str | bytes],
    what: str = "the report",
    error: type[SurvivorError] = ReportError,
) -> tuple[Path, ...]:
    """Write files by name; text in UTF-8 with the line ends it has, so the same text gives the same bytes.

    Parameters
    ----------
    folder
        Made where it does not exist.
    files
        Content by name.
    what
        They are together, for the message.
    error
        Class to raise, that of the stage.

    Returns
    -------
    tuple of Path
        In the order of ``files``.

    Raises
    ------
    SurvivorError
        Of the class given, where the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            (folder / name).write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as fault:
        raise error(
            f"{what} could not be written: {fault.strerror or fault}",
            where=str(folder),
            mend="name a folder that you may write to, with room on its disk",
        ) from fault
    return tuple(folder / name for name in files)
