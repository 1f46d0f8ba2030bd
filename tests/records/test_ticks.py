"""A mark in one of the columns Alive, Dead and Missing: read as that state, and never one of them alone."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

import survivor
from survivor.errors import RecordsError
from survivor.proposing.proposal import propose, write_proposal
from tests.records.sheetfiles import as_csv
from tests.slow import some_slow

DAYS = ("2023-08-14", "2023-12-12", "2024-04-04")
NAMES = ("alive", "dead", "missing")
# A season: what became of every plant is one of these.
FATES = [
    ("alive",) * 3,
    ("alive", "alive", "dead"),
    ("alive", "dead", "dead"),
    ("alive", *["missing"] * 2),
]
PLANTS = [
    (site, str(plot), ("nothing", "rip", "spray")[plot % 3], f"{site[0]}{plot}{n:02d}", FATES[(plot + n) % 4])
    for site in ("Hill", "Dale")
    for plot in range(1, 7)
    for n in range(4)
]
TRUTH = Counter(state for *_, fate in PLANTS for state in fate)


def ticks(fate: str, mark: str) -> list[str]:
    return [mark if fate == name else "" for name in NAMES]


def wide(mark: str, heads: tuple[str, ...]) -> list[list[str]]:
    header = ["Site", "Plot", "Prep", "Tag", *(f"{head} {day}" for day in DAYS for head in heads)]
    return [
        header,
        *([*own, *(c for fate in fates for c in ticks(fate, mark))] for *own, fates in PLANTS),
    ]


def over(mark: str, heads: tuple[str, ...]) -> list[list[str]]:
    header, *rows = wide(mark, heads)
    days = [text for day in DAYS for text in (day, "", "")]
    return [["", "", "", "", *days], [*header[:4], *heads * 3], *rows]


def long(mark: str, heads: tuple[str, ...]) -> list[list[str]]:
    rows = [[*own, day, *ticks(fates[n], mark)] for n, day in enumerate(DAYS) for *own, fates in PLANTS]
    return [["Site", "Plot", "Prep", "Tag", "Date", *heads], *rows]


def folder_of(tmp_path: Path, table: list[list[str]]) -> Path:
    (tmp_path / "sheet.csv").write_bytes(as_csv(table))
    return tmp_path


@pytest.mark.parametrize("layout", [wide, over, long])
@pytest.mark.parametrize("heads", some_slow([("Alive", "Dead", "Missing"), ("A", "D", "M")], 1))
def test_a_mark_in_one_of_several_columns_is_that_state(tmp_path: Path, layout, heads) -> None:
    mark = {wide: "x", over: "\N{CHECK MARK}", long: "1"}[layout]
    text = propose(folder_of(tmp_path, layout(mark, heads)))
    assert "ticked = true" in text
    write_proposal(tmp_path, text.replace('#? planted_date = ""', 'planted_date = "2023-06-20"'))
    assert Counter(survivor.load(tmp_path).records.visits["state"]) == TRUTH


def test_two_marks_in_a_row_are_asked_about(tmp_path: Path) -> None:
    table = long("x", ("Alive", "Dead", "Missing"))
    table[1][5:] = ["x", "x", ""]
    text = propose(folder_of(tmp_path, table))
    assert '"alive, dead" = ""' in text
    write_proposal(tmp_path, text.replace('#? planted_date = ""', 'planted_date = "2023-06-20"'))
    records = survivor.load(tmp_path).records
    assert Counter(records.visits["state"]) == TRUTH - Counter([PLANTS[0][-1][0]])
    assert "unknown-state" in set(records.problems["code"])


def test_one_of_such_columns_is_not_read_alone(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(
        '[study]\nname = "x"\n[records]\nkind = "tagged"\n[[records.sheets]]\nfile = "sheet.csv"\n'
        '[records.sheets.columns]\nsite = "Site"\nplot = "Plot"\nmethod = "Prep"\ntag = "Tag"\n'
        'date = "Date"\nstate = "Alive"\n[rules]\nplanted_date = "2023-06-20"\n'
    )
    folder_of(tmp_path, long("x", ("Alive", "Dead", "Missing")))
    with pytest.raises(RecordsError, match="one of them is named alone") as fault:
        survivor.load(tmp_path)
    assert "ticked = true" in fault.value.mend
