"""A report in the middle of a season: two visits, the milestones not reached, and no claim on them."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from survivor.demo import write_demo
from survivor.report.arrangement import ANNEX
from survivor.report.forms import write_report
from survivor.study import load
from tests.document.reading import read
from tests.report.making import named, words

pytestmark = pytest.mark.slow  # a season is analysed and written in every form

SITES = ("Tarn Hollow", "Quill Creek", "Vossel Flat", "Ombry Rise")  # half of them, for speed


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tagged demo as it stood after its second visit."""
    to = tmp_path_factory.mktemp("demo")
    write_demo(to)
    study = to / "tagged"
    with (study / "visits.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if int(row["Visit"]) <= 2 and row["Site"] in SITES]
    with (study / "visits.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    with (study / "plots.csv").open(encoding="utf-8", newline="") as file:
        plots = [row for row in csv.DictReader(file) if row["Site"] in SITES]
    with (study / "plots.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(plots[0]))
        writer.writeheader()
        writer.writerows(plots)
    return study


@pytest.fixture(scope="module")
def analysis(folder: Path):
    return load(folder).analyse()


def test_every_milestone_is_said_not_to_be_reached(folder: Path, analysis) -> None:
    study = load(folder)
    codes = study.problems[study.problems["code"].isin(["milestone-not-reached", "later-milestone"])]
    for name in ("after the first dry season", "12 months", "24 months"):
        assert codes["what"].str.contains(name, regex=False).any(), name
        said = " ".join(words(named(ANNEX.of(analysis), "milestones")).split()).casefold()
        assert f"{name} (day " in said
    assert (analysis.survival.milestones["method"] == "").all()
    assert analysis.survival.milestones["note"].str.startswith("not reached").all()


def test_no_answer_claims_a_milestone(analysis) -> None:
    for finding in analysis.findings:
        assert finding.milestone == f"day {analysis.milestone_day:g} (12 months not reached)"
        said = finding.answer.replace("(12 months not reached)", "")
        assert "12 months" not in said or "have not reached 12 months" in said, finding.answer
        assert finding.verdict is None
    assert analysis.heights.empty
    heights = words(named(ANNEX.of(analysis), "heights"))
    assert "have not reached 12 months" in heights


def test_it_is_written_in_every_form(analysis, tmp_path: Path) -> None:
    page = write_report(analysis, tmp_path)[0]
    root = read(page.read_text(encoding="utf-8"))
    text = " ".join(root.text().split())
    assert f"Establishment survival at day {analysis.milestone_day:g} (12 months not reached)" in text
    assert {file.name for file in tmp_path.iterdir()} >= {"report.pdf", "report.xlsx", "summary.txt"}
    assert "12 months not reached" in (tmp_path / "summary.txt").read_text(encoding="utf-8")
