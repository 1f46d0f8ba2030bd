"""A report tells whether it is still that of its files; a document that cannot be set is no end of it."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

import survivor.report.forms
from survivor.cli import app
from survivor.errors import ReportError
from survivor.study import load
from tests.writing import small_season


def run(*arguments):
    return CliRunner().invoke(app, [str(part) for part in arguments])


@pytest.fixture(scope="module")
def reported(tmp_path_factory):
    """A season and its report, for which no document could be set."""
    folder = small_season(tmp_path_factory.mktemp("verified") / "study")
    out = folder.parent / "out"

    def fails(*_):
        raise ReportError(
            "the report could not be set as a PDF", where="report.pdf", mend="read report.html instead"
        )

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(survivor.report.forms, "document_of", fails)
        patched.setattr(
            survivor.report.forms, "side_by_side", lambda work, pieces: [work(piece) for piece in pieces]
        )
        written = load(folder).report(out)
    return folder, out, written


def test_without_its_documents_the_rest_of_a_report_is_written(reported):
    _, out, written = reported
    names = [path.name for path in written]
    assert names[0] == "report.html"
    assert {"annex.html", "report.xlsx", "findings.json", "summary.txt"} <= set(names)
    assert not list(out.glob("*.pdf"))


def test_a_report_of_the_same_files_and_version_has_the_same_findings(reported):
    folder, out, _ = reported
    said = run("report", folder, "--verify", out)
    assert said.exit_code == 0, said.output
    assert "The report is as it was written, from files that are as they were" in said.output


def test_what_is_not_as_it_was_is_named(reported, monkeypatch):
    folder, out, _ = reported
    sheet, page, findings = folder / "visits.csv", out / "report.html", out / "findings.json"
    held = {path: path.read_bytes() for path in (sheet, page, findings)}
    sheet.write_bytes(held[sheet].replace(b"dead", b"alive", 1))
    page.unlink()
    said = run("report", folder, "--verify", out)
    assert said.exit_code == 2
    assert "report.html: changed or taken away since the report was written" in said.output
    assert "sha256 of visits.csv: " in said.output
    for path, content in held.items():
        path.write_bytes(content)
    told = json.loads(held[findings])
    told["findings"][0]["estimate"] = -77.0
    findings.write_text(json.dumps(told))
    monkeypatch.setattr("survivor.report.verify.not_as_written", lambda folder: [])
    said = run("report", folder, "--verify", out)
    assert said.exit_code == 2
    assert "findings.findings[0].estimate: -77.0 in the report, " in said.output
    findings.write_bytes(held[findings])


def test_a_folder_without_a_report_is_said(tmp_path, reported):
    assert "no findings.json" in str(run("report", reported[0], "--verify", tmp_path).exception)
