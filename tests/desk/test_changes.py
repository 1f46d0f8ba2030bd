"""The last report against the one before: which answers, by how much, and why."""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from survivor.desk.changes import Changes, changes_between, keep_inputs
from survivor.desk.made import FINDINGS, OF_FILE, keep_findings
from survivor.desk.named import digest_of
from survivor.study import load
from tests.desk.opened import DATASETS


def finding(question: str, answer: str, estimate: float | None = None, unit: str = "") -> dict[str, Any]:
    limits = (None, None) if estimate is None else (estimate - 5, estimate + 5)
    return {
        "question": question, "answer": answer, "unit": unit,
        "estimate": estimate, "lower": limits[0], "upper": limits[1],
    }  # fmt: skip


def written(folder: Path, findings: list[dict[str, Any]], **provenance: str) -> Path:
    folder.mkdir(exist_ok=True, parents=True)
    told = {"findings": findings, "provenance": provenance}
    (folder / FINDINGS).write_text(json.dumps(told))
    return folder / FINDINGS


def compared(tmp_path: Path, before: list[dict[str, Any]], now: list[dict[str, Any]]) -> Changes:
    found = changes_between(
        written(tmp_path / "before", before), written(tmp_path / "now", now), tmp_path / "kept"
    )
    assert found is not None
    return found


def test_an_answer_that_changed_says_by_how_much(tmp_path: Path):
    before = [
        finding("Which?", "Ripping, 20 more.", 20.04, "per 100 planted"),
        finding("Met?", "Missed."),
        finding("Cost?", "5 dollars.", 5.0, "dollars per established plant"),
    ]
    now = [
        finding("Which?", "Ripping, 18 more.", 18.0, "per 100 planted"),
        finding("Met?", "Missed."),
        finding("Cost?", "5.30 dollars.", 5.3, "dollars per established plant"),
        finding("Rain?", "Dry."),
    ]
    changed = compared(tmp_path, before, now).answers
    assert [(each.question, each.before, each.now) for each in changed] == [
        ("Which?", "Ripping, 20 more.", "Ripping, 18 more."),
        ("Cost?", "5 dollars.", "5.30 dollars."),
        ("Rain?", "", "Dry."),
    ]
    assert [each.by for each in changed] == [
        "2.0 less: 20.0 (15.0 to 25.0) before, 18.0 (13.0 to 23.0) now",
        "$0.30 more: $5.00 ($0.00 to $10.00) before, $5.30 ($0.30 to $10.30) now",
        "",
    ]


@pytest.mark.slow
def test_why_is_records_settings_or_version(tmp_path: Path):
    """What was kept of two reports tells which rows, cells and settings are not the same."""
    home = tmp_path / "counts"
    shutil.copytree(DATASETS / "tagged", home)
    kept, reports = tmp_path / "kept", tmp_path / "reports"
    files = [home / "study.toml", home / "visits.csv"]

    def reported(version: str) -> None:
        provenance = {OF_FILE + file.name: digest_of(file) for file in files}
        keep_findings(reports, kept)
        keep_inputs(files, kept, [kept / FINDINGS, reports / FINDINGS])
        settings = load(home).provenance["settings"]
        written(reports, [finding("Met?", version)], survivor=version, settings=settings, **provenance)

    reported("1")
    text = (home / "study.toml").read_text()
    (home / "study.toml").write_text(text.replace("smallest_difference = 5.0", "smallest_difference = 7"))
    lines = (home / "visits.csv").read_text().splitlines()
    cells = lines[5].split(",")
    cells[-1] = "seen twice"
    (home / "visits.csv").write_text("\n".join([*lines[:5], ",".join(cells), *lines[6:-2]]) + "\n")
    reported("2")
    found = changes_between(kept / FINDINGS, reports / FINDINGS, kept)
    assert found is not None
    assert [(cause.what, cause.details) for cause in found.causes] == [
        ("the records", ("visits.csv: 0 rows added, 2 gone, 1 cell changed",)),
        ("the settings", ("design, smallest difference: 5.0 before, 7 now",)),
        ("the version of survivor", ("1 before, 2 now",)),
    ]


def test_only_what_can_still_be_asked_about_is_kept(tmp_path: Path):
    sheet, kept, reports = tmp_path / "a.csv", tmp_path / "kept", tmp_path / "reports"
    for number in range(5):
        sheet.write_text(f"a\n{number}{'x' * number}\n")
        keep_findings(reports, kept)
        keep_inputs([sheet], kept, [kept / FINDINGS, reports / FINDINGS])
        written(reports, [], **{OF_FILE + "a.csv": digest_of(sheet)})
    assert len(list((kept / "inputs").iterdir())) <= 3


@pytest.mark.parametrize("text", ["", "[]", '{"findings": 3}', "\xff"])
def test_what_cannot_be_read_is_compared_with_nothing(tmp_path: Path, text: str):
    (tmp_path / FINDINGS).write_text(text, encoding="latin-1")
    assert changes_between(tmp_path / FINDINGS, tmp_path / FINDINGS, tmp_path) is None
    assert changes_between(tmp_path / "none", tmp_path / FINDINGS, tmp_path) is None


def test_findings_are_kept_before_the_next_report(tmp_path: Path):
    keep_findings(tmp_path, tmp_path / "kept")
    assert not (tmp_path / "kept").exists()
    file = written(tmp_path, [finding("Met?", "Missed.")])
    keep_findings(tmp_path, tmp_path / "kept")
    assert (tmp_path / "kept" / FINDINGS).read_bytes() == file.read_bytes()
