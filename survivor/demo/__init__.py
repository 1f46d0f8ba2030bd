"""The demo cohorts: invented studies to start from, with the truth behind them.

``tagged`` is a randomised comparison with tagged seedlings, ``counts`` an
observational programme with plot counts in an untidy workbook, ``works`` a season
planned to tell which part of a preparation pays, with its works diary, ``seasons`` three
seasons of one programme and a guideline file. Sites, people and records are invented.
"""

from __future__ import annotations

from pathlib import Path

from survivor.demo.counts import counts_files
from survivor.demo.seasons import seasons_files
from survivor.demo.tagged import tagged_files
from survivor.demo.works import works_files
from survivor.errors import DemoError
from survivor.files.writing import write_whole
from survivor.words import typed

__all__ = ["write_demo"]


def write_demo(folder: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Write the demo studies; the same version always writes the same bytes.

    Parameters
    ----------
    folder
        Where to write; ``tagged/``, ``counts/``, ``works/`` and ``seasons/`` are made in it. Files of other
        names are left alone.
    overwrite
        Whether a file of the same name that holds something else is replaced.

    Returns
    -------
    list of Path
        Every file written, study by study.

    Raises
    ------
    DemoError
        When a file of the same name holds something else; nothing is written then.
    """
    files = {
        Path(folder) / name / file: content
        for name, made in _cohorts().items()
        for file, content in sorted(made.items())
    }
    changed = [path for path, content in files.items() if path.exists() and not _holds(path, content)]
    if changed and not overwrite:
        named = ", ".join(str(path) for path in changed)
        it, holds = ("this file", "holds") if len(changed) == 1 else ("these files", "hold")
        raise DemoError(
            f"{it} {holds} something else than the demo and would be lost: {named}",
            mend="name another folder, or replace with: "
            f"{typed('survivor', 'demo', '--overwrite', folder)}; nothing was written",
        )
    for path, content in files.items():
        write_whole(path, content, "the demo cohorts")
    return list(files)


def _cohorts() -> dict[str, dict[str, bytes]]:
    return {
        "tagged": tagged_files(),
        "counts": counts_files(),
        "works": works_files(),
        "seasons": seasons_files(),
    }


def _holds(path: Path, content: bytes) -> bool:
    return path.is_file() and path.read_bytes() == content
