"""Which of the files that survivor reads a TOML file is: a study, a plan or a guideline file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Literal

FileKind = Literal["study", "plan", "guideline"]

# Tables that no other kind of file has.
_TABLES: Final[dict[FileKind, frozenset[str]]] = {
    "study": frozenset({"study", "records"}),
    "plan": frozenset({"plan", "question"}),
    "guideline": frozenset({"guideline", "ground"}),
}
_SAID: Final[dict[FileKind, str]] = {
    "study": "a study file, which tells of the records of a season",
    "plan": "a plan file, which asks a question of a coming season",
    "guideline": "a guideline file, which names seasons and kinds of ground",
}
_READ_BY: Final[dict[FileKind, str]] = {
    "study": "`survivor check` and `survivor report` read it",
    "plan": "`survivor plan` and `survivor layout` read it",
    "guideline": "`survivor guideline` reads it",
}


def another_kind(raw: Mapping[str, Any], wanted: FileKind) -> tuple[str, str] | None:
    """Tell a file of another kind than the one wanted.

    Parameters
    ----------
    raw
        Tables of the file, as a TOML reader gives them.
    wanted
        The kind that was asked for.

    Returns
    -------
    tuple or None
        What the file is, and which commands read it; None where it has a table of the
        kind wanted, or none of any kind.
    """
    if _TABLES[wanted] & raw.keys():
        return None
    found = next((kind for kind, tables in _TABLES.items() if tables & raw.keys()), None)
    if found is None:
        return None
    what = f"this is {_SAID[found]}, and not a {wanted} file"
    return what, f"{_READ_BY[found]}; or name a {wanted} file here"
