"""The demo of works: its answers cover the truth; its report says which part paid, and what was not told."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from survivor.analysis import Analysis
from survivor.demo.works import works_files
from survivor.document.elements import Figure
from survivor.report.arrangement import ANNEX, REPORT
from survivor.report.pages.parts import paid
from survivor.report.tables import works_tables
from survivor.sentences import plain_text
from survivor.study import Study, load
from survivor.words import difference
from tests.report.reading import faults, names_of
from tests.report.reading import texts_of as sentences_of
from tests.report.walking import texts_of
from tests.writing import write_files


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("works")
    for name, content in works_files().items():
        (place / name).write_bytes(content)
    return place


@pytest.fixture(scope="module")
def study(folder: Path) -> Study:
    return load(folder)


@pytest.fixture(scope="module")
def analysis(study: Study) -> Analysis:
    return study.analysis


def test_estimates_are_near_the_truth_behind_the_records(analysis: Analysis, folder: Path) -> None:
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))["works"]
    table = analysis.works.answers.set_index("what")
    for line in truth:
        name = "lead time" if "begun" in line["work"] else line["work"]
        if name in table.index and table.loc[name, "at_day"] == line["at_day"]:
            # Seven answers stand beside their truth: of limits at 95 % one or another may well miss it.
            away = abs(table.loc[name, "estimate"] - line["difference"])
            assert away < 3 * table.loc[name, "std_error"], name


def test_departures_are_those_that_were_made(analysis: Analysis) -> None:
    apart = analysis.works.departures
    apart = apart[apart["what"] != "done"]
    assert apart.groupby("what").size().to_dict() == {
        "done and not planned": 1, "done late": 1, "nothing told of the plot": 2, "not done": 3,
    }  # fmt: skip


def test_every_row_of_the_diary_is_accounted_for(study: Study) -> None:
    own = study.accounts[study.accounts["record"] == "works row"]
    lines = (study.path.parent / "diary.csv").read_text(encoding="utf-8").splitlines()
    assert len(own) == len(lines) - 1
    assert set(own["fate"]) == {"used"}


def test_the_family_is_adjusted_together_and_graded_by_how_it_was_allocated(analysis: Analysis) -> None:
    works = analysis.works
    assert (works.answers["p_adjusted"] >= works.answers["p_value"]).all()
    assert {one.key for one in works.findings} == {f"works: {what}" for what in works.answers["what"]}
    assert {one.key for one in works.findings} <= {one.key for one in analysis.findings}
    for row, one in zip(works.answers.to_dict("records"), works.findings, strict=True):
        if one.grade == "strong":
            assert row["allocation"] == "random within blocks"


def test_the_report_says_which_part_paid_and_what_was_not_told(analysis: Analysis) -> None:
    words = " ".join(map(plain_text, texts_of(REPORT.of(analysis))))
    assert "the other works held equal (95 % CI" in words
    assert "its works were not tried apart" not in words
    assert "every plot got knockdown, so nothing tells what it adds" in words
    annex = " ".join(map(plain_text, texts_of(ANNEX.of(analysis))))
    assert "(immortal time)" in annex
    assert "planned or done were not as planned" in annex
    assert "ever treated" not in words + annex
    assert set(works_tables(analysis)) == {
        "works", "works_departures", "works_plots", "works_sets", "works_lead",
    }  # fmt: skip


@pytest.mark.slow
def test_works_by_choice_are_held_back(folder: Path, tmp_path: Path) -> None:
    text = (folder / "study.toml").read_text(encoding="utf-8")
    text = text.replace('allocation = "random within blocks"\nplots', 'allocation = "by choice"\nplots')
    text = text.replace('"follow-up weed control" = "random within blocks"', "")
    files = {path.name: path.read_bytes() for path in folder.iterdir()}
    write_files(tmp_path, {**files, "study.toml": text})
    works = load(tmp_path).analysis.works
    by_name = {one.key: one for one in works.findings}
    assert by_name["works: rip"].grade in ("weak", "moderate", None)
    assert any("chosen and not allocated at random" in reason for reason in by_name["works: rip"].reasons)
    assert works.later[0].adjusted


def test_the_picture_has_a_row_a_work_with_the_numbers_of_the_table(analysis: Analysis) -> None:
    """Read off the drawing: dots, ends of the lines and words beside them."""
    (section,) = paid(analysis)
    (picture,) = [block for block in section.blocks if isinstance(block, Figure)]
    table = analysis.works.answers
    rows = table[table["kind"].isin(("work", "later work"))].sort_values("estimate", ascending=False)
    (ax,) = picture.draw(size="wide").axes
    dots = [line.get_xdata()[0] for line in ax.lines if line.get_marker() == "o"]
    assert dots == pytest.approx(rows["estimate"].tolist())
    spans = [
        line.get_xdata() for line in ax.lines if line.get_linewidth() == 2.0 and len(line.get_xdata()) == 2
    ]
    assert np.array(spans) == pytest.approx(rows[["lower", "upper"]].to_numpy(dtype=float))
    words = [text.get_text() for text in ax.texts]
    for row in rows.to_dict("records"):
        written, span = difference(row["estimate"], row["lower"], row["upper"])
        assert row["what"] in words
        assert f"{written} ({span})" in words


def test_sentences_on_works_are_short(analysis: Analysis) -> None:
    known = {*names_of(analysis), *analysis.works.answers["what"]}
    for document in (REPORT, ANNEX):
        assert faults(sentences_of(document.of(analysis)), known) == []
