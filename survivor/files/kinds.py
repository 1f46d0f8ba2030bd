"""What a file is, by its ending or by its tables; told without loading what reads it."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final, Literal

FileKind = Literal["study", "plan", "guideline"]

TEXT_ENDINGS: Final = (".csv", ".tsv", ".txt")
WORKBOOK_ENDINGS: Final = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")

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
