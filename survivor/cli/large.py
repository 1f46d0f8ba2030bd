"""Seasons that are large for the machine: said before the work begins, with what it takes.

What the work takes is reckoned from measured seasons: one of 93 MB of text (two million rows) was checked in
2.2 GB, and reported in about twice that; a plot more takes a report about a fiftieth of a second.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from survivor.files.kinds import is_register

_OF_TEXT: Final = 25  # bytes of memory for each byte of a text file
_OF_PACKED: Final = 250  # and of a workbook, which is packed
_REPORT: Final = 2  # times the memory of a check
_TOO_MUCH: Final = 0.7  # of the free memory
_LEAST: Final = 500_000_000  # bytes that any machine has
_SECONDS_A_PLOT: Final = 0.02
_LONG_MINUTES: Final = 1.0
_PACKED: Final = (".xlsx", ".xlsm", ".xls", ".ods")


def too_large(files: Sequence[Path], *, report: bool, free: float | None) -> Iterator[str]:
    """Say whether sheets need more memory than is free.

    Parameters
    ----------
    files
        Every file that the study names.
    report
        Whether a report is made, which takes more than a check.
    free
        Bytes of memory that are free; None: not known.
    """
    needed = _REPORT**report * sum(
        path.stat().st_size * (_OF_PACKED if path.suffix.lower() in _PACKED else _OF_TEXT)
        for path in files
        if path.is_file() and not is_register(path)
    )
    if free is not None and needed > max(_TOO_MUCH * free, _LEAST):
        yield (
            f"This season is large: it may take {_gigabytes(needed)} of memory, and {_gigabytes(free)} are "
            "free. Close other programs, or use a larger machine, if it ends without an answer."
        )


def long_report(plots: int) -> Iterator[str]:
    """Say about how long a report of so many plots takes, where that is minutes."""
    minutes = plots * _SECONDS_A_PLOT / 60
    if minutes > _LONG_MINUTES:
        yield f"A report of {plots:,} plots takes about {minutes:.0f} minutes, or more on a slow machine."


def free_memory() -> float | None:
    """Bytes of memory that programs may still take; None where the machine does not tell."""
    try:
        lines = Path("/proc/meminfo").read_text(encoding="ascii").splitlines()
        told = {name: rest.split()[0] for name, _, rest in (line.partition(":") for line in lines)}
        return 1024.0 * int(told["MemAvailable"])
    except (OSError, KeyError, ValueError, IndexError):
        return None


def _gigabytes(size: float) -> str:
    return f"{size / 1e9:.1f} GB"
