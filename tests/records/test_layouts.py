"""One season laid out in many ways: read right, or asked about, and never a number without a word for it.

Of the first 240 ways those are read here that have between them whatever the 240 have: every trait, and every
trait beside each kind of records, each shape of sheet and each place where sites are told. All are read by
``python -m tests.records.test_layouts 240``.
"""

from __future__ import annotations

import collections
import json
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
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

WAYS, PARTS = 240, 5
LEAST_RIGHT = 0.8
# What is met beside every other trait, for it decides which code reads the sheets.
MAIN = ("kind", "shape", "sites")

Trait = tuple[str, object]


def traits_of(plan: Plan) -> frozenset[Trait | frozenset[Trait]]:
    """Return the traits of a way, and those that are met beside each other in it."""
    told = asdict(plan)
    del told["seed"]
    extras = told.pop("extras")
    own = [*told.items(), *(("extra", name) for name in extras)]
    beside = (frozenset({one, other}) for one in own if one[0] in MAIN for other in own)
    return frozenset(own).union(beside)


@cache
def ways() -> tuple[int, ...]:
    """Choose ways, the one with the most that is new each time, until nothing of all ways is left out."""
    traits = {seed: traits_of(plan_of(seed)) for seed in range(WAYS)}
    left = frozenset[Trait | frozenset[Trait]]().union(*traits.values())
    chosen = []
    while left:
        chosen.append(max(traits, key=lambda seed: len(traits[seed] & left)))
        left -= traits[chosen[-1]]
    return tuple(sorted(chosen))


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


def table(seeds: Sequence[int], tmp_path: Path) -> collections.Counter[str]:
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
@pytest.mark.parametrize("part", range(PARTS))
def test_a_season_laid_out_in_many_ways(part: int, tmp_path: Path) -> None:
    seeds = ways()[part::PARTS]
    counts = table(seeds, tmp_path)
    assert counts["right"] >= LEAST_RIGHT * len(seeds)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as held:
        table(range(int(sys.argv[1])), Path(held))
