"""A TOML file changed in a few places keeps all else; the standard library says what it holds then."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survivor.errors import StudyFileError
from survivor.files.editing import GONE, edited

DEMO = (Path(__file__).parents[2] / "datasets" / "tagged" / "study.toml").read_text(encoding="utf-8")
TEXT = """# A remark at the head.
[study]
name = "One"   # beside a value

# Before a table.
[records]
kind = "tagged"

[[records.sheets]]
file = "a.csv"
[records.sheets.columns]
plot = "Plot no."   # a heading

[[milestones]]
name = "six months"
day = 180
[[milestones]]
name = "12 months"
day = 365
"""


def changed(changes, text: str = TEXT) -> tuple[str, dict]:
    after = edited(text, changes, "study.toml", StudyFileError)
    return after, tomllib.loads(after)


def test_nothing_changed_is_the_same_text():
    assert changed({("study", "name"): "One", ("milestones", 0, "day"): 180})[0] == TEXT


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("study", "name"), "Two"),
        (("study", "seed"), 7),
        (("design", "strata"), ["site", "block"]),
        (("records", "sheets", 0, "columns", "tag"), "Peg # 1"),
        (("records", "sheets", 0, "states", 'a "quoted" = word'), "dead"),
        (("records", "sheets", 0, "skip_rows"), 3),
        (("milestones", 1, "day"), 400),
        (("milestones", 2, "name"), "two years"),
        (("gauges", 0, "file"), "rain.csv"),
        (("methods", 0, "cost", "per_plant"), 3.5),
    ],
)
def test_one_value_is_changed_and_every_remark_stays(place, value):
    after, tables = changed({place: value})
    here = tables
    for part in place:
        here = here[part]
    assert here == value
    for remark in ("# A remark at the head.", "# beside a value", "# Before a table.", "# a heading"):
        assert remark in after
    kept = [line for line in TEXT.splitlines() if line and line not in after]
    assert len(kept) <= 1


def test_what_is_taken_out_goes_and_so_does_a_table_of_which_nothing_is_left():
    assert (
        "columns"
        not in changed({("records", "sheets", 0, "columns", "plot"): GONE})[1]["records"]["sheets"][0]
    )
    assert changed({("study", "nothing"): GONE})[0] == TEXT


def test_tables_of_several_are_taken_out_from_the_end():
    gone = {("milestones", 0): GONE, ("milestones", 1): GONE}
    assert "milestones" not in changed(gone)[1]
    assert changed({("milestones", 0): GONE})[1]["milestones"] == [{"name": "12 months", "day": 365}]


def test_a_file_with_tables_in_line_is_changed_too():
    text = (
        '[study]\nname = "x"\n[[methods]]\nname = "rip"\ncost = { per_plant = 3.0, low = 2.0 }  # dollars\n'
    )
    after, tables = changed({("methods", 0, "cost", "low"): 1.5}, text)
    assert tables["methods"][0]["cost"] == {"per_plant": 3.0, "low": 1.5}
    assert "# dollars" in after


def test_windows_line_ends_stay():
    assert changed({("study", "name"): "Two"}, TEXT.replace("\n", "\r\n"))[0].count("\r\n") == TEXT.count(
        "\n"
    )


NAMES = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=20)


@pytest.mark.slow
@given(name=NAMES, word=NAMES, number=st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_any_text_comes_back_as_it_was_typed(name: str, word: str, number: float):
    changes = {
        ("study", "name"): name,
        ("records", "sheets", 0, "states", word): "dead",
        ("infill", "per_plant"): number,
    }
    _, tables = changed(changes, DEMO)
    assert tables["study"]["name"] == name
    assert tables["records"]["sheets"][0]["states"][word] == "dead"
    assert tables["infill"]["per_plant"] == number
