"""Versions: kept, held to, compared; changes told with their reason."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from survivor.errors import GuidelineError
from survivor.guideline import make_guideline, write_guideline
from survivor.guideline.record import issued_versions, read_record, record_path, record_text
from survivor.guideline.versions import Version, changes, refuse_other_advice

pytestmark = [
    pytest.mark.slow,
    pytest.mark.usefixtures("read_once"),
]  # whole guidelines are made, season by season

TITLE = "Preparing ground on clay flats and loam slopes (invented)"


def test_a_record_reads_back_as_it_was(made, tmp_path):
    file = tmp_path / "guideline.toml"
    assert issued_versions(file, TITLE) == {}
    path = record_path(file, TITLE, 3)
    path.parent.mkdir()
    path.write_text(record_text(made.version, TITLE, file), encoding="utf-8")
    assert read_record(path) == replace(made.version, recorded=True)
    assert issued_versions(file, TITLE) == {3: replace(made.version, recorded=True)}


def test_a_file_saved_under_another_name_keeps_the_history(made, tmp_path):
    path = record_path(tmp_path / "guideline.toml", TITLE, 3)
    path.parent.mkdir()
    path.write_text(record_text(made.version, TITLE, tmp_path / "guideline.toml"), encoding="utf-8")
    assert list(issued_versions(tmp_path / "copy.toml", TITLE.upper())) == [3]
    # Another title from another file is another guideline; from this file it would shed the history.
    assert issued_versions(tmp_path / "copy.toml", "Other ground") == {}
    with pytest.raises(GuidelineError, match="holds records of another guideline with this file's name"):
        issued_versions(tmp_path / "guideline.toml", "Other ground")


def test_a_copy_with_a_season_left_out_is_held_to_what_was_issued(copy, made, tmp_path):
    write_guideline(replace(made, path=copy / "guideline.toml"), tmp_path / "out")
    text = (copy / "guideline.toml").read_text(encoding="utf-8")
    start = text.index('[[seasons]]\nstudy = "season-2023"')
    fewer = text[:start] + text[text.index("# Kinds of ground") :]
    (copy / "renamed.toml").write_text(fewer, encoding="utf-8")
    with pytest.raises(GuidelineError, match="version 3 was issued with other content"):
        make_guideline(copy / "renamed.toml")
    (copy / "renamed.toml").write_text(fewer.replace("version = 3  ", "version = 4  "), encoding="utf-8")
    again = make_guideline(copy / "renamed.toml")
    assert "Season left out: 2023 (average)." in again.changes[0].also
    assert any("No record of version 1 as issued is kept" in line for line in again.changes[3].also)
    assert not any("No record" in line for line in again.changes[1].also)


def test_a_record_kept_under_the_file_s_name_before_is_found(made, tmp_path):
    path = tmp_path / "versions" / "guideline-3.json"
    path.parent.mkdir()
    raw = json.loads(record_text(made.version, TITLE, tmp_path / "guideline.toml"))
    del raw["guideline"], raw["file"]
    path.write_text(json.dumps(raw), encoding="utf-8")
    assert list(issued_versions(tmp_path / "guideline.toml", TITLE)) == [3]
    assert issued_versions(tmp_path / "other.toml", TITLE) == {}


@pytest.mark.parametrize("text", ["", "{}", '{"format": 9}', "[1, 2]", '{"format": 1, "advice": [{}]}'])
def test_a_damaged_record_is_an_error_with_a_mend(tmp_path, text):
    path = tmp_path / "guideline-1.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(GuidelineError, match="cannot be read") as caught:
        read_record(path)
    assert "reckoned again" in caught.value.mend


def test_what_was_issued_does_not_change_in_silence(made):
    first, *rest = made.version.advice
    other = replace(made.version, advice=(replace(first, answer="advised"), *rest))
    with pytest.raises(GuidelineError, match="was issued with other content") as caught:
        refuse_other_advice(other, made.version, "guideline.toml")
    assert "set version = 4" in caught.value.mend
    refuse_other_advice(made.version, made.version, "guideline.toml")


def test_each_kind_of_change_is_told(made):
    first, second, *rest = made.version.advice
    old = replace(made.version, number=1, seasons=("2021 (wet)",), advice=(first, *rest))
    new = replace(
        made.version,
        number=2,
        seasons=("2022 (dry)",),
        rule=("advised: another rule",),
        practice=("fallow on clay: yes (someone)",),
        advice=(replace(first, answer="worth a trial"), second, *rest[1:]),
    )
    told = changes((old, new))[0]
    assert told.also == (
        "Season added: 2022 (dry).",
        "Season left out: 2021 (wet).",
        "The rule that turns findings into advice was changed.",
        "Local practice entered: fallow on clay: yes (someone).",
        *(f"Local practice taken out: {line}." for line in made.version.practice),
    )
    assert any(f"from {first.answer} to worth a trial" in line for line in told.moved)
    assert any(": new, " in line for line in told.moved)
    assert any("no longer in the guideline" in line for line in told.moved)


def test_nothing_changed_is_said(made):
    again = replace(made.version, number=4)
    assert changes((made.version, again))[0].also == ("No advice changed.",)


def test_an_issued_version_is_what_the_next_is_compared_with(copy, made, tmp_path):
    # The record says otherwise than the seasons do; the change log goes by the record.
    path = record_path(copy / "guideline.toml", TITLE, 2)
    path.parent.mkdir()
    issued: Version = replace(
        made.version,
        number=2,
        dated="2023-11-01",
        seasons=made.version.seasons[:2],
        advice=tuple(replace(a, answer="not answered") for a in made.advice),
    )
    path.write_text(record_text(issued, TITLE, copy / "guideline.toml"), encoding="utf-8")
    again = make_guideline(copy / "guideline.toml")
    assert len(again.changes[0].moved) == sum(a.answer != "not answered" for a in made.advice)
    assert again.changes[1].dated == "2023-11-01"
    written = write_guideline(again, tmp_path / "out")
    assert written[-1] == record_path(copy / "guideline.toml", TITLE, 3)
    assert read_record(written[-1]) == replace(again.version, recorded=True)
    # Made again from the same file and records, it is the same to the byte.
    twice = write_guideline(make_guideline(copy / "guideline.toml"), tmp_path / "twice")
    for one, other in zip(written[:-1], twice[:-1], strict=True):
        assert one.read_bytes() == other.read_bytes(), one.name
