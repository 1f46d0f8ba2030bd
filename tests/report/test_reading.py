"""No sentence that somebody reads is longer than 25 words, or has two parentheses.

Over the demo's cohorts and a real planting (white pines, Pines of the R package Stat2Data): the report, the
annex, the officer's sheet, the findings, and the check of the records as a page. The guideline is read in its
own room.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from survivor.report.arrangement import ANNEX, OFFICER, REPORT
from survivor.report.checked.page import report_of_check
from survivor.report.checked.text import lines_of_check
from survivor.report.tables import findings_json
from tests.once import analysed, study_of
from tests.report.demo import DATASETS
from tests.report.generated import pines, write_generated
from tests.report.reading import faults, names_of, texts_of, texts_of_findings

_ROWS = re.compile(r"(?<=[.:]) (?=[^.:]*\.(?:csv|xlsx)\b[^:]*: row)")
_CODES = re.compile(r"(?:[a-z-]+ \([\d,]+\)(?:, )?)+")
DOCUMENTS = (REPORT, ANNEX, OFFICER)


@pytest.mark.parametrize(
    "name", [*(pytest.param(name, marks=pytest.mark.slow) for name in ("tagged", "works")), "counts", "pines"]
)
def test_sentences_are_short(name: str, tmp_path: Path) -> None:
    folder = pines(tmp_path) if name == "pines" else DATASETS / name
    analysis = analysed(folder)
    known = names_of(analysis)
    for document in DOCUMENTS:
        assert faults(texts_of(document.of(analysis)), known) == []
    assert faults(texts_of_findings(findings_json(analysis)), known) == []
    records = study_of(folder).records
    assert faults(texts_of(report_of_check(records, {})), known) == []
    # What is wrong and what to do; the rows after a file's name, and codes with their numbers, are lists.
    lines = [_ROWS.split(line)[0] for line in lines_of_check(records, name, every=False)]
    assert faults((("check", line) for line in lines if not _CODES.fullmatch(line.strip())), known) == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(10))
def test_sentences_of_generated_studies_are_short(seed: int, tmp_path: Path) -> None:
    analysis = analysed(write_generated(tmp_path, seed))
    known = names_of(analysis)
    for document in DOCUMENTS:
        assert faults(texts_of(document.of(analysis)), known) == []
    assert faults(texts_of_findings(findings_json(analysis)), known) == []


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("One two (three) four.", False),
        ("One (two) three (four).", True),
        ("“A name (of many words, and more)” had (95 % CI 1 to 2) and (more).", True),
        ("“A name (of many words, and more)” had more (95 % CI 1 to 2).", False),
        (" ".join(["word"] * 25) + ".", False),
        (" ".join(["word"] * 26) + ".", True),
        (" ".join(["word"] * 20) + ". " + " ".join(["Word"] * 20) + ".", False),
    ],
)
def test_what_is_too_long(text: str, wrong: bool) -> None:
    assert bool(faults([("somewhere", text)])) is wrong
