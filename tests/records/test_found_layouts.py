"""Sheets as they are found in offices: read right, or asked about where one of a few is out of reach."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.records.found_layouts import CASES
from tests.records.read_back import read

# Out of reach: blocks side by side under one column of preparations; a mark in one of three columns a visit.
ASKED = frozenset({"blocks_across", "ticks_in_columns"})
QUICK = 8


def _scored(names: range, folder: Path) -> None:
    table = {}
    for make in (CASES[number] for number in names):
        home = folder / make.__name__
        home.mkdir()
        table[make.__name__] = read(make(), home)
    said = "\n".join(f"{name:36} {own} {why}" for name, (own, why) in table.items())
    print(said)
    assert not [name for name, (own, _) in table.items() if own == "wrong"], said
    assert {name for name, (own, _) in table.items() if own == "asked"} <= ASKED, said


@pytest.mark.slow
def test_some_sheets_as_found(tmp_path: Path) -> None:
    _scored(range(QUICK), tmp_path)


@pytest.mark.slow
def test_the_other_sheets_as_found(tmp_path: Path) -> None:
    _scored(range(QUICK, len(CASES)), tmp_path)
