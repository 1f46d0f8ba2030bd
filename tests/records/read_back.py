"""A case read as a person would have it: proposed, what nobody could know answered, loaded and scored."""

from __future__ import annotations

import json
from pathlib import Path

import survivor
from survivor.errors import SurvivorError
from survivor.proposing.proposal import propose
from survivor.settings.questions import EMPTY, answered, questions_in
from tests.records.found_layouts import Case
from tests.records.scoring import verdict


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
        elif (line.key, line.value) in (("tagged", '"at planting"'), ("blank", words.get('"a blank"'))):
            said[line.place] = line.value
    return answered(text, said)
