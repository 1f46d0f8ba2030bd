"""What a file is, by its ending or by its tables; told without loading what reads it."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Final, Literal

FileKind = Literal["study", "plan", "guideline"]

TEXT_ENDINGS: Final = (".csv", ".tsv", ".txt")
WORKBOOK_ENDINGS: Final = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")

PARQUET_ENDINGS: Final = (".parquet", ".pq")
LARGE: Final = 256 * 2**20  # bytes of a text file from which it is not held in memory

MOST_BYTES: Final = 1_000_000  # of a file of tables

#: Tables that no other kind of file has.
TABLES: Final[dict[FileKind, frozenset[str]]] = {
    "study": frozenset({"study", "records"}),
    "plan": frozenset({"plan", "question"}),
    "guideline": frozenset({"guideline", "ground"}),
}


def kind_of(tables: Collection[str]) -> FileKind | None:
    """Tell which kind of file has these tables; None where no kind has any of them."""
    return next((kind for kind, own in TABLES.items() if own & set(tables)), None)


def is_register(path: Path) -> bool:
    """Whether a name means files that are read in batches: many files, Parquet, or one large text file."""
    return is_many(path) or is_large(path)


def is_many(path: Path) -> bool:
    """Whether a name is of many files, or of Parquet."""
    return "*" in path.name or path.suffix.lower() in PARQUET_ENDINGS


def is_large(path: Path) -> bool:
    """Whether a name is of a text file that is not held in memory."""
    if path.suffix.lower() not in TEXT_ENDINGS:
        return False
    try:
        return path.is_file() and path.stat().st_size > LARGE
    except OSError:  # a name that no file can have: whoever opens it says so
        return False
