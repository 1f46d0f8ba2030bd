"""What stands in a folder of reports."""

import hashlib
import json
from pathlib import Path

from survivor.desk.made import made_of

FIRST = {
    "findings": [
        {"question": "Which?", "answer": "Ripping, 20 more."},
        {"question": "Met?", "answer": "Missed."},
        {"question": "Rain?", "answer": ""},
    ],
    "provenance": {"survivor": "1", "settings": "a", "sha256 of visits.csv": "b"},
}


def written(folder: Path, told: object) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "findings.json").write_text(json.dumps(told))
    return folder / "findings.json"


def test_the_first_answer_is_the_headline(tmp_path: Path):
    written(tmp_path, FIRST)
    made = made_of(tmp_path)
    assert made is not None
    assert made.headline == "Ripping, 20 more."


def test_a_report_is_of_other_files_once_one_of_them_changes(tmp_path: Path):
    sheet = tmp_path / "visits.csv"
    sheet.write_bytes(b"a,b\n")
    told = {**FIRST, "provenance": {"sha256 of visits.csv": hashlib.sha256(b"a,b\n").hexdigest()}}
    written(tmp_path, told)
    made = made_of(tmp_path)
    assert made is not None
    assert not made.is_of_others([sheet])
    sheet.write_bytes(b"a,c\n\n")
    assert made.is_of_others([sheet])
    assert made.is_of_others([])


def test_what_cannot_be_read_is_no_report(tmp_path: Path):
    assert made_of(tmp_path) is None
    for text in ("", "[]", '{"findings": 3}', "\xff"):
        (tmp_path / "findings.json").write_text(text, encoding="latin-1")
        assert made_of(tmp_path) is None
