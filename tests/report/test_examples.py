"""The committed example reports are those of the code, and answer what a reader asks."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from survivor.demo.examples import COHORTS, KEPT
from survivor.report.verify import findings_differ, provenance_differs, told_in
from survivor.study import load
from tests.document.reading import read
from tests.report.demo import files_of, reported

ROOT = Path(__file__).parents[2]
REPORTS, DATASETS = ROOT / "reports" / "examples", ROOT / "datasets"
MEND = "make them again: python -m survivor.demo reports"
LARGEST = 1_500_000  # bytes of a file


def stale(example: Path, study: Path) -> list[str]:
    """Say in what an example differs from what would be made now, without making it."""
    return provenance_differs(told_in(example), load(study).provenance)


@pytest.mark.slow
@pytest.mark.parametrize("cohort", COHORTS)
def test_an_example_was_made_from_these_inputs_settings_and_version(cohort: str) -> None:
    assert stale(REPORTS / cohort, DATASETS / cohort) == [], MEND


@pytest.mark.parametrize("cohort", COHORTS)
def test_an_example_has_every_form_and_a_sensible_size(cohort: str) -> None:
    sizes = {name: (REPORTS / cohort / name).stat().st_size for name in KEPT}
    assert all(0 < size < LARGEST for size in sizes.values()), sizes


@pytest.mark.slow
def test_a_stale_example_is_told(tmp_path: Path) -> None:
    text = (REPORTS / "counts" / "findings.json").read_text(encoding="utf-8")
    (tmp_path / "findings.json").write_text(text.replace('"seed": "', '"seed": "9'), encoding="utf-8")
    assert [said.partition(":")[0] for said in stale(tmp_path, DATASETS / "counts")] == ["seed"]
    assert findings_differ(tmp_path, text)[0].startswith("findings.provenance.seed")
    assert findings_differ(REPORTS / "counts", text) == []


def test_findings_are_compared_as_they_are_printed(tmp_path: Path) -> None:
    (tmp_path / "findings.json").write_text('{"a": 21.04, "b": 3147.2}', encoding="utf-8")
    assert findings_differ(tmp_path, '{"a": 21.01, "b": 3147.9}') == []
    assert len(findings_differ(tmp_path, '{"a": 21.96, "b": 3147.2}')) == 1


def test_the_readers_questions_are_answered_by_sentences_of_the_report() -> None:
    guide = (REPORTS.parent / "README.md").read_text(encoding="utf-8")
    page = read((REPORTS / "tagged" / "report.html").read_text(encoding="utf-8"))
    said = _plain(page.text())
    quoted = [_plain(line.removeprefix("> ")) for line in guide.splitlines() if line.startswith("> ")]
    assert len(re.findall(r"^## \d+\. .*\?$", guide, re.MULTILINE)) == 10
    assert len(quoted) >= 12
    missing = [line for line in quoted if line not in said]
    assert missing == [], "the report no longer says so: read it, and mend reports/README.md"


def _plain(text: str) -> str:
    return re.sub(r" (?=[.,:])", "", " ".join(text.split()))


@pytest.mark.slow
@pytest.mark.parametrize("cohort", COHORTS)
def test_an_example_made_anew_has_the_same_findings(cohort: str) -> None:
    made = reported(cohort)
    assert findings_differ(REPORTS / cohort, made["findings.json"].decode("utf-8")) == []
    assert made["report.html"] == (REPORTS / cohort / "report.html").read_bytes(), MEND


@pytest.mark.slow
@pytest.mark.parametrize("cohort", COHORTS)
def test_the_same_input_gives_the_same_bytes_in_every_form(cohort: str, tmp_path: Path) -> None:
    """Made here, and by a program of its own in which sets and dictionaries lie otherwise."""
    code = "import sys; from survivor.study import load; load(sys.argv[1]).report(sys.argv[2])"
    subprocess.run(
        [sys.executable, "-c", code, str(DATASETS / cohort), str(tmp_path)],
        env={**os.environ, "PYTHONHASHSEED": "20240229"},
        check=True,
    )
    here, there = reported(cohort), files_of(tmp_path)
    assert here.keys() == there.keys()
    assert [name for name in here if here[name] != there[name]] == []
