"""Files that were dropped: looked through, and put into a folder whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Final

from starlette.datastructures import UploadFile
from starlette.requests import Request

from survivor.desk.folder import Folder, safe_name
from survivor.errors import DeskError
from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS
from survivor.files.writing import write_whole

_MOST_FILES: Final = 50
_STAGE: Final = ".dropped-"
EARLIER: Final = ".earlier"  # folder of what a new copy replaced


@contextlib.asynccontextmanager
async def dropped(request: Request) -> AsyncIterator[tuple[str, list[UploadFile]]]:
    """Give the name typed beside some files, and the files, which lie on disk where they are large.

    Raises
    ------
    DeskError
        When there is no file.
    """
    async with request.form(max_files=_MOST_FILES, max_fields=20) as form:
        files = [file for file in form.getlist("files") if isinstance(file, UploadFile) and file.filename]
        if not files:
            raise DeskError(
                "no file was chosen", mend="choose one or more of your sheets, or drop them on the form"
            )
        name = form.get("name", "")
        yield (name if isinstance(name, str) else ""), files


def keep_files(folder: Folder, name: str, files: Sequence[UploadFile]) -> Path:
    """Put files into a new folder of a season.

    Parameters
    ----------
    folder
        Of the desk.
    name
        Of the season, from which the folder gets its name.
    files
        As sent.

    Returns
    -------
    Path
        The new folder.

    Raises
    ------
    DeskError
        When there is a folder of that name, or a file is none that is read.
    """
    home = folder.inside(safe_name(name))
    if home.exists():
        raise DeskError(
            "there is a folder of this name already",
            where=home.name,
            mend="give the season another name, or add the files to it in its room of sheets",
        )
    checked = [(file, _name(file)) for file in files]
    home.mkdir()
    try:
        for file, kept in checked:
            put(home, kept, file)
    except BaseException:
        shutil.rmtree(home, ignore_errors=True)
        raise
    return home


def add_files(home: Path, files: Sequence[UploadFile]) -> list[str]:
    """Put files beside those of a season; of one that is there already the earlier copy is kept.

    Returns
    -------
    list of str
        Their names.
    """
    checked = [(file, _name(file)) for file in files]
    for file, kept in checked:
        put(home, kept, file)
    return [kept for _, kept in checked]


def _name(file: UploadFile) -> str:
    return safe_name(file.filename or "", (*TEXT_ENDINGS, *WORKBOOK_ENDINGS))


def put(home: Path, name: str, file: UploadFile) -> None:
    """Write one file beside its place, look through it, and rename it when whole.

    Raises
    ------
    DeskError
        When a link is in its place.
    RecordsError
        When it unpacks to more than a season's records can be.
    """
    from survivor.files.bounds import check_bounds

    place, earlier = home / name, home / EARLIER
    if place.is_symlink() or earlier.is_symlink():
        raise DeskError(
            "a link is there, and the desk follows none", where=name, mend="put the file itself there"
        )
    stage = home / f"{_STAGE}{os.getpid()}{place.suffix}"
    try:
        with stage.open("wb") as whole:
            file.file.seek(0)
            shutil.copyfileobj(file.file, whole, 2**20)
            whole.flush()
            os.fsync(whole.fileno())
        check_bounds(stage, name)
        if place.exists():
            earlier.mkdir(exist_ok=True)
            write_whole(earlier / name, place.read_bytes(), "the earlier copy")
            shutil.copystat(place, earlier / name)
        os.replace(stage, place)
    finally:
        with contextlib.suppress(OSError):  # it stands in its place already, where all went well
            stage.unlink()
