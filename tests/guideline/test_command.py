"""``survivor guideline`` and its messages."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from survivor.cli import app

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("read_once")]  # whole guidelines are made


def run(*arguments: object) -> object:
    return CliRunner().invoke(app, [str(word) for word in arguments])


def test_a_draft_leaves_no_record_and_an_issue_does(copy, tmp_path):
    # Version 1 alone: one season.
    file = copy / "guideline.toml"
    text = file.read_text(encoding="utf-8").replace("version = 3  ", "version = 1  ")
    start = text.index('[[seasons]]\nstudy = "season-2022"')
    text = text[:start] + text[text.index("# Kinds of ground") :]
    file.write_text(text, encoding="utf-8")
    drafted = run("guideline", file, "--out", tmp_path / "draft", "--draft")
    assert drafted.exit_code == 0, drafted.output
    assert not (copy / "versions").exists()
    issued = run("guideline", file, "--out", tmp_path / "issued")
    assert issued.exit_code == 0, issued.output
    assert "First version; rests on 2021 (wet)." in issued.output
    assert "On clay flats nothing is advised yet" in issued.output
    kept = copy / "versions" / "preparing-ground-on-clay-flats-and-loam-slopes-invented-1.json"
    assert kept.is_file()
    # Another rule under the same version: what was issued does not change in silence.
    file.write_text(text + '\n[[rule]]\ngives = "advised"\nestimate_at_least = 5.0\n', encoding="utf-8")
    refused = run("guideline", file, "--out", tmp_path / "again")
    assert refused.exit_code != 0
    assert "set version = 2" in str(refused.exception)
    assert not (tmp_path / "again").exists()


def test_no_file_is_said_with_the_mend(tmp_path):
    said = run("guideline", tmp_path / "none.toml")
    assert said.exit_code != 0
    assert "survivor demo DIR" in str(said.exception)
