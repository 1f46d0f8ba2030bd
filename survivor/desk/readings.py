"""Studies as last read: read again when their files on disk have changed, and kept until then."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from starlette.concurrency import run_in_threadpool

from survivor.desk.folder import Folder
from survivor.desk.named import STUDY_FILE, Stamp, files_named, stamp_of, tables_of
from survivor.errors import SurvivorError

if TYPE_CHECKING:
    from survivor.records.shown import Shown
    from survivor.study import Study

ROWS: Final = 6  # shown of each sheet
_MOST_RECORDS: Final = 150_000  # of all studies that are kept, besides the last one


@dataclass(frozen=True)
class Reading:
    """A study as read, or the reason why it could not be.

    Attributes
    ----------
    study
        None where there is a fault.
    fault
        None where there is a study.
    stamp
        State on disk of the files it was read from.
    words
        How much of it is read, and what waits for an answer; "" where there is no study file.
    shown
        Its sheets with their first rows.
    """

    study: Study | None
    fault: SurvivorError | None
    stamp: Stamp
    words: str
    shown: tuple[Shown, ...]


class Readings:
    """The studies of a folder, each read once for each state of its files."""

    def __init__(self, folder: Folder) -> None:
        self._folder = folder
        self._kept: OrderedDict[Path, Reading] = OrderedDict()
        self._one = asyncio.Lock()

    def kept(self, home: Path) -> Reading | None:
        """Return a study as it was read last; None where it was not."""
        return self._kept.get(home)

    async def of(self, home: Path) -> Reading:
        """Read a study, or return it as it was read from the same files."""
        async with self._one:
            stamp = stamp_of(home)
            kept = self._kept.get(home)
            if kept is None or kept.stamp != stamp:
                kept = await run_in_threadpool(self._read, home, stamp)
                self._kept[home] = kept
            self._kept.move_to_end(home)
            while len(self._kept) > 1 and sum(map(_size, self._kept.values())) > _MOST_RECORDS:
                self._kept.popitem(last=False)
            return kept

    def _read(self, home: Path, stamp: Stamp) -> Reading:
        from survivor.desk.summaries import keep_summary
        from survivor.proposing.reading import what_is_read
        from survivor.study import load_shown

        study: Study | None = None
        fault: SurvivorError | None = None
        try:
            self._folder.keep_inside(home, files_named(tables_of(home / STUDY_FILE)))
            study, shown = load_shown(home, ROWS)
        except SurvivorError as error:
            fault, shown = error, self._shown(home)
        words = what_is_read(home, study or fault) if (home / STUDY_FILE).is_file() else ""
        keep_summary(self._folder, home, stamp, words)
        return Reading(study, fault, stamp, words, shown)

    def _shown(self, home: Path) -> tuple[Shown, ...]:
        """Show the sheets of a study that cannot be read, as far as its study file can be."""
        from survivor.records.shown import shown_sheets
        from survivor.settings import read_settings

        try:
            self._folder.keep_inside(home, files_named(tables_of(home / STUDY_FILE)))
            return tuple(shown_sheets(home, read_settings(home), ROWS))
        except SurvivorError:
            return ()  # the fault is shown as that of the reading


def _size(reading: Reading) -> int:
    return 0 if reading.study is None else len(reading.study.accounts)
