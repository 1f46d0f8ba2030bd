"""Whether a report is still that of its files: as written, from the same bytes, with the same findings."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from survivor.errors import WritingError
from survivor.files.lock import writer_of
from survivor.files.writing import changed_since
from survivor.report.forms import FINDINGS, WHAT


def told_in(folder: Path) -> dict[str, str]:
    """Return the provenance that a report gives.

    Raises
    ------
    WritingError
        When there is no report in the folder, its findings cannot be read, or another process writes there.
    """
    if (writer := writer_of(folder)) is not None:
        raise WritingError(
            f"another run of survivor is writing to this folder ({writer})",
            where=str(folder),
            mend="wait until it has ended",
        )
    try:
        return dict(json.loads((folder / FINDINGS).read_text(encoding="utf-8"))["provenance"])
    except (OSError, ValueError, LookupError, TypeError) as fault:
        raise WritingError(
            f"no {FINDINGS} that can be read is here", where=str(folder), mend="name the folder of a report"
        ) from fault


def not_as_written(folder: Path) -> list[str]:
    """Name the files of a report that were changed or taken away since it was written."""
    changed = changed_since(folder, WHAT)
    return [f"{name}: changed or taken away since the report was written" for name in changed]


def provenance_differs(told: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    """Say in which version, seed, settings or digest of a file a report differs from what is there now."""
    return [
        f"{name}: {told.get(name, 'not there')} in the report, {now.get(name, 'not there')} now"
        for name in dict.fromkeys([*told, *now])
        if told.get(name) != now.get(name)
    ]


def findings_differ(folder: str | Path, made: str) -> list[str]:
    """Say in which findings a report differs from findings made now, at printed precision.

    Parameters
    ----------
    folder
        Folder of the report.
    made
        Text of ``findings.json`` as made now.
    """
    old = json.loads((Path(folder) / FINDINGS).read_text(encoding="utf-8"))
    new = json.loads(made)
    return [
        f"{place}: {before!r} in the report, {after!r} now"
        for place, before, after in _differences(_printed(old), _printed(new), "findings")
    ]


def _printed(value: Any) -> Any:
    """Round numbers as a report prints them: to three figures that count, and a tenth at least."""
    if isinstance(value, bool) or not isinstance(value, int | float | dict | list):
        return value
    if isinstance(value, dict):
        return {key: _printed(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_printed(part) for part in value]
    return round(float(f"{value:.3g}"), 1) if abs(value) < 1000 else float(f"{value:.3g}")


def _differences(old: Any, new: Any, place: str) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*old, *new]):
            yield from _differences(old.get(key), new.get(key), f"{place}.{key}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for number, (before, after) in enumerate(zip(old, new, strict=True)):
            yield from _differences(before, after, f"{place}[{number}]")
    elif old != new:
        yield place, old, new
