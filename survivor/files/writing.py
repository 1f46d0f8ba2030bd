"""One way to write: beside its place, synced, and renamed when whole; nothing that is not ours is replaced.

A folder that a command writes to has a manifest of what each command wrote there, with digests. What the
manifest does not know, or what was changed since, is never replaced: it is named, and nothing is written.
A folder that holds nothing else is exchanged as one, so that at every moment it is the earlier one or the
new one; beside files of other people each file is renamed by itself.
"""

from __future__ import annotations

import contextlib
import ctypes
import hashlib
import json
import logging
import os
import re
import shutil
import sys
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, Final

from survivor.errors import WritingError
from survivor.files.lock import LOCK, held
from survivor.words import first_few

if TYPE_CHECKING:
    import pandas as pd

MANIFEST: Final = ".survivor.json"
_STAGE: Final = (
    ".survivor-new"  # what is not whole yet; whatever stands there was left by a run that was killed
)
_OWN: Final = frozenset({MANIFEST, LOCK, _STAGE})
_NOTE: Final = "What survivor wrote here, with digests. It replaces nothing else, and nothing changed since."
_FORMULA: Final = re.compile(r"[\t\r]|\s*[=+@-]")  # as a spreadsheet takes it
_SAYS: Final = logging.getLogger("survivor")
_MEND: Final = "name a place that you may write to, with room on its disk; close the file if it is open"


def is_there(path: Path) -> bool:
    """Whether there is something at a path; no where it cannot be looked at, which writing then says."""
    try:
        return os.path.lexists(path)
    except (OSError, ValueError):  # a name that no file can have
        return False


def digest(content: bytes) -> str:
    """Digest of the content of a file, SHA-256."""
    return hashlib.sha256(content).hexdigest()


def csv_text(table: pd.DataFrame) -> str:
    """Write a table as CSV with ISO dates.

    Text that a spreadsheet would take for a formula is written with an apostrophe
    before it: a site named ``=1+1`` stays a name.
    """
    import pandas as pd

    def as_it_is(column: pd.Series[Any]) -> bool:
        return pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column)

    safe = pd.DataFrame(
        {
            name: column if as_it_is(column) else column.astype(object).map(_not_a_formula)
            for name, column in table.items()
        }
    )
    safe.columns = [_not_a_formula(column) for column in safe.columns]
    return str(safe.to_csv(index=False, lineterminator="\n", date_format="%Y-%m-%d"))


def _not_a_formula(value: Any) -> Any:
    if isinstance(value, str) and _FORMULA.match(value) and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def refuse_inputs(places: Collection[Path], inputs: Collection[Path]) -> None:
    """Refuse to write where something that was read stands.

    Raises
    ------
    WritingError
        Naming it.
    """
    read = {os.path.realpath(path) for path in inputs}
    for place in places:
        if os.path.realpath(place) in read:
            raise WritingError(
                "the study uses this file, so it is not written over",
                where=str(place),
                mend="name another file; nothing was written",
            )


def write_whole(path: Path, content: bytes, what: str) -> None:
    """Write one file so that at every moment it is the earlier one or the new one.

    Parameters
    ----------
    path
        The file, which its writer may replace; a link stays, and what it leads to is replaced.
    content
        What it is to hold.
    what
        It is, for the message.

    Raises
    ------
    WritingError
        When it cannot be written; the earlier one is as it was.
    """
    with _plainly(what, path):
        real = Path(os.path.realpath(path))
        stage = real.with_name(_STAGE)
        try:
            _put(stage, content)  # and its folder
            if real.exists():
                shutil.copymode(real, stage)
            os.replace(stage, real)
        finally:
            _remove(stage)
        _synced(real.parent)


@contextmanager
def writing(
    folder: Path | Place,
    what: str,
    *,
    of: Path | None = None,
    names: Collection[str] = (),
    as_one: bool = True,
) -> Iterator[Place]:
    """Hold a folder to write to: it is made, tried and looked through before any work is done.

    Parameters
    ----------
    folder
        Made where it does not exist, and taken away again where nothing is written; or one that is held.
    what
        Is written, such as ``the report``; each has its own record in the manifest.
    of
        The file that it is made from: a folder that holds the same of another file is refused.
    names
        Of files that will be written.
    as_one
        Whether what this command wrote here before is replaced as one; else file by file.

    Raises
    ------
    WritingError
        When the folder cannot be made or written to, another process writes there, or what would be
        replaced is not as survivor wrote it.
    """
    if isinstance(folder, Place):
        yield folder
        return
    made = _missing(Path(os.path.abspath(folder)))
    try:
        with contextlib.ExitStack() as held_until:
            with _plainly(what, folder):
                real = Path(os.path.realpath(folder))
                real.mkdir(parents=True, exist_ok=True)
                held_until.enter_context(held(real))
                _remove(real / _STAGE)
                _remove(_beside(real))
            place = Place(folder, real, what, of, as_one)
            place.refuse([*names, *place.earlier])
            yield place
    finally:
        for each in made:
            with contextlib.suppress(OSError, ValueError):
                each.rmdir()  # only an empty one goes


class Place:
    """A folder held for writing, with what its manifest says of it; made by `writing`.

    Attributes
    ----------
    folder
        As it was named.
    earlier
        Files of an earlier run that this one replaces.
    """

    def __init__(self, folder: Path, real: Path, what: str, of: Path | None, as_one: bool) -> None:
        self.folder, self._real, self._what, self._as_one = folder, real, what, as_one
        self._of = "" if of is None else digest(os.fsencode(os.path.realpath(of)))
        self._manifest = _manifest_in(real)
        record = self._manifest.get(what, {})
        self._known: dict[str, list[str]] = {
            name: digests for name, digests in record.get("files", {}).items() if is_there(real / name)
        }
        self.earlier = tuple(self._known) if as_one else ()
        if self._known and as_one and record["of"] != self._of:
            raise WritingError(
                f"this folder holds {what} of another file, or of one that was moved since",
                where=str(folder),
                mend="name another folder with --out, or move this one away; nothing was written",
            )
        if not record.get("whole", True):
            _SAYS.warning("%s: files of two runs, since one was stopped while it put them here", folder)

    def refuse(self, names: Collection[str]) -> None:
        """Refuse to replace what is not as survivor wrote it.

        Raises
        ------
        WritingError
            Naming the files.
        """
        there = [name for name in dict.fromkeys(names) if is_there(self._real / name)]
        foreign = [name for name in there if not self.is_ours(name)]
        if not foreign:
            return
        it, was = ("it", "was") if len(foreign) == 1 else ("them", "were")
        why = f"there already, and this command did not write {it}"
        if all(name in self._known for name in foreign):
            why = f"{was} changed since survivor wrote {it}, and would be lost"
        raise WritingError(
            f"{first_few(foreign, 5)}: {why}",
            where=str(self.folder),
            mend=f"move {it} away, or name another place; nothing was written",
        )

    def is_ours(self, name: str) -> bool:
        """Whether a file is as this command last wrote it, to the byte."""
        return _is_one_of(self._real / name, self._known.get(name, ()))

    def write(self, files: Mapping[str, str | bytes]) -> tuple[Path, ...]:
        """Write files by name; what an earlier run wrote here and this one does not is taken away.

        Parameters
        ----------
        files
            Content by name, or by path within the folder; text in UTF-8 with the line ends it has.

        Returns
        -------
        tuple of Path
            In the order of ``files``.

        Raises
        ------
        WritingError
            When they cannot be written, or one is not as survivor wrote it: all is as it was then.
        """
        content = {name: text.encode() if isinstance(text, str) else text for name, text in files.items()}
        with _plainly(self._what, self.folder):
            self.refuse([*content, *self.earlier])
            new = {name: [digest(whole)] for name, whole in content.items()}
            others = _others_in(self._real, {*self._known, *content})
            kept = {} if self._as_one else {name: at for name, at in self._known.items() if name not in new}
            alone = not kept and not others and not _within(Path.cwd(), self._real)
            stage = _staged(self._real, beside=alone)
            try:
                for name, whole in content.items():
                    with _plainly(self._what, self.folder / name):
                        _put(stage / name, whole)
                _put(stage / MANIFEST, self._text({**kept, **new}, whole=True))
                if stage.parent == self._real or not _exchanged(stage, self._real):
                    self._one_by_one(stage, new)
            finally:
                _remove(stage)
            _synced(self._real)
        self._known = {**kept, **new}
        for record in self._manifest.values():
            others -= {part for name in record["files"] for part in (name, PurePath(name).parts[0])}
        if others and self._as_one:
            told = first_few(sorted(others), 5)
            _SAYS.warning("%s: left as it is, since survivor did not write it: %s", self.folder, told)
        return tuple(self.folder / name for name in files)

    def _one_by_one(self, stage: Path, new: Mapping[str, list[str]]) -> None:
        """Put the files in their places; a manifest says until the end that they are of two runs."""
        both = {name: [*self._known.get(name, ()), *new.get(name, ())] for name in (*self._known, *new)}
        _put(stage / _STAGE, self._text(both, whole=False))
        os.replace(stage / _STAGE, self._real / MANIFEST)
        for name in reversed(
            list(new)
        ):  # the first is what the others belong to: once it is there, so are they
            (self._real / name).parent.mkdir(parents=True, exist_ok=True)
            os.replace(stage / name, self._real / name)
        for name in self.earlier:
            if name not in new:
                (self._real / name).unlink()
                with contextlib.suppress(OSError):
                    (self._real / name).parent.rmdir()  # only an empty one goes
        os.replace(stage / MANIFEST, self._real / MANIFEST)

    def _text(self, files: Mapping[str, Iterable[str]], *, whole: bool) -> bytes:
        record = {"of": self._of, "whole": whole, "files": {name: list(files[name]) for name in files}}
        written = {**self._manifest, self._what: record}
        return (json.dumps({"note": _NOTE, "written": written}, indent=1, ensure_ascii=False) + "\n").encode()


def changed_since(folder: Path, what: str) -> list[str]:
    """Name the files that survivor wrote to a folder and that are not there any more as it wrote them."""
    known = _manifest_in(folder).get(what, {}).get("files", {})
    return [name for name, digests in known.items() if not _is_one_of(folder / name, digests)]


def _is_one_of(path: Path, digests: Collection[str]) -> bool:
    return path.is_file() and not path.is_symlink() and digest(path.read_bytes()) in digests


def written_in(folder: Path) -> frozenset[str]:
    """Return the names of the files in a folder that survivor wrote there, by its manifest."""
    return frozenset(name for record in _manifest_in(folder).values() for name in record["files"])


def _manifest_in(folder: Path) -> dict[str, Any]:
    """Read what survivor wrote in a folder; nothing where there is no manifest, or none that can be read."""
    try:
        written = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))["written"]
        return {
            str(what): {
                "of": str(record["of"]),
                "whole": record["whole"] is True,
                "files": {name: list(map(str, digests)) for name, digests in record["files"].items()},
            }
            for what, record in written.items()
        }
    except (OSError, ValueError, LookupError, TypeError, AttributeError):
        return {}


def _missing(folder: Path) -> list[Path]:
    """Folders that have to be made for this one, the innermost first."""
    missing = []
    for each in (folder, *folder.parents):
        if is_there(each):
            break
        missing.append(each)
    return missing


def _beside(folder: Path) -> Path:
    return folder.with_name(f".{folder.name}{_STAGE}")


def _staged(folder: Path, *, beside: bool) -> Path:
    """Make the folder in which files wait until all are whole: beside, where that can be, or within."""
    if beside:
        with contextlib.suppress(OSError):  # the folder round it may not be written to
            _beside(folder).mkdir()
            shutil.copymode(folder, _beside(folder))
            return _beside(folder)
    stage = folder / _STAGE
    stage.mkdir()
    return stage


def _others_in(folder: Path, known: Collection[str]) -> set[str]:
    """Name what else is in a folder, by its path within it; a folder of others is one thing."""
    ours = {*known, *_OWN}
    folders = {parent.as_posix() for name in known for parent in PurePath(name).parents}
    found = set()
    for inside in folders or {"."}:
        if (folder / inside).is_dir():
            names = {(PurePath(inside) / each.name).as_posix() for each in (folder / inside).iterdir()}
            found |= names - ours - folders
    return found


def _within(path: Path, folder: Path) -> bool:
    return path == folder or folder in path.parents


def _put(path: Path, content: bytes) -> None:
    """Write a new file, and see that it is on the disk."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("wb") as opened:
        opened.write(content)
        opened.flush()
        os.fsync(opened.fileno())


def _exchanged(stage: Path, folder: Path) -> bool:
    """Let two folders of one disk change names at one moment; no where the system cannot."""
    system: Any = ctypes.CDLL(None, use_errno=True) if sys.platform in ("linux", "darwin") else None
    names = os.fsencode(stage), os.fsencode(folder)
    try:
        if sys.platform == "darwin":
            return bool(system.renamex_np(*names, 2) == 0)  # RENAME_SWAP
        here = -100  # AT_FDCWD
        return system is not None and bool(
            system.renameat2(here, names[0], here, names[1], 2) == 0
        )  # EXCHANGE
    except AttributeError:
        return False


def _synced(folder: Path) -> None:
    """See that the names in a folder are on the disk, where a folder can be opened."""
    with contextlib.suppress(OSError):
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)


def _remove(path: Path) -> None:
    """Take away a file or folder of our own, if it is there."""
    with contextlib.suppress(FileNotFoundError):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


@contextmanager
def _plainly(what: str, path: Path) -> Iterator[None]:
    """Say in words that something cannot be written, and where."""
    try:
        yield
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        if isinstance(fault, FileExistsError | NotADirectoryError):
            reason = "a file stands where its folder should be"
        raise WritingError(
            f"{what} could not be written: {reason}", where=os.path.abspath(path), mend=_MEND
        ) from fault
