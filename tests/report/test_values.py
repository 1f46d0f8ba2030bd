"""A sentence keeps its values: each is that of a cell of the tables, rounded, the same wherever it stands."""

from __future__ import annotations

import re

import pytest

from survivor.analysis import Analysis
from survivor.report.arrangement import ANNEX, OFFICER, REPORT
from survivor.sentences import Name, Names, Sentence, Value
from tests.once import analysed
from tests.report.demo import DATASETS
from tests.report.making import build
from tests.report.walking import Tables, sentences

MOST_WORDS = 25
MOST_IN_A_CAPTION = 40
_NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
# Words that stand for a number which rounding would make none, or all.
_IN_WORDS = {"under 1": 0.5, "over 99": 99.75, "no more and no fewer": 0.0}


@pytest.fixture(scope="module", params=["made up", "made up, drawn", "counts"])
def season(request: pytest.FixtureRequest) -> Analysis:
    if request.param == "counts":
        return analysed(DATASETS / "counts")
    return build("random within blocks") if "drawn" in request.param else build()


def said(analysis: Analysis) -> list[Sentence]:
    return [one for made in (REPORT, ANNEX, OFFICER) for one in sentences(made.of(analysis))]


def first_number(text: str) -> tuple[float, float]:
    """Read the first number of a text, and half of its last place (of 2,970, which is to the ten, five)."""
    written = _NUMBER.search(text)
    assert written is not None, text
    number = float(written[0].replace(",", ""))
    places = len(written[0].partition(".")[2])
    whole = number >= 1000 and number % 10 == 0
    return number, 5.0 if whole else 0.5 * 10.0**-places


def test_every_value_is_that_of_its_cell(season: Analysis) -> None:
    tables, found = Tables(season), 0
    for sentence in said(season):
        for value in sentence.values:
            if value.cell is None:
                continue
            found += 1
            assert float(tables.at(value.cell)) == pytest.approx(value.number, rel=1e-12, nan_ok=True), (
                value,
                str(sentence),
            )
    assert found >= 10


def test_every_value_is_printed_as_it_is(season: Analysis) -> None:
    for sentence in said(season):
        for value in sentence.values:
            if any(words in value.text for words in _IN_WORDS) or not _NUMBER.search(value.text):
                continue
            printed, half = first_number(value.text)
            # Of an interval the near end comes first, of a difference the size without its sign.
            assert abs(printed - abs(value.number * value.scale)) <= half + 1e-9 or " to " in value.text, (
                value,
                str(sentence),
            )


def test_a_quantity_has_one_number_everywhere(season: Analysis) -> None:
    written: dict[object, set[str]] = {}
    for sentence in said(season):
        for value in sentence.values:
            if value.cell is not None and " to " not in value.text and _NUMBER.search(value.text):
                written.setdefault(value.cell, set()).add(_NUMBER.search(value.text)[0])
    assert {cell: texts for cell, texts in written.items() if len(texts) > 1} == {}


def test_sentences_are_short_and_hold_one_parenthesis(season: Analysis) -> None:
    for sentence in sentences(REPORT.of(season)):
        parts = {
            place: "x" if isinstance(part, Value | Name) else "x, x" if isinstance(part, Names) else str(part)
            for place, part in sentence.parts.items()
        }
        shown = sentence.template.format(**parts)
        assert shown.count("(") <= 1, shown
        # What the study file or a table says in its own words is not the report's to shorten. A caption
        # is several sentences.
        for one in re.split(r"(?<=[.?]) ", sentence.template):
            assert len(one.split()) <= MOST_WORDS, shown
        assert len(sentence.template.split()) <= MOST_IN_A_CAPTION, shown


def test_no_key_and_no_p_value_stands_in_the_report(season: Analysis) -> None:
    text = " ".join(map(str, sentences(REPORT.of(season))))
    assert not re.search(r"\[\[?\w+|\bp [<0]|_m\b|weed_free", text)


def test_a_place_of_a_template_must_be_filled() -> None:
    from survivor.sentences import say

    with pytest.raises(KeyError, match="size"):
        say("{name} had {size} more.", name=Name("rip"))
    assert str(say("{names} did.", names=Names(("rip", "scalp, deep", "auger")))) == (
        "“rip”, “scalp, deep”, and “auger” did."
    )
