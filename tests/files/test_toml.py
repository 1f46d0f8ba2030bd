"""Study, plan and guideline files by one reader: the same slip is said in the same words in all three."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from survivor.errors import SurvivorError
from survivor.settings import read_settings
from tests.files.kinds import KINDS

# Slip -> for each kind: what is changed, into what, and how the fault then reads.
SLIPS = {
    "a misspelt key": {
        "study": ("seed = 20220615", "sede = 1", "[study] sede = 1 {unknown}{meant} seed?"),
        "plan": ("seed = 1", "sede = 1", "[plan] sede = 1 {unknown}{meant} seed?"),
        "guideline": ("version = 3", "verison = 3", "[guideline] verison = 3 {unknown}{meant} version?"),
    },
    "an unknown key in a table that stands several times": {
        "study": (
            '[[methods]]\nname = "spray and rip"',
            '[[methods]]\nwroks = 5\nname = "spray and rip"',
            '[[methods]] "spray and rip", wroks = 5 {unknown}{meant} works?',
        ),
        "plan": (
            '[[sites]]\nname = "Site A"',
            '[[sites]]\nplnated = 5\nname = "Site A"',
            '[[sites]] "Site A", plnated = 5 {unknown}{meant} planted?',
        ),
        "guideline": (
            '[[ground]]\nname = "clay flats"',
            '[[ground]]\nplants_a_yeer = 5\nname = "clay flats"',
            '[[ground]] "clay flats", plants_a_yeer = 5 {unknown}{meant} plants_a_year?',
        ),
    },
    "a misspelt table": {
        "study": ("[dry_season]", "[dryseason]", "[dryseason] is not a table {known}{meant} dry_season?"),
        "plan": ("[dry_season]", "[dryseason]", "[dryseason] is not a table {known}{meant} dry_season?"),
        "guideline": (
            "[[practice]]",
            "[[practise]]",
            "[[practise]] is not a table {known}{meant} practice?",
        ),
    },
    "a text for a number": {
        "study": ("survival_per_100 = 70", 'survival_per_100 = "70"', '"70" {number}; write 70'),
        "plan": ("day = 365", 'day = "365"', '[question] day = "365" {whole}; write 365'),
        "guideline": ("version = 3", 'version = "3"', '[guideline] version = "3" {whole}; write 3'),
    },
    "a number for a text": {
        "study": ('site = "Site"', "site = 3", '[records.plots.columns] site = 3 {text}; write "3"'),
        "plan": ('name = "Site A"', "name = 3", '[[sites]] no. 1, name = 3 {text}; write "3"'),
        "guideline": ('name = "clay flats"', "name = 3", '[[ground]] no. 1, name = 3 {text}; write "3"'),
    },
    "a text for a list": {
        "study": (
            'strata = ["site", "block"]',
            'strata = "site"',
            '[design] strata = "site" {list}; write ["site"]',
        ),
        "plan": (
            '# cannot = ["mulch mat"]',
            'cannot = "mulch mat"',
            '"Site C", cannot = "mulch mat" {list}; write ["mulch mat"]',
        ),
        "guideline": (
            'texture = ["clay", "clay loam"]',
            'texture = "clay"',
            '[[ground]] "clay flats", where.texture = "clay" {list}; write ["clay"]',
        ),
    },
    "an empty text": {
        "study": (
            'usual_practice = "spot spray only"',
            'usual_practice = ""',
            '[design] usual_practice = "" is empty',
        ),
        "plan": (
            'usual_practice = "spot spray only"',
            'usual_practice = ""',
            '[question] usual_practice = "" is empty',
        ),
        "guideline": ('name = "clay flats"', 'name = ""', '[[ground]] no. 1, name = "" is empty'),
    },
    "a needed key that is not there": {
        "study": ('kind = "tagged"', "", "[records] kind is needed and is not there"),
        "plan": ("survival_per_100 = 60", "", "[question] survival_per_100 is needed and is not there"),
        "guideline": ("version = 3", "", "[guideline] version is needed and is not there"),
    },
    "a number out of its range": {
        "study": ("plants = 130", "plants = -1", "[[planted]] no. 1, plants = -1 has to be at least 0"),
        "plan": ("studies = 300", "studies = 3", "[plan] studies = 3 has to be at least 20"),
        "guideline": ("version = 3", "version = 0", "[guideline] version = 0 has to be at least 1"),
    },
    "one name for two": {
        "study": (
            'name = "spray and rip"',
            'name = "spot spray only"',
            'name = "spot spray only" is the name of two [[methods]]',
        ),
        "plan": (
            'name = "Site B"',
            'name = "Site A"',
            '[[sites]] no. 2, name = "Site A" is the name of two [[sites]]',
        ),
        "guideline": (
            'name = "loam slopes"',
            'name = "clay flats"',
            '[[ground]] no. 2, name = "clay flats" is the name of two [[ground]]',
        ),
    },
    "a name that is none": {
        "study": (
            'usual_practice = "spot spray only"',
            'usual_practice = "spot spay only"',
            '[design] usual_practice = "spot spay only" {none} [[methods]]{here}{meant} "spot spray only"?',
        ),
        "plan": (
            'usual_practice = "spot spray only"',
            'usual_practice = "spot spay only"',
            '[question] usual_practice = "spot spay only" {none} [[methods]]{here}{meant} "spot spray only"?',
        ),
        "guideline": (
            'ground = "loam slopes"',
            'ground = "loam slope"',
            '[[practice]] no. 1, ground = "loam slope" {none} kinds of ground{here}{meant} "loam slopes"?',
        ),
    },
    "not a day": {
        "study": ('as_of = "2024-09-30"', 'as_of = "30/9/2024"', '[study] as_of: "30/9/2024" {day}'),
        "plan": ('planted = "2027-06-15"', 'planted = "15/6/2027"', '"15/6/2027" {day}'),
        "guideline": (
            'dated = "2024-11-30"',
            'dated = "30/11/2024"',
            '[guideline] dated: "30/11/2024" {day}',
        ),
    },
}
PHRASES = {
    "unknown": "is not a key that survivor knows",
    "known": "that survivor knows",
    "number": "has to be a number, without quotation marks, such as 5.0",
    "whole": "has to be a whole number, without quotation marks, such as 30",
    "text": 'has to be a text, in quotation marks, such as "2022"',
    "list": 'has to be a list in square brackets, such as ["site", "block"]',
    "day": "is not a day; write it as year-month-day",
    "none": "is none of the",
    "meant": "; did you mean",
}
# Words of the library that checks types, and of how its faults are kept: they help no reader.
FOREIGN = re.compile(
    r"Input should|Field required|Extra inputs|pydantic|valid|string_type|[Tt]uple|None|\{'|\w\.\d+\."
)


def refused(tmp_path: Path, kind: str, content: bytes | str | None) -> SurvivorError:
    file = tmp_path / f"{kind}.toml"
    if content is not None:
        file.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(KINDS[kind].error) as caught:
        KINDS[kind].read(file)
    assert caught.value.exit_status == 2
    assert caught.value.mend
    assert FOREIGN.search(str(caught.value)) is None, str(caught.value)
    return caught.value


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_one_fault_with_its_line_key_value_and_mend(tmp_path: Path, kind: str, slip: str) -> None:
    old, new, expected = SLIPS[slip][kind]
    text = KINDS[kind].text
    assert old in text
    fault = refused(tmp_path, kind, text.replace(old, new, 1))
    assert fault.where == f"{kind}.toml"
    lead, *faults = fault.what.splitlines()
    assert lead == f"1 fault in the {kind} file:"
    assert KINDS[kind].explained in fault.mend
    named = re.match(r"  line (\d+): (.*)", faults[0])
    assert named is not None, faults[0]
    before, _, after = expected.format(**PHRASES, here=" of this file: |").partition("|")
    assert before in named[2]
    assert after in named[2]
    if new:  # what is not there is named with its table
        changed = text[: text.index(old)].count("\n") + 1
        assert changed <= int(named[1]) <= changed + new.count("\n")


@pytest.mark.parametrize("kind", KINDS)
def test_every_fault_is_named_in_order_of_its_line(tmp_path: Path, kind: str) -> None:
    text = KINDS[kind].text
    for slip in ("an unknown key in a table that stands several times", "a misspelt key"):
        old, new, _ = SLIPS[slip][kind]
        text = text.replace(old, new, 1)
    lines = refused(tmp_path, kind, text).what.splitlines()
    assert lines[0] == f"2 faults in the {kind} file:"
    numbers = [int(line.split("line ")[1].split(":")[0]) for line in lines[1:]]
    assert numbers == sorted(numbers)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("content", "what"),
    [
        ('[a]\nname = "here\n', "the {kind} file cannot be read as TOML: line 2: "),
        ("[a]\nb = 1\nb = 2\n", "the {kind} file cannot be read as TOML: line 3: "),
        (f"a = {'[' * 100_000}", "the {kind} file cannot be read as TOML: "),
        (f"a = {'9' * 5000}", "the {kind} file cannot be read as TOML: "),
        (b"\xff\xfe\x00", "the {kind} file is not text in UTF-8"),
        (None, "no {kind} file here"),
    ],
    ids=["open text", "key twice", "brackets without end", "endless number", "not UTF-8", "no file"],
)
def test_what_is_no_file_of_this_kind_is_said_alike(
    tmp_path: Path, kind: str, content: bytes | str | None, what: str
) -> None:
    fault = refused(tmp_path, kind, content)
    assert fault.what.startswith(what.format(kind=kind))
    assert "column" not in fault.what


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_of_another_kind_is_called_by_name(tmp_path: Path, kind: str) -> None:
    for another, about in KINDS.items():
        if another != kind:
            fault = refused(tmp_path, kind, about.text)
            assert fault.what.startswith(f"this is a {another} file, ")
            assert f"and not a {kind} file" in fault.what
            assert f"name a {kind} file here" in fault.mend


@pytest.mark.parametrize("kind", KINDS)
def test_a_table_for_a_value_and_a_value_for_a_table(tmp_path: Path, kind: str) -> None:
    first = {"study": "study", "plan": "plan", "guideline": "guideline"}[kind]
    listed = {"study": "methods", "plan": "sites", "guideline": "ground"}[kind]
    text = f'{listed} = ["a"]\n[{first}]\nname = {{ a = 1 }}\n'
    what = refused(tmp_path, kind, text).what
    assert f'line 1: {listed}, value 1 = "a" has to be a table' in what
    assert f"line 3: [{first}] name = {{ ... }} has to be a text" in what


@pytest.mark.parametrize("kind", KINDS)
def test_a_byte_order_mark_is_no_fault(tmp_path: Path, kind: str) -> None:
    file = tmp_path / f"{kind}.toml"
    file.write_text(KINDS[kind].text, encoding="utf-8-sig")
    KINDS[kind].read(file)


@pytest.mark.parametrize(
    ("written", "mend"),
    [
        ('"?" = nothing', 'write "?" = "nothing"'),
        ("? = dead", 'write "?" = "dead"'),
        ("OK = alive   # 402 cells", 'write OK = "alive"'),
        ('no tag = "not found"', 'write "no tag" = "not found"'),
        ("OK = True", "true and false have small letters"),
        ("OK = 12 m", "look in that line"),
    ],
)
def test_a_word_without_quotation_marks_is_written_anew(tmp_path: Path, written: str, mend: str) -> None:
    (tmp_path / "study.toml").write_text(f"[records.states]\n{written}\n")
    with pytest.raises(SurvivorError) as fault:
        read_settings(tmp_path)
    assert "line 2" in fault.value.what
    assert mend in fault.value.mend
