"""How words are written: a sentence begins with a capital, the name of a file stays as it is."""

from __future__ import annotations

import pytest

from survivor.words import capital


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("its study file cannot be read", "Its study file cannot be read"),
        ("visits.csv: there is no such file", "visits.csv: there is no such file"),
        ("study.toml, line 3", "study.toml, line 3"),
        ("e.g. this", "E.g. this"),
        ("", ""),
    ],
)
def test_a_sentence_begins_with_a_capital_and_a_file_keeps_its_name(text: str, written: str) -> None:
    assert capital(text) == written
