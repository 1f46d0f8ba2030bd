"""Problems put together by what to do about them: one kind once, with the places where it is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

import pandas as pd

from survivor.vocabulary import Severity

_OWN: Final = re.compile(r" \((tag |[\d,]+ records|[\d,]+ times)[^()]*\)$")
HEADINGS: Final[dict[Severity, str]] = {
    Severity.STOP: "Mend these first: the records are not used until it is done",
    Severity.CHECK: "Please look: these were used, or set aside, by the rule that is stated",
    Severity.NOTE: "Worth knowing: nothing to mend if it is right",
}


@dataclass(frozen=True)
class Kind:
    """Problems of one code in one sheet.

    Attributes
    ----------
    code, severity, file, sheet
        What all of them share.
    what
        What is wrong, where all say the same; else "".
    spots
        Row, column and value of each; where ``what`` is empty, with what is wrong there.
    mends
        What to do about each, in the order of ``spots``.
    """

    code: str
    severity: Severity
    file: str
    sheet: str
    what: str
    spots: tuple[str, ...]
    mends: tuple[str, ...]

    @property
    def where(self) -> str:
        """File and sheet."""
        return ", ".join(part for part in (self.file, self.sheet and f"sheet {self.sheet}") if part)


def kinds_of(problems: pd.DataFrame, severity: Severity) -> list[Kind]:
    """Put the problems of one severity together, in their order.

    Parameters
    ----------
    problems
        `survivor.vocabulary.PROBLEM_COLUMNS`.
    severity
        Which of them.
    """
    of_it = problems[problems["severity"] == severity]
    text = of_it.astype(object).where(of_it.notna(), "").astype(str)  # a whole file has no row
    return [_kind(group, severity) for _, group in text.groupby(["code", "file", "sheet"], sort=False)]


def _kind(group: pd.DataFrame, severity: Severity) -> Kind:
    rows: list[dict[str, str]] = [
        {str(k): str(v) for k, v in row.items()} for row in group.to_dict("records")
    ]
    said = [_parted(row["what"]) for row in rows]
    same = len(rows) > 1 and len({what for what, _ in said}) == 1
    if same:
        spots = [
            spot(row) + ("" if row["value"] and row["value"] in extra else extra)
            for row, (_, extra) in zip(rows, said, strict=True)
        ]
    else:
        spots = [f"{_place(row)}: {sentence(row['what'])}" for row in rows]
    first = rows[0]
    return Kind(
        code=first["code"],
        severity=severity,
        file=first["file"],
        sheet=first["sheet"],
        what=said[0][0] if same else "",
        spots=tuple(spots),
        mends=tuple(row["mend"] for row in rows),
    )


def sentence(what: str) -> str:
    """End what is wrong with a full stop, unless it ends with a question."""
    return what if what.endswith("?") else f"{what}."


def _parted(what: str) -> tuple[str, str]:
    """Part what is wrong from what tells one problem from the next: its tag, or how many records."""
    found = _OWN.search(what)
    return (what, "") if found is None else (what[: found.start()], found[0])


def _place(row: dict[str, str]) -> str:
    """File, sheet, row, column and value of a problem, as far as it has them."""
    named = [row["file"], row["sheet"] and f"sheet {row['sheet']}", spot(row)]
    return ", ".join(part for part in named if part)


def spot(row: dict[str, str]) -> str:
    """Row, column and value of a problem; a study file has lines and keys."""
    of_study = row["file"].endswith(".toml")
    told = [row["row"] and f"{'line' if of_study else 'row'} {row['row']}"]
    told.append(row["column"] if of_study or not row["column"] else f"column {row['column']}")
    return ", ".join(part for part in told if part) + (f" [{row['value']}]" if row["value"] else "")
