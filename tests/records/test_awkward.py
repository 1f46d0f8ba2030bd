"""Twelve awkward sheets, each beside what must be said of it (``expected.toml``).

``used``: records that are used. ``codes``: for each code its severity, how many problems
of it (where told) and words that what is said or the mend must hold. ``error``: words of
the refusal. ``rules``: records that a rule of the study file touched. Codes that are not
named must not be graver than a note, but for those of a small study (`SMALL`).
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

from survivor.cli import app
from survivor.errors import RecordsError
from survivor.intervals import check_intervals
from survivor.records import read_records
from survivor.settings import read_settings
from tests.once import study_of

AWKWARD = Path(__file__).parent / "awkward"
CASES = sorted(folder.name for folder in AWKWARD.iterdir() if folder.is_dir())
# Said of any study so small, or a consequence of what is expected.
SMALL = {
    "target-absent", "milestone-not-reached", "lost-from-sight", "one-plot-method", "usual-practice-unnamed",
    "two-species-one-tag",
}  # fmt: skip


def test_there_are_twelve() -> None:
    assert len(CASES) == 12


@pytest.mark.parametrize("case", CASES)
def test_what_must_be_said_is_said(case: str) -> None:
    folder = AWKWARD / case
    expected = tomllib.loads((folder / "expected.toml").read_text(encoding="utf-8"))
    if "error" in expected:
        with pytest.raises(RecordsError) as error:
            read_records(folder, read_settings(folder))
        said = f"{error.value.what} {error.value.mend}"
        assert [words for words in expected["error"]["words"] if words not in said] == []
        return
    records = study_of(folder).records
    check_intervals(records.intervals)
    assert int((records.accounts["fate"] == "used").sum()) == expected["used"]
    for code, told in expected["codes"].items():
        found = records.problems[records.problems["code"] == code]
        assert set(found["severity"]) == {told["severity"]}
        assert len(found) == told.get("problems", len(found))
        said = " ".join([*found["what"], *found["mend"]])
        assert [words for words in told["words"] if words not in said] == []
    graver = set(records.problems.loc[records.problems["severity"] != "note", "code"])
    assert graver - SMALL <= set(expected["codes"])
    touched = dict(zip(records.rules["rule"], records.rules["records"], strict=True))
    assert {rule: touched[rule] for rule in expected.get("rules", {})} == expected.get("rules", {})


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize("case", CASES)
def test_check_says_it_on_the_screen(case: str) -> None:
    result = CliRunner().invoke(app, ["check", str(AWKWARD / case)])
    said = result.output + str(result.exception)
    expected = tomllib.loads((AWKWARD / case / "expected.toml").read_text(encoding="utf-8"))
    for code in expected.get("codes", {}):
        assert code in said
    assert isinstance(result.exception, SystemExit | RecordsError | None)
    assert "What to do" in said
    for rule, number in expected.get("rules", {}).items():
        assert re.search(re.escape(rule) + f".*{number} record", said)
