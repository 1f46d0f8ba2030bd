"""What of the folder may be reached: nothing outside it, whatever a path, a link or a file says."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from survivor.errors import DeskError

REPORTS: Final = "reports"
_OWN: Final = ".survivor-desk"
_DEEPEST: Final = 4  # folders within folders that are looked into
_MOST_FILES: Final = 20_000
_LONGEST_NAME: Final = 120
_RESERVED: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@dataclass(frozen=True)
class Folder:
    """The folder that a desk was opened on.

    Attributes
    ----------
    root
        Where it is, links resolved.
    """

    root: Path

    @classmethod
    def of(cls, path: Path) -> Folder:
        """Open a folder.

        Raises
        ------
        DeskError
            When there is none.
        """
        if not path.is_dir():
            raise DeskError("there is no such folder", where=str(path), mend="name a folder that is there")
        return cls(path.resolve())

    def inside(self, name: str) -> Path:
        """Return what a path within the folder names, links resolved; it need not be there.

        Raises
        ------
        DeskError
            When it leads out of the folder, or to what is hidden.
        """
        parts = re.split(r"[/\\]", name)
        bad = "\0" in name or ".." in parts or any(part.startswith(".") and part != "." for part in parts)
        if not bad:
            try:
                found = (self.root / name).resolve()
            except (OSError, ValueError, RuntimeError):  # a name that no file can have, links in a ring
                bad = True
            else:
                bad = not found.is_relative_to(self.root)
        if bad:
            raise DeskError(
                "this lies outside the folder that the desk was opened on",
                where=first_letters(name),
                mend="go back to the seasons",
            )
        return found

    def keep_inside(self, home: Path, names: Iterable[str]) -> None:
        """Refuse names of files, relative to a folder, that lead out of the desk's folder.

        Raises
        ------
        DeskError
            Naming the first of them.
        """
        for name in names:
            try:
                held = (home / name).resolve().is_relative_to(self.root)
            except (OSError, ValueError, RuntimeError):
                held = False
            if not held:
                raise DeskError(
                    "this file lies outside the folder that the desk was opened on, and the desk reads "
                    "nothing there",
                    where=first_letters(name),
                    mend="copy it beside the file that names it, or use the command",
                )

    def name_of(self, path: Path) -> str:
        """Path within the folder, as it stands in an address; "" for the folder itself."""
        name = path.resolve().relative_to(self.root).as_posix()
        return "" if name == "." else name

    def title_of(self, path: Path) -> str:
        """Path within the folder, as a person knows it."""
        return self.name_of(path) or self.root.name

    def reports_of(self, home: Path) -> Path:
        """Folder of the report of a study: where the command writes it when started in the desk's folder."""
        return self.root / REPORTS / (self.name_of(home) or self.root.name)

    def own(self, home: Path) -> Path:
        """Folder of what the desk keeps of a study for itself."""
        return self.root / _OWN / (self.name_of(home) or self.root.name)

    def files(self, ending: str) -> Iterator[Path]:
        """Give every file of an ending that a person may have put here; never those that were written."""
        seen = 0
        for where, folders, names in os.walk(self.root):
            depth = len(Path(where).relative_to(self.root).parts)
            folders[:] = sorted(
                folder
                for folder in folders
                if depth < _DEEPEST and not folder.startswith((".", "_")) and (depth, folder) != (0, REPORTS)
            )
            for name in sorted(names):
                seen += 1
                if name.endswith(ending) and not name.startswith("."):
                    yield Path(where) / name
            if seen > _MOST_FILES:
                return


def first_letters(name: str) -> str:
    """Shorten a name that may be of any length."""
    return name if len(name) <= _LONGEST_NAME else name[:_LONGEST_NAME] + "…"


def safe_name(sent: str, endings: tuple[str, ...] = ()) -> str:
    """Make the name of a file that was sent one that a file here may have.

    Parameters
    ----------
    sent
        As the browser names it.
    endings
        Those that are taken; none: any.

    Raises
    ------
    DeskError
        When nothing is left of it, or it is of no kind that is taken.
    """
    name = unicodedata.normalize("NFC", re.split(r"[/\\]", sent)[-1])
    name = "".join(letter for letter in name if letter.isprintable() and letter not in '<>:"|?*')
    name = name.strip().lstrip(".~$ ").rstrip(". ")
    stem, dot, ending = name.rpartition(".") if endings else (name, "", "")
    name = f"{stem[: _LONGEST_NAME - len(ending)]}{dot}{ending}"
    if not stem or _RESERVED.fullmatch(name):
        raise DeskError(
            "a file of this name cannot be kept here", where=first_letters(sent), mend="give it another name"
        )
    if endings and not name.lower().endswith(endings):
        raise DeskError(
            "this is no sheet that survivor reads",
            where=first_letters(name),
            mend=f"save it as one of {', '.join(endings)}",
        )
    return name
