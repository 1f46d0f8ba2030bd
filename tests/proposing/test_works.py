"""Works of a preparation are taken from the diary: of most of its plots, and asked about where in doubt."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from survivor.proposing.proposal import propose
from survivor.settings.questions import answered, answers_to, questions_in

PLOTS = 6


def folder_with(tmp_path: Path, ripped: int, *, mulched_on: str = "2023-07-01") -> Path:
    """Write counts of two preparations in six plots each, and a diary that ripped so many of one."""
    labels = [(prep, f"{prep[0]}{n}") for prep in ("spray", "rip") for n in range(PLOTS)]
    counts = ["Site,Plot,Prep,Planted on,Planted,Alive 1/9/2023,Alive 20/6/2024"]
    counts += [f"Home,{plot},{prep},2023-07-01,20,18,12" for prep, plot in labels]
    diary = ["Site,Plot,Work,Date"]
    diary += [f"Home,{plot},sprayed,2023-05-20" for _, plot in labels]
    diary += [f"Home,r{n},deep rip,2023-06-01" for n in range(ripped)]
    diary += [f"Home,r{n},mulch,{mulched_on}" for n in range(PLOTS)]
    diary += [f"Home,s{n},follow up spray,2023-11-01" for n in range(PLOTS - 1)]
    (tmp_path / "counts.csv").write_text("\n".join(counts) + "\n")
    (tmp_path / "diary.csv").write_text("\n".join(diary) + "\n")
    return tmp_path


def works_of(text: str) -> dict[str, list[str]]:
    return {method["name"]: method["works"] for method in tomllib.loads(text)["methods"]}


@pytest.mark.parametrize(
    ("ripped", "taken", "asked"), [(6, True, 0), (4, True, 0), (3, False, 1), (1, False, 0)]
)
def test_a_work_of_most_plots_is_taken_and_one_of_some_is_asked_about(tmp_path, ripped, taken, asked):
    text = propose(folder_with(tmp_path, ripped))
    assert works_of(text) == {
        "spray": ["knockdown"],  # the follow-up round plants that stand is no part of a preparation
        "rip": ["knockdown", *(["rip"] if taken else []), "mulch mat"],
    }
    assert f"{f'rip in {ripped}' if ripped > 1 else 'mulch mat in 6'}" in text  # each with its count
    questions = [own for own in questions_in(text) if "had a part of it" in own.text]
    assert len(questions) == asked
    for question in questions:
        (line, _) = question.parts[0]
        assert "rip in 3 of 6 plots" in line.said
        said = answered(text, answers_to(question, lambda part: part[0].value))
        assert works_of(said)["rip"] == ["knockdown", "mulch mat", "rip"]
        assert questions_in(said)[0].text != question.text


def test_what_was_laid_after_planting_is_no_part_of_a_preparation(tmp_path):
    text = propose(folder_with(tmp_path, 6, mulched_on="2023-09-15"))
    assert works_of(text)["rip"] == ["knockdown", "rip"]
    assert '"mulch mat" = "random within blocks"' in text  # how its plots were chosen is asked


def test_how_plots_were_chosen_and_which_pairs_were_of_interest_is_asked(tmp_path):
    text = propose(folder_with(tmp_path, 6))
    keys = {line.key: line.value for own in questions_in(text) for part in own.parts for line in part}
    assert '"follow-up weed control"' in keys
    assert '"lead time"' not in keys  # all plots were sprayed on one day
    offered = [
        line.value
        for own in questions_in(text)
        for part in own.parts
        for line in part
        if line.key == "interactions"
    ]
    assert offered == ['["rip x mulch mat"]', "[]"]


def test_without_a_diary_nothing_is_said_of_works(tmp_path):
    folder = folder_with(tmp_path, 6)
    (folder / "diary.csv").unlink()
    raw = tomllib.loads(propose(folder))
    assert "methods" not in raw
    assert "works" not in raw
