"""The last report against the one before: which answers changed, by how much, and what they were made of."""

from __future__ import annotations

import contextlib
import json
import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from survivor.desk.made import OF_FILE
from survivor.desk.named import digest_of
from survivor.files.writing import write_whole
from survivor.words import capital, counted, money, number

_INPUTS: Final = "inputs"  # files that a report was made of, by their digest
_LARGEST: Final = 64 * 2**20  # bytes of such a file that is kept
_MOST_SETTINGS: Final = 12  # of those that changed, shown
_SETTINGS: Final = ".toml"


@dataclass(frozen=True)
class Change:
    """An answer that is another one than in the report before, and by how much; "" where it has no number."""

    question: str
    before: str
    now: str
    by: str


@dataclass(frozen=True)
class Cause:
    """What the reports were made of and is not the same: records, settings or the version; with details."""

    what: str
    details: tuple[str, ...]


@dataclass(frozen=True)
class Changes:
    """What changed between two reports of a study.

    Attributes
    ----------
    answers
        That are others; empty where all are the same.
    causes
        What they were made of that is not the same.
    """

    answers: tuple[Change, ...]
    causes: tuple[Cause, ...]


def changes_between(before: Path, now: Path, kept: Path) -> Changes | None:
    """Compare the findings of two reports.

    Parameters
    ----------
    before, now
        Both files of findings.
    kept
        Folder with what reports were made of, as `keep_inputs` leaves it.

    Returns
    -------
    Changes or None
        None where either is not there or cannot be read.
    """
    try:
        old, new = (json.loads(file.read_text(encoding="utf-8")) for file in (before, now))
        earlier = {finding["question"]: finding for finding in old["findings"]}
        later = {finding["question"]: finding for finding in new["findings"]}
        answers = tuple(
            _change(str(question), earlier.get(question, {}), later.get(question, {}))
            for question in dict.fromkeys([*later, *earlier])
            if _answer(earlier.get(question, {})) != _answer(later.get(question, {}))
        )
        causes = tuple(_causes(old["provenance"], new["provenance"], kept / _INPUTS))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return Changes(answers, causes)


def _answer(finding: Mapping[str, Any]) -> str:
    return str(finding.get("answer", ""))


def _change(question: str, before: Mapping[str, Any], now: Mapping[str, Any]) -> Change:
    return Change(question, _answer(before), _answer(now), _by(before, now))


def _by(before: Mapping[str, Any], now: Mapping[str, Any]) -> str:
    """Write by how much an estimate moved, with both and their intervals."""
    unit = str(now.get("unit", ""))
    if before.get("unit") != unit:
        return ""
    old, new = _estimate(before), _estimate(now)
    if not (math.isfinite(old) and math.isfinite(new)):
        return ""
    digits = 1 if "per 100" in unit else 2
    moved = round(new, digits) - round(old, digits)
    which = "more" if moved > 0 else "less"
    by = "the same estimate" if not moved else f"{_amount(abs(moved), unit)} {which}"
    return f"{capital(by)}: {_with_limits(before, unit)} before, {_with_limits(now, unit)} now"


def _estimate(finding: Mapping[str, Any], name: str = "estimate") -> float:
    value = finding.get(name)
    return float(value) if isinstance(value, int | float) else math.nan


def _amount(value: float, unit: str) -> str:
    if "per 100" in unit:
        return number(value, 1)
    return money(value, unit.partition(" per ")[0]) if " per " in unit else f"{number(value, 2)} {unit}"


def _with_limits(finding: Mapping[str, Any], unit: str) -> str:
    low, high = _estimate(finding, "lower"), _estimate(finding, "upper")
    known = math.isfinite(low) and math.isfinite(high)
    limits = f" ({_amount(low, unit)} to {_amount(high, unit)})" if known else ""
    return f"{_amount(_estimate(finding), unit)}{limits}"


def _causes(before: Mapping[str, str], now: Mapping[str, str], kept: Path) -> Iterator[Cause]:
    """Give what two reports were made of and is not the same."""
    differ = [name for name in dict.fromkeys([*now, *before]) if before.get(name) != now.get(name)]
    files = [name.removeprefix(OF_FILE) for name in differ if name.startswith(OF_FILE)]

    def copies(name: str) -> tuple[Path, Path]:
        own = OF_FILE + name
        return kept / before.get(own, "none"), kept / now.get(own, "none")

    if records := [name for name in files if not name.endswith(_SETTINGS)]:
        yield Cause("the records", tuple(_of_records(name, *copies(name)) for name in records))
    settings = [part for name in files if name.endswith(_SETTINGS) for part in _of_settings(*copies(name))]
    if "settings" in differ or settings:
        yield Cause("the settings", tuple(settings))
    if "seed" in differ and not settings:
        yield Cause(
            "the seed of the random numbers", (f"{before.get('seed')} before, {now.get('seed')} now",)
        )
    if "survivor" in differ:
        yield Cause(
            "the version of survivor", (f"{before.get('survivor')} before, {now.get('survivor')} now",)
        )


def _of_records(name: str, before: Path, now: Path) -> str:
    from survivor.files.comparing import differences

    ending = Path(name).suffix
    found = differences(before.with_suffix(ending), now.with_suffix(ending))
    if found is None:
        return name
    rows = f"{counted(found.added, 'row')} added, {number(found.gone)} gone"
    return f"{name}: {rows}, {counted(len(found.cells), 'cell')} changed"


def _of_settings(before: Path, now: Path) -> list[str]:
    """Name the settings that are not the same, with both values."""
    try:
        old, new = (
            dict(_flat(tomllib.loads(file.with_suffix(_SETTINGS).read_text(encoding="utf-8-sig"))))
            for file in (before, now)
        )
    except (OSError, ValueError):
        return []
    differ = [key for key in dict.fromkeys([*new, *old]) if old.get(key) != new.get(key)]
    said = [f"{key}: {old.get(key, 'not set')} before, {new.get(key, 'not set')} now" for key in differ]
    more = len(said) - _MOST_SETTINGS
    return [*said[:_MOST_SETTINGS], *([f"and {counted(more, 'other setting')}"] if more > 0 else [])]


def _flat(table: Any, name: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(table, dict):
        for key, value in table.items():
            yield from _flat(value, f"{name}, {key}" if name else str(key))
    elif isinstance(table, list) and any(isinstance(value, dict) for value in table):
        for place, value in enumerate(table, start=1):
            yield from _flat(value, f"{name} {place}")
    else:
        yield name.replace("_", " "), str(table)


def keep_inputs(files: Iterable[Path], kept: Path, reports: Iterable[Path]) -> None:
    """Keep what a report is about to be made of, so that the next one can be held against it.

    Parameters
    ----------
    files
        What it is made of.
    kept
        Where the desk keeps such files.
    reports
        Files of findings of the reports that can still be asked about: what others were made of goes.
    """
    folder = kept / _INPUTS
    used = {digest for report in reports for digest in _digests(report)}
    for file in files:
        if file.is_file() and file.stat().st_size <= _LARGEST:
            digest = digest_of(file)
            used.add(digest)
            place = folder / f"{digest}{file.suffix}"
            if not place.exists():
                write_whole(place, file.read_bytes(), "what the report is made of")
    for old in folder.glob("*"):
        if old.stem not in used:
            with contextlib.suppress(OSError):  # it goes another time
                old.unlink()


def _digests(report: Path) -> Iterator[str]:
    try:
        provenance = json.loads(report.read_text(encoding="utf-8"))["provenance"]
        yield from (str(value) for name, value in provenance.items() if name.startswith(OF_FILE))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return
