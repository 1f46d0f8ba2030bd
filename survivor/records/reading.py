"""The records of a study, read at once or, where they are a register, in parts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from importlib.util import find_spec
from pathlib import Path

from survivor.files.kinds import TEXT_ENDINGS, is_many, is_register
from survivor.records import book
from survivor.records.registers import needs_the_whole, read_register
from survivor.records.result import Records
from survivor.records.sheets import RawSheet
from survivor.settings import Settings, Sheet

See = Callable[[tuple[str | int, ...], RawSheet], None]


def read_records(study_file: str | Path, settings: Settings, see: See = book.look_away) -> Records:
    """Read the records that a study file names.

    Parameters
    ----------
    study_file
        The study file, or its folder; the sheets are named relative to it.
    settings
        What the study file says.
    see
        Called with the place of each table in the study file and its sheet as it was read; of a
        register none is shown.

    Returns
    -------
    Records
        Whatever is wrong with single records is in its problems; nothing is left
        out in silence. Where no record at all can be used it holds no interval and says
        why (`Records.nothing`).

    Raises
    ------
    RecordsError
        When a file cannot be read or a needed column is not understood.
    """
    given = Path(study_file)
    folder = given if given.is_dir() else given.parent
    if in_parts(folder, settings.records.sheets):
        return read_register(given, settings)
    return book.read_sheets(given, settings, see)


def in_parts(folder: Path, sheets: Sequence[Sheet]) -> bool:
    """Whether the sheets of a folder are a register; a large text file is one where it can be."""
    if any(is_many(Path(sheet.file)) for sheet in sheets):
        return True
    plain = all(
        Path(sheet.file).suffix.lower() in TEXT_ENDINGS and not needs_the_whole(sheet) for sheet in sheets
    )
    large = any(is_register(folder / sheet.file) for sheet in sheets)
    return large and plain and find_spec("pyarrow") is not None
