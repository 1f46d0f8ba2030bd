"""The demo cohorts: two invented studies to start from, with the truth behind them.

``tagged`` is a randomised comparison with tagged seedlings, ``counts`` an
observational programme with plot counts in an untidy workbook. Sites, people and
records are invented.
"""

from __future__ import annotations

from pathlib import Path

from survivor.demo.counts import counts_files
from survivor.demo.tagged import tagged_files

__all__ = ["write_demo"]


def write_demo(folder: str | Path) -> list[Path]:
    """Write both demo studies; the same version always writes the same bytes.

    Parameters
    ----------
    folder
        Where to write; ``tagged/`` and ``counts/`` are made in it. Files of the same
        names are replaced, others are left alone.

    Returns
    -------
    list of Path
        Every file written, study by study.
    """
    written = []
    for name, files in (("tagged", tagged_files()), ("counts", counts_files())):
        place = Path(folder) / name
        place.mkdir(parents=True, exist_ok=True)
        for file, content in sorted(files.items()):
            (place / file).write_bytes(content)
            written.append(place / file)
    return written
