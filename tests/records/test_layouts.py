"""One season laid out in many ways: read right, or asked about, and never a number without a word for it."""

from __future__ import annotations

import collections
import json
from pathlib import Path

import pytest

import survivor
from survivor.errors import SurvivorError
from survivor.proposing.proposal import propose
from survivor.settings.questions import answered, questions_in
from tests.records.layouts import (
    PLANTED,
    PREPARATIONS,
    SITES,
    WORDS,
    Plan,
    days_of,
    files_of,
    plan_of,
    units_of,
)
from tests.records.scoring import Known, Site, Truth, squeeze
from tests.records.scoring import verdict as scored

SHORT, LONG = 10, 240
LEAST_RIGHT = 0.8


def read(plan: Plan, folder: Path) -> tuple[str, str]:
    """Say "right", "asked" or "wrong", and why."""
    for name, content in files_of(plan).items():
        (folder / name).write_bytes(content)
    try:
        text = propose(folder)
    except SurvivorError as fault:
        return "asked", f"refused: {fault}"[:300]
    (folder / "study.toml").write_text(as_told(text, plan), encoding="utf-8")
    try:
        study = survivor.load(folder)
    except SurvivorError as fault:
        return "asked", f"refused: {fault}"[:300]
    return scored(truth_of(plan), study)


def as_told(text: str, plan: Plan) -> str:
    """Answer what nobody could know from the sheets: when the tags went in, and words that differ by crew."""
    words = {json.dumps(word): f'"{state}"' for word, state in WORDS[plan.words][1].items()}
    said = {}
    for question in questions_in(text):
        for line in (line for part in question.parts for line in part):
            if line.key in words:
                said[line.place] = words[line.key]
            elif (line.key, line.value) == ("tagged", '"at planting"'):
                said[line.place] = line.value
    return answered(text, said)


def truth_of(plan: Plan) -> Truth:
    tagged = plan.kind == "tagged"
    units = units_of(plan)
    sites = {
        SITES[site]: Site(
            frozenset({squeeze(SITES[site])}), PLANTED[site], tuple((day, 3) for day in days_of(plan, site))
        )
        for site in sorted({unit.site for unit in units})
    }
    return Truth(tagged, sites, {squeeze(name): name for name in PREPARATIONS}, [
        Known(
            SITES[unit.site],
            unit.plot,
            (SITES[unit.site], squeeze(unit.tag))
            if tagged
            else (SITES[unit.site], squeeze(unit.plot), squeeze(unit.species)),
            PREPARATIONS[unit.prep],
            unit.number,
            tuple(None if seen is None else ("alive", "dead", "dead", None)[seen] for seen in unit.seen)
            if tagged
            else unit.seen,
        )
        for unit in units
        if unit.first
    ])  # fmt: skip


def table(seeds: range, tmp_path: Path) -> collections.Counter[str]:
    counts: collections.Counter[str] = collections.Counter()
    wrong = []
    for seed in seeds:
        folder = tmp_path / f"season {seed}"
        folder.mkdir()
        plan = plan_of(seed)
        said, why = read(plan, folder)
        counts[said] += 1
        if said != "right":
            print(seed, said, why, plan)
        if said == "wrong":
            wrong.append(f"{plan}: {why}")
    print(
        f"read right without a question {counts['right']}, asked {counts['asked']}, wrong {counts['wrong']}"
    )
    assert not wrong, "\n".join(wrong)
    return counts


@pytest.mark.slow
def test_a_season_laid_out_in_some_ways(tmp_path: Path) -> None:
    counts = table(range(SHORT), tmp_path)
    assert counts["right"] >= LEAST_RIGHT * SHORT


@pytest.mark.slow
def test_a_season_laid_out_in_many_ways(tmp_path: Path) -> None:
    counts = table(range(SHORT, LONG), tmp_path)
    assert counts["right"] >= LEAST_RIGHT * (LONG - SHORT)
