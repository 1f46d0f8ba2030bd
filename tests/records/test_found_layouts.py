"""Sheets as they are found in offices: read right, or asked about where one of a few is out of reach."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import survivor
from survivor.errors import SurvivorError
from survivor.proposing.proposal import propose
from survivor.settings.questions import EMPTY, answered, questions_in
from tests.records.found_layouts import CASES, Case
from tests.records.scoring import verdict

# Out of reach: blocks side by side under one column of preparations; a mark in one of three columns a visit.
ASKED = frozenset({"blocks_across", "ticks_in_columns"})
QUICK = 8


def read(case: Case, folder: Path) -> tuple[str, str]:
    """Say "right", "asked" or "wrong", and why."""
    for name, content in case.files.items():
        (folder / name).write_bytes(content)
    try:
        text = propose(folder)
        (folder / "study.toml").write_text(_as_told(text, case), encoding="utf-8")
        return verdict(case.truth, survivor.load(folder))
    except SurvivorError as fault:
        return "asked", f"refused: {fault}"[:300]


def _as_told(text: str, case: Case) -> str:
    """Answer what nobody could know from the sheets, and nothing else."""
    words = {json.dumps(word): json.dumps(meant) for word, meant in case.answers.items()}
    said = {}
    for line in (line for question in questions_in(text) for part in question.parts for line in part):
        value = words.get(line.key)
        if line.key == "date":
            value = next((json.dumps(own) for word, own in case.answers.items() if word in line.said), None)
        if value is not None and line.value == EMPTY:
            said[line.place] = value
        elif (line.key, line.value) == ("tagged", '"at planting"'):
            said[line.place] = line.value
    return answered(text, said)


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
