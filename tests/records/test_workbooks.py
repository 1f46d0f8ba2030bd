"""Field workbooks as they come, each with its truth: the table is printed, and may get better only.

What stands in them, and what their truth tells, is in `workbooks/README.md`; of fifteen more, in
`workbooks/ordinary/README.md`.
"""

from __future__ import annotations

import collections
import datetime as dt
import json
import shutil
import textwrap
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

import survivor
from survivor.cli import app
from survivor.errors import SurvivorError
from survivor.proposing.proposal import propose
from survivor.report.checked.text import lines_of_check, next_step
from survivor.settings.questions import EMPTY, answered, questions_in
from survivor.vocabulary import Severity
from tests.records.scoring import Known, Site, Truth, squeeze, verdict

HERE = Path(__file__).parent / "workbooks"
PAGE = 40  # lines of a screen of 80 columns
# Folder -> workbooks, and how many at least are read right: at one site of the other of the first fourteen
# the last visit is told by colour alone, and asked about.
SETS = {"": (14, 13), "ordinary": (15, 15)}
CLASSES = {"A": "alive", "D": "dead", "M": "dead", "d": None, "N": None, ".": None}


def truth_of(told: dict[str, Any]) -> Truth:
    tagged = told["kind"] == "tagged"
    sites = {
        name: Site(
            frozenset(map(squeeze, (name, *site["also"]))),
            dt.date.fromisoformat(site["planted_date"]),
            tuple((dt.date.fromisoformat(visit["date"]), visit["within_days"]) for visit in site["visits"]),
        )
        for name, site in told["sites"].items()
    }
    preps = {squeeze(word): name for name, also in told["preparations"].items() for word in (name, *also)}
    species = {
        squeeze(word): squeeze(name) for name, also in told["species"].items() for word in (name, *also)
    }
    units = []
    for unit in (unit for unit in told["records"] if unit["cohort"] == "planting"):
        if tagged:
            key: tuple[str, ...] = (unit["site"], squeeze(unit["tag"]).lstrip("0"))
            seen = tuple(CLASSES[state] for state in unit["states"])
        else:
            key = (unit["site"], squeeze(unit["plot"]), squeeze(unit["species"]))
            seen = tuple(unit["alive"])
        places = frozenset((file, sheet, str(row)) for _, file, sheet, row in unit["places"])
        plot = f"{unit['block']}|{unit['plot']}"
        units.append(Known(unit["site"], plot, key, unit["prep"], unit.get("planted", 1), seen, places))
    return Truth(tagged, sites, preps, units, species)


def answer(file: Path, answers: dict[str, Any]) -> None:
    """Answer what cannot be known from the files: words for states, when tags went in, days of visits."""
    text = file.read_text(encoding="utf-8")
    rules = {key: f'"{answers[key]}"' for key in ("tagged", "missing") if key in answers}
    words = {json.dumps(word): f'"{state}"' for word, state in answers.get("states", {}).items()}
    days = answers.get("visit_dates", {})
    said = {}
    for question in questions_in(text):
        for part in question.parts:
            for line in part:
                value = words.get(line.key) or rules.get(line.key)
                if line.key == "planted_date" and "planted_date" in answers:
                    value = json.dumps(answers["planted_date"])
                if line.key == "date":
                    value = next((f'"{day}"' for heading, day in days.items() if heading in line.said), None)
                if value is not None and line.value in (value, EMPTY):
                    said[line.place] = value
    file.write_text(answered(text, said), encoding="utf-8")


def lines_on_screen(study: survivor.Study, folder: Path) -> int:
    """Count the lines that a check takes on a screen of 80 columns, as it is printed."""
    severities = study.records.first_problems["severity"]
    numbers = [int((severities == severity).sum()) for severity in (Severity.STOP, Severity.CHECK)]
    last = "\n" + next_step(study.records.nothing, *numbers, folder)
    lines = lines_of_check(study.records, study.settings.study.name, every=False, below=last)
    return sum(len(textwrap.wrap(line, 80)) or 1 for text in (*lines, last) for line in text.split("\n"))


def read(name: str, folder: Path, home: Path) -> tuple[str, str]:
    told = json.loads((home / f"{name}.truth.json").read_text(encoding="utf-8"))
    for file in told["files"]:
        shutil.copy(home / file, folder)
    try:
        (folder / "study.toml").write_text(propose(folder), encoding="utf-8")
        answer(folder / "study.toml", told["answers"])
        study = survivor.load(folder)
        assert lines_on_screen(study, folder) <= PAGE, name
        plants = study.records.plants
        put_in = (
            int(plants["planted"].sum()),
            int(plants["first_plants"].sum()),
            int(plants["replants"].sum()),
        )
        want = (told["planted"] + told["replants"], told["planted"], told["replants"])
        said, why = verdict(truth_of(told), study)
        return (
            ("wrong", f"{put_in} put in, first plants and replants for {want}")
            if put_in != want
            else (said, why)
        )
    except SurvivorError as fault:
        return "asked", f"refused: {fault}"[:300]


@pytest.mark.slow
def test_ten_open_questions_fit_a_page_of_screen(tmp_path: Path) -> None:
    for file in ("p01-brackenmere.xlsx", "p01-brackenmere rain.csv"):
        shutil.copy(HERE / file, tmp_path)
    for command in (["new", str(tmp_path), "--from-sheets"], ["check", str(tmp_path)]):
        said = CliRunner().invoke(app, command).stdout
        assert said.count("\n") > 10
        assert sum(len(textwrap.wrap(line, 80)) or 1 for line in said.split("\n")) <= PAGE, said


@pytest.mark.parametrize("own", [pytest.param("", marks=pytest.mark.slow), "ordinary"])
def test_the_workbooks_are_read_right_or_asked_about(
    own: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home, (number, least_right) = HERE / own, SETS[own]
    names = sorted(file.name.removesuffix(".truth.json") for file in home.glob("*.truth.json"))
    lines, counts = [], collections.Counter[str]()
    for name in names:
        folder = tmp_path / name
        folder.mkdir()
        said, why = read(name, folder, home)
        counts[said] += 1
        lines.append(f"{name:20} {said:6} {why}")
    table = "\n".join(lines)
    with capsys.disabled():
        print(f"\n{table}\nread right {counts['right']}, asked {counts['asked']}, wrong {counts['wrong']}")
    assert len(names) == number
    assert counts["wrong"] == 0, table
    assert counts["right"] >= least_right, table
