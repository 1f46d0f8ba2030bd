"""The same plants in two studies of a programme: the second would be taken for agreement, and is left out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path, PurePosixPath

from survivor.errors import SurvivorError
from survivor.programme import english as en
from survivor.programme.record import StudyRecord
from survivor.progress import listening
from survivor.seasons.counted_twice import are_copies
from survivor.study import load


def without_copies(top: Path, records: Sequence[StudyRecord]) -> list[StudyRecord]:
    """Leave out studies that hold plants of a study before them.

    Only studies that share a mark are read again and looked at.

    Parameters
    ----------
    top
        Folder of the programme.
    records
        One a study.

    Returns
    -------
    list
        In the order of their folders; a study left out says which one it copies.
    """
    ordered = sorted(records, key=lambda record: record.folder)
    holders: dict[str, list[int]] = defaultdict(list)
    kept: list[StudyRecord] = []
    for place, record in enumerate(ordered):
        if record.state == "not used":
            kept.append(record)
            continue
        shared = sorted({other for mark in record.marks for other in holders[mark]})
        found = next((ordered[other] for other in shared if _same(top, ordered[other], record)), None)
        if found is None:
            for mark in record.marks:
                holders[mark].append(place)
            kept.append(record)
            continue
        named = en.ANOTHER if record.hidden or found.hidden else PurePosixPath(found.folder).name
        copied = record.without(en.COPY.format(other=named), en.COPY.format(other=found.folder))
        kept.append(replace(copied, years=()))  # its plants are counted with the other
    return kept


def _same(top: Path, one: StudyRecord, other: StudyRecord) -> bool:
    try:
        with listening(lambda _: None):  # it says how far one sheet is, and not the programme
            first, second = (load(top / record.folder).first_plants for record in (one, other))
    except SurvivorError:  # changed since: the next run reads it anew
        return False
    return are_copies(first, second)
