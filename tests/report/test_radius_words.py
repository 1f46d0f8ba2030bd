"""A slope the wrong way round says so in plain words; one on too few plots has no interval."""

from __future__ import annotations

from dataclasses import replace

import pytest

from survivor.effects.plateau import AlongLine
from survivor.evidence.grading import LEAST_DF
from survivor.report.pages import english as en
from survivor.report.pages.plants import radius
from survivor.sentences import Sentence, sentences_of
from tests.report.making import build


def said(line: AlongLine, df: float) -> list[Sentence]:
    dose = build().radius.response
    given = replace(dose, table=dose.table.assign(df=df), along_line=line, stops_paying=None)
    (section,) = radius(build(response=given))
    return [one for block in section.blocks for one in sentences_of(getattr(block, "text", ()))]


@pytest.mark.parametrize("df", [LEAST_DF - 1.0, LEAST_DF + 5.0])
@pytest.mark.parametrize("turn", [1, -1])
def test_direction_and_interval_of_a_clear_slope(df: float, turn: int) -> None:
    ends = sorted((turn * 7.1, turn * 21.2))
    first, *others = said(AlongLine(turn * 14.2, *ends, 0.45, 0.60), df)
    few, down = df < LEAST_DF, turn < 0
    words = {
        (False, False): en.RADIUS_WIDER,
        (False, True): en.RADIUS_NARROWER,
        (True, False): en.RADIUS_WIDER_FEW,
        (True, True): en.RADIUS_NARROWER_FEW,
    }
    assert first.template == words[few, down]
    gain = next(value for value in first.values if value.text == "14.2")
    assert (gain.number, gain.scale) == (turn * 14.2, float(turn))
    assert ("7.1 to 21.2" in str(first)) == (not few)
    assert (en.RADIUS_REVERSED in {one.template for one in others}) == down
